"""The level bar: the input level over its whole range, with the range that is good for a note."""

from __future__ import annotations

from trainer.app.canvas import TextRow, merge_spans
from trainer.app.widgets.status_line import METER_FLOOR_DB

FAINT_DB, TOO_LOUD_DB = -50.0, -6.0
"""Range of a good level for a note in dB re full scale: above a room's noise, below clipping."""
BAR_CELLS = 60
"""Largest width of the bar in cells."""


def level_bar_rows(level_db: int | None, width: int, rows: int = 2) -> list[TextRow]:
    """Draw the bar, its scale, and the level as a number.

    Args:
        level_db: level in dB re full scale; None while the input is closed.
        width: width in cells.
        rows: height of the bar.
    """
    cells = min(BAR_CELLS, width - 2)
    loud = level_db is not None and level_db > TOO_LOUD_DB
    faint = level_db is None or level_db <= FAINT_DB
    filled = 0 if level_db is None else _cell(level_db, cells)
    bar: TextRow = (
        ("▕", "quiet"),
        ("█" * filled, "wrong" if loud else "quiet" if faint else "good"),
        ("─" * (cells - filled), "faint"),
        ("▏", "quiet"),
    )
    good, high = _cell(FAINT_DB, cells), _cell(TOO_LOUD_DB, cells)
    number = "no input" if level_db is None else f"{level_db} dB"
    scale = [" "] * (cells + 2)
    for at, word in ((good + 1, "└ good"), (high + 1, "└ loud")):
        scale[at : at + len(word)] = word[: len(scale) - at]
    middle = (good + high - len(number)) // 2
    scale[middle : middle + len(number)] = number
    return [merge_spans(bar)] * rows + [(("".join(scale), "quiet"),)]


def _cell(level_db: float, cells: int) -> int:
    share = min(max(1.0 - level_db / METER_FLOOR_DB, 0.0), 1.0)
    return round(share * cells)
