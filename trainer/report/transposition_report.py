"""A drill that was moved to another harp: the ways it can be played there, as text and as data."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trainer.drill import Arrangement, Drill, arrangement_position, written_harp
from trainer.music import position_name
from trainer.report.schemas.drills import TranspositionData
from trainer.report.tab_layout import tab_page_text

MOST_ROWS = 12
"""Ways in the table; what comes after these nobody would choose."""
NARROWEST = 16
"""Reasons are never broken into less than this."""
_HEADS = ("harp", "position", "half steps", "missing", "hard", "what makes it hard")


def transposition_text(
    drill: Drill, ways: Sequence[Arrangement], written: int = 1, width: int = 80
) -> str:
    """The ways to play a drill, the best first, as a table, and the page of the best.

    Args:
        drill: the drill as it was.
        ways: the ways, one or more.
        written: the position that it is written in.
        width: columns that a line may take, 20 or more.
    """
    best = ways[0]
    start = (
        f"{drill.title}: written for the {written_harp(drill).name} harp, taken as "
        f"{position_name(written)} position."
    )
    table = _table(drill, ways[:MOST_ROWS], written, width)
    if len(ways) > MOST_ROWS:
        table += f"\n({len(ways) - MOST_ROWS} more that are harder or lack more)"
    parts = [textwrap.fill(start, width), table]
    place = position_name(arrangement_position(drill, best, written))
    head = f"{best.harp.name} harp, {place} position, {interval_text(best.half_steps)}:"
    parts += [textwrap.fill(head, width), tab_page_text(best.drill, width)]
    return "\n\n".join(parts)


def transposition_data(
    drill: Drill, ways: Sequence[Arrangement], written: int = 1
) -> TranspositionData:
    """The same for a program, every way with all its tab, ready for JSON."""
    return {
        "drill": drill.name,
        "harp": drill.key,
        "tuning": drill.tuning,
        "position": written,
        "ways": [
            {
                "harp": moved.drill.key,
                "tuning": moved.drill.tuning,
                "position": arrangement_position(drill, moved, written),
                "half_steps": moved.half_steps,
                "hard": round(moved.difficulty, 3),
                "reason": moved.reason,
                "missing": moved.missing,
                "problems": [
                    {"line": one.line, "column": one.column, "message": one.message}
                    for one in moved.problems
                ],
                "steps": [step.tab for step in moved.drill.steps],
                "second": [step.tab for step in moved.drill.second],
            }
            for moved in ways
        ],
    }


def interval_text(half_steps: int) -> str:
    """How far it was moved, in words."""
    if not half_steps:
        return "at the same pitch"
    octaves, rest = divmod(abs(half_steps), 12)
    number, unit = (abs(half_steps), "half step") if rest else (octaves, "octave")
    plural = "s" if number > 1 else ""
    return f"{number} {unit}{plural} {'up' if half_steps > 0 else 'down'}"


def _table(drill: Drill, ways: Sequence[Arrangement], written: int, width: int) -> str:
    rows = [_HEADS, *(_cells(drill, moved, written) for moved in ways)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEADS) - 1)]
    lines = []
    for row in rows:
        start = "  ".join(f"{cell:<{room}}" for cell, room in zip(row, widths, strict=False)) + "  "
        reason = textwrap.wrap(row[-1], max(width - len(start), NARROWEST)) or [""]
        lines.append(start + ("\n" + " " * len(start)).join(reason))
    return "\n".join(lines)


def _cells(drill: Drill, moved: Arrangement, written: int) -> tuple[str, ...]:
    return (
        moved.harp.name,
        position_name(arrangement_position(drill, moved, written)),
        f"{moved.half_steps:+d}" if moved.half_steps else "0",
        str(moved.missing or "none"),
        f"{moved.difficulty:.1f}",
        moved.reason,
    )
