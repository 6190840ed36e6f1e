"""The ten-hole strip: which holes sound, and how loud a leak is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow
from trainer.app.display_smoothing import DisplayedReading
from trainer.harp import Breath

BAR_FLOOR_DB = -40.0
"""Level under the main hole at which a bar vanishes."""
_EIGHTHS = " ▁▂▃▄▅▆▇█"


@dataclass(frozen=True, slots=True)
class HoleStripState:
    """What the strip shows.

    Attributes:
        sounding: holes that sound.
        wanted: holes that should.
        leak_hole, leak_db: the loudest unwanted hole, and its level under the main one.
        levels: (hole, dB relative to the main hole).
        breath: direction of breath, if known.
    """

    sounding: tuple[int, ...] = ()
    wanted: tuple[int, ...] = ()
    leak_hole: int | None = None
    leak_db: float | None = None
    levels: tuple[tuple[int, int], ...] = ()
    breath: Breath | None = None

    @classmethod
    def of(cls, shown: DisplayedReading) -> HoleStripState:
        """The strip of a smoothed reading."""
        return cls(
            shown.holes,
            tuple(tab.hole for tab in shown.wanted),
            shown.leak_hole,
            shown.leak_db,
            tuple((hole, round(level)) for hole, level in shown.levels),
            shown.breath,
        )


def hole_pen(state: HoleStripState, hole: int) -> str:
    """How a hole is drawn."""
    if hole in state.sounding or hole == state.leak_hole:
        return "leak" if _is_leak(state, hole) else "sounding"
    return "strong" if hole in state.wanted else "quiet"


def _is_leak(state: HoleStripState, hole: int) -> bool:
    if state.wanted:
        return hole not in state.wanted
    return hole == state.leak_hole


def hole_numbers_row(state: HoleStripState, cell: int) -> TextRow:
    """The numbers: the wanted ones in brackets, sounding ones reversed, a leak in signs of
    its own."""
    spans = []
    for hole in range(1, 11):
        pen = hole_pen(state, hole)
        text = f"{hole:^{cell}}"
        if hole in state.wanted:
            text = f"{f'[{hole}]':^{cell}}"
        elif pen == "leak":
            text = f"{f'!{hole}':^{cell}}"
        spans.append((text, pen))
    return tuple(spans)


def level_bar_rows(state: HoleStripState, cell: int, rows: int) -> list[TextRow]:
    """The levels as bars, from the top row down."""
    heights = dict.fromkeys(range(1, 11), 0)
    for hole, level in (*((hole, 0) for hole in state.sounding), *state.levels):
        share = min(max(1.0 - level / BAR_FLOOR_DB, 0.0), 1.0)
        heights[hole] = round(share * 8 * rows)
    drawn = []
    for row in range(rows):
        spans = []
        for hole in range(1, 11):
            eighths = min(max(heights[hole] - 8 * (rows - 1 - row), 0), 8)
            pen = hole_pen(state, hole)
            text = f"{_EIGHTHS[eighths] * (cell - 2):^{cell}}"
            spans.append((text, "trail" if pen in ("sounding", "strong") else pen))
        drawn.append(tuple(spans))
    return drawn


def cleanness_row(state: HoleStripState) -> TextRow:
    """Breath and cleanness in words."""
    breath = f"{state.breath}, " if state.breath and state.sounding else ""
    if state.leak_hole is not None and state.leak_db is not None:
        return (
            (f" {breath}", "text"),
            (f"hole {state.leak_hole} leaks, {state.leak_db:.0f} dB", "leak"),
        )
    if state.sounding:
        holes = " ".join(str(hole) for hole in state.sounding)
        which = f"hole {holes} alone" if len(state.sounding) == 1 else f"holes {holes}"
        return ((f" {breath}{which}", "text"),)
    return ((" no hole sounds", "quiet"),)


class HoleStrip(Canvas[HoleStripState]):
    """The ten-hole strip."""

    def draw(self, state: HoleStripState, width: int, height: int) -> Sequence[TextRow]:
        """Bars, the numbers under them, and the words."""
        cell = max(3, width // 10)
        return [
            *level_bar_rows(state, cell, max(1, height - 2)),
            hole_numbers_row(state, cell),
            cleanness_row(state),
        ]
