"""A board: text in the middle of the window, with one part of it in large letters."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from trainer.app.canvas import TextRow, cell_width, merge_spans, truncate
from trainer.app.far_text import far_height, far_rows, far_scale

BOARD_CELLS = 76
"""Largest width of a board in cells."""
MARGIN_CELLS = 3
"""Least margin at each side in cells."""


def board_width(width: int) -> int:
    """Return the width of the board in a window."""
    return min(BOARD_CELLS, width - 2 * MARGIN_CELLS)


def wrapped(text: str, width: int, pen: str) -> list[TextRow]:
    """Return a text in rows of at most `width` cells."""
    return [((line, pen),) for line in textwrap.wrap(text, width)]


def centred(row: TextRow, width: int) -> TextRow:
    """Return a row in the middle of `width` cells."""
    if not row:
        return row
    row = truncate(row, width)
    return merge_spans([(" " * ((width - cell_width(row)) // 2), "text"), *row])


def large(text: str, pen: str, width: int, height: int) -> list[TextRow]:
    """Return a text as large as fits, in the middle of the board; one row where nothing fits."""
    if height < far_height(1):
        return [centred(((text, pen),), width)]
    rows = far_rows(text, far_scale(text, width, height))
    return [centred(((row, pen),), width) for row in rows]


def in_the_middle(rows: Sequence[TextRow], width: int, height: int) -> list[TextRow]:
    """Return the rows of a board in the middle of a window, all `height` of them."""
    margin = (" " * ((width - board_width(width)) // 2), "text")
    above = max(0, (height - len(rows)) // 2)
    drawn: list[TextRow] = [()] * above
    drawn += [truncate(merge_spans([margin, *row]), width) if row else () for row in rows]
    return (drawn + [()] * height)[:height]
