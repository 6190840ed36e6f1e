"""The screens of a take on paper: which rows each part gets in a window.

This is the practice screen; one that listens without a drill has notes in place of tab and marks.

A short window has the page of tab beside the trace:

    head
    tab, a bar on a line │ trace
    needle over its scale
    readout │ holes
    newest mark; weakest step, last pass
    status

A tall one has whole phrases on a line, as on a sheet, and the trace below them. Needle and readout
grow with the window:

    head
    tab, two or three bars on a line
    trace
    needle, 6 rows of 40, over its scale
    readout │ holes
    newest mark; weakest step, last pass
    status

The far view leaves the needle and the readout, which fill the window.
"""

from __future__ import annotations

from dataclasses import dataclass

from trainer.app.widgets.readout import LARGE_ROWS
from trainer.app.widgets.tab_page import ROWS_PER_LINE, lay_out_tab
from trainer.drill import Drill

TALL_ROWS = 34
"""Rows from which a screen uses its roomier layout."""
ROWS_PER_NEEDLE_ROW = 6
"""Rows of a tall window, or of the far view, per row of the needle."""
MIN_FAR_NEEDLE_ROWS = 4
"""Minimum rows of the needle in the far view."""
MIN_TRACE_ROWS = 9
"""Minimum rows of the trace in a tall window: six are plot."""
GOOD_TRACE_ROWS = 11
"""Rows of the trace in a tall window from which the readout grows instead."""
LARGE_READOUT_ROWS = 48
"""Rows of a window from which a screen without tab has the large readout."""
PAGE_MARGIN = 1
"""Blank cells on either side of the page of tab."""
_HEAD, _SCALE, _GAP, _READOUT, _MARKS = 1, 1, 1, 4, 2
_NOTES, _TALL_NOTES = 2, 8


@dataclass(frozen=True, slots=True)
class ScreenRows:
    """Rows of the grid of a screen, those for margins included.

    Attributes:
        rows: rows of each part, top to bottom; 0 for one that fills what is left.
    """

    rows: tuple[int, ...]

    @property
    def css(self) -> str:
        """The rows as a value of the style ``grid-rows``."""
        return " ".join(str(row) if row else "1fr" for row in self.rows)


def practice_layout(
    drill: Drill, width: int, height: int, *, far: bool, status: int, trouble: bool, footer: int = 1
) -> ScreenRows:
    """Lay out the practice screen.

    Args:
        drill: what is on the page of tab.
        width: columns of the window.
        height: rows of the window.
        far: whether the far view is shown.
        status: rows of the status line.
        trouble: whether it takes the place of the marks.
        footer: rows of the footer.
    """
    if far:
        needle = max(MIN_FAR_NEEDLE_ROWS, height // ROWS_PER_NEEDLE_ROW)
        return ScreenRows((_HEAD, needle + _SCALE, 0, status))
    if height < TALL_ROWS:
        return ScreenRows((_HEAD, 0, 1 + _SCALE, _READOUT, *_lower(_MARKS, status, trouble)))
    needle = height // ROWS_PER_NEEDLE_ROW + _SCALE + _GAP
    lower = _lower(_MARKS + _GAP, status, trouble)
    free = height - _HEAD - needle - _READOUT - _GAP - sum(lower) - footer
    most = max(2, (free - MIN_TRACE_ROWS) // ROWS_PER_LINE)
    page = lay_out_tab(drill, width - 2 * PAGE_MARGIN, most)
    page_rows = min(len(page.lines), most) * ROWS_PER_LINE
    readout = _READOUT
    if free - page_rows - (LARGE_ROWS - _READOUT) >= GOOD_TRACE_ROWS:
        readout = LARGE_ROWS
    return ScreenRows((_HEAD, page_rows, 0, needle, readout + _GAP, *lower))


def listening_layout(
    height: int, *, strip: int, tone: bool, status: int, trouble: bool
) -> ScreenRows:
    """Lay out a screen that listens without a drill: the trace takes what is left.

    Args:
        height: rows of the window.
        strip: rows of what stands under the head; 0 for nothing.
        tone: whether a row of the reference tone follows the notes.
        status: rows of the status line.
        trouble: whether it takes the place of notes and tone.
    """
    is_tall = height >= TALL_ROWS
    needle, readout, notes = 1 + _SCALE, _READOUT, _NOTES
    if is_tall:
        needle = height // ROWS_PER_NEEDLE_ROW + _SCALE + _GAP
        readout = (LARGE_ROWS if height >= LARGE_READOUT_ROWS else _READOUT) + _GAP
        notes = _TALL_NOTES
    below = () if trouble else (notes, 1) if tone else (notes,)
    return ScreenRows((_HEAD, *((strip,) if strip else ()), 0, needle, readout, *below, status))


def _lower(marks: int, status: int, trouble: bool) -> tuple[int, ...]:
    """Return the rows of the marks and the status; trouble takes the place of the marks."""
    return (status,) if trouble else (marks, status)
