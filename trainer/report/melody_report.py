"""A melody from another program on the harps that can play it, as text."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trainer.drill import Arrangement, Melody
from trainer.music import position_for, position_name
from trainer.report.formatting import quantity_text
from trainer.report.tab_layout import tab_page_text
from trainer.report.transposition_report import MOST_ROWS, interval_text

_HEADS = ("harp", "position", "moved", "missing", "hard", "what makes it hard")


def melody_text(melody: Melody, ways: Sequence[Arrangement], width: int = 80) -> str:
    """The ways to play it, the best first, the page of the best, and what that lacks.

    Args:
        melody: as it was read.
        ways: the ways, one or more.
        width: columns that a line may take, 20 or more.
    """
    best = ways[0]
    beats, value = melody.meter
    head = (
        f"{melody.title}: {quantity_text(len(melody.notes), 'note')}, {beats}/{value}, "
        f"{melody.tempo:g} beats a minute."
    )
    rows = [_HEADS, *(_cells(melody, one) for one in ways[:MOST_ROWS])]
    widths = [max(len(row[i]) for row in rows) for i in range(len(_HEADS) - 1)]
    table = []
    for row in rows:
        start = "  ".join(f"{cell:<{room}}" for cell, room in zip(row, widths, strict=False))
        reason = textwrap.wrap(row[-1], max(width - len(start) - 2, 16)) or [""]
        table.append((f"{start}  " + ("\n" + " " * (len(start) + 2)).join(reason)).rstrip())
    told = [textwrap.fill(head, width), *(textwrap.fill(one, width) for one in melody.notices)]
    told += ["\n".join(table)]
    told.append(f"{best.harp.name} harp, {interval_text(best.half_steps)}:")
    told.append(tab_page_text(best.drill, width))
    if best.problems:
        lacks = [textwrap.fill(f"  {one.message}", width) for one in best.problems]
        told.append("\n".join(["Left out, because this harp cannot play it:", *lacks]))
    return "\n\n".join(told)


def _cells(melody: Melody, way: Arrangement) -> tuple[str, ...]:
    position = "?"
    if melody.tonic is not None:
        tonic = (melody.tonic + way.half_steps) % 12
        position = position_name(position_for(way.harp.key.tonic, tonic))
    moved = f"{way.half_steps:+d}" if way.half_steps else "0"
    hard = f"{way.difficulty:.1f}"
    return way.harp.name, position, moved, str(way.missing or "none"), hard, way.reason
