"""The shelf as a course, as text and JSON data."""

from __future__ import annotations

import textwrap

from trainer.drill import Drill, Shelf
from trainer.report.drill_report import duration_text
from trainer.report.schemas.drills import ShelfDrillData

MIN_TITLE_COLUMNS = 20
"""Narrowest column of titles; where there is less room, titles go on a line of their own."""


def shelf_text(shelf: Shelf, width: int = 80) -> str:
    """Return the drills by main skill: name, level, tempo, duration, title, and other skills.

    Args:
        shelf: the drills.
        width: line width in columns, 20 or more.
    """
    if not shelf.drills:
        return "There are no drills on the shelf."
    name = max(len(drill.name) for drill in shelf.drills)
    groups = []
    for skill, drills in shelf.groups.items():
        rows = [_row(drill, name, width) for drill in drills]
        groups.append("\n".join([*_wrapped(skill[0].upper() + skill[1:], width), *rows]))
    return "\n\n".join(groups)


def shelf_data(shelf: Shelf) -> list[ShelfDrillData]:
    """Return the drills as JSON data."""
    return [_drill_data(drill) for drill in shelf.drills]


def _row(drill: Drill, name: int, width: int) -> str:
    time = f"{'free':>4}      " if drill.free else f"{drill.tempo:>4.0f}  {duration_text(drill):>4}"
    start = f"  {drill.name:<{name}}  level {drill.level}  {time}  "
    also = f"; also {', '.join(drill.skills[1:])}" if drill.skills[1:] else ""
    room = width - len(start)
    if room >= MIN_TITLE_COLUMNS:
        indent = "\n" + " " * len(start)
        return start + indent.join(_wrapped(drill.title + also, room))
    narrow = width - 4
    rows = [*_wrapped(" ".join(start.split()), narrow), *_wrapped(drill.title + also, narrow)]
    return "  " + "\n    ".join(rows)


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_on_hyphens=False)


def _drill_data(drill: Drill) -> ShelfDrillData:
    climb, tightening = drill.climb, drill.tightening
    return {
        "name": drill.name,
        "title": drill.title,
        "about": " ".join(drill.about.split()),
        "skills": drill.skills,
        "level": drill.level,
        "harp": drill.key,
        "tuning": drill.tuning,
        "tempo": drill.tempo,
        "tempo_to": drill.tempo_to,
        "meter": "/".join(map(str, drill.meter)),
        "clock": "free" if drill.free else "click",
        "swing": float(drill.swing),
        "pickup": float(-drill.start),
        "loop": drill.loop,
        "climb": {"by": climb.by, "to": climb.to, "after": climb.after} if climb else None,
        "tighten": {"start": tightening.start, "by": tightening.by, "after": tightening.after}
        if tightening
        else None,
        "parts": 2 if drill.second else 1,
        "calls": any(step.call for step in drill.steps),
        "bars": drill.bars,
        "steps": len(drill.steps),
        "seconds": None if drill.free else round(drill.seconds, 3),
        "tolerance": drill.goal.tolerance,
        "pass_mark": drill.goal.pass_mark,
        "hold": drill.goal.hold,
        "weights": dict(drill.goal.weights),
    }
