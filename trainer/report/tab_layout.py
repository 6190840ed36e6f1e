"""The page of tab as plain text: what to play, with the beats under it.

Every bar starts in the same columns from line to line; a pick-up, bar 0, has a line of its own.
A rest is ``r``; a dot is a beat through which what came before is held. Beats are counted as
players count them aloud: 1 & 2 &, 1 e & a, and & a for triplets; other places in a beat get a
tick. Where the clock is free there are no beats. A second part stands under the first, over the
same beats. Directions stand over their notes: ``(loose`` over the first, ``)`` over the last.
"""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from trainer.drill import Drill, Step
from trainer.report.directions import ROWS, Directions
from trainer.report.drill_report import drill_summary
from trainer.report.legend import COUNT_SYLLABLES, HELD, OTHER_PLACE, REST, legend_text

LINE_LENGTHS = (8, 4, 2, 1)
"""Bars on a line, the most that fit, so that phrases start lines."""

PROSE_COLUMNS = 80
"""Prose is set no wider than this."""

GAP = 2
"""Columns between one thing and the next."""

WORDS, TAB, COUNT = "words", "tab", "count"
"""What a row of the page holds."""

_Cell = tuple[str, ...]
"""A column of the page: what starts there, in each row from the top."""
_ATOM = re.compile(r"[^>=+/]+[>=+/]?")
"""What a long tab is broken into: a sign that joins two things ends the first."""


def drill_text(drill: Drill, width: int = 80) -> str:
    """A drill for reading: title, what it trains, its facts and goal, its page of tab, and what
    the signs on that mean.

    Args:
        drill: the drill.
        width: columns that a line may take, 20 or more.
    """
    prose = min(width, PROSE_COLUMNS)
    paragraphs = [drill.title, " ".join(drill.about.split()), drill_summary(drill)]
    told = [textwrap.fill(text, prose) for text in paragraphs]
    grid = _Grid(drill)
    told += [grid.page(width), legend_text(drill, grid.signs, grid.parts, prose)]
    return "\n\n".join(text for text in told if text)


def tab_page_text(drill: Drill, width: int = 80) -> str:
    """The page of tab of a drill, with the beats under it.

    Args:
        drill: the drill.
        width: columns that a line may take, 20 or more. A bar that is wider goes on in the
            next line, and so does a tab that is wider, after a sign that joins two things.
    """
    return _Grid(drill).page(width)


@dataclass(frozen=True, slots=True)
class TabTable:
    """A page of tab as a table, for whoever lays it out otherwise than in columns of text.

    Attributes:
        kinds: what each row holds, from the top: `WORDS`, `TAB` or `COUNT`.
        bars: by their number, 0 for a pick-up: what starts there, from left to right, as the texts
            of its rows.
        legend: what the signs on it mean.
    """

    kinds: tuple[str, ...]
    bars: Mapping[int, tuple[tuple[str, ...], ...]]
    legend: str


def tab_table(drill: Drill) -> TabTable:
    """The page of tab of a drill as a table; directions are said in each bar anew."""
    grid = _Grid(drill)
    return TabTable(
        tuple(grid.kinds), grid.bars(1), legend_text(drill, grid.signs, grid.parts, PROSE_COLUMNS)
    )


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar, or as much of it as goes on a line: its cells, and the columns that each takes."""

    cells: tuple[_Cell, ...]
    widths: tuple[int, ...]

    @property
    def width(self) -> int:
        return sum(self.widths)

    def row(self, number: int) -> str:
        """A row of it; words reach over the cells after theirs."""
        row, at = "", 0
        for cell, width in zip(self.cells, self.widths, strict=True):
            row = row.ljust(at) + cell[number]
            at += width
        return row


class _Grid:
    """A drill as cells: what starts when, in rows of directions, tab and beats."""

    def __init__(self, drill: Drill) -> None:
        self._drill = drill
        self._directions = Directions(drill)
        self._parts = [drill.steps, *([drill.second] if drill.second else [])]
        self._starts = [_starts(drill, part) for part in self._parts]
        self.kinds = ([WORDS] * ROWS + [TAB]) * len(self._parts)
        self.kinds += [] if drill.free else [COUNT]
        self._places = {
            number: self._places_in(number)
            for number in range(0 if drill.start else 1, drill.bars + 1)
        }

    @property
    def signs(self) -> frozenset[str]:
        """All that stands on the page."""
        return frozenset(text for cells in self.bars(1).values() for cell in cells for text in cell)

    @property
    def parts(self) -> frozenset[Fraction]:
        """The parts of a beat, 0 to less than 1, that are counted."""
        if self._drill.free:
            return frozenset()
        return frozenset(at % 1 for places in self._places.values() for at in places)

    def page(self, width: int) -> str:
        """The page, in lines of at most `width` columns."""
        margin = len(str(self._drill.bars)) + 1
        for count in LINE_LENGTHS:
            whole = {number: self._whole(cells) for number, cells in self.bars(count).items()}
            pickup = [whole.pop(0)] if self._drill.start else []
            bars = list(whole.values())
            rooms = [max(bar.width for bar in bars[i::count]) for i in range(min(count, len(bars)))]
            room = margin + sum(rooms) + 2 * len(rooms) - 1
            if max([room, *(margin + bar.width + 1 for bar in pickup)]) <= width:
                break
        else:
            return self._in_pieces(margin, width)
        lines = [self._line(f"{0:<{margin}}", [(bar, bar.width)]) for bar in pickup]
        for first in range(0, len(bars), count):
            row = list(zip(bars[first : first + count], rooms, strict=False))
            lines.append(self._line(f"{first + 1:<{margin}}", row))
        return "\n\n".join(lines)

    def _places_in(self, number: int) -> list[Fraction]:
        """The beats of a bar on which something starts or is counted."""
        first, end = self._drill.first_beat(number), self._drill.first_beat(number + 1)
        end = min(end, self._drill.end)
        found = {at for starts in self._starts for at in starts if first <= at < end}
        if not self._drill.free:
            found |= {Fraction(beat) for beat in range(math.ceil(first), math.ceil(end))}
        return sorted(found or {first})

    def bars(self, count: int) -> dict[int, tuple[_Cell, ...]]:
        """The cells of each bar, by its number, where so many bars go on a line."""
        meter = self._drill.meter[0]
        over = [
            self._directions.over(part, lambda at: math.floor(at / (meter * count)))
            for part in self._parts
        ]
        bars = {}
        for number, places in self._places.items():
            cells = []
            for at in places:
                cell: _Cell = ()
                for words, starts in zip(over, self._starts, strict=True):
                    cell += (*words.get(at, ("",) * ROWS), starts.get(at, HELD))
                cells.append(cell if self._drill.free else (*cell, _count(at, meter)))
            bars[number] = tuple(cells)
        return bars

    def _whole(self, cells: tuple[_Cell, ...]) -> _Bar:
        """A bar whose words reach over the cells after theirs, as far as these have none."""
        widths = [self._wide(cell, (TAB, COUNT)) for cell in cells]
        for row, kind in enumerate(self.kinds):
            places = [i for i, cell in enumerate(cells) if kind == WORDS and cell[row]]
            for here, after in pairwise([*places, len(cells)]):
                widths[here] += max(0, len(cells[here][row]) + 1 - sum(widths[here:after]))
        return _Bar(cells, tuple(widths))

    def _wide(self, cell: _Cell, kinds: Sequence[str]) -> int:
        texts = zip(cell, self.kinds, strict=True)
        return max(len(text) for text, kind in texts if kind in kinds) + GAP

    def _in_pieces(self, margin: int, width: int) -> str:
        """Bars that go on from line to line, and tabs likewise."""
        lines = []
        room = width - margin - 1
        for number, cells in self.bars(1).items():
            head = f"{number:<{margin}}"
            rest = [piece for cell in cells for piece in self._pieces(cell, room - GAP)]
            while rest:
                taken: list[_Cell] = []
                widths: list[int] = []
                while rest and (not taken or sum(widths) + self._wide(rest[0], _ALL) <= room):
                    widths.append(self._wide(rest[0], _ALL))
                    taken.append(rest.pop(0))
                bar = _Bar(tuple(taken), tuple(widths))
                lines.append(self._line(head, [(bar, bar.width)], closed=not rest))
                head = " " * margin
        return "\n\n".join(lines)

    def _pieces(self, cell: _Cell, room: int) -> list[_Cell]:
        """A cell as one or more that are no wider than the room."""
        columns = [
            _broken(text, room) if kind == TAB else [text[:room]]
            for text, kind in zip(cell, self.kinds, strict=True)
        ]
        count = max(map(len, columns))
        for column, kind in zip(columns, self.kinds, strict=True):
            column += [HELD if kind == TAB else ""] * (count - len(column))
        return list(zip(*columns, strict=True))

    def _line(self, head: str, bars: Sequence[tuple[_Bar, int]], *, closed: bool = True) -> str:
        """A line of the page: as many rows as have something to say, the bar's number in front.

        Args:
            head: the number, as wide as the margin.
            bars: the bars, and the columns that each gets.
            closed: whether the last one ends here.
        """
        lines = []
        for row, kind in enumerate(self.kinds):
            end = "|" if kind == TAB and closed else " "
            text = " ".join(f"{bar.row(row):<{room}}{end}" for bar, room in bars)
            if kind == TAB or text.strip():
                margin = head if row == self.kinds.index(TAB) else " " * len(head)
                lines.append(f"{margin}{text}".rstrip())
        return "\n".join(lines)


_ALL = (WORDS, TAB, COUNT)


def _broken(text: str, room: int) -> list[str]:
    """A tab in pieces that are no longer than the room."""
    if len(text) <= room:
        return [text]
    pieces = [""]
    for atom in _ATOM.findall(text):
        for part in textwrap.wrap(atom, room):
            if len(pieces[-1]) + len(part) > room:
                pieces.append("")
            pieces[-1] += part
    return pieces


def _starts(drill: Drill, part: Sequence[Step]) -> dict[Fraction, str]:
    """What starts on which beat in a part: each step, and each rest that fills a gap."""
    starts: dict[Fraction, str] = {}
    bar_lines = [drill.first_beat(number) for number in range(1, drill.bars + 1)]
    silent_from = drill.start
    for step in part:
        starts |= _rest(silent_from, step.start, bar_lines)
        starts[step.start] = step.tab
        silent_from = step.end
    return starts | _rest(silent_from, drill.end, bar_lines)


def _rest(start: Fraction, end: Fraction, bar_lines: Sequence[Fraction]) -> dict[Fraction, str]:
    """A rest, begun again in each bar that it reaches into."""
    if start >= end:
        return {}
    return dict.fromkeys([start, *(line for line in bar_lines if start < line < end)], REST)


def _count(at: Fraction, meter: int) -> str:
    whole, part = divmod(at % meter, 1)
    return COUNT_SYLLABLES.get(part, OTHER_PLACE) if part else str(whole + 1)
