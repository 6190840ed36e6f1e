"""The ways to play a drill on other harps, as text and JSON data."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trainer.drill import Arrangement, Drill, arrangement_position, written_harp
from trainer.music import position_name
from trainer.report.schemas.drills import TranspositionData
from trainer.report.tab_layout import tab_page_text

MAX_ROWS = 12
"""Maximum number of ways in the table; the others are much harder."""
MIN_REASON_COLUMNS = 16
"""Narrowest column of reasons."""
_HEADS = ("harp", "position", "half steps", "missing", "hard", "what makes it hard")


def transposition_text(
    drill: Drill, ways: Sequence[Arrangement], written: int = 1, width: int = 80
) -> str:
    """Return the ways to play a drill as a table, and the page of the easiest.

    Args:
        drill: the original drill.
        ways: one or more ways, the easiest first.
        written: position that the drill is written in, 1 to 12.
        width: line width in columns, 20 or more.
    """
    best = ways[0]
    start = (
        f"{drill.title}: written for the {written_harp(drill).name} harp, taken as "
        f"{position_name(written)} position."
    )
    table = _table(drill, ways[:MAX_ROWS], written, width)
    if len(ways) > MAX_ROWS:
        table += f"\n({len(ways) - MAX_ROWS} more that are harder or lack more)"
    parts = [textwrap.fill(start, width), table]
    place = position_name(arrangement_position(drill, best, written))
    head = f"{best.harp.name} harp, {place} position, {interval_text(best.half_steps)}:"
    parts += [textwrap.fill(head, width), tab_page_text(best.drill, width)]
    return "\n\n".join(parts)


def transposition_data(
    drill: Drill, ways: Sequence[Arrangement], written: int = 1
) -> TranspositionData:
    """Return the ways with their tab as JSON data; arguments as for :func:`transposition_text`."""
    return {
        "drill": drill.name,
        "harp": drill.key,
        "tuning": drill.tuning,
        "position": written,
        "ways": [
            {
                "harp": way.drill.key,
                "tuning": way.drill.tuning,
                "position": arrangement_position(drill, way, written),
                "half_steps": way.half_steps,
                "hard": round(way.difficulty, 3),
                "reason": way.reason,
                "missing": way.missing,
                "problems": [
                    {
                        "line": problem.line,
                        "column": problem.column,
                        "message": problem.message,
                    }
                    for problem in way.problems
                ],
                "steps": [step.tab for step in way.drill.steps],
                "second": [step.tab for step in way.drill.second],
            }
            for way in ways
        ],
    }


def interval_text(half_steps: int) -> str:
    """Return a transposition in words: ``2 half steps up``, ``1 octave down``."""
    if not half_steps:
        return "at the same pitch"
    octaves, rest = divmod(abs(half_steps), 12)
    number, unit = (abs(half_steps), "half step") if rest else (octaves, "octave")
    plural = "s" if number > 1 else ""
    return f"{number} {unit}{plural} {'up' if half_steps > 0 else 'down'}"


def _table(drill: Drill, ways: Sequence[Arrangement], written: int, width: int) -> str:
    rows = [_HEADS, *(_cells(drill, way, written) for way in ways)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEADS) - 1)]
    lines = []
    for row in rows:
        start = "  ".join(f"{cell:<{room}}" for cell, room in zip(row, widths, strict=False)) + "  "
        reason = textwrap.wrap(row[-1], max(width - len(start), MIN_REASON_COLUMNS)) or [""]
        lines.append(start + ("\n" + " " * len(start)).join(reason))
    return "\n".join(lines)


def _cells(drill: Drill, way: Arrangement, written: int) -> tuple[str, ...]:
    return (
        way.harp.name,
        position_name(arrangement_position(drill, way, written)),
        f"{way.half_steps:+d}" if way.half_steps else "0",
        str(way.missing or "none"),
        f"{way.difficulty:.1f}",
        way.reason,
    )
