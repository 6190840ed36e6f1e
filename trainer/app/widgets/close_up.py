"""The close-up of one step: how far the pitch was from the target, at ±60 cents.

     +60 cents   ▴▴▴+87                a pitch beyond the scale: an arrow, and how far off it is
           +30
       -4' ±10  ⠤⠤⠶⠶⠒⠒⠤⠤⠤⠤⠤⠤⠶⠶⠒⠒       the band of the tolerance fills the width
           -30
           -60
                  0 s         0.5       time from where the step was due

The target of a glide moves; the plot is relative to it. What sounded before and after the step is
dimmed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from trainer.app.braille import are_joined, braille_cell, dot_mask
from trainer.app.canvas import Canvas, TextRow, row_from_cells
from trainer.app.take_state import TakeState, step_clock
from trainer.app.widgets.pitch_trace import ReachableNotes
from trainer.drill import Step
from trainer.marking import Mark

RANGE_CENTS = 60.0
"""Half the range of the scale in cents."""
GUTTER_CELLS = 11
"""Width of the labels at the left, in cells."""
MARGIN_S = 0.5
"""Time shown before and after a step, in seconds."""
MIN_LENGTH_S = 0.3
"""Minimum length of a step in the plot, in seconds."""
TICKS_S = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
"""Distances between the labels of time, in seconds; the first that leaves room is taken."""
TICK_CELLS = 10
"""Minimum distance of these labels in cells."""


@dataclass(frozen=True, slots=True)
class OffsetPoint:
    """One point of the close-up.

    Attributes:
        time: seconds from where the step was due.
        cents: distance from the target; positive is sharp.
        leak: whether an unwanted hole sounded too.
    """

    time: float
    cents: float
    leak: bool = False


@dataclass(frozen=True, slots=True)
class CloseUpState:
    """State of the close-up.

    Attributes:
        tab: the step as tab.
        length: length of the step in seconds.
        tolerance: half the height of the band, in cents.
        points: the pitch, in order of time.
    """

    tab: str
    length: float
    tolerance: float
    points: tuple[OffsetPoint, ...] = ()

    @classmethod
    def of(cls, take: TakeState, mark: Mark) -> CloseUpState:
        """Make the close-up of a marked step of a take."""
        step, clock = mark.step, step_clock(take, mark)
        notes, rate = ReachableNotes(take.plan.harp), clock.rate
        due, end = clock.sample(step.start), clock.sample(step.end)
        length = max(MIN_LENGTH_S, (end - due) / rate)
        first, last = due - MARGIN_S * rate, due + (length + MARGIN_S) * rate
        points = []
        for point in take.pitch.history.between(first, last):
            beat = min(max(clock.beat(point.sample), float(step.start)), float(step.end))
            offset = _nearest(point.cents, notes.targets(step, beat))
            points.append(OffsetPoint((point.sample - due) / rate, offset, point.leak))
        return cls(_tab(step), length, take.goal.tolerance, tuple(points))


def _nearest(cents: float, targets: Sequence[float]) -> float:
    """Return the distance of a pitch from the nearest target."""
    return min((cents - target for target in targets), key=abs)


def _tab(step: Step) -> str:
    return step.tab if len(step.tab) <= GUTTER_CELLS - 5 else ""


@dataclass(frozen=True, slots=True)
class _Plot:
    """Geometry of the plot.

    Attributes:
        columns, lines: its size in cells.
        start, seconds: time at its left edge, and its length, in seconds.
    """

    columns: int
    lines: int
    start: float
    seconds: float

    @property
    def dot_cents(self) -> float:
        """Cents per row of dots."""
        return 2.0 * RANGE_CENTS / (4 * self.lines)

    def column(self, time: float) -> int:
        """Return the column of dots of a time; it may lie outside."""
        return math.floor((time - self.start) / self.seconds * 2 * self.columns)

    def row(self, cents: float) -> int:
        """Return the row of dots of an offset; it may lie outside."""
        return math.floor((RANGE_CENTS - cents) / self.dot_cents)


def close_up_rows(state: CloseUpState, width: int, height: int) -> list[TextRow]:
    """Draw the plot, the leaks, if any, and the times."""
    leaks = any(point.leak for point in state.points)
    plot = _Plot(
        max(1, width - GUTTER_CELLS),
        max(1, height - (2 if leaks else 1)),
        -MARGIN_S,
        state.length + 2.0 * MARGIN_S,
    )
    cells, pens = _background(state, plot)
    _draw_pitch(state, plot, cells, pens)
    rows = [
        (label, *row_from_cells(cells[y], pens[y])) for y, label in enumerate(_labels(state, plot))
    ]
    if leaks:
        rows.append(_leak_row(state, plot))
    return [*rows, _time_row(state, plot)][:height]


def _background(state: CloseUpState, plot: _Plot) -> tuple[list[list[str]], list[list[str]]]:
    """Draw the band over the whole width, and the ends of the step."""
    cells = [[" "] * plot.columns for _ in range(plot.lines)]
    pens = [["text"] * plot.columns for _ in range(plot.lines)]
    for time in (0.0, state.length):
        x = plot.column(time) // 2
        for y in range(plot.lines):
            cells[y][x], pens[y][x] = "┊", "faint"
    top, bottom = _band(state, plot)
    for y in range(plot.lines):
        mask = [dot for dot in range(4) if top <= 4 * y + dot <= bottom]
        if not mask:
            continue
        full = sum(dot_mask(side, dot) for side in (0, 1) for dot in mask)
        cells[y] = [braille_cell(full)] * plot.columns
        pens[y] = ["band"] * plot.columns
    return cells, pens


def _band(state: CloseUpState, plot: _Plot) -> tuple[int, int]:
    """Return the first and last row of dots whose middle is within tolerance; at least one."""
    half = max(0.0, state.tolerance - plot.dot_cents / 2.0)
    return plot.row(half), max(plot.row(half), plot.row(-half))


def _draw_pitch(
    state: CloseUpState, plot: _Plot, cells: list[list[str]], pens: list[list[str]]
) -> None:
    dots: dict[tuple[int, int], int] = {}
    beyond: dict[tuple[int, int], list[float]] = {}
    last: OffsetPoint | None = None
    for point in state.points:
        column = plot.column(point.time)
        previous, last = last, point
        if not 0 <= column < 2 * plot.columns:
            continue
        if abs(point.cents) > RANGE_CENTS:
            y = 0 if point.cents > 0 else plot.lines - 1
            beyond.setdefault((y, column // 2), []).append(point.cents)
            continue
        pitches = [point.cents]
        if previous is not None and are_joined(
            point.time - previous.time, point.cents - previous.cents
        ):
            pitches.append(min(max(previous.cents, -RANGE_CENTS), RANGE_CENTS))
        first, final = plot.row(max(pitches)), plot.row(min(pitches))
        for dot in range(max(0, first), min(4 * plot.lines - 1, final) + 1):
            place = dot // 4, column // 2
            dots[place] = dots.get(place, 0) | dot_mask(column, dot)
    inside = range(plot.column(0.0) // 2, plot.column(state.length) // 2 + 1)
    for (y, x), mask in dots.items():
        cells[y][x], pens[y][x] = braille_cell(mask), "trail" if x in inside else "quiet"
    _draw_beyond(beyond, cells, pens, inside)


def _draw_beyond(
    beyond: dict[tuple[int, int], list[float]],
    cells: list[list[str]],
    pens: list[list[str]],
    inside: range,
) -> None:
    """Draw arrows at the edge, and in the first cells of a run how far off it is."""
    for y in {y for y, _ in beyond}:
        run: list[int] = []
        for x in [*sorted(x for row, x in beyond if row == y), -1]:
            if run and x != run[-1] + 1:
                offsets = [cents for at in run for cents in beyond[y, at]]
                arrow = "▴" if offsets[0] > 0 else "▾"
                text = f"{arrow}{median(offsets):+.0f} "
                shown = text if len(text) < len(run) else ""
                for i, at in enumerate(run):
                    cells[y][at] = shown[i] if i < len(shown) else arrow
                    pens[y][at] = "wrong" if at in inside else "quiet"
                run = []
            run.append(x)


def _labels(state: CloseUpState, plot: _Plot) -> list[tuple[str, str]]:
    """Return the label of each row: the scale, and the target with its tolerance."""
    room = GUTTER_CELLS - 1
    labels = [(" " * GUTTER_CELLS, "text")] * plot.lines

    def put(cents: float, text: str, pen: str) -> None:
        y = min(max(0, plot.row(cents) // 4), plot.lines - 1)
        labels[y] = (f"{text:>{room}} ", pen)

    for cents in (RANGE_CENTS / 2.0, -RANGE_CENTS / 2.0, -RANGE_CENTS):
        put(cents, f"{cents:+.0f}", "quiet")
    put(0.0, f"{state.tab} ±{state.tolerance:.0f}", "strong")
    put(RANGE_CENTS, f"{RANGE_CENTS:+.0f} cents", "quiet")
    return labels


def _leak_row(state: CloseUpState, plot: _Plot) -> TextRow:
    """Draw where an unwanted hole sounded."""
    leaking = {plot.column(point.time) // 2 for point in state.points if point.leak}
    cells = "".join("▒" if x in leaking else " " for x in range(plot.columns))
    return (f"{'leak':>{GUTTER_CELLS - 1}} ", "leak"), (cells, "leak")


def _time_row(state: CloseUpState, plot: _Plot) -> TextRow:
    """Draw the times from where the step was due."""
    cells = [" "] * plot.columns
    per_s = plot.columns / plot.seconds
    tick = next((tick for tick in TICKS_S if tick * per_s >= TICK_CELLS), TICKS_S[-1])
    for n in range(
        math.ceil(plot.start / tick), math.floor((plot.start + plot.seconds) / tick) + 1
    ):
        text = "0 s" if n == 0 else f"{n * tick:.3g}"
        x = plot.column(n * tick) // 2
        if x + len(text) <= plot.columns:
            cells[x : x + len(text)] = text
    return (" " * GUTTER_CELLS, "text"), ("".join(cells), "quiet")


class CloseUp(Canvas[CloseUpState]):
    """The close-up."""

    def draw(self, state: CloseUpState, width: int, height: int) -> Sequence[TextRow]:
        """Fill the widget."""
        return close_up_rows(state, width, height)
