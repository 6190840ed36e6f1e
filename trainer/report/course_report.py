"""The course and a player's place in it, as text and JSON data."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trainer.coach import StageStanding
from trainer.drill import Drill, Shelf
from trainer.report.schemas.drills import CourseDrillData, CourseStageData

INDENT = "    "


def course_text(standings: Sequence[StageStanding], shelf: Shelf, width: int = 80) -> str:
    """Return the stages with their goals, what opens them, and their drills.

    A drill that was passed has a dot, and the next one an arrow.

    Args:
        standings: the player's standing in each stage, in their order.
        shelf: the drills.
        width: line width in columns, 20 or more.
    """
    drills = {drill.name: drill for drill in shelf.drills}
    done = sum(len(standing.passed) for standing in standings)
    total = sum(len(standing.stage.drills) for standing in standings)
    stages = [
        _stage_text(number, standing, drills, width)
        for number, standing in enumerate(standings, start=1)
    ]
    return "\n\n".join([*stages, f"{done} of {total} drills passed."])


def course_data(standings: Sequence[StageStanding], shelf: Shelf) -> list[CourseStageData]:
    """Return the stages as JSON data."""
    drills = {drill.name: drill for drill in shelf.drills}
    return [
        {
            "name": standing.stage.name,
            "goal": standing.stage.goal,
            "after": standing.stage.after,
            "open": not standing.waits_for,
            "done": standing.is_done,
            "next": standing.next_drill,
            "drills": [
                _drill_data(drills[name], name in standing.passed)
                for name in standing.stage.drills
                if name in drills
            ],
        }
        for standing in standings
    ]


def _drill_data(drill: Drill, is_passed: bool) -> CourseDrillData:
    return {
        "name": drill.name,
        "title": drill.title,
        "level": drill.level,
        "passed": is_passed,
    }


def _stage_text(number: int, standing: StageStanding, drills: dict[str, Drill], width: int) -> str:
    stage = standing.stage
    place = f"{len(standing.passed)} of {len(stage.drills)}"
    if standing.waits_for:
        place += f", opens after {' and '.join(standing.waits_for)}"
    elif standing.is_done:
        place += ", done"
    lines = _wrapped(f"{number}. {stage.name[0].upper()}{stage.name[1:]} ({place})", width, "   ")
    lines += _wrapped(stage.goal, width, INDENT, INDENT)
    for name in stage.drills:
        if name not in drills:
            continue
        sign = "•" if name in standing.passed else "▸" if name == standing.next_drill else " "
        lines += _wrapped(f"{sign} {name:<20}  {drills[name].title}", width, INDENT * 2, "  ")
    return "\n".join(lines)


def _wrapped(text: str, width: int, later: str, first: str = "") -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
    )
