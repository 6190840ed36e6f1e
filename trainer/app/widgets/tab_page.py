"""The page of tab: it stays still while a cursor moves through it.

A line of the page holds whole bars if one fits, and as many as fill the width. It takes four rows:
the directions with the cursor over them, the tab with a dash for the length of each step, the
beats, and the marks below their steps.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from textual.geometry import Size

from trainer.app.canvas import Canvas, TextRow, row_from_cells
from trainer.app.shapes import DOUBTFUL_SIGN, OLD_SHAPE, grade_pen
from trainer.app.take_state import TakeState
from trainer.drill import Drill, Step
from trainer.marking import Mark
from trainer.report.directions import Directions, written_tab
from trainer.report.formatting import score_text
from trainer.report.grades import grade_of_mark

ROWS_PER_LINE = 4
"""Rows of one line of the page."""
BARS_ON_A_LINE = (1, 2, 3, 4, 6, 8)
"""Numbers of bars that a line may hold: phrases and choruses divide into lines of them."""
EASY_BEAT_CELLS = 10
"""Cells of a beat at which tab reads easily; a line holds the bars that come nearest to it."""
MAX_BEAT_CELLS = 24
"""Maximum cells of a beat, in drills too short to fill a line."""
MAX_NEEDED_CELLS = 24
"""Maximum cells of a beat that very short steps may claim; beyond it, their tab is cut."""
_EPS = 1e-6
"""Tolerance against rounding of beats, in cells."""


@dataclass(frozen=True, slots=True)
class PlacedStep:
    """A step with its first and last beat on the page."""

    step: Step
    start: float
    end: float


@dataclass(frozen=True, slots=True)
class TabLine:
    """One line of the page: the beats from `start` to `end`, and the steps within.

    Attributes:
        start, end: beats.
        steps: the steps within.
        directions: texts above the steps, by the beat that a step starts on.
    """

    start: float
    end: float
    steps: tuple[PlacedStep, ...]
    directions: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True)
class TabLayout:
    """Layout of a page.

    Attributes:
        lines: the lines, top to bottom.
        cells: cells per beat.
        meter: beats per bar.
    """

    lines: tuple[TabLine, ...]
    cells: int
    meter: int

    def column(self, line: TabLine, beat: float) -> int:
        """Return the column of a beat on a line; every bar is preceded by a bar line."""
        first_bar = math.ceil(line.start / self.meter) * self.meter
        bars = math.floor((beat - first_bar) / self.meter + _EPS) + 1
        return math.floor((beat - line.start) * self.cells + _EPS) + max(bars, 0)

    def place(self, beat: float) -> tuple[int, int]:
        """Return the line number and the column of a beat, clipped to the page."""
        number = max((i for i, line in enumerate(self.lines) if line.start <= beat), default=0)
        line = self.lines[number]
        return number, self.column(line, min(max(beat, line.start), line.end))


def lay_out_tab(drill: Drill, width: int, most: int) -> TabLayout:
    """Lay out a drill on lines of `width` cells.

    A beat gets at least the cells that its fullest step needs for tab and mark. If possible, the
    whole drill fits on `most` lines; then, lines hold equally many bars; then, a beat is about as
    wide as is easy to read. The bars fill the line.
    """
    meter = drill.meter[0]
    need = max((_cells_needed(step) for step in drill.steps), default=4)
    bars = _bars_on_a_line(drill, width, most, need)
    if bars:
        cells = min(_beat_cells(bars, meter, width), max(need, MAX_BEAT_CELLS))
        per_line = bars * meter
    else:
        per_line = max(1, (width - 2) // need)
        cells = max(1, (width - 2) // per_line)
    first = min(0, math.floor(drill.steps[0].start)) if drill.steps else 0
    whole = drill.bars * meter
    starts = ([first] if first < 0 else []) + list(range(0, whole, per_line))
    ends = [*starts[1:], whole]
    placed = [PlacedStep(step, float(step.start), float(step.end)) for step in drill.steps]
    texts = Directions(drill).in_one_row(drill.steps, lambda beat: bisect_right(starts, beat))
    lines = [
        TabLine(
            start,
            end,
            tuple(step for step in placed if step.start < end and step.end > start),
            tuple((float(at), text) for at, text in texts.items() if start <= at < end and text),
        )
        for start, end in zip(starts, ends, strict=True)
    ]
    return TabLayout(tuple(lines), cells, meter)


def _bars_on_a_line(drill: Drill, width: int, most: int, need: int) -> int:
    """Return the number of bars that a line holds; 0 where it cannot hold one."""
    meter, bars = drill.meter[0], drill.bars
    fitting = [n for n in BARS_ON_A_LINE if n * (need * meter + 1) < width and n <= bars]

    def preference(n: int) -> tuple[bool, bool, int]:
        return n * most < bars, bars % n > 0, abs(_beat_cells(n, meter, width) - EASY_BEAT_CELLS)

    return min(fitting, key=preference, default=0)


def _beat_cells(bars: int, meter: int, width: int) -> int:
    """Return the cells of a beat where a number of bars fills a line."""
    return ((width - 1) // bars - 1) // meter


def _cells_needed(step: Step) -> int:
    """Return the cells per beat that a step needs for its tab or mark and a space."""
    return min(MAX_NEEDED_CELLS, math.ceil((max(len(written_tab(step)), 3) + 1) / step.beats))


@dataclass(frozen=True)
class TabPageState:
    """State of the page.

    Attributes:
        drill: the drill.
        position: beats from its first; None before it has been started.
        now: index of the step in play; None in a rest.
        first, last: range of step indices that are played, the last excluded.
        marks: marks by step index.
        stale: indices of steps whose mark is from an earlier pass.
    """

    drill: Drill
    position: float | None = None
    now: int | None = None
    first: int = 0
    last: int = 0
    marks: Mapping[int, Mark] = field(default_factory=dict)
    stale: frozenset[int] = frozenset()

    @classmethod
    def of(cls, drill: Drill, take: TakeState) -> TabPageState:
        """Make the page of a drill and a take of it."""
        step = take.step
        now = step.index if step else None
        return cls(
            drill,
            take.playhead.position,
            now,
            *take.playhead.steps,
            take.sheet.by_step,
            take.sheet.stale,
        )


def top_line_shown(
    layout: TabLayout, position: float | None, height: int, first: float = 0.0
) -> int:
    """Return the number of the top line; it keeps the next line visible and scrolls late.

    Args:
        layout: the page.
        position: beats from the drill's first; None before it has been started.
        height: rows of the page.
        first: the beat from which it will be played, which is on top until it is started.
    """
    fit = max(1, height // ROWS_PER_LINE)
    line = layout.place(first if position is None else position)[0]
    above = 0 if position is None else max(0, fit - 2)
    return min(max(0, line - above), max(0, len(layout.lines) - fit))


def top_row(layout: TabLayout, number: int, position: float | None) -> TextRow:
    """Draw the row above a line: its directions, each as far as the next, and the cursor."""
    line = layout.lines[number]
    width = layout.column(line, line.end)
    cells, pens = [" "] * width, ["quiet"] * width
    columns = [*(layout.column(line, beat) for beat, _ in line.directions), width + 1]
    for (_, text), (x, following) in zip(line.directions, pairwise(columns), strict=True):
        room = max(1, following - x - 1)
        shown = text if len(text) <= room else f"{text[: room - 1]}…"
        cells[x : x + len(shown)] = shown
    if position is not None and position >= layout.lines[0].start:
        placed, x = layout.place(position)
        if placed == number:
            cells[x : x + 1], pens[x : x + 1] = "▼", ["now"]
    used = max((x + 1 for x, cell in enumerate(cells) if cell != " "), default=0)
    return row_from_cells(cells[:used], pens[:used])


def line_rows(
    layout: TabLayout, line: TabLine, state: TabPageState
) -> tuple[TextRow, TextRow, TextRow]:
    """Draw tab, beats and marks of one line."""
    width = layout.column(line, line.end)
    tab, beats, marks = ([" "] * width for _ in range(3))
    tab_pens, beat_pens, mark_pens = (["faint"] * width for _ in range(3))
    _draw_beats(layout, line, state, beats, beat_pens)
    for x in (x for x in range(width) if beats[x] == "│"):
        tab[x] = "│"
    if line.end % layout.meter == 0:
        tab[width - 1] = "│"
    for placed in line.steps:
        _draw_step(layout, line, placed, state, tab, tab_pens)
        _draw_mark(layout, line, placed, state, marks, mark_pens)
    return (
        row_from_cells(tab, tab_pens),
        row_from_cells(beats, beat_pens),
        row_from_cells(marks, mark_pens),
    )


def _draw_beats(
    layout: TabLayout, line: TabLine, state: TabPageState, cells: list[str], pens: list[str]
) -> None:
    now = None if state.position is None else math.floor(state.position)
    for beat in range(math.ceil(line.start), math.ceil(line.end)):
        x = layout.column(line, beat)
        if beat % layout.meter == 0:
            cells[x - 1] = "│"
        if layout.cells >= 4:
            cells[layout.column(line, beat + 0.5)] = "&"
        for i, character in enumerate(str(beat % layout.meter + 1)):
            cells[x + i], pens[x + i] = character, "now" if now == beat else "quiet"


def _draw_step(
    layout: TabLayout,
    line: TabLine,
    placed: PlacedStep,
    state: TabPageState,
    cells: list[str],
    pens: list[str],
) -> None:
    x0 = layout.column(line, max(placed.start, line.start))
    x1 = layout.column(line, min(placed.end, line.end)) - 1
    if placed.end <= line.end and placed.end % layout.meter == 0:
        x1 -= 1  # the cell of the bar line
    x1 = max(x0 + 1, x1)
    played = state.first <= placed.step.index < state.last
    now = placed.step.index == state.now
    text = written_tab(placed.step)[: x1 - x0] if placed.start >= line.start else ""
    cells[x0:x1] = text + "─" * (x1 - x0 - len(text))
    text_pen = "here" if now else "strong" if played else "quiet"
    rest_pen = "now" if now else "faint"
    pens[x0:x1] = [text_pen] * len(text) + [rest_pen] * (x1 - x0 - len(text))


def _draw_mark(
    layout: TabLayout,
    line: TabLine,
    placed: PlacedStep,
    state: TabPageState,
    cells: list[str],
    pens: list[str],
) -> None:
    mark = state.marks.get(placed.step.index)
    if placed.start < line.start:
        return
    x0 = layout.column(line, placed.start)
    if mark is None:
        recording = state.drill.recording
        if recording and placed.step.index + 1 in recording.doubtful:
            cells[x0], pens[x0] = DOUBTFUL_SIGN, "sharp"
        return
    graded = grade_of_mark(mark)
    room = max(1, layout.column(line, min(placed.end, line.end)) - x0)
    shape, pen = graded.shape, grade_pen(graded)
    if placed.step.index in state.stale:
        shape, pen = OLD_SHAPE, "quiet"
    text = (shape + score_text(mark.score))[:room]
    cells[x0 : x0 + len(text)] = text
    pens[x0 : x0 + len(text)] = [pen] * len(text)


class TabPage(Canvas[TabPageState]):
    """The page of tab. It draws a line again only if something on it has changed."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._layout: tuple[Drill, Size, TabLayout] | None = None
        self._drawn_for: object = None
        self._drawn: dict[int, tuple[object, tuple[TextRow, TextRow, TextRow]]] = {}

    def draw(self, state: TabPageState, width: int, height: int) -> Sequence[TextRow]:
        """Draw the visible lines."""
        layout = self._laid_out(state.drill)
        steps = state.drill.steps
        first = float(steps[state.first].start) if 0 < state.first < len(steps) else 0.0
        top = top_line_shown(layout, state.position, height, first)
        rows: list[TextRow] = []
        for number in range(top, min(len(layout.lines), top + max(1, height // ROWS_PER_LINE))):
            rows.append(top_row(layout, number, state.position))
            rows.extend(self._line(layout, number, state))
        return (rows + [()] * height)[:height]

    def _line(
        self, layout: TabLayout, number: int, state: TabPageState
    ) -> tuple[TextRow, TextRow, TextRow]:
        line = layout.lines[number]
        here = state.position is not None and line.start <= state.position < line.end
        indices = [placed.step.index for placed in line.steps]
        key = (
            (math.floor(state.position), state.now) if here and state.position is not None else (),
            (state.first, state.last),
            [(state.marks.get(index), index in state.stale) for index in indices],
        )
        if number not in self._drawn or self._drawn[number][0] != key:
            self._drawn[number] = key, line_rows(layout, line, state)
        return self._drawn[number][1]

    def redraw(self) -> None:
        """Draw again if the cursor has moved to another cell, or anything else has changed."""
        state = self.state
        if state is None or not self.extent:
            return
        layout = self._laid_out(state.drill)
        position = state.position
        place = None if position is None else (layout.place(position), position < 0)
        played = (state.first, state.last)
        shown = (self.extent, place, state.drill, state.now, played, state.marks, state.stale)
        if shown != self._drawn_for:
            self._drawn_for = shown
            super().redraw()

    def _laid_out(self, drill: Drill) -> TabLayout:
        cached = self._layout
        if cached is None or cached[0] is not drill or cached[1] != self.extent:
            width, height = self.extent
            cached = self._layout = (
                drill,
                self.extent,
                lay_out_tab(drill, width, height // ROWS_PER_LINE),
            )
            self._drawn.clear()
        return cached[2]
