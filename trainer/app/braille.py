"""Lines in the dots of braille cells, two columns and four rows to a cell (Unicode, block 2800)."""

from __future__ import annotations

_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
"""Bits of a cell by column and row."""
_EMPTY = 0x2800
"""Code point of the empty cell."""
JOIN_S, JOIN_CENTS = 0.03, 90.0
"""Points of a pitch nearer than this, in seconds and cents, are joined by a line."""


def dot_mask(column: int, row: int) -> int:
    """Return the bit of a dot in its cell.

    Args:
        column: column of dots in the plot, from the left.
        row: row of dots in the plot, from the top.
    """
    return _DOTS[column % 2][row % 4]


def braille_cell(mask: int) -> str:
    """Return the character with the dots of a mask."""
    return chr(_EMPTY + mask)


def are_joined(seconds: float, cents: float) -> bool:
    """Return whether two points of a pitch belong to one line.

    Args:
        seconds: time from the one to the other.
        cents: difference of their pitches.
    """
    return abs(cents) <= JOIN_CENTS and seconds <= JOIN_S
