"""Notes in bars: where each is written, for how long, and where the beats lie in time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from trainer.core.types import Floats
from trainer.transcript.beat_tracking import (
    BarGrid,
    BeatAlignment,
    align_beats,
    candidate_grids,
    swung_position,
)
from trainer.transcript.model import Meter, TranscribedNote

STEADY_S = 0.045
"""Notes that lie so near to one tempo, as a root mean square, were played in it."""
REACH_BEATS = 4.0
"""Over so many beats to each side a tempo that wanders is taken."""
LEGATO, LEGATO_BEATS = 0.55, 0.4
"""A note that sounds for such a share of the time to the next one, or leaves no more silence than
that, is written up to it: players let go early (common practice)."""
LETS_GO_BEATS = 0.08
"""By so much a note sounds shorter than it is written."""
NEAR_BEATS = 0.12
"""A note so near to its place is in time."""
SWUNG_NOTES = 3
TOGETHER_S = 0.03
"""Notes that begin so soon after each other are one beginning."""


def quantize(
    *parts: Sequence[TranscribedNote],
    tempo: float | None = None,
    meter: tuple[int, int] | None = None,
    first_beat: float | None = None,
) -> tuple[tuple[tuple[TranscribedNote, ...], ...], Meter | None]:
    """Notes with their places in the music.

    Args:
        parts: what each player played, in order of its start; one player's at least.
        tempo: beats a minute, if known.
        meter: beats in a bar and the note value of one, if known.
        first_beat: the second on which the first full bar begins, if known.

    Returns:
        the parts, and where the beats fall, which is found from all of them together; the parts as
        they were, and None, where there are too few notes to tell.
    """
    notes = sorted((note for part in parts for note in part), key=lambda note: note.start)
    starts = _beginnings(notes)
    placed = align_beats(starts, candidate_grids(meter), tempo=tempo, first_beat=first_beat)
    if placed is None:
        return tuple(tuple(part) for part in parts), None
    at = _numbered(placed, starts, first_beat)
    given = tuple(
        name
        for name, one in (("tempo", tempo), ("meter", meter), ("first beat", first_beat))
        if one is not None
    )
    found = _meter(starts, at, placed, max(note.end for note in notes), given)
    where = dict(zip(starts, at, strict=True))
    return tuple(
        tuple(
            _written(
                part, [where[_nearest(starts, note.start)] for note in part], placed.grid, found
            )
        )
        for part in parts
    ), found


def _beginnings(notes: Sequence[TranscribedNote]) -> list[float]:
    """When something begins, notes of one moment taken together."""
    starts: list[float] = []
    for note in notes:
        if not starts or note.start - starts[-1] > TOGETHER_S:
            starts.append(note.start)
    return starts


def _nearest(starts: Sequence[float], second: float) -> float:
    return max((one for one in starts if one <= second), default=starts[0])


def _numbered(
    placed: BeatAlignment, starts: Sequence[float], first_beat: float | None
) -> tuple[Fraction, ...]:
    """The places of the beginnings in beats from the first beat of the first full bar."""
    grid = placed.grid
    bar, first = grid.pulses, placed.at[0]
    shift = 0
    if first_beat is not None:
        away = (starts[0] - first_beat) / float(placed.period[0])
        shift = round((away - swung_position(first, grid.swing)) / bar) * bar
    elif first >= Fraction(bar, 2):
        shift = -bar
    return tuple((one + shift) * grid.scale for one in placed.at)


def _meter(
    starts: Sequence[float],
    at: Sequence[Fraction],
    placed: BeatAlignment,
    end: float,
    given: tuple[str, ...],
) -> Meter:
    grid = placed.grid
    played = np.array([swung_position(one / grid.scale, grid.swing) * grid.scale for one in at])
    t = np.asarray(starts)
    line = np.polyfit(played, t, 1)
    off = t - np.polyval(line, played)
    steady = bool(np.sqrt(np.mean(off**2)) <= STEADY_S)
    first = math.floor(played[0])
    last = math.ceil(float(played[-1]) + (end - starts[-1]) / max(line[0], 1e-3)) + 1
    beats: Floats = np.arange(first, max(last, first + 2), dtype=float)
    times: Floats = np.polyval(line, beats) if steady else _wandering(played, t, beats)
    here = np.interp(played, beats, times)
    near = np.abs(t - here) < NEAR_BEATS * np.median(np.diff(times))
    return Meter(
        tempo=round(60.0 / float(np.median(np.diff(times))), 1),
        meter=grid.meter,
        times=tuple(float(one) for one in times),
        first=first,
        swing=_swing(grid, at, t, beats, times),
        given=given,
        steady=steady,
        near=float(np.mean(near)),
    )


def _wandering(played: Floats, t: Floats, beats: Floats) -> Floats:
    """Seconds of beats where the tempo wanders, by local regression (Cleveland 1979)."""
    times = []
    for beat in beats:
        weights = np.exp(-0.5 * ((played - beat) / REACH_BEATS) ** 2) + 1e-6
        slope, here = np.polyfit(played - beat, t, 1, w=np.sqrt(weights))
        times.append(here if slope > 0.0 else np.nan)
    return np.maximum.accumulate(np.array(times))


def _swing(grid: BarGrid, at: Sequence[Fraction], t: Floats, beats: Floats, times: Floats) -> float:
    """How far halves of a beat are swung, as they were played."""
    if grid.swing == 1.0:
        return 1.0
    where = np.interp(t, times, beats)
    parts = [
        here - math.floor(one)
        for one, here in zip(at, where, strict=True)
        if one % 1 == Fraction(1, 2)
    ]
    if len(parts) < SWUNG_NOTES:
        return grid.swing
    part = float(np.clip(np.median(parts), 0.5, 0.75))
    return round(part / (1.0 - part), 1)


def _written(
    notes: Sequence[TranscribedNote], begins: Sequence[Fraction], grid: BarGrid, meter: Meter
) -> list[TranscribedNote]:
    """Each note with its place and the length that it is written with."""
    found = []
    for i, note in enumerate(notes):
        until = next_start = None
        if i + 1 < len(notes):
            until, next_start = begins[i + 1], notes[i + 1].start
        beats = _length(note, begins[i], until, next_start, grid, meter)
        bar, beat = divmod(begins[i], grid.meter[0])
        found.append(replace(note, at=begins[i], beats=beats, bar=max(0, bar + 1), beat=beat + 1))
    return found


def _length(
    note: TranscribedNote,
    at: Fraction,
    until: Fraction | None,
    next_start: float | None,
    grid: BarGrid,
    meter: Meter,
) -> Fraction:
    """How long a note is written, in beats."""
    room = None if until is None else until - at
    end = beat_of(note.end, meter)
    if room is not None and next_start is not None and room > 0:
        sounding = note.seconds / max(next_start - note.start, 1e-6)
        silence = float(until or 0) - end
        if sounding >= LEGATO or silence <= LEGATO_BEATS:
            return room
    wanted = end + LETS_GO_BEATS
    places = _places(at, grid, 4 * grid.meter[0])
    best = min(
        places,
        key=lambda one: abs(swung_position(one / grid.scale, grid.swing) * grid.scale - wanted),
    )
    return min(best - at, room) if room else best - at


def beat_of(second: float, meter: Meter) -> float:
    """The beat, as it is played, that a second falls on; outside the beats by the nearest two."""
    times = np.asarray(meter.times)
    beats = meter.first + np.arange(len(times))
    if second < times[0]:
        return float(beats[0] - (times[0] - second) / (times[1] - times[0]))
    if second > times[-1]:
        return float(beats[-1] + (second - times[-1]) / (times[-1] - times[-2]))
    return float(np.interp(second, times, beats))


def _places(at: Fraction, grid: BarGrid, beats: int) -> list[Fraction]:
    """Where a note that begins at a place may end, over so many beats: on whole and half beats,
    and within its own beat on the parts that its beginning asks for."""
    fine = {Fraction(1), Fraction(1, 2)}
    fine.add(Fraction(1, at.denominator))
    ends = {
        step * count
        for step in fine
        for count in range(math.floor(at / step) + 1, math.floor((at + beats) / step) + 1)
    }
    return sorted(one for one in ends if one > at)
