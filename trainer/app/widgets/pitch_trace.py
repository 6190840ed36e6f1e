"""The pitch trace of the last seconds.

Horizontal rulings are the notes that the hole in play can reach: both reeds and the bends of the
higher one. The target is a band as high as the tolerance, along the path of the step. The measured
pitch is drawn over it in braille dots, two columns and four rows to a cell.

Only the cursor moves. Each stretch of time has the rulings of the hole that is due in it. The scale
of cents is the same for the whole drill, and each stretch is centred on what its hole can reach, so
that every note is as large as a bend needs, even in a phrase of leaps. The cursor moves through the
middle third of the plot; then the plot moves on by a third. Past and coming notes stay visible, and
little has to be painted.

"Pitch" in this module is in cents above MIDI note 0.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from trainer.app.braille import are_joined, braille_cell, dot_mask
from trainer.app.canvas import Canvas, TextRow, merge_spans
from trainer.app.take_state import PitchPoint, TakeState
from trainer.drill import Sound, Step
from trainer.harp import HOLES, Harp, Tab
from trainer.music import cents, midi_to_hz

GUTTER_CELLS = 10
"""Width of the labels at the left, in cells."""
OTHER_ROWS = 3
"""Rows that are not plot: the tab of the steps above it, leaks and beats below it."""
DEFAULT_HOLE = 4
"""Hole of the rulings before any note is heard, while no drill is played."""

_EPS = 1e-6
"""Tolerance against rounding of beats, and of cents."""


@dataclass(frozen=True, slots=True)
class TraceParameters:
    """Constants of the trace. They are choices of layout and affect no mark.

    Attributes:
        dot_s: time per column of dots, in seconds, where the tempo allows.
        third_range_s: minimum and maximum length of a third of the plot, in seconds.
        margin_cents: margin above and below what a hole can reach, in cents.
        min_cents: minimum height of the plot, in cents.
        look_back_s: delay until the smoothed reading shows another hole, in seconds.
        line_dots: minimum thickness of the line, in dots; it fills each row that it touches.
    """

    dot_s: float = 0.055
    third_range_s: tuple[float, float] = (1.2, 2.6)
    margin_cents: float = 50.0
    min_cents: float = 240.0
    look_back_s: float = 0.06
    line_dots: float = 1.0


TRACE = TraceParameters()


@dataclass(frozen=True, slots=True)
class Ruling:
    """A note that a hole can reach.

    Attributes:
        tab: its tab entry.
        note: its name.
        cents: its pitch.
    """

    tab: Tab
    note: str
    cents: float


@dataclass(frozen=True, slots=True)
class Panel:
    """A part of the plot with the rulings of one hole.

    Attributes:
        cell: its first column of cells.
        rulings: what the hole can reach.
        middle: pitch at the middle of the plot.
    """

    cell: int
    rulings: tuple[Ruling, ...]
    middle: float

    @classmethod
    def of(cls, cell: int, rulings: tuple[Ruling, ...]) -> Panel:
        """Make a panel that is centred on its rulings."""
        pitches = [ruling.cents for ruling in rulings]
        return cls(cell, rulings, (min(pitches) + max(pitches)) / 2.0)


@dataclass(frozen=True, slots=True)
class TraceView:
    """All that the background of the plot depends on, and its geometry.

    Attributes:
        width, height: size in cells, labels and other rows included.
        start, third: first visible beat, and beats in a third of the plot; seconds without a
            drill.
        dot_cents: cents per row of dots.
        panels: the panels, left to right.
        steps: the visible steps.
        now: index of the step in play; None in a rest.
        wanted: the wanted sound, or else the one heard.
        tolerance: half the height of the band, in cents.
        meter: beats in a bar; 0 without a drill; None where there are no beats.
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
    meter: int | None

    @property
    def columns(self) -> int:
        """Width of the plot in cells."""
        return max(1, self.width - GUTTER_CELLS)

    @property
    def lines(self) -> int:
        """Height of the plot in cells."""
        return max(1, self.height - OTHER_ROWS)

    def dot_column(self, beat: float) -> int:
        """Return the column of dots of a beat; it may lie outside the plot."""
        return math.floor((beat - self.start) / (3.0 * self.third) * 2 * self.columns)

    def beat_at(self, column: int) -> float:
        """Return the beat at the middle of a column of dots."""
        return self.start + (column + 0.5) / (2 * self.columns) * 3.0 * self.third

    def dot_row(self, panel: Panel, pitch: float) -> int:
        """Return the row of dots of a pitch, from the top; it may lie outside the plot."""
        return math.floor((panel.middle - pitch) / self.dot_cents + 2 * self.lines)

    def band(self, panel: Panel, pitch: float) -> tuple[int, int]:
        """Return the first and last row of dots whose middle is within tolerance of a pitch."""
        half = self.tolerance - self.dot_cents / 2.0
        top, bottom = self.dot_row(panel, pitch + half), self.dot_row(panel, pitch - half)
        return min(top, bottom), max(top, bottom)

    def panel_at(self, cell: int) -> Panel:
        """Return the panel of a column of cells."""
        return next((p for p in reversed(self.panels) if p.cell <= cell), self.panels[0])

    @property
    def panel(self) -> Panel:
        """The panel of the sound that is wanted, or else heard."""
        for panel in self.panels:
            if self.wanted and any(ruling.tab == self.wanted[0] for ruling in panel.rulings):
                return panel
        return self.panels[0]


class ReachableNotes:
    """The notes that the holes of a harp can reach, and their pitches."""

    def __init__(self, harp: Harp) -> None:
        self._harp = harp
        self._rulings: dict[tuple[int, bool], tuple[Ruling, ...]] = {}

    def pitch(self, tab: Tab) -> float:
        """Return the target pitch of a tab entry."""
        return cents(self._harp.hz(tab), midi_to_hz(0.0, self._harp.a4))

    def of_hole(self, hole: int, over: bool = False) -> tuple[Ruling, ...]:
        """Return the rulings of a hole, low to high; with the overblow or overdraw if `over`."""
        if (hole, over) not in self._rulings:
            self._rulings[hole, over] = tuple(
                Ruling(tab, self._harp.note(tab), self.pitch(tab))
                for tab in self._harp.hole_entries(hole)
                if over or not tab.over
            )
        return self._rulings[hole, over]

    def of_step(self, step: Step) -> tuple[Ruling, ...]:
        """Return the rulings of a step's holes; of each chord, those of its first hole."""
        rulings: dict[Tab, Ruling] = {}
        for sound in step.sounds:
            for ruling in self.of_hole(sound[0].hole, sound[0].over):
                rulings[ruling.tab] = ruling
        return tuple(rulings.values())

    def targets(self, step: Step, beat: float) -> list[float]:
        """Return the target pitches of a step at a beat within it; several for a chord."""
        place = step.path_position((beat - float(step.start)) / float(step.beats))
        before, after = math.floor(place), math.ceil(place)
        if before == after:
            return [self.pitch(tab) + step.offset_cents(before) for tab in step.sounds[before]]
        left, right = (
            self.pitch(step.sounds[i][0]) + step.offset_cents(i) for i in (before, after)
        )
        return [left + (right - left) * (place - before)]

    def plot_cents(self, steps: Iterable[Step]) -> float:
        """Return the height of a plot in cents that fits any of the steps.

        Without steps, it fits any hole.
        """
        rulings = [self.of_step(step) for step in steps] or [self.of_hole(hole) for hole in HOLES]
        needed = max(_span_cents(notes) for notes in rulings)
        return max(needed + 2 * TRACE.margin_cents, TRACE.min_cents)


def _span_cents(rulings: tuple[Ruling, ...]) -> float:
    pitches = [ruling.cents for ruling in rulings]
    return max(pitches) - min(pitches)


def third_length(take: TakeState, width: int) -> float:
    """Return the beats in a third of a plot of `width` cells; seconds without a drill."""
    seconds = min(
        max((width - GUTTER_CELLS) * 2 * TRACE.dot_s / 3, TRACE.third_range_s[0]),
        TRACE.third_range_s[1],
    )
    return max(1.0, round(seconds * take.tempo / 60.0)) if take.drill else seconds


def _following_window(take: TakeState, width: int) -> tuple[float, float]:
    """Return the first visible beat and the beats in a third of a plot that follows a take."""
    third = third_length(take, width)
    return (math.floor((take.playhead.position or 0.0) / third) - 1) * third, third


def _meter(take: TakeState) -> int | None:
    """Return the beats in a bar; 0 without a drill; None with a free clock."""
    if take.drill is None:
        return 0
    return None if take.has_free_clock else take.drill.meter[0]


class TracePicture:
    """Draws the trace of a take as rows. Knows no screen."""

    def __init__(self, take: TakeState) -> None:
        self._notes = ReachableNotes(take.plan.harp)
        self._plot_cents = self._notes.plot_cents(take.steps)
        self._view: TraceView | None = None
        self._view_key: tuple[object, ...] = ()
        self._heard_holes: list[tuple[float, int]] = []
        self._background: list[list[tuple[int, str]]] = []
        self._margins: dict[int, TextRow] = {}
        self._dots: list[list[int]] = []
        self._out_of_range: dict[tuple[int, int], str] = {}
        self._leaks: set[int] = set()
        self._last_point: PitchPoint | None = None
        self._cursor: int | None = None
        self._points_seen = 0
        self._dirty: set[int] = set()

    def follow(self, take: TakeState, width: int, height: int) -> Iterator[tuple[int, TextRow]]:
        """Plot the new points; yield the rows that have changed, with their line numbers."""
        view = self._update_view(take, width, height)
        trail = take.pitch.recent
        new = min(take.pitch.count - self._points_seen, len(trail))
        self._points_seen = take.pitch.count
        for i in range(len(trail) - new, len(trail)):
            self._plot(take, view, trail[i])
        self._move_cursor(take, view)
        for y in sorted(self._dirty):
            yield y, self._row(view, y)
        self._dirty.clear()

    def _update_view(self, take: TakeState, width: int, height: int) -> TraceView:
        """Return the current view; draw the background again only if it has changed."""
        start, third = _following_window(take, width)
        self._note_heard_hole(take)
        step = take.step
        key = (
            (width, height, third, start, take.playhead.steps, take.playhead.clock),
            (step.index if step else None, take.wanted, len(self._heard_holes)),
        )
        if self._view is not None and key == self._view_key:
            return self._view
        moved = self._view is None or key[0] != self._view_key[0]
        self._view_key = key
        view = self._view = self._make_view(take, third, start, width, height)
        self._draw_background(view)
        self._dirty.update(range(height))
        if moved or take.drill is None:
            self._replot(take, view)
        return view

    def _note_heard_hole(self, take: TakeState) -> None:
        """Without a drill, start a new panel when another hole sounds."""
        tab = take.displayed.tab if take.drill is None else None
        if tab and (not self._heard_holes or self._heard_holes[-1][1] != tab.hole):
            start = (take.playhead.position or 0.0) - TRACE.look_back_s
            self._heard_holes.append((start, tab.hole))

    def _make_view(
        self, take: TakeState, third: float, start: float, width: int, height: int
    ) -> TraceView:
        first, last = take.playhead.steps
        steps = take.steps[first:last]
        tab = take.displayed.tab
        view = TraceView(
            width=width,
            height=height,
            start=start,
            third=third,
            dot_cents=self._plot_cents / (4 * max(1, height - OTHER_ROWS)),
            panels=(),
            steps=tuple(s for s in steps if s.start < start + 3 * third and s.end > start),
            now=take.step.index if take.step else None,
            wanted=take.wanted or ((tab,) if tab else ()),
            tolerance=take.goal.tolerance,
            meter=_meter(take),
        )
        if steps:
            rulings = [(float(step.start), self._notes.of_step(step)) for step in steps]
        else:
            rulings = [(beat, self._notes.of_hole(hole)) for beat, hole in self._heard_holes]
        rulings = rulings or [(0.0, self._notes.of_hole(DEFAULT_HOLE))]
        panels = [Panel.of(view.dot_column(beat + _EPS) // 2, notes) for beat, notes in rulings]
        return replace(view, panels=tuple(_visible_panels(panels, view.columns)))

    def _draw_background(self, view: TraceView) -> None:
        """Draw the rulings, the bands, the labels and the rows around the plot."""
        background = [[(0, "text")] * view.columns for _ in range(view.lines)]
        ends = [later.cell for later in view.panels[1:]] + [view.columns]
        for panel, end in zip(view.panels, ends, strict=True):
            for ruling in panel.rulings:
                y, dot = divmod(view.dot_row(panel, ruling.cents), 4)
                if 0 <= y < view.lines:
                    for x in range(max(0, panel.cell), min(end, view.columns)):
                        background[y][x] = (background[y][x][0] | dot_mask(0, dot), "faint")
        for step in view.steps:
            self._draw_band(view, step, background)
        self._background = background
        self._margins = {
            **{1 + y: (label,) for y, label in enumerate(_labels(view))},
            0: _tab_row(view),
            view.height - 1: _beats_row(view),
        }

    def _draw_band(
        self, view: TraceView, step: Step, background: list[list[tuple[int, str]]]
    ) -> None:
        """Draw the tolerance band along the targets of a step."""
        pen = "aim" if step.index == view.now else "band"
        first = max(0, view.dot_column(float(step.start) + _EPS))
        last = min(2 * view.columns, view.dot_column(float(step.end) - _EPS) + 1)
        for column in range(first, last):
            beat = min(max(view.beat_at(column), float(step.start)), float(step.end))
            panel = view.panel_at(column // 2)
            if all(ruling.tab != step.first[0] for ruling in panel.rulings):
                continue
            for target in self._notes.targets(step, beat):
                top, bottom = view.band(panel, target)
                for dot in range(max(0, top), min(4 * view.lines, bottom + 1)):
                    mask, _ = background[dot // 4][column // 2]
                    dots = mask | dot_mask(column, dot)
                    background[dot // 4][column // 2] = dots, pen

    def _replot(self, take: TakeState, view: TraceView) -> None:
        """Plot the known points again after the view has moved."""
        self._dots = [[0] * view.columns for _ in range(view.lines)]
        self._out_of_range.clear()
        self._leaks.clear()
        self._last_point = None
        trail = take.pitch.recent
        new = min(take.pitch.count - self._points_seen, len(trail))
        for i in range(len(trail) - new):
            self._plot(take, view, trail[i])

    def _plot(self, take: TakeState, view: TraceView, point: PitchPoint) -> None:
        """Plot a point, joined to the last one if that is near."""
        clock, rate = take.playhead.clock, _rate(take)
        column = view.dot_column(clock.beat(point.sample) if clock else point.sample / rate)
        last, self._last_point = self._last_point, point
        if not 0 <= column < 2 * view.columns:
            return
        x = column // 2
        if point.leak and x not in self._leaks:
            self._leaks.add(x)
            self._dirty.add(view.height - 2)
        panel = view.panel_at(x)
        row = view.dot_row(panel, point.cents)
        if not 0 <= row < 4 * view.lines:
            y = 0 if row < 0 else view.lines - 1
            self._out_of_range[y, x] = "▴" if row < 0 else "▾"
            self._dirty.add(1 + y)
            return
        pitches = [point.cents]
        if last and are_joined((point.sample - last.sample) / rate, point.cents - last.cents):
            pitches.append(last.cents)
        half = TRACE.line_dots / 2 * view.dot_cents
        top = max(0, view.dot_row(panel, max(pitches) + half - _EPS))
        bottom = min(4 * view.lines - 1, view.dot_row(panel, min(pitches) - half + _EPS))
        for dot in range(top, bottom + 1):
            self._dots[dot // 4][x] |= dot_mask(column, dot)
            self._dirty.add(1 + dot // 4)

    def _move_cursor(self, take: TakeState, view: TraceView) -> None:
        cursor = None
        if take.playhead.position is not None:
            cursor = view.dot_column(take.playhead.position) // 2
        if cursor != self._cursor:
            self._cursor = cursor
            self._dirty.add(view.height - 1)

    def _row(self, view: TraceView, y: int) -> TextRow:
        if y == 0:
            return self._margins[0]
        if y == view.height - 2:
            return _leak_row(view, self._leaks)
        if y == view.height - 1:
            return _with_cursor(self._margins[y], self._cursor, view)
        return self._plot_row(view, y - 1)

    def _plot_row(self, view: TraceView, y: int) -> TextRow:
        dots, background = self._dots[y], self._background[y]
        spans = [*self._margins[1 + y]]
        for x in range(view.columns):
            if dots[x]:
                spans.append((braille_cell(dots[x]), "trail"))
            elif (y, x) in self._out_of_range:
                spans.append((self._out_of_range[y, x], "wrong"))
            else:
                mask, pen = background[x]
                spans.append((braille_cell(mask) if mask else " ", pen))
        return merge_spans(spans)


def _visible_panels(panels: list[Panel], columns: int) -> list[Panel]:
    """Return the visible panels, adjacent ones of one hole merged; the first starts at cell 0."""
    kept: list[Panel] = []
    for panel in panels:
        if kept and (panel.cell <= 0 or panel.cell == kept[-1].cell):
            kept[-1] = panel
        elif not kept or (panel.cell < columns and panel.rulings != kept[-1].rulings):
            kept.append(panel)
    return [replace(kept[0], cell=0), *kept[1:]]


def _rate(take: TakeState) -> int:
    return take.reading.rate if take.reading else 1


def _labels(view: TraceView) -> list[tuple[str, str]]:
    """Return tab and note of each ruling; in a shared row, the wanted one or the natural one."""
    labels = [(" " * GUTTER_CELLS, "text")] * view.lines
    panel = view.panel
    order = sorted(panel.rulings, key=lambda r: (r.tab in view.wanted, r.tab.is_natural))
    for ruling in order:
        y = view.dot_row(panel, ruling.cents) // 4
        if 0 <= y < view.lines:
            text = f"{ruling.tab!s:<5}{ruling.note:<3}"
            pen = "strong" if ruling.tab in view.wanted else "quiet"
            labels[y] = (f"{text:<{GUTTER_CELLS}}", pen)
    return labels


def _tab_row(view: TraceView) -> TextRow:
    """Draw the tab of each step at its start, where it fits."""
    cells, pens = [" "] * view.columns, ["quiet"] * view.columns
    for step in sorted(view.steps, key=lambda step: step.index != view.now):
        x = max(0, view.dot_column(float(step.start) + _EPS) // 2)
        if set(cells[max(0, x - 1) : x + len(step.tab) + 1]) != {" "}:
            continue
        pen = "now" if step.index == view.now else "quiet"
        for i, character in enumerate(step.tab[: view.columns - x]):
            cells[x + i], pens[x + i] = character, pen
    return merge_spans([(" " * GUTTER_CELLS, "text"), *zip(cells, pens, strict=True)])


def _beats_row(view: TraceView) -> TextRow:
    """Draw the beats of the bar at their places; without a drill, a tick a second."""
    cells, pens = ["·"] * view.columns, ["faint"] * view.columns
    if view.meter is None:
        return (" " * GUTTER_CELLS, "text"), *zip(cells, pens, strict=True)
    for beat in range(math.ceil(view.start), math.ceil(view.start + 3 * view.third)):
        x = view.dot_column(beat + _EPS) // 2
        if 0 <= x < view.columns:
            cells[x] = str(beat % view.meter + 1)[0] if view.meter else "│"
            pens[x] = "quiet"
    return (" " * GUTTER_CELLS, "text"), *zip(cells, pens, strict=True)


def _with_cursor(beats: TextRow, cursor: int | None, view: TraceView) -> TextRow:
    """Draw the cursor into the row of beats."""
    cells = list(beats)
    if cursor is not None and 0 <= cursor < view.columns:
        cells[1 + cursor] = ("▲", "now")
    return merge_spans(cells)


def _leak_row(view: TraceView, leaks: set[int]) -> TextRow:
    """Draw where an unwanted hole sounded."""
    if not leaks:
        return ()
    cells = "".join("▒" if x in leaks else " " for x in range(view.columns))
    return (f"{'leak':<{GUTTER_CELLS}}", "leak"), (cells, "leak")


class PitchTrace(Canvas[TakeState]):
    """The pitch trace."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._picture: TracePicture | None = None

    def show(self, take: TakeState) -> None:
        """Paint what is new in a take."""
        if take is not self.state:
            self.state = take
            self._picture = TracePicture(take)
        self.redraw()

    def redraw(self) -> None:
        """Paint what is new."""
        if self.state is not None and self._picture is not None and self.extent:
            self.paint(self._picture.follow(self.state, *self.extent))
