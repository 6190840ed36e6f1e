"""The gauge: a scale of cents with the tolerance as a band, and a needle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, row_from_cells
from trainer.app.display_smoothing import DisplayedReading

RANGE_CENTS = 50.0
"""Half the range of the scale in cents."""
TICK_CENTS = (-50, -40, -30, -20, -10, 0, 10, 20, 30, 40, 50)
"""Numbers on the scale, in cents."""
FLAT, SHARP = "flat ", " sharp"
STATE_PENS = {"missing": "wrong"}
"""Pens of the states that have none of their own name."""


@dataclass(frozen=True, slots=True)
class GaugeState:
    """State of the gauge.

    Attributes:
        cents: needle position in whole cents; None for silence.
        state: as in :attr:`trainer.app.display_smoothing.DisplayedReading.state`.
        ended: whether the sound has ended and this is its last value.
        tolerance: half the width of the band, in cents.
    """

    cents: int | None = None
    state: str = "silent"
    ended: bool = False
    tolerance: float = 10.0

    @classmethod
    def of(cls, reading: DisplayedReading) -> GaugeState:
        """Make the gauge of a smoothed reading."""
        return cls(reading.whole_cents, reading.state, reading.ended, reading.tolerance)


def half_cell(cents: float, width: int) -> int:
    """Return the half cell, from 0 at the left, of an offset on a scale of `width` cells."""
    share = min(max(cents / RANGE_CENTS, -1.0), 1.0)
    return round((share + 1.0) / 2.0 * (2 * width - 2))


def needle_row(state: GaugeState, width: int, named: bool = True) -> TextRow:
    """Draw the band and the needle; beyond the scale, an arrow at its end.

    Args:
        state: state of the gauge.
        width: width in cells.
        named: whether the ends are labelled.
    """
    room = width - len(FLAT) - len(SHARP)
    cells = [" "] * room
    pens = ["text"] * room
    low, high = (half_cell(side * state.tolerance, room) // 2 for side in (-1, 1))
    for x in range(low, high + 1):
        cells[x], pens[x] = "░", "band"
    for x, edge in ((low, "▏"), (high, "▕")):
        cells[x], pens[x] = edge, "aim"
    if state.cents is not None and state.state != "wrong":
        pen = "quiet" if state.ended else STATE_PENS.get(state.state, state.state)
        if abs(state.cents) > RANGE_CENTS:
            x, arrow = (0, "◀") if state.cents < 0 else (room - 2, "▶")
            cells[x : x + 2], pens[x : x + 2] = [arrow, arrow], [pen, pen]
        else:
            _draw_needle(half_cell(state.cents, room), cells, pens, pen)
    left = "flat" if state.state == "flat" and not state.ended else "quiet"
    right = "sharp" if state.state == "sharp" and not state.ended else "quiet"
    flat, sharp = (FLAT, SHARP) if named else (" " * len(FLAT), "")
    return (flat, left), *row_from_cells(cells, pens), (sharp, right)


def _draw_needle(half: int, cells: list[str], pens: list[str], pen: str) -> None:
    """Draw a needle one cell wide at a position in half cells."""
    x, odd = divmod(half, 2)
    if not odd:
        cells[x], pens[x] = "█", pen
        return
    cells[x], pens[x] = "▐", pen
    if x + 1 < len(cells):
        cells[x + 1], pens[x + 1] = "▌", pen


def scale_row(state: GaugeState, width: int) -> TextRow:
    """Draw the scale: a number every ten cents."""
    room = width - len(FLAT) - len(SHARP)
    cells, pens = ["┈"] * room, ["faint"] * room
    for tick in TICK_CENTS:
        x = half_cell(tick, room) // 2
        text = f"{tick:+d}" if tick else "0"
        x0 = min(max(0, x - len(text) // 2), room - len(text))
        cells[x0 : x0 + len(text)] = text
        within = abs(tick) <= state.tolerance
        pens[x0 : x0 + len(text)] = ["text" if within else "quiet"] * len(text)
    return (" " * len(FLAT), "text"), *row_from_cells(cells, pens)


class Gauge(Canvas[GaugeState]):
    """The gauge."""

    def draw(self, state: GaugeState, width: int, height: int) -> Sequence[TextRow]:
        """Draw needle rows and, below them, the scale."""
        needles = [needle_row(state, width, named=y == 0) for y in range(height - 1)]
        return [*needles, scale_row(state, width)]
