"""Geometry of the plots on a student's page; ``plots.html.j2`` draws them as SVG.

Coordinates are pixels of the plot's view box, from its top left corner.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from trainer.ear import Reading
from trainer.harp import HOLES, Harp
from trainer.marking import Mark, Result
from trainer.music import cents

Point = tuple[float, float]
"""Horizontal and vertical position in pixels."""


@dataclass(frozen=True, slots=True)
class PlotParameters:
    """Sizes and ranges of the plots. All were chosen by eye.

    Attributes:
        width_px: width of every plot.
        pitch_height_px: height of a pitch plot.
        hole_row_px: height of a hole's row in a plot of sounding holes.
        axis_px: height of the axis of time below it.
        tick_s: distance of the ticks of time in seconds.
        pitch_range_cents: minimum range shown above and below the target.
        target_points: points of the line that the target follows, less 1.
        max_step_px: horizontal gap at which the line of played pitch breaks.
        max_jump_px: vertical gap at which it breaks.
        hole_gap_s: silence in seconds that ends a span of a sounding hole.
        timing_range_ms: range of onsets shown to each side of the beat.
        tempo_height_px: height of the tempo's plot.
        min_tempo_fraction: smallest deviation of the tempo that is drawn, relative to it.
        tempo_margin: beats per minute shown beyond the slowest and the fastest.
        strip_row_px: height of a hole's row on the strip of the whole take.
        strip_block_px: height of a block on it.
        timing_margin_px: room for a dot at each end of the timing plot.
    """

    width_px: int = 560
    pitch_height_px: int = 150
    hole_row_px: int = 20
    axis_px: int = 24
    tick_s: float = 0.5
    pitch_range_cents: float = 130.0
    target_points: int = 40
    max_step_px: float = 8.0
    max_jump_px: float = 40.0
    hole_gap_s: float = 0.03
    timing_range_ms: float = 150.0
    tempo_height_px: int = 110
    min_tempo_fraction: float = 0.02
    tempo_margin: float = 4.0
    strip_row_px: int = 10
    strip_block_px: int = 14
    timing_margin_px: int = 8


PLOT = PlotParameters()


@dataclass(frozen=True, slots=True)
class PitchLine:
    """A horizontal line at a note that the hole can reach: its height and its tab."""

    y: float
    label: str


@dataclass(frozen=True, slots=True)
class PitchPlot:
    """The pitch of a step against its target.

    Attributes:
        label: description for screen readers.
        width, height: of the view box in pixels.
        reachable: notes within range that the step's hole can reach.
        band: outline of the target with its tolerance.
        played: lines of the played pitch, broken where it was silent or jumped.
    """

    label: str
    width: int
    height: int
    reachable: tuple[PitchLine, ...]
    band: tuple[Point, ...]
    played: tuple[tuple[Point, ...], ...]


@dataclass(frozen=True, slots=True)
class HoleRow:
    """The row of a hole: its number, and the baseline of its label."""

    hole: int
    y: float


@dataclass(frozen=True, slots=True)
class HoleSpan:
    """A span of time in which a hole sounded, as a rectangle.

    Attributes:
        x, y, width, height: in pixels.
        kind: ``wanted`` for a hole that the step asks for, ``leak`` for another one during the
            step, ``beside`` for what sounded before or after it; its CSS class.
    """

    x: float
    y: float
    width: float
    height: float
    kind: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A tick on an axis: its place in pixels and its label."""

    place: float
    label: str


@dataclass(frozen=True, slots=True)
class HolePlot:
    """The holes that sounded during a step, and those around it.

    Attributes:
        label: description for screen readers.
        width, height: of the view box in pixels.
        rows: a row for each hole that sounded, and its neighbours.
        spans: when each sounded.
        ticks: seconds from the step's beginning.
    """

    label: str
    width: int
    height: int
    rows: tuple[HoleRow, ...]
    spans: tuple[HoleSpan, ...]
    ticks: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class TimingDot:
    """The onset of a step: its horizontal position, and a description."""

    x: float
    label: str


@dataclass(frozen=True, slots=True)
class TimingPlot:
    """The onsets of a pass about the beat.

    Attributes:
        width: of the view box in pixels.
        middle: position of the beat.
        range: milliseconds to each side, as text.
        median: median deviation as text.
        dots: a dot per step.
    """

    width: int
    middle: float
    range: str
    median: str
    dots: tuple[TimingDot, ...]


@dataclass(frozen=True, slots=True)
class StripBlock:
    """A step on the strip of the whole take.

    Attributes:
        x, width: in pixels.
        y: top of the block in pixels; higher holes are higher.
        grade: CSS class of its grade.
        label: description.
        shape: of its grade, where it is a fault; empty else.
    """

    x: float
    width: float
    y: float
    grade: str
    label: str
    shape: str = ""


@dataclass(frozen=True, slots=True)
class Strip:
    """The strip of the whole take: its size in pixels, and a block for each step."""

    width: int
    height: int
    blocks: tuple[StripBlock, ...]


@dataclass(frozen=True, slots=True)
class TempoPlot:
    """The player's tempo along the drill, against the one asked for.

    Attributes:
        width, height: of the view box in pixels.
        asked_y: height of the line of the tempo that was asked for.
        asked: that tempo, as text.
        line: the player's tempo.
        labels: smallest and largest tempo, as text.
        ends: the tempo at the start and at the end, as text, with the height of each.
        bars: where bars begin, with their numbers.
    """

    width: int
    height: int
    asked_y: float
    asked: str
    line: tuple[Point, ...]
    labels: tuple[str, str]
    ends: tuple[Tick, Tick]
    bars: tuple[Tick, ...]


def tempo_plot(
    tempos: Sequence[tuple[float, float]], asked: float, beats_per_bar: int = 4
) -> TempoPlot | None:
    """Return the plot of a player's own tempo; None without one, or where it was as asked.

    Args:
        tempos: beats and the tempo at each, in beats per minute.
        asked: tempo that was asked for.
        beats_per_bar: of the meter.
    """
    deviation = max((abs(tempo / asked - 1.0) for _, tempo in tempos), default=0.0)
    if len(tempos) < 2 or deviation < PLOT.min_tempo_fraction:
        return None
    values = [asked, *(tempo for _, tempo in tempos)]
    low, high = min(values) - PLOT.tempo_margin, max(values) + PLOT.tempo_margin
    first, last = tempos[0][0], tempos[-1][0]

    def x(beat: float) -> float:
        return (beat - first) / max(last - first, 1e-9) * PLOT.width_px

    def y(tempo: float) -> float:
        return (high - tempo) / (high - low) * PLOT.tempo_height_px

    line = tuple((x(beat), y(tempo)) for beat, tempo in tempos)
    played = [tempo for _, tempo in tempos]
    labels = (f"{min(played):.0f}", f"{max(played):.0f}")
    begins, ends = (Tick(y(tempo), f"{tempo:.0f}") for tempo in (played[0], played[-1]))
    bars = range(math.ceil(first / beats_per_bar), math.ceil(last / beats_per_bar))
    return TempoPlot(
        PLOT.width_px,
        PLOT.tempo_height_px,
        y(asked),
        f"{asked:g} asked",
        line,
        labels,
        (begins, ends),
        tuple(Tick(x(bar * beats_per_bar), str(bar + 1)) for bar in bars),
    )


def pitch_plot(
    mark: Mark,
    result: Result,
    harp: Harp,
    rate: int,
    readings: Sequence[Reading],
    first: float,
    last: float,
) -> PitchPlot:
    """Return the plot of a step's pitch against its target and tolerance.

    Args:
        mark: of the step.
        result: that it belongs to.
        harp: the harp that was played.
        rate: sample rate in hertz.
        readings: within the range of time.
        first: start of the range of time, in seconds.
        last: end of the range of time, in seconds.
    """
    step = mark.step
    base = harp.hz(step.first[0])
    targets = [
        cents(harp.hz(sound[0]), base) + step.offset_cents(i) for i, sound in enumerate(step.sounds)
    ]
    high = max(targets) + PLOT.pitch_range_cents
    low = min(targets) - PLOT.pitch_range_cents
    start = (mark.measured.start or 0) / rate
    begins = start - (mark.measured.late_ms or 0.0) / 1000.0
    duration = float(step.beats) * result.beat_ms(step) / 1000.0

    def x(second: float) -> float:
        return (second - first) / (last - first) * PLOT.width_px

    def y(offset: float) -> float:
        return (high - offset) / (high - low) * PLOT.pitch_height_px

    count = PLOT.target_points
    places = [step.path_position(i / count) for i in range(count + 1)]
    offsets = np.interp(places, range(len(targets)), targets).tolist()
    path = [(begins + i / count * duration, offset) for i, offset in enumerate(offsets)]
    band = result.drill.goal.tolerance
    upper = [(x(time), y(offset + band)) for time, offset in path]
    lower = [(x(time), y(offset - band)) for time, offset in reversed(path)]
    reachable = tuple(
        PitchLine(y(offset), str(tab))
        for tab in harp.hole_entries(step.first[0].hole)
        if low < (offset := cents(harp.hz(tab), base)) < high
    )
    heard = [(x(time), y(offset)) for time, offset in _offsets(readings, base, low, high)]
    return PitchPlot(
        f"pitch of step {step.index + 1} against its target: {mark.sentence}",
        PLOT.width_px,
        PLOT.pitch_height_px,
        reachable,
        (*upper, *lower),
        tuple(_lines(heard)),
    )


def _offsets(
    readings: Sequence[Reading], base: float, low: float, high: float
) -> Iterator[tuple[float, float]]:
    """Yield time in seconds and cents from `base` of the readings between `low` and `high`."""
    for reading in sorted(readings, key=lambda reading: reading.sample):
        if reading.hz is not None and low < (offset := cents(reading.hz, base)) < high:
            yield reading.time, offset


def _lines(points: Sequence[Point]) -> Iterator[tuple[Point, ...]]:
    """Yield points as lines, broken at gaps."""
    line: list[Point] = []
    for x, y in points:
        if line and (x - line[-1][0] > PLOT.max_step_px or abs(y - line[-1][1]) > PLOT.max_jump_px):
            yield tuple(line)
            line = []
        line.append((x, y))
    if line:
        yield tuple(line)


def hole_plot(mark: Mark, readings: Sequence[Reading], first: float, last: float) -> HolePlot:
    """Return the plot of the holes that sounded.

    Args:
        mark: of the step.
        readings: within the range of time.
        first: start of the range of time, in seconds.
        last: end of the range of time, in seconds.
    """
    wanted = {tab.hole for tab in mark.step.tabs}
    rate = readings[0].rate if readings else 1
    begins, ends = ((place or 0) / rate for place in (mark.measured.start, mark.measured.end))
    sounded = wanted | {hole for reading in readings for hole in reading.holes}
    lowest, highest = max(HOLES[0], min(sounded) - 1), min(HOLES[-1], max(sounded) + 1)
    height = PLOT.hole_row_px

    def x(second: float) -> float:
        return (second - first) / (last - first) * PLOT.width_px

    spans = []
    for hole in sorted(sounded):
        top = (highest - hole) * height
        for begun, ended in _sounding(readings, hole):
            middle = (begun + ended) / 2.0
            kind = "wanted" if hole in wanted else "leak"
            if not begins <= middle <= ends:
                kind = "beside"
            width = max(1.0, x(ended) - x(begun))
            spans.append(HoleSpan(x(begun), top + 3, width, height - 6, kind))
    rows = tuple(
        HoleRow(hole, (highest - hole + 1) * height - 4) for hole in range(lowest, highest + 1)
    )
    count = math.floor((last - begins) / PLOT.tick_s)
    ticks = tuple(
        Tick(x(begins + i * PLOT.tick_s), f"{i * PLOT.tick_s:g} s") for i in range(count + 1)
    )
    label = f"holes that sounded in step {mark.step.index + 1}"
    whole = (highest - lowest + 1) * height + PLOT.axis_px
    return HolePlot(label, PLOT.width_px, whole, rows, tuple(spans), ticks)


def _sounding(readings: Sequence[Reading], hole: int) -> Iterator[tuple[float, float]]:
    """Yield start and end in seconds of the spans in which a hole sounded."""
    begun: float | None = None
    ended = 0.0
    sounding = (reading for reading in readings if reading.holes)
    for reading in sorted(sounding, key=lambda reading: reading.sample):
        if begun is not None and (
            hole not in reading.holes or reading.time - ended > PLOT.hole_gap_s
        ):
            yield begun, ended
            begun = None
        if hole in reading.holes:
            begun = reading.time if begun is None else begun
            ended = reading.time
    if begun is not None:
        yield begun, ended


def timing_plot(result: Result) -> TimingPlot | None:
    """Return the plot of all onsets about the beat; None if the drill has no beat."""
    onsets = [
        (mark.step.index + 1, mark.measured.late_ms)
        for mark in result.marks
        if mark.measured.late_ms is not None
    ]
    if not onsets:
        return None
    middle = PLOT.width_px / 2
    reach = middle - PLOT.timing_margin_px
    dots = tuple(
        TimingDot(
            middle + max(-1.0, min(1.0, late_ms / PLOT.timing_range_ms)) * reach,
            f"step {number}: {abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}",
        )
        for number, late_ms in onsets
    )
    median = f"{np.median([late_ms for _, late_ms in onsets]):+.0f} ms at the median"
    return TimingPlot(PLOT.width_px, middle, f"{PLOT.timing_range_ms:.0f}", median, dots)
