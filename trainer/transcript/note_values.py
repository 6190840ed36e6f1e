"""Quantize notes: their places and lengths in bars, and the times of the beats."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np

from trainer.core.types import Floats
from trainer.music import hz_to_midi
from trainer.transcript.beat_tracking import (
    BarGrid,
    BeatAlignment,
    KnownBeat,
    align_beats,
    candidate_grids,
    played_position,
)
from trainer.transcript.count_off import CountOff
from trainer.transcript.model import Meter, TranscribedNote


@dataclass(frozen=True, slots=True)
class NoteValueParameters:
    """Constants of the quantization.

    Chosen by hand on the drills of the shelf, played by the built-in player.
    """

    steady_s: float = 0.045
    """Maximum RMS deviation of the onsets from one tempo for the tempo to be steady, seconds."""
    smoothing_beats: float = 4.0
    """Standard deviation of the Gaussian weights by which a drifting tempo is smoothed, beats."""
    usual_held: float = 0.9
    """Duration over written length where the tune does not show it, as in common practice."""
    held_spread: float = 0.12
    """Standard deviation of the duration over the written length."""
    short_cost: float = 3.0
    """Cost of a note that is played short, as staccato."""
    least_held: float = 0.6
    """Lowest fraction that is taken for usual."""
    short_rest_cost: float = 2.0
    """Additional cost of a rest of less than half a pulse."""
    least_short: float = 0.35
    """Lowest fraction of its length for which a short note is held."""
    off_beat_cost: float = 0.7
    """Cost of a rest that begins within a pulse."""
    rest_cost: float = 2.0
    """Cost of a rest after a note. This, the seven before and the next were chosen by hand on the
    grammar of benchmarks/lengths.py; costs are negative log probabilities."""
    max_held_cost: float = 8.0
    """Maximum cost of how long a note is held."""
    near_beats: float = 0.12
    """Maximum distance of a note in time from its place, beats."""
    min_swung_notes: int = 3
    """Minimum number of notes on half beats from which the swing is estimated."""
    same_onset_s: float = 0.03
    """Time within which notes of two players begin together, seconds."""


NOTE_VALUES = NoteValueParameters()
"""The constants in use."""


def quantize(
    *parts: Sequence[TranscribedNote],
    tempo: float | None = None,
    meter: tuple[int, int] | None = None,
    first_beat: float | None = None,
    count_off: CountOff | None = None,
) -> tuple[tuple[tuple[TranscribedNote, ...], ...], Meter | None]:
    """Assign places and lengths in bars to notes.

    Args:
        parts: notes of each player, in order of their start; at least one player.
        tempo: beats per minute, if known.
        meter: beats per bar and note value of a beat, if known.
        first_beat: seconds at which the first full bar begins, if known.
        count_off: the count-off before the music, if there is one.

    Returns:
        The parts, and the beats, which are estimated from all parts together. With too few notes,
        or in free time: the parts unchanged, and None.
    """
    notes = sorted((note for part in parts for note in part), key=lambda note: note.start)
    starts = _onsets(notes)
    alignment = align_beats(
        starts,
        candidate_grids(meter),
        melody=_melody(notes, starts),
        known=_known(tempo, first_beat, count_off),
    )
    if alignment is None:
        return tuple(tuple(part) for part in parts), None
    at = tuple(place * alignment.grid.scale for place in alignment.at)
    options = (("tempo", tempo), ("meter", meter), ("first beat", first_beat))
    given = tuple(name for name, value in options if value is not None)
    estimate = _meter(starts, at, alignment, max(note.end for note in notes), given)
    beat_of_start = dict(zip(starts, at, strict=True))
    quantized = tuple(
        tuple(
            _quantize_part(
                part,
                [beat_of_start[_last_onset(starts, note.start)] for note in part],
                alignment.grid,
                estimate,
            )
        )
        for part in parts
    )
    return quantized, estimate


def _known(tempo: float | None, first_beat: float | None, count_off: CountOff | None) -> KnownBeat:
    """What the player gives of the beat, and else what the count-off does."""
    if count_off is None:
        return KnownBeat(tempo, first_beat)
    return KnownBeat(
        tempo,
        count_off.first_beat if first_beat is None else first_beat,
        count_off.period if tempo is None else None,
        len(count_off.times),
    )


def _onsets(notes: Sequence[TranscribedNote]) -> list[float]:
    """Onsets in seconds; notes that begin together have one."""
    starts: list[float] = []
    for note in notes:
        if not starts or note.start - starts[-1] > NOTE_VALUES.same_onset_s:
            starts.append(note.start)
    return starts


def _last_onset(starts: Sequence[float], second: float) -> float:
    """The last onset up to a note's start, which is its own or that of the notes with it."""
    return max(start for start in starts if start <= second)


def _melody(notes: Sequence[TranscribedNote], starts: Sequence[float]) -> list[int] | None:
    """Pitch at each onset, half steps: the highest of those that begin there; None if all agree."""
    melody: dict[float, int] = {}
    for note in notes:
        start, midi = _last_onset(starts, note.start), round(hz_to_midi(note.hz))
        melody[start] = max(melody.get(start, midi), midi)
    return [melody[start] for start in starts] if len(set(melody.values())) > 1 else None


def _meter(
    starts: Sequence[float],
    at: Sequence[Fraction],
    alignment: BeatAlignment,
    end: float,
    given: tuple[str, ...],
) -> Meter:
    """Times of the beats up to second `end`, by a line if the tempo is steady."""
    p, grid = NOTE_VALUES, alignment.grid
    played = np.array([_played(beat, grid) for beat in at])
    t = np.asarray(starts)
    line = np.polyfit(played, t, 1)
    off = t - np.polyval(line, played)
    steady = bool(np.sqrt(np.mean(off**2)) <= p.steady_s)
    first = math.floor(played[0])
    last = math.ceil(float(played[-1]) + (end - starts[-1]) / max(line[0], 1e-3)) + 1
    beats: Floats = np.arange(first, max(last, first + 2), dtype=float)
    times: Floats = np.polyval(line, beats) if steady else _smoothed_beats(played, t, beats)
    expected = np.interp(played, beats, times)
    near = np.abs(t - expected) < p.near_beats * np.median(np.diff(times))
    return Meter(
        tempo=round(60.0 / float(np.median(np.diff(times))), 1),
        meter=grid.meter,
        times=tuple(float(time) for time in times),
        first=first,
        swing=_swing(grid, at, t, beats, times),
        given=given,
        steady=steady,
        near=float(np.mean(near)),
    )


def _smoothed_beats(played: Floats, t: Floats, beats: Floats) -> Floats:
    """Seconds of beats of a drifting tempo, by local regression (Cleveland 1979)."""
    times = []
    for beat in beats:
        weights = np.exp(-0.5 * ((played - beat) / NOTE_VALUES.smoothing_beats) ** 2) + 1e-6
        slope, here = np.polyfit(played - beat, t, 1, w=np.sqrt(weights))
        times.append(here if slope > 0.0 else np.nan)
    return np.maximum.accumulate(np.array(times))


def _swing(grid: BarGrid, at: Sequence[Fraction], t: Floats, beats: Floats, times: Floats) -> float:
    """Ratio of the first half of a beat to the second, as played."""
    if grid.swing == 1.0:
        return 1.0
    played = np.interp(t, times, beats)
    parts = [
        here - math.floor(beat)
        for beat, here in zip(at, played, strict=True)
        if beat % 1 == Fraction(1, 2)
    ]
    if len(parts) < NOTE_VALUES.min_swung_notes:
        return grid.swing
    part = float(np.clip(np.median(parts), 0.5, 0.75))
    return round(part / (1.0 - part), 1)


def _quantize_part(
    notes: Sequence[TranscribedNote], begins: Sequence[Fraction], grid: BarGrid, meter: Meter
) -> list[TranscribedNote]:
    """The notes of a part with place and length."""
    quantized = []
    for note, begin, beats in zip(notes, begins, _lengths(notes, begins, grid, meter), strict=True):
        bar, beat = divmod(begin, grid.meter[0])
        quantized.append(replace(note, at=begin, beats=beats, bar=max(0, bar + 1), beat=beat + 1))
    return quantized


def _lengths(
    notes: Sequence[TranscribedNote], begins: Sequence[Fraction], grid: BarGrid, meter: Meter
) -> list[Fraction]:
    """Most likely written length of each note, beats.

    A bar that is played again is written alike, so that a note is judged by how long it and the
    notes in its place in the other bars of its rhythm and melody are held.
    """
    held = _usual_held(notes)
    options = []
    for i, note in enumerate(notes):
        until = begins[i + 1] if i + 1 < len(notes) else None
        options.append(_length_costs(note, begins[i], until, held, grid, meter))
    lengths = []
    alike = _repeated_places(notes, begins, grid)
    for i, own in enumerate(options):
        cost = {length: prior + timing for length, (prior, timing) in own.items()}
        for j in alike[i]:
            for length, (_, timing) in options[j].items():
                cost[length] += timing
        lengths.append(min(cost, key=lambda length: cost[length]))
    return lengths


def _repeated_places(
    notes: Sequence[TranscribedNote], begins: Sequence[Fraction], grid: BarGrid
) -> list[list[int]]:
    """For each note, the notes in its place in bars of the same rhythm and melody."""
    bars: dict[int, list[int]] = {}
    for i, begin in enumerate(begins):
        bars.setdefault(int(begin // grid.meter[0]), []).append(i)
    repeated: dict[object, list[list[int]]] = {}
    for number, inside in bars.items():
        line, after = number * grid.meter[0], inside[-1] + 1
        rhythm = tuple(begins[i] - line for i in inside)
        until = begins[after] - line if after < len(begins) else None
        midi = [hz_to_midi(notes[i].hz) for i in inside]
        tune = tuple(round(pitch - midi[0]) for pitch in midi)
        repeated.setdefault((rhythm, until, tune), []).append(inside)
    alike: list[list[int]] = [[] for _ in begins]
    for group in repeated.values():
        for places in zip(*group, strict=True):
            for i in places:
                alike[i] = [j for j in places if j != i]
    return alike


def _usual_held(notes: Sequence[TranscribedNote]) -> float:
    """Fraction of their lengths for which a player holds most notes."""
    p = NOTE_VALUES
    fractions = [
        note.seconds / (after.start - note.start)
        for note, after in pairwise(notes)
        if after.start > note.start
    ]
    return float(np.clip(np.median([*fractions, p.usual_held]), p.least_held, 1.0))


def _length_costs(
    note: TranscribedNote,
    at: Fraction,
    until: Fraction | None,
    held: float,
    grid: BarGrid,
    meter: Meter,
) -> dict[Fraction, tuple[float, float]]:
    """Costs of the possible lengths of a note: up to the next note, or with a rest after it.

    Args:
        note: the note.
        at: its beat.
        until: beat of the next note, if any.
        held: fraction of its length for which a note is usually held.
        grid: the meter.
        meter: times of the beats.

    Returns:
        By length in beats, the cost of what is written and that of how long the note is held.
    """
    p = NOTE_VALUES
    sounding = beat_of(note.end, meter) - beat_of(note.start, meter)
    begin = _played(at, grid)
    ends = _end_places(at, grid, 4 * grid.meter[0])
    if until is not None and until > at:
        ends = [*(end for end in ends if end < until), until]
    costs = {}
    for end in ends:
        off = (sounding / (_played(end, grid) - begin) - held) / p.held_spread
        timing = 0.5 * off**2
        if held + p.held_spread * off >= p.least_short and off < 0.0:
            timing = min(timing, p.short_cost)
        prior = 0.0
        if until is not None and end != until:
            short = until - end < Fraction(grid.scale, 2)
            prior = p.rest_cost + (p.short_rest_cost if short else 0.0)
            if (end / grid.scale).denominator > 1:
                prior += p.off_beat_cost
        costs[end - at] = prior, min(timing, p.max_held_cost)
    return costs


def _played(beat: Fraction, grid: BarGrid) -> float:
    """A beat as played, beats."""
    return played_position(beat / grid.scale, grid.swing) * grid.scale


def beat_of(second: float, meter: Meter) -> float:
    """Return the beat, as played, at a second; extrapolated outside the known beats."""
    times = np.asarray(meter.times)
    beats = meter.first + np.arange(len(times))
    if second < times[0]:
        return float(beats[0] - (times[0] - second) / (times[1] - times[0]))
    if second > times[-1]:
        return float(beats[-1] + (second - times[-1]) / (times[-1] - times[-2]))
    return float(np.interp(second, times, beats))


def _end_places(at: Fraction, grid: BarGrid, beats: int) -> list[Fraction]:
    """Beats on which a note may end, up to `beats` after its own.

    Whole and half beats, and the divisions of a beat on which the note itself begins.
    """
    divisions = {Fraction(1), Fraction(1, 2)}
    divisions.add(Fraction(1, at.denominator))
    ends = {
        step * count
        for step in divisions
        for count in range(math.floor(at / step) + 1, math.floor((at + beats) / step) + 1)
    }
    return sorted(end for end in ends if end > at)
