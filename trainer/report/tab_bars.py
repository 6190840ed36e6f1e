"""Bars of tab as the template ``tab.html.j2`` draws them: a small table per bar."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from trainer.report.legend import HELD, REST
from trainer.report.tab_layout import COUNT, TAB, WORDS, TabTable

BARS_PER_LINE = (4, 2, 1)
"""Numbers of bars that may share a line; the largest that fits is used, so that phrases start
lines."""
LINE_COLUMNS = 88
"""Characters of tab that fit on a line of paper."""
CELL_GAP = 3
"""Space between two notes in characters."""
_ROW_CLASSES = {WORDS: "words", TAB: "tab", COUNT: "count"}


@dataclass(frozen=True, slots=True)
class TabCell:
    """A cell of a bar.

    Attributes:
        text: what it shows.
        span: number of columns that it covers, where the row states it; None means 1.
    """

    text: str
    span: int | None = None


@dataclass(frozen=True, slots=True)
class TabRow:
    """A row of a bar.

    Attributes:
        kind: ``words``, ``tab`` or ``count``; the CSS class of the row.
        cells: from left to right.
        has_marks_below: whether marks may stand below it: the tab of the first part.
    """

    kind: str
    cells: tuple[TabCell, ...]
    has_marks_below: bool = False


@dataclass(frozen=True, slots=True)
class TabBar:
    """A bar.

    Attributes:
        number: of the bar; 0 is a pick-up.
        rows: from the top.
        steps: for each column, the index of the step of the first part that begins there; None
            where none does.
    """

    number: int
    rows: tuple[TabRow, ...]
    steps: tuple[int | None, ...]

    @property
    def is_pickup(self) -> bool:
        """Whether it is the pick-up."""
        return self.number == 0

    @property
    def label(self) -> str:
        """Its name for a screen reader."""
        return "pick-up" if self.is_pickup else f"bar {self.number}"


@dataclass(frozen=True, slots=True)
class TabBars:
    """The bars of a page.

    Attributes:
        bars: in order.
        bars_per_line: 4, 2 or 1.
    """

    bars: tuple[TabBar, ...]
    bars_per_line: int

    @classmethod
    def of(cls, table: TabTable) -> TabBars:
        """Return the bars of a laid-out page of tab."""
        steps = _steps(table)
        bars = tuple(TabBar(number, _rows(table, number), steps[number]) for number in table.bars)
        return cls(bars, _bars_per_line(table))


def _steps(table: TabTable) -> dict[int, tuple[int | None, ...]]:
    """Return the step of the first part that begins in each column, by bar."""
    row = table.kinds.index(TAB)
    index = 0
    steps: dict[int, tuple[int | None, ...]] = {}
    for number, cells in table.bars.items():
        columns: list[int | None] = []
        for cell in cells:
            begins = cell[row] not in (HELD, REST, "")
            columns.append(index if begins else None)
            index += begins
        steps[number] = tuple(columns)
    return steps


def _bars_per_line(table: TabTable) -> int:
    rows = [row for row, kind in enumerate(table.kinds) if kind != WORDS]
    widest = max(
        sum(max(len(cell[row]) for row in rows) + CELL_GAP for cell in cells)
        for cells in table.bars.values()
    )
    return next((count for count in BARS_PER_LINE if count * widest <= LINE_COLUMNS), 1)


def _rows(table: TabTable, number: int) -> tuple[TabRow, ...]:
    """Return the rows of a bar; rows of directions that hold none are left out."""
    first_tab = table.kinds.index(TAB)
    rows = []
    for row, kind in enumerate(table.kinds):
        texts = [cell[row] for cell in table.bars[number]]
        if kind == WORDS and not any(texts):
            continue
        cells = _merged(texts) if kind == WORDS else tuple(TabCell(text) for text in texts)
        rows.append(TabRow(_ROW_CLASSES[kind], cells, row == first_tab))
    return tuple(rows)


def _merged(texts: list[str]) -> tuple[TabCell, ...]:
    """Return directions as cells that cover the empty columns to their right."""
    starts = [i for i, text in enumerate(texts) if text] or [0]
    groups = [max([start for start in starts if start <= i], default=0) for i in range(len(texts))]
    return tuple(TabCell(texts[start], len(list(group))) for start, group in groupby(groups))
