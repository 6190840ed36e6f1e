"""The hole strip: which of the ten holes sound, and the level of a leak."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow
from trainer.app.display_smoothing import DisplayedReading
from trainer.harp import Breath

BAR_FLOOR_DB = -40.0
"""Level at which a bar vanishes, in dB relative to the main hole."""
_EIGHTHS = " ▁▂▃▄▅▆▇█"


@dataclass(frozen=True, slots=True)
class HoleStripState:
    """State of the strip.

    Attributes:
        sounding: holes that sound.
        wanted: holes that should sound.
        leak_hole, leak_db: the loudest unwanted hole, and its level relative to the main one.
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
    def of(cls, reading: DisplayedReading) -> HoleStripState:
        """Make the strip of a smoothed reading."""
        return cls(
            reading.holes,
            tuple(tab.hole for tab in reading.wanted),
            reading.leak_hole,
            reading.leak_db,
            tuple((hole, round(level)) for hole, level in reading.levels),
            reading.breath,
        )


def hole_pen(state: HoleStripState, hole: int) -> str:
    """Return the pen of a hole."""
    if hole in state.sounding or hole == state.leak_hole:
        return "leak" if _is_leak(state, hole) else "sounding"
    return "strong" if hole in state.wanted else "quiet"


def _is_leak(state: HoleStripState, hole: int) -> bool:
    if state.wanted:
        return hole not in state.wanted
    return hole == state.leak_hole


def hole_numbers_row(state: HoleStripState, cell: int) -> TextRow:
    """Draw the numbers: wanted holes in brackets, sounding ones reversed, a leak with ``!``."""
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
    """Draw the levels as bars, top row first."""
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
    """Draw breath and cleanness in words."""
    breath = f"{state.breath}, " if state.breath and state.sounding else ""
    if state.leak_hole is not None and state.leak_db is not None:
        return (
            (f" {breath}", "text"),
            (f"hole {state.leak_hole} leaks, {state.leak_db:.0f} dB", "leak"),
        )
    if state.sounding:
        holes = " ".join(str(hole) for hole in state.sounding)
        text = f"hole {holes} alone" if len(state.sounding) == 1 else f"holes {holes}"
        return ((f" {breath}{text}", "text"),)
    return ((" silence", "quiet"),)


class HoleStrip(Canvas[HoleStripState]):
    """The hole strip."""

    def draw(self, state: HoleStripState, width: int, height: int) -> Sequence[TextRow]:
        """Draw bars, numbers and words."""
        cell = max(3, width // 10)
        return [
            *level_bar_rows(state, cell, max(1, height - 2)),
            hole_numbers_row(state, cell),
            cleanness_row(state),
        ]
