"""The shelf as a list that reads like a course, as text and as data."""

from __future__ import annotations

import textwrap

from trainer.drill import Drill, Shelf
from trainer.report.facts import length


def course(shelf: Shelf, width: int = 80) -> str:
    """The drills by their main skill: name, title, tempo, length, and what else they train.

    Args:
        shelf: the drills.
        width: columns that a line may take.
    """
    if not shelf.drills:
        return "There are no drills on the shelf."
    name = max(len(drill.name) for drill in shelf.drills)
    title = max(len(drill.title) for drill in shelf.drills)
    groups = []
    for skill, drills in shelf.groups.items():
        rows = [_row(drill, name, title, width) for drill in drills]
        groups.append("\n".join([skill[0].upper() + skill[1:], *rows]))
    return "\n\n".join(groups)


def course_data(shelf: Shelf) -> list[dict[str, object]]:
    """The same for a program: one object a drill, ready for JSON."""
    return [_facts(drill) for drill in shelf.drills]


def _row(drill: Drill, name: int, title: int, width: int) -> str:
    start = f"  {drill.name:<{name}}  {drill.title:<{title}}  {drill.tempo:>3.0f}  {length(drill)}"
    also = ", ".join(drill.skills[1:])
    room = max(width - len(start) - 2, 10)
    lines = textwrap.wrap(also, room, break_on_hyphens=False) or [""]
    indent = "\n" + " " * (len(start) + 2)
    return f"{start}  {indent.join(lines)}".rstrip()


def _facts(drill: Drill) -> dict[str, object]:
    return {
        "name": drill.name,
        "title": drill.title,
        "about": " ".join(drill.about.split()),
        "skills": drill.skills,
        "level": drill.level,
        "harp": drill.key,
        "tuning": drill.tuning,
        "tempo": drill.tempo,
        "meter": "/".join(map(str, drill.meter)),
        "bars": drill.bars,
        "steps": len(drill.steps),
        "seconds": round(drill.seconds, 3),
        "tolerance": drill.goal.tolerance,
        "pass_mark": drill.goal.pass_mark,
    }
