"""An imported melody on the harps that can play it, as text."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trainer.core.quantities import quantity_text
from trainer.drill import Arrangement, Melody
from trainer.music import position_for, position_name
from trainer.report.formatting import WIDTH
from trainer.report.tab_layout import tab_page_text
from trainer.report.transposition_report import MAX_ROWS, MIN_REASON_COLUMNS, interval_text

_HEADS = ("harp", "position", "moved", "missing", "hard", "what makes it hard")


def melody_text(melody: Melody, ways: Sequence[Arrangement], width: int = WIDTH) -> str:
    """Return the ways to play a melody, the page of the easiest, and what that leaves out.

    Args:
        melody: the imported melody.
        ways: one or more ways, the easiest first.
        width: line width in columns, 20 or more.
    """
    best = ways[0]
    beats, value = melody.meter
    head = (
        f"{melody.title}: {quantity_text(len(melody.notes), 'note')}, {beats}/{value}, "
        f"{melody.tempo:g} beats a minute."
    )
    blocks = [textwrap.fill(text, width) for text in (head, *melody.notices)]
    blocks += [
        _table(melody, ways[:MAX_ROWS], width),
        f"{best.harp.name} harp, {interval_text(best.half_steps)}:",
        tab_page_text(best.drill, width),
    ]
    if best.problems:
        omitted = [textwrap.fill(f"  {problem.message}", width) for problem in best.problems]
        blocks.append("\n".join(["Left out, because this harp cannot play it:", *omitted]))
    return "\n\n".join(blocks)


def _table(melody: Melody, ways: Sequence[Arrangement], width: int) -> str:
    rows = [_HEADS, *(_cells(melody, way) for way in ways)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEADS) - 1)]
    lines = []
    for row in rows:
        start = "".join(f"{cell:<{room}}  " for cell, room in zip(row, widths, strict=False))
        reason = textwrap.wrap(row[-1], max(width - len(start), MIN_REASON_COLUMNS)) or [""]
        lines.append((start + ("\n" + " " * len(start)).join(reason)).rstrip())
    return "\n".join(lines)


def _cells(melody: Melody, way: Arrangement) -> tuple[str, ...]:
    position = "?"
    if melody.tonic is not None:
        tonic = (melody.tonic + way.half_steps) % 12
        position = position_name(position_for(way.harp.key.tonic, tonic))
    interval = f"{way.half_steps:+d}" if way.half_steps else "0"
    difficulty = f"{way.difficulty:.1f}"
    missing = str(way.missing or "none")
    return way.harp.name, position, interval, missing, difficulty, way.reason
