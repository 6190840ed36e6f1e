"""Layout of a page of tab as plain text: what to play, with the beats below it.

Bars start in the same columns on every line; a pick-up, bar 0, has a line of its own. ``r`` is a
rest, and a dot is a beat through which the note before is held. Beats are counted as players count
them aloud: 1 & 2 &, 1 e & a, and & a for triplets; other places in a beat get a tick. A free clock
has no beats. The second part is below the first, above the same beats. Directions are above their
notes: ``(blur`` above the first, ``)`` above the last.
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
from trainer.report.directions import ROWS, SOLO, Directions, written_tab
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import WIDTH
from trainer.report.legend import COUNT_SYLLABLES, HELD, OTHER_PLACE, REST, legend_text

LINE_LENGTHS = (8, 4, 2, 1)
"""Numbers of bars that may share a line; the largest that fits is used, so that phrases start
lines."""

PROSE_COLUMNS = 80
"""Maximum line width of prose in columns."""

GAP = 2
"""Minimum columns between two notes."""

WORDS, TAB, COUNT = "words", "tab", "count"
"""Kinds of rows: directions, tab, and beats."""

_Cell = tuple[str, ...]
"""A column of the page: the text of each row, from the top."""
_ATOM = re.compile(r"[^>=+/]+[>=+/]?")
"""Parts of a tab at which it may be broken: a joining sign ends the part before it."""


def drill_text(drill: Drill, width: int = WIDTH) -> str:
    """Return a drill as text: title, description, summary, page of tab, and legend.

    Args:
        drill: the drill.
        width: line width in columns, 20 or more.
    """
    prose = min(width, PROSE_COLUMNS)
    paragraphs = [drill.title, " ".join(drill.about.split()), drill_summary(drill)]
    blocks = [textwrap.fill(text, prose) for text in paragraphs]
    grid = _Grid(drill)
    blocks += [grid.page(width), legend_text(drill, grid.signs, grid.parts, prose)]
    blocks += [textwrap.fill(line, prose) for line in remark_lines(drill)]
    return "\n\n".join(block for block in blocks if block)


def remark_lines(drill: Drill) -> list[str]:
    """Return a drill's sections and remarks, a line each."""
    lines = []
    if drill.sections:
        named = (
            f"{part.name} (bar{'s' * (part.first != part.last)} {part.first}"
            + (f"-{part.last})" if part.first != part.last else ")")
            for part in drill.sections
        )
        lines.append(f"Sections: {', '.join(named)}.")
    return lines + [
        f"{remark.place[0].upper()}{remark.place[1:]}: {remark.text}" for remark in drill.remarks
    ]


def tab_page_text(drill: Drill, width: int = WIDTH) -> str:
    """Return the page of tab of a drill, with the beats below it.

    Args:
        drill: the drill.
        width: line width in columns, 20 or more. A wider bar continues on the next line, and so
            does a wider tab, after a joining sign.
    """
    return _Grid(drill).page(width)


@dataclass(frozen=True, slots=True)
class TabTable:
    """A page of tab as a table, for layouts other than columns of text.

    Attributes:
        kinds: kind of each row, from the top: `WORDS`, `TAB` or `COUNT`.
        bars: columns of each bar from left to right, by its number (0 for a pick-up); a column
            has a text for each row.
        legend: meanings of its signs.
        starts: beat on which each column of a bar starts, by the bar's number.
        ends: beat on which a bar ends, by its number.
    """

    kinds: tuple[str, ...]
    bars: Mapping[int, tuple[tuple[str, ...], ...]]
    legend: str
    starts: Mapping[int, tuple[Fraction, ...]]
    ends: Mapping[int, Fraction]


def tab_table(drill: Drill) -> TabTable:
    """Return the page of tab of a drill as a table; directions are repeated in each bar."""
    grid = _Grid(drill)
    return TabTable(
        tuple(grid.kinds),
        grid.bars(1),
        legend_text(drill, grid.signs, grid.parts, PROSE_COLUMNS),
        {number: tuple(places) for number, places in grid.places.items()},
        {number: min(drill.first_beat(number + 1), drill.end) for number in grid.places},
    )


@dataclass(frozen=True, slots=True)
class _Bar:
    """A bar, or the part of it on one line: its cells and their widths in columns."""

    cells: tuple[_Cell, ...]
    widths: tuple[int, ...]

    @property
    def width(self) -> int:
        return sum(self.widths)

    def row(self, number: int) -> str:
        """Return a row; directions extend over the cells to their right."""
        row, at = "", 0
        for cell, width in zip(self.cells, self.widths, strict=True):
            row = row.ljust(at) + cell[number]
            at += width
        return row


class _Grid:
    """A drill as cells, in rows of directions, tab and beats."""

    def __init__(self, drill: Drill) -> None:
        self._drill = drill
        self._directions = Directions(drill)
        self._parts = [drill.steps, *([drill.second] if drill.second else [])]
        self._starts = [_starts(drill, part) for part in self._parts]
        self.kinds = ([WORDS] * ROWS + [TAB]) * len(self._parts)
        self.kinds += [] if drill.free else [COUNT]
        self.places = {
            number: self._places_in(number)
            for number in range(0 if drill.start else 1, drill.bars + 1)
        }

    @property
    def signs(self) -> frozenset[str]:
        """Return all texts on the page."""
        return frozenset(text for cells in self.bars(1).values() for cell in cells for text in cell)

    @property
    def parts(self) -> frozenset[Fraction]:
        """Return the positions in a beat that are counted, from 0 to less than 1."""
        if self._drill.free:
            return frozenset()
        return frozenset(at % 1 for places in self.places.values() for at in places)

    def page(self, width: int) -> str:
        """Return the page, in lines of at most `width` columns."""
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
        """Return the beats of a bar on which a note starts or that are counted."""
        first, end = self._drill.first_beat(number), self._drill.first_beat(number + 1)
        end = min(end, self._drill.end)
        beats = {at for starts in self._starts for at in starts if first <= at < end}
        beats |= {each.start for each in self._drill.chords if first <= each.start < end}
        if not self._drill.free:
            beats |= {Fraction(beat) for beat in range(math.ceil(first), math.ceil(end))}
        return sorted(beats or {first})

    def bars(self, count: int) -> dict[int, tuple[_Cell, ...]]:
        """Return the cells of each bar by its number, with `count` bars on a line."""
        meter = self._drill.meter[0]
        over = [
            self._directions.over(part, lambda at: math.floor(at / (meter * count)))
            for part in self._parts
        ]
        bars = {}
        for number, places in self.places.items():
            cells = []
            for at in places:
                cell: _Cell = ()
                for words, starts in zip(over, self._starts, strict=True):
                    cell += (*words.get(at, ("",) * ROWS), starts.get(at, HELD))
                cells.append(cell if self._drill.free else (*cell, _count(at, meter)))
            bars[number] = tuple(cells)
        return bars

    def _whole(self, cells: tuple[_Cell, ...]) -> _Bar:
        """Return a whole bar, wide enough for directions above the empty cells to their right."""
        widths = [self._width_of(cell, (TAB, COUNT)) for cell in cells]
        for row, kind in enumerate(self.kinds):
            places = [i for i, cell in enumerate(cells) if kind == WORDS and cell[row]]
            for here, after in pairwise([*places, len(cells)]):
                widths[here] += max(0, len(cells[here][row]) + 1 - sum(widths[here:after]))
        return _Bar(cells, tuple(widths))

    def _width_of(self, cell: _Cell, kinds: Sequence[str]) -> int:
        texts = zip(cell, self.kinds, strict=True)
        return max(len(text) for text, kind in texts if kind in kinds) + GAP

    def _in_pieces(self, margin: int, width: int) -> str:
        """Return the page with bars and tabs broken over lines."""
        lines = []
        room = width - margin - 1
        for number, cells in self.bars(1).items():
            head = f"{number:<{margin}}"
            rest = [piece for cell in cells for piece in self._pieces(cell, room - GAP)]
            while rest:
                taken: list[_Cell] = []
                widths: list[int] = []
                while rest and (
                    not taken or sum(widths) + self._width_of(rest[0], _ALL_KINDS) <= room
                ):
                    widths.append(self._width_of(rest[0], _ALL_KINDS))
                    taken.append(rest.pop(0))
                bar = _Bar(tuple(taken), tuple(widths))
                lines.append(self._line(head, [(bar, bar.width)], closed=not rest))
                head = " " * margin
        return "\n\n".join(lines)

    def _pieces(self, cell: _Cell, room: int) -> list[_Cell]:
        """Return a cell as one or more cells of at most `room` columns."""
        columns = [
            _broken(text, room) if kind == TAB else [text[:room]]
            for text, kind in zip(cell, self.kinds, strict=True)
        ]
        count = max(map(len, columns))
        for column, kind in zip(columns, self.kinds, strict=True):
            column += [HELD if kind == TAB else ""] * (count - len(column))
        return list(zip(*columns, strict=True))

    def _line(self, head: str, bars: Sequence[tuple[_Bar, int]], *, closed: bool = True) -> str:
        """Return a line of the page without its empty rows.

        Args:
            head: the number of the first bar, as wide as the margin.
            bars: the bars with their widths in columns.
            closed: whether the last bar ends here.
        """
        lines = []
        for row, kind in enumerate(self.kinds):
            end = "|" if kind == TAB and closed else " "
            text = " ".join(f"{bar.row(row):<{room}}{end}" for bar, room in bars)
            if kind == TAB or text.strip():
                margin = head if row == self.kinds.index(TAB) else " " * len(head)
                lines.append(f"{margin}{text}".rstrip())
        return "\n".join(lines)


_ALL_KINDS = (WORDS, TAB, COUNT)


def _broken(text: str, room: int) -> list[str]:
    """Return a tab in pieces of at most `room` characters."""
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
    """Return the text that starts on each beat of a part: its steps and rests."""
    starts: dict[Fraction, str] = {}
    bar_lines = [drill.first_beat(number) for number in range(1, drill.bars + 1)]
    silent_from = drill.start
    for step in part:
        starts |= _rest(silent_from, step.start, bar_lines)
        starts[step.start] = written_tab(step)
        silent_from = step.end
    starts |= _rest(silent_from, drill.end, bar_lines)
    if part is drill.steps:
        for solo in drill.solos:  # a rest after a solo is a rest again
            inside = [at for at in starts if solo.start <= at < solo.end]
            rests_on = solo.end < drill.end and solo.end not in starts
            starts |= dict.fromkeys([*inside, solo.start], SOLO)
            starts |= {solo.end: REST} if rests_on else {}
    return starts


def _rest(start: Fraction, end: Fraction, bar_lines: Sequence[Fraction]) -> dict[Fraction, str]:
    """Return a rest, repeated in each bar that it extends into."""
    if start >= end:
        return {}
    return dict.fromkeys([start, *(line for line in bar_lines if start < line < end)], REST)


def _count(at: Fraction, meter: int) -> str:
    whole, part = divmod(at % meter, 1)
    return COUNT_SYLLABLES.get(part, OTHER_PLACE) if part else str(whole + 1)
