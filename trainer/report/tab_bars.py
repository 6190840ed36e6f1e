"""Bars of tab as the template ``tab.html.j2`` draws them: lines of bars, a small table per bar.

Notes are spaced by their lengths as far as their texts leave room. A bracket is over the notes of a
triplet. Where it is wanted, an arrow under each note shows its breath.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from trainer.report.legend import HELD, REST
from trainer.report.tab_layout import COUNT, TAB, WORDS, TabTable

BARS_PER_LINE = (4, 2, 1)
"""Numbers of bars that may share a line. Of four bars that are too wide for one, two share a line
if they fit, so that phrases start lines."""
LINE_COLUMNS = 88
"""Characters of tab that fit on a line of paper."""
CELL_GAP = 3
"""Space between two notes in characters."""
TRIPLET = 3
"""Notes of a triplet, and the number over its bracket."""
BLOW, DRAW = "↑", "↓"
"""Arrows of the breath."""
BRACKET, BREATH = "bracket", "breath"
"""Kinds of rows beside those of the layout: brackets of triplets, and arrows of the breath."""


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
        kind: ``words``, ``bracket``, ``tab``, ``breath`` or ``count``; the CSS class of the row.
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
        shares: percentage of the bar's time that each column takes.
        columns: width in characters that its texts need.
    """

    number: int
    rows: tuple[TabRow, ...]
    steps: tuple[int | None, ...]
    shares: tuple[float, ...]
    columns: int

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
        lines: the same, line by line.
    """

    bars: tuple[TabBar, ...]
    lines: tuple[tuple[TabBar, ...], ...]

    @classmethod
    def of(cls, table: TabTable, *, breath: bool = False) -> TabBars:
        """Return the bars of a laid-out page of tab.

        Args:
            table: the page.
            breath: whether arrows show the breath.
        """
        steps = _steps(table)
        bars = tuple(
            TabBar(
                number,
                _rows(table, number, breath=breath),
                steps[number],
                _shares(table, number),
                _columns(table, number),
            )
            for number in table.bars
        )
        return cls(bars, tuple(_lines(bars)))


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


def _columns(table: TabTable, number: int) -> int:
    rows = [row for row, kind in enumerate(table.kinds) if kind != WORDS]
    return sum(max(len(cell[row]) for row in rows) + CELL_GAP for cell in table.bars[number])


def _shares(table: TabTable, number: int) -> tuple[float, ...]:
    starts, end = table.starts[number], table.ends[number]
    lengths = [after - at for at, after in zip(starts, [*starts[1:], end], strict=True)]
    whole = sum(lengths, Fraction(0)) or Fraction(1)
    return tuple(round(float(100 * length / whole), 2) for length in lengths)


def _lines(bars: Sequence[TabBar]) -> list[tuple[TabBar, ...]]:
    """Return the bars in lines; a pick-up has a line of its own."""
    lines: list[tuple[TabBar, ...]] = [(bar,) for bar in bars if bar.is_pickup]
    full = [bar for bar in bars if not bar.is_pickup]
    for first in range(0, len(full), BARS_PER_LINE[0]):
        lines += _broken(full[first : first + BARS_PER_LINE[0]])
    return lines


def _broken(bars: Sequence[TabBar]) -> list[tuple[TabBar, ...]]:
    """Return some bars in as few lines as they fit in, of equal numbers of bars."""
    for count in BARS_PER_LINE:
        lines = [tuple(bars[first : first + count]) for first in range(0, len(bars), count)]
        fits = all(sum(bar.columns for bar in line) <= LINE_COLUMNS for line in lines)
        if fits or count == 1:
            return lines
    return []


def _rows(table: TabTable, number: int, *, breath: bool) -> tuple[TabRow, ...]:
    """Return the rows of a bar; rows of directions and brackets that hold none are left out."""
    first_tab = table.kinds.index(TAB)
    rows = []
    for row, kind in enumerate(table.kinds):
        texts = [cell[row] for cell in table.bars[number]]
        if kind == WORDS:
            if any(texts):
                rows.append(TabRow(WORDS, _merged(texts)))
            continue
        if kind == TAB and (brackets := _brackets(table.starts[number], texts)):
            rows.append(TabRow(BRACKET, brackets))
        cells = tuple(TabCell(text) for text in texts)
        rows.append(TabRow(COUNT if kind == COUNT else TAB, cells, row == first_tab))
        if kind == TAB and breath:
            rows.append(TabRow(BREATH, tuple(TabCell(_arrow(text)) for text in texts)))
    return tuple(rows)


def _arrow(text: str) -> str:
    """Return the breath of what starts in a column as an arrow; empty where nothing starts."""
    if text in (HELD, REST, ""):
        return ""
    tab = text.rpartition(" ")[2]  # a grace note is before its note
    return DRAW if tab.startswith("-") else BLOW


def _brackets(starts: Sequence[Fraction], texts: Sequence[str]) -> tuple[TabCell, ...]:
    """Return the brackets over the triplets of a bar, a text over each; none without a triplet.

    A bracket begins with a note or rest on a beat, and goes on to the next one.
    """
    groups: list[list[int]] = []
    for column, (at, text) in enumerate(zip(starts, texts, strict=True)):
        if not groups or (at.denominator == 1 and text != HELD):
            groups.append([])
        groups[-1].append(column)
    is_triplet = [any(starts[i].denominator % TRIPLET == 0 for i in group) for group in groups]
    if not any(is_triplet):
        return ()
    cells: list[TabCell] = []
    for group, is_one in zip(groups, is_triplet, strict=True):
        if is_one:
            cells.append(TabCell(str(TRIPLET), len(group)))
        else:
            cells += [TabCell("")] * len(group)
    return tuple(cells)


def _merged(texts: list[str]) -> tuple[TabCell, ...]:
    """Return directions as cells that cover the empty columns to their right."""
    starts = [i for i, text in enumerate(texts) if text] or [0]
    groups = [max([start for start in starts if start <= i], default=0) for i in range(len(texts))]
    return tuple(TabCell(texts[start], len(list(group))) for start, group in groupby(groups))
