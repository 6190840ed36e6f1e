"""The pitch trace of the last seconds.

Its horizontal rulings are the notes that the hole in play can really reach: both reeds and the
bends of the higher one. What is wanted is a band as high as the tolerance, along the path that
the step asks for; what is played is drawn over it in braille dots, two columns and four rows to a
cell.

Nothing moves but the pen. Every stretch of time is ruled for the hole that is to sound in it, at
one scale of cents for the whole drill and centred on what that hole can reach, so that even a
phrase of leaps shows each note as large as a bend needs. The pen walks through the middle third
of the picture; then the picture moves on by a third, so that past and coming notes are always in
sight and little has to be painted.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from trainer.app.canvas import Canvas, TextRow, merge_spans
from trainer.app.take_state import PitchPoint, TakeState
from trainer.drill import Sound, Step
from trainer.harp import Harp, Tab
from trainer.music import cents, midi_to_hz

GUTTER_CELLS = 10
"""Cells at the left for tab and note of each ruling."""
OTHER_ROWS = 3
"""Rows that are not plot: the tab of each step above it, leaks and beats under it."""
DOT_S = 0.055
"""Seconds that a column of dots stands for, where the tempo allows."""
THIRD_RANGE_S = (1.2, 2.6)
"""Shortest and longest third of the picture."""
HOLES = range(1, 11)
PLOT_MARGIN_CENTS = 50.0
"""Room above and below what a hole can reach."""
MIN_PLOT_CENTS = 240.0
"""The picture never shows less than this from top to foot."""
LOOK_BACK_S = 0.06
"""Time that the calm readout takes to turn to another hole."""
LINE_DOTS = 1.0
"""How thick the line is, at least; it fills each row of dots that it touches."""
JOIN_S = 0.03
JOIN_CENTS = 90.0
"""Points nearer than this in time and pitch are joined by a line."""

_DOTS = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
"""Bits of a braille cell by column and row (Unicode, block 2800)."""


@dataclass(frozen=True, slots=True)
class Ruling:
    """A note that a hole can reach; its height is in cents above MIDI note 0."""

    tab: Tab
    note: str
    height: float


@dataclass(frozen=True, slots=True)
class Panel:
    """A stretch of the picture that is ruled for one hole.

    Attributes:
        cell: the column of cells it starts in.
        rulings: what the hole can reach.
        middle: height at the middle of the plot.
    """

    cell: int
    rulings: tuple[Ruling, ...]
    middle: float


@dataclass(frozen=True, slots=True)
class TraceView:
    """What the still part of the picture depends on.

    Attributes:
        width, height: cells of the whole picture, gutter and other rows included.
        start, third: first beat in sight and beats in a third of the picture; seconds when there
            is no drill.
        dot_cents: cents that a row of dots stands for.
        panels: from left to right.
        steps: steps in sight.
        now: index of the step in play; None in a rest.
        wanted: what is wanted, or else heard, at this moment.
        tolerance: half the height of the band, in cents.
        meter: beats in a bar; 0 when there is no drill.
    """

    width: int
    height: int
    start: float
    third: float
    dot_cents: float
    panels: tuple[Panel, ...]
    steps: tuple[Step, ...]
    now: int | None
    wanted: Sound
    tolerance: float
    meter: int

    @property
    def columns(self) -> int:
        """Cells of the plot from left to right."""
        return max(1, self.width - GUTTER_CELLS)

    @property
    def lines(self) -> int:
        """Cells of the plot from top to foot."""
        return max(1, self.height - OTHER_ROWS)

    def dot_column(self, beat: float) -> int:
        """The column of dots of a beat; may lie outside."""
        return math.floor((beat - self.start) / (3.0 * self.third) * 2 * self.columns)

    def beat_at(self, column: int) -> float:
        """The beat at the middle of a column of dots."""
        return self.start + (column + 0.5) / (2 * self.columns) * 3.0 * self.third

    def dot_row(self, panel: Panel, height: float) -> int:
        """The row of dots of a height, from the top; may lie outside."""
        return math.floor((panel.middle - height) / self.dot_cents + 2 * self.lines)

    def band(self, panel: Panel, height: float) -> tuple[int, int]:
        """The first and last row of dots whose middle is within tolerance of a height."""
        half = self.tolerance - self.dot_cents / 2.0
        top, foot = self.dot_row(panel, height + half), self.dot_row(panel, height - half)
        return min(top, foot), max(top, foot)

    def panel_at(self, cell: int) -> Panel:
        """The panel of a column of cells."""
        return next((p for p in reversed(self.panels) if p.cell <= cell), self.panels[0])

    @property
    def panel(self) -> Panel:
        """The panel of what is wanted, or else heard, now."""
        for panel in self.panels:
            if self.wanted and any(ruling.tab == self.wanted[0] for ruling in panel.rulings):
                return panel
        return self.panels[0]


class ReachableNotes:
    """What the holes of a harp can reach, as heights: cents above MIDI note 0."""

    def __init__(self, harp: Harp) -> None:
        self._harp = harp
        self._rulings: dict[tuple[int, bool], tuple[Ruling, ...]] = {}

    def height(self, tab: Tab) -> float:
        """Height of a tab entry's target."""
        return cents(self._harp.hz(tab), midi_to_hz(0.0, self._harp.a4))

    def rulings(self, hole: int, over: bool = False) -> tuple[Ruling, ...]:
        """What a hole can play, low to high, without the overblow unless it is wanted."""
        if (hole, over) not in self._rulings:
            self._rulings[hole, over] = tuple(
                Ruling(tab, self._harp.note(tab), self.height(tab))
                for tab in self._harp.hole_entries(hole)
                if over or not tab.over
            )
        return self._rulings[hole, over]

    def of(self, step: Step) -> tuple[Ruling, ...]:
        """What the holes of a step can play; of a chord, its first hole's."""
        ruled: dict[Tab, Ruling] = {}
        for sound in step.sounds:
            for ruling in self.rulings(sound[0].hole, sound[0].over):
                ruled[ruling.tab] = ruling
        return tuple(ruled.values())

    def path(self, step: Step, beat: float) -> list[float]:
        """Heights that a step asks for at a beat inside it; several for a chord."""
        place = step.path_position((beat - float(step.start)) / float(step.beats))
        before, after = math.floor(place), math.ceil(place)
        if before == after:
            return [self.height(tab) + step.offset_cents(before) for tab in step.sounds[before]]
        left, right = (
            self.height(step.sounds[i][0]) + step.offset_cents(i) for i in (before, after)
        )
        return [left + (right - left) * (place - before)]

    def most(self, steps: Iterable[Step]) -> float:
        """The most cents that any of some steps needs from top to foot; of any hole if none."""
        ruled = [self.of(step) for step in steps] or [self.rulings(hole) for hole in HOLES]
        needed = max(max(_heights(one)) - min(_heights(one)) for one in ruled)
        return max(needed + 2 * PLOT_MARGIN_CENTS, MIN_PLOT_CENTS)


def _heights(ruled: tuple[Ruling, ...]) -> list[float]:
    return [ruling.height for ruling in ruled]


def panel_for(cell: int, ruled: tuple[Ruling, ...]) -> Panel:
    """A panel from a column of cells on, centred on what it is ruled for."""
    heights = _heights(ruled)
    return Panel(cell, ruled, (min(heights) + max(heights)) / 2.0)


def third_length(take: TakeState, width: int) -> float:
    """Beats in a third of a picture of so many cells; seconds when there is no drill."""
    seconds = min(max((width - GUTTER_CELLS) * 2 * DOT_S / 3, THIRD_RANGE_S[0]), THIRD_RANGE_S[1])
    return max(1.0, round(seconds * take.tempo / 60.0)) if take.drill else seconds


def _window(take: TakeState, width: int) -> tuple[float, float]:
    """The first beat in sight and the beats in a third of the picture, while a take runs."""
    third = third_length(take, width)
    return (math.floor((take.playhead.position or 0.0) / third) - 1) * third, third


class TracePicture:
    """The trace as dots. Draws rows; knows no screen."""

    def __init__(self, take: TakeState) -> None:
        self._reach = ReachableNotes(take.plan.harp)
        self._most = self._reach.most(take.steps)
        self._view: TraceView | None = None
        self._key: tuple[object, ...] = ()
        self._heard_holes: list[tuple[float, int]] = []
        self._still: list[list[tuple[int, str]]] = []
        self._around: dict[int, TextRow] = {}
        self._dots: list[list[int]] = []
        self._edge: dict[tuple[int, int], str] = {}
        self._leaks: set[int] = set()
        self._last: PitchPoint | None = None
        self._pen: int | None = None
        self._seen = 0
        self._dirty: set[int] = set()

    def follow(self, take: TakeState, width: int, height: int) -> Iterator[tuple[int, TextRow]]:
        """Take what is new and give the rows that it changes, with their line numbers."""
        seen = self._look(take, width, height)
        new = min(take.pitch.count - self._seen, len(take.pitch.recent))
        self._seen = take.pitch.count
        for i in range(len(take.pitch.recent) - new, len(take.pitch.recent)):
            self._plot(take, seen, take.pitch.recent[i])
        self._move_pen(take, seen)
        for y in sorted(self._dirty):
            yield y, self._row(seen, y)
        self._dirty.clear()

    def _look(self, take: TakeState, width: int, height: int) -> TraceView:
        """The view as it is now; the still part is drawn again only if it has changed."""
        start, third = take.window or _window(take, width)
        self._hear_hole(take)
        step = take.step
        key = (
            (width, height, third, start, take.playhead.steps, take.playhead.clock),
            (step.index if step else None, take.wanted, len(self._heard_holes)),
        )
        if self._view is not None and key == self._key:
            return self._view
        moved = self._view is None or key[0] != self._key[0]
        self._key = key
        seen = self._view = self._see(take, third, start, width, height)
        self._rule(seen)
        self._dirty.update(range(height))
        if moved or take.drill is None:
            self._replot(take, seen)
        return seen

    def _hear_hole(self, take: TakeState) -> None:
        """Without a drill, the hole that sounds rules the picture from here on."""
        tab = take.displayed.tab if take.drill is None else None
        if tab and (not self._heard_holes or self._heard_holes[-1][1] != tab.hole):
            self._heard_holes.append(((take.playhead.position or 0.0) - LOOK_BACK_S, tab.hole))

    def _see(
        self, take: TakeState, third: float, start: float, width: int, height: int
    ) -> TraceView:
        first, last = take.playhead.steps
        steps = take.steps[first:last]
        tab = take.displayed.tab
        seen = TraceView(
            width=width,
            height=height,
            start=start,
            third=third,
            dot_cents=self._most / (4 * max(1, height - OTHER_ROWS)),
            panels=(),
            steps=tuple(s for s in steps if s.start < start + 3 * third and s.end > start),
            now=take.step.index if take.step else None,
            wanted=take.wanted or ((tab,) if tab else ()),
            tolerance=take.goal.tolerance,
            meter=take.drill.meter[0] if take.drill else 0,
        )
        if steps:
            ruled = [(float(step.start), self._reach.of(step)) for step in steps]
        else:
            ruled = [(at, self._reach.rulings(hole)) for at, hole in self._heard_holes]
        ruled = ruled or [(0.0, self._reach.rulings(4))]
        panels = [panel_for(seen.dot_column(at + 1e-6) // 2, one) for at, one in ruled]
        return replace(seen, panels=tuple(_in_sight(panels, seen.columns)))

    def _rule(self, seen: TraceView) -> None:
        """Rulings, bands and what stands around the plot."""
        still = [[(0, "text")] * seen.columns for _ in range(seen.lines)]
        ends = [later.cell for later in seen.panels[1:]] + [seen.columns]
        for one, end in zip(seen.panels, ends, strict=True):
            for ruling in one.rulings:
                y, dot = divmod(seen.dot_row(one, ruling.height), 4)
                if 0 <= y < seen.lines:
                    for x in range(max(0, one.cell), min(end, seen.columns)):
                        still[y][x] = (still[y][x][0] | _DOTS[0][dot], "faint")
        for step in seen.steps:
            self._band(seen, step, still)
        self._still = still
        self._around = {
            **{1 + y: (label,) for y, label in enumerate(_labels(seen))},
            0: _tabs_row(seen),
            seen.height - 1: _beats_row(seen),
        }

    def _band(self, seen: TraceView, step: Step, still: list[list[tuple[int, str]]]) -> None:
        pen = "aim" if step.index == seen.now else "band"
        first = max(0, seen.dot_column(float(step.start) + 1e-6))
        last = min(2 * seen.columns, seen.dot_column(float(step.end) - 1e-6) + 1)
        for column in range(first, last):
            beat = min(max(seen.beat_at(column), float(step.start)), float(step.end))
            one = seen.panel_at(column // 2)
            if all(ruling.tab != step.first[0] for ruling in one.rulings):
                continue
            for height in self._reach.path(step, beat):
                top, foot = seen.band(one, height)
                for dot in range(max(0, top), min(4 * seen.lines, foot + 1)):
                    mask, _ = still[dot // 4][column // 2]
                    still[dot // 4][column // 2] = mask | _DOTS[column % 2][dot % 4], pen

    def _replot(self, take: TakeState, seen: TraceView) -> None:
        """Draw the points that are already known where they now belong."""
        self._dots = [[0] * seen.columns for _ in range(seen.lines)]
        self._edge.clear()
        self._leaks.clear()
        self._last = None
        new = min(take.pitch.count - self._seen, len(take.pitch.recent))
        for i in range(len(take.pitch.recent) - new):
            self._plot(take, seen, take.pitch.recent[i])

    def _plot(self, take: TakeState, seen: TraceView, point: PitchPoint) -> None:
        beat = (
            take.playhead.clock.beat(point.sample)
            if take.playhead.clock
            else point.sample / _rate(take)
        )
        column = seen.dot_column(beat)
        last, self._last = self._last, point
        if not 0 <= column < 2 * seen.columns:
            return
        x = column // 2
        if point.leak and x not in self._leaks:
            self._leaks.add(x)
            self._dirty.add(seen.height - 2)
        one = seen.panel_at(x)
        row = seen.dot_row(one, point.cents)
        if not 0 <= row < 4 * seen.lines:
            y = 0 if row < 0 else seen.lines - 1
            self._edge[y, x] = "▴" if row < 0 else "▾"
            self._dirty.add(1 + y)
            return
        heights = [point.cents]
        if last and _joined(point, last, _rate(take)):
            heights.append(last.cents)
        half = LINE_DOTS / 2 * seen.dot_cents
        top = max(0, seen.dot_row(one, max(heights) + half - 1e-6))
        foot = min(4 * seen.lines - 1, seen.dot_row(one, min(heights) - half + 1e-6))
        for dot in range(top, foot + 1):
            self._dots[dot // 4][x] |= _DOTS[column % 2][dot % 4]
            self._dirty.add(1 + dot // 4)

    def _move_pen(self, take: TakeState, seen: TraceView) -> None:
        pen = None
        if take.playhead.position is not None:
            pen = seen.dot_column(take.playhead.position) // 2
        if pen != self._pen:
            self._pen = pen
            self._dirty.add(seen.height - 1)

    def _row(self, seen: TraceView, y: int) -> TextRow:
        if y == 0:
            return self._around[0]
        if y == seen.height - 2:
            return _leak_row(seen, self._leaks)
        if y == seen.height - 1:
            return _with_pen(self._around[y], self._pen, seen)
        return self._plot_row(seen, y - 1)

    def _plot_row(self, seen: TraceView, y: int) -> TextRow:
        dots, still = self._dots[y], self._still[y]
        spans = [*self._around[1 + y]]
        for x in range(seen.columns):
            if dots[x]:
                spans.append((chr(0x2800 + dots[x]), "trail"))
            elif (y, x) in self._edge:
                spans.append((self._edge[y, x], "wrong"))
            else:
                mask, pen = still[x]
                spans.append((chr(0x2800 + mask) if mask else " ", pen))
        return merge_spans(spans)


def _in_sight(panels: list[Panel], columns: int) -> list[Panel]:
    """The panels that are in sight, those of one hole as one; the first reaches to the left."""
    kept: list[Panel] = []
    for one in panels:
        if kept and (one.cell <= 0 or one.cell == kept[-1].cell):
            kept[-1] = one
        elif not kept or (one.cell < columns and one.rulings != kept[-1].rulings):
            kept.append(one)
    return [replace(kept[0], cell=0), *kept[1:]]


def _joined(point: PitchPoint, last: PitchPoint, rate: int) -> bool:
    """Whether two points belong to one line."""
    near = abs(point.cents - last.cents) <= JOIN_CENTS
    return near and point.sample - last.sample <= JOIN_S * rate


def _rate(take: TakeState) -> int:
    return take.reading.rate if take.reading else 1


def _labels(seen: TraceView) -> list[tuple[str, str]]:
    """The gutter: tab and note beside their ruling; where two would share a row, the wanted one
    or else the natural one stays."""
    labels = [(" " * GUTTER_CELLS, "text")] * seen.lines
    one = seen.panel
    order = sorted(one.rulings, key=lambda r: (r.tab in seen.wanted, r.tab.is_natural))
    for ruling in order:
        y = seen.dot_row(one, ruling.height) // 4
        if 0 <= y < seen.lines:
            text = f"{ruling.tab!s:<5}{ruling.note:<3}"
            labels[y] = (
                f"{text:<{GUTTER_CELLS}}",
                "strong" if ruling.tab in seen.wanted else "quiet",
            )
    return labels


def _tabs_row(seen: TraceView) -> TextRow:
    """Over the plot: the tab of each step where it starts, as far as there is room."""
    cells, pens = [" "] * seen.columns, ["quiet"] * seen.columns
    for step in sorted(seen.steps, key=lambda step: step.index != seen.now):
        x = max(0, seen.dot_column(float(step.start) + 1e-6) // 2)
        if set(cells[max(0, x - 1) : x + len(step.tab) + 1]) != {" "}:
            continue
        pen = "now" if step.index == seen.now else "quiet"
        for i, character in enumerate(step.tab[: seen.columns - x]):
            cells[x + i], pens[x + i] = character, pen
    return merge_spans([(" " * GUTTER_CELLS, "text"), *zip(cells, pens, strict=True)])


def _beats_row(seen: TraceView) -> TextRow:
    """Under the plot: beats of the bar at their place, or a tick a second."""
    cells, pens = ["·"] * seen.columns, ["faint"] * seen.columns
    for beat in range(math.ceil(seen.start), math.ceil(seen.start + 3 * seen.third)):
        x = seen.dot_column(beat + 1e-6) // 2
        if 0 <= x < seen.columns:
            cells[x] = str(beat % seen.meter + 1)[0] if seen.meter else "│"
            pens[x] = "quiet"
    return (" " * GUTTER_CELLS, "text"), *zip(cells, pens, strict=True)


def _with_pen(beats: TextRow, pen: int | None, seen: TraceView) -> TextRow:
    """The beats with the pen's place among them."""
    cells = list(beats)
    if pen is not None and 0 <= pen < seen.columns:
        cells[1 + pen] = ("▲", "now")
    return merge_spans(cells)


def _leak_row(seen: TraceView, leaks: set[int]) -> TextRow:
    """Where another hole than the wanted one sounded."""
    if not leaks:
        return ()
    cells = "".join("▒" if x in leaks else " " for x in range(seen.columns))
    return (f"{'leak':<{GUTTER_CELLS}}", "leak"), (cells, "leak")


class PitchTrace(Canvas[TakeState]):
    """The pitch trace."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._picture: TracePicture | None = None

    def show(self, take: TakeState) -> None:
        """Take what is new in a take."""
        if take is not self.state:
            self.state = take
            self._picture = TracePicture(take)
        self.redraw()

    def redraw(self) -> None:
        """Paint what is new."""
        if self.state is not None and self._picture is not None and self.extent:
            self.paint(self._picture.follow(self.state, *self.extent))
