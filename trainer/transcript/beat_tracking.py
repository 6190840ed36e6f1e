"""Estimate tempo, meter, bars and swing from the onsets of notes.

In two stages, since tempo, divisions and meter depend on each other:

1. A hidden Markov model after Cemgil and Kappen (2003, JAIR 18) and Raphael (2002, Artificial
   Intelligence 137). The state is a place in a pulse and a tempo that drifts from note to note; the
   observation is the time from one onset to the next. The most likely path (Viterbi 1967) is found
   for each way to divide pulses and each band of tempos of half an octave.
2. Each path is written in each candidate meter with each first beat. A Kalman filter over the time
   and the period of the pulse (Cemgil, Kappen, Desain and Honing 2000, J. New Music Research 29)
   gives the likelihood of the onsets, and :mod:`trainer.transcript.bar_patterns` the cost of the
   page. The lowest sum wins.

A last candidate is free time, in which intervals are unrelated to each other.

Costs are negative log probabilities, up to a constant.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import BeatClock
from trainer.transcript.bar_patterns import (
    COMPOUND,
    PAGE,
    STRAIGHT,
    SWUNG,
    TICKS,
    Division,
    page_cost,
)


@dataclass(frozen=True, slots=True)
class BeatParameters:
    """Constants of the beat tracker.

    Chosen by hand on the grammar of benchmarks/lengths.py unless a field names another source.
    """

    slowest: float = 36.0
    """Lowest tempo that is tried, pulses per minute."""
    slowest_compound: float = 48.0
    """The same for pulses of three eighths."""
    fastest: float = 220.0
    """Highest tempo that is tried, pulses per minute."""
    tempo_step: float = 0.03
    """Relative step between tempos."""
    band_octaves: float = 0.5
    """Width of a band of tempos, octaves."""
    tempo_weight: float = 3.0
    """Weight of the prior of the tempo."""
    tempo_weight_per_note: float = 0.5
    """The same for each note: otherwise a slower pulse, which has fewer places, always wins."""
    max_tempo_notes: int = 15
    """Maximum number of notes for which the weight grows: of a longer tune, bars that repeat say
    more about its pulse than what is usual."""
    given_octaves: float = 0.06
    """Standard deviation of the tempo about a given one, octaves."""
    given_weight: float = 6.0
    """Weight of a given tempo."""
    jitter_s: float = 0.022
    """Standard deviation of the time between two onsets: constant part, seconds."""
    jitter_fraction: float = 0.04
    """Standard deviation of the time between two onsets: part proportional to it."""
    drift_cost: float = 0.8
    """Cost of a change of tempo by one step from a note to the next; grows with its square."""
    max_deviation_cost: float = 9.0
    """Maximum cost of a deviation: players stumble."""
    onset_s: float = 0.016
    """Standard deviation of an onset about its pulse, seconds (from memory: 10 to 20 ms for
    practised players)."""
    phase_fraction: float = 0.02
    """Standard deviation by which the pulse itself moves, per root of a pulse, pulses."""
    period_fraction: float = 0.015
    """Relative standard deviation of the change of the tempo, per root of a pulse."""
    start_octaves: float = 0.05
    """Standard deviation of the tempo before the first note about that of the path, octaves."""
    max_empty_pulses: int = 8
    """Maximum length of a silence whose empty pulses have a cost."""
    min_notes: int = 5
    """Minimum number of onsets."""
    swings: tuple[float, ...] = (1.5, 2.0)
    """Candidate swings besides none: ratios of the first half of a beat to the second."""
    swing_cost: float = 2.5
    """Cost of a swing."""
    meter_costs: Mapping[tuple[int, int], float] = field(
        default_factory=lambda: {(4, 4): 0.0, (3, 4): 2.5, (6, 8): 3.0, (12, 8): 8.0}
    )
    """Candidate meters and their costs (common practice: most tunes are in four)."""
    usual_tempos: Mapping[tuple[int, int], tuple[float, float]] = field(
        default_factory=lambda: {
            (4, 4): (100.0, 0.46),
            (3, 4): (112.0, 0.45),
            (6, 8): (108.0, 0.3),
            (12, 8): (66.0, 0.3),
        }
    )
    """Centre in pulses per minute and standard deviation in octaves of the log-normal prior of the
    tempo, by meter (after Parncutt 1994, Music Perception 11: a pulse is most salient near 100 per
    minute; common practice for compound meters)."""
    free_octaves: float = 0.8
    """Standard deviation of intervals in free time about their median, octaves."""
    free_cost: float = 22.0
    """Cost of free time. This and the next were chosen by hand on the drills of the shelf, which
    are in time, and on random intervals."""
    min_free_notes: int = 16
    """Minimum number of onsets of a tune that may be in free time."""
    free_cost_per_note: float = 0.5
    """The same for each note."""


BEAT = BeatParameters()
"""The constants in use."""

CLOCK_RATE = 1_000_000
"""Clock ticks per beat by which swung places are calculated; finer than any place needs."""


@dataclass(frozen=True, eq=False)
class Pulse:
    """What the meter counts: a beat, or three eighths in compound meters.

    Attributes:
        division: how it is divided.
        swing: as in a drill.
        scale: beats of the meter per pulse.
        prior: cost of the swing.
    """

    division: Division
    swing: float = 1.0
    scale: int = 1
    prior: float = 0.0

    @property
    def played(self) -> Floats:
        """Places of the division as played, pulses, shape (n,)."""
        return np.array([played_position(place, self.swing) for place in self.division.places])


@dataclass(frozen=True, slots=True)
class BarGrid:
    """A meter, written in pulses.

    Attributes:
        meter: as in a drill.
        pulses: pulses per bar.
        pulse: the pulse.
        prior: cost of the meter.
    """

    meter: tuple[int, int]
    pulses: int
    pulse: Pulse
    prior: float

    @property
    def swing(self) -> float:
        """Ratio of the first half of a beat to the second."""
        return self.pulse.swing

    @property
    def scale(self) -> int:
        """Beats of the meter per pulse."""
        return self.pulse.scale


@dataclass(frozen=True, slots=True)
class KnownBeat:
    """What is known of the beat; None is to be estimated.

    Attributes:
        tempo: beats per minute.
        first_beat: seconds of the first beat of a bar.
        pulse_s: seconds of a pulse, whatever the meter makes of it.
        pulses: a multiple of the pulses of a bar.
    """

    tempo: float | None = None
    first_beat: float | None = None
    pulse_s: float | None = None
    pulses: int | None = None

    def pulse_tempo(self, scale: int) -> float | None:
        """Return the pulses per minute, if they are known, with `scale` beats per pulse."""
        if self.tempo is not None:
            return self.tempo / scale
        return None if self.pulse_s is None else 60.0 / self.pulse_s


NOTHING_KNOWN = KnownBeat()
"""All is to be estimated."""


@dataclass(frozen=True, slots=True)
class BeatAlignment:
    """The places of notes.

    Attributes:
        grid: the meter.
        at: place of each note, pulses from the first beat of the first full bar, exact.
        period: seconds per pulse at each note, shape (n,).
        cost: negative log probability of the alignment, up to a constant.
    """

    grid: BarGrid
    at: tuple[Fraction, ...]
    period: Floats
    cost: float


def swung_position(place: Fraction, swing: float) -> float:
    """Return a place as played: halves of a beat, and halves of these, are swung."""
    return BeatClock(0, 60.0, CLOCK_RATE, swing).sample(place) / CLOCK_RATE


def played_position(place: Fraction, swing: float) -> float:
    """Return a place as played, where thirds of a beat are not swung."""
    return float(place) if (place % 1).denominator == 3 else swung_position(place, swing)


def candidate_grids(meter: tuple[int, int] | None = None) -> tuple[BarGrid, ...]:
    """Return the candidate meters and swings; those of one meter if it is given."""
    beats_of = [Pulse(STRAIGHT)]
    beats_of += [Pulse(SWUNG, swing, prior=BEAT.swing_cost) for swing in BEAT.swings]
    compound = [Pulse(COMPOUND, scale=3)]
    grids = []
    meters = BEAT.meter_costs if meter is None else {meter: 0.0}
    for (beats, note_value), prior in meters.items():
        is_compound = note_value == 8 and beats % 3 == 0
        for pulse in compound if is_compound else beats_of:
            grids.append(BarGrid((beats, note_value), beats // pulse.scale, pulse, prior))
    return tuple(grids)


def align_beats(
    starts: Sequence[float],
    candidates: Sequence[BarGrid],
    *,
    melody: Sequence[int] | None = None,
    known: KnownBeat = NOTHING_KNOWN,
) -> BeatAlignment | None:
    """Assign onsets to places in bars.

    Args:
        starts: onsets, seconds, ascending.
        candidates: candidate meters.
        melody: pitch of each onset, half steps, by which repeated bars are recognised.
        known: what is known of the beat.

    Returns:
        The most likely alignment; None for too few onsets, or if free time is more likely.
    """
    if len(starts) < BEAT.min_notes:
        return None
    onsets = np.asarray(starts)
    by_pulse: dict[Pulse, list[BarGrid]] = {}
    counted = [grid for grid in candidates if known.pulses and known.pulses % grid.pulses == 0]
    for grid in counted or candidates:
        by_pulse.setdefault(grid.pulse, []).append(grid)
    options = [
        option
        for pulse, grids in by_pulse.items()
        for path in _paths(onsets, pulse, known)
        for option in _pages(onsets, path, grids, melody, known)
    ]
    best = min(options, key=lambda option: option.cost)
    may_be_free = known == NOTHING_KNOWN and len(onsets) >= BEAT.min_free_notes
    if may_be_free and _free_cost(onsets, melody) < best.cost:
        return None
    return best


@dataclass(frozen=True, slots=True)
class _Path:
    """Places of notes in pulses, from the pulse in which the first one begins, and periods."""

    pulse: Pulse
    places: tuple[Fraction, ...]
    period: Floats


def _paths(onsets: Floats, pulse: Pulse, known: KnownBeat) -> Iterator[_Path]:
    """Yield the most likely path in each band of tempos."""
    periods = _periods(pulse, known)
    bands, count = periods.shape
    places, played = pulse.division.places, pulse.played
    within, last, first = _tables(pulse.division)
    # From place to place: pulses that begin between them, and their distance.
    wraps = (played[None, :] <= played[:, None]).astype(float)
    ahead = played[None, :] - played[:, None] + wraps
    cost: Floats = np.broadcast_to(first, (bands, count, len(places))).copy()
    if known.first_beat is not None:
        late = (onsets[0] - known.first_beat) / periods[..., None] - played
        off = (late + 0.5) % 1.0 - 0.5
        cost = cost + _deviation_cost(off * periods[..., None], np.zeros(1))
    back: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    for gap in np.diff(onsets):
        cost, tempo_before = _with_drift(cost)
        beats = gap / periods[..., None, None]
        extra = np.maximum(0.0, np.round(beats - ahead))
        crossed = extra + wraps
        step = _deviation_cost((beats - ahead - extra) * periods[..., None, None], gap)
        empty = pulse.division.empty * np.minimum(crossed - 1.0, BEAT.max_empty_pulses)
        step = step + np.where(crossed > 0.0, last[:, None] + first[None, :] + empty, within)
        reached = cost[..., None] + step
        place_before = np.argmin(reached, axis=2)
        cost = np.take_along_axis(reached, place_before[:, :, None, :], axis=2)[:, :, 0]
        back.append((place_before, tempo_before))
    for band in range(bands):
        k, p = (int(i) for i in np.unravel_index(np.argmin(cost[band]), cost[band].shape))
        states = [(k, p)]
        for place_before, tempo_before in reversed(back):
            p = int(place_before[band, k, p])
            k = int(tempo_before[band, k, p])
            states.append((k, p))
        states.reverse()
        at = [places[states[0][1]]]
        for (_, a), (k, b), gap in zip(states, states[1:], np.diff(onsets), strict=False):
            extra_pulses = max(0, round(float(gap / periods[band, k] - ahead[a, b])))
            at.append(at[-1] + (places[b] - places[a]) + int(wraps[a, b]) + extra_pulses)
        yield _Path(pulse, tuple(at), periods[band, [k for k, _ in states]])


def _tables(division: Division) -> tuple[Floats, Floats, Floats]:
    """Costs of a division: from place to place in a pulse, of a last note, of a first one."""
    places = division.places
    within = np.full((len(places), len(places)), np.inf)
    for i, place in enumerate(places):
        for after, probability in division.after[place].items():
            within[i, places.index(after)] = -math.log(probability)
    last = np.array([division.last_cost[int(place * TICKS)] for place in places])
    first = np.array([division.first_cost[int(place * TICKS)] for place in places])
    return within, last, first


def _pages(
    onsets: Floats,
    path: _Path,
    grids: Sequence[BarGrid],
    melody: Sequence[int] | None,
    known: KnownBeat,
) -> Iterator[BeatAlignment]:
    """Yield a path as written in each meter with each first beat."""
    pulse, place = path.pulse, path.places[0]
    timing = _timing_cost(onsets, path) + pulse.prior
    ticks = [int(p * TICKS) for p in path.places]
    for grid in grids:
        prior = timing + grid.prior + _tempo_cost(path, grid, known)
        shifts = [
            phase - (grid.pulses if 2 * (place + phase) >= grid.pulses else 0)
            for phase in range(grid.pulses)
        ]
        if known.first_beat is not None:
            pulses = (onsets[0] - known.first_beat) / path.period[0]
            shifts = [round(float(pulses) - played_position(place, pulse.swing))]
        for shift in shifts:
            page = page_cost(
                [tick + shift * TICKS for tick in ticks], pulse.division, grid.pulses, melody
            )
            at = tuple(p + shift for p in path.places)
            yield BeatAlignment(grid, at, path.period, prior + page)


def _tempo_cost(path: _Path, grid: BarGrid, known: KnownBeat) -> float:
    """Cost of the tempo of a path."""
    rate = 60.0 / float(np.median(path.period))
    given = known.pulse_tempo(grid.scale)
    if given is not None:
        octaves = math.log2(rate / given) / BEAT.given_octaves
        return BEAT.given_weight * 0.5 * octaves**2
    usual, spread = BEAT.usual_tempos.get(grid.meter, BEAT.usual_tempos[4, 4])
    notes = min(len(path.places), BEAT.max_tempo_notes)
    weight = BEAT.tempo_weight + BEAT.tempo_weight_per_note * notes
    return weight * 0.5 * (math.log2(rate / usual) / spread) ** 2


def _timing_cost(onsets: Floats, path: _Path) -> float:
    """Cost of onsets by a Kalman filter over the time and the period of the pulse."""
    p = BEAT
    played = [played_position(place, path.pulse.swing) for place in path.places]
    time, period = float(onsets[0]), float(np.median(path.period[:8]))
    noise = p.onset_s**2
    tt, tp, pp = noise, 0.0, (period * p.start_octaves * math.log(2.0)) ** 2
    total = 0.0
    for before, here, onset in zip(played, played[1:], onsets[1:], strict=False):
        gap = here - before
        # Predict: the pulse goes on by `gap`, and time and period wander.
        time += gap * period
        tt += 2.0 * gap * tp + gap * gap * pp + gap * (p.phase_fraction * period) ** 2
        tp += gap * pp
        pp += gap * (p.period_fraction * period) ** 2
        variance = tt + noise
        off = float(onset) - time
        deviation = min(0.5 * off * off / variance, p.max_deviation_cost)
        total += deviation + 0.5 * math.log(2.0 * math.pi * variance)
        gain_time, gain_period = tt / variance, tp / variance
        time += gain_time * off
        period = max(period + gain_period * off, 0.05)
        tt, tp, pp = (1.0 - gain_time) * tt, (1.0 - gain_time) * tp, pp - gain_period * tp
    return total


def _free_cost(onsets: Floats, melody: Sequence[int] | None) -> float:
    """Cost of intervals that are unrelated to each other: log-normal about their median."""
    gaps = np.diff(onsets)
    sigma = BEAT.free_octaves * math.log(2.0)
    off = np.log(gaps / np.median(gaps))
    costs = 0.5 * (off / sigma) ** 2 + np.log(sigma * gaps * math.sqrt(2.0 * math.pi))
    pitches = 0.0 if melody is None else PAGE.pitch_cost * len(gaps)
    return float(np.sum(costs)) + pitches + BEAT.free_cost + BEAT.free_cost_per_note * len(onsets)


def _periods(pulse: Pulse, known: KnownBeat) -> Floats:
    """Candidate periods of a pulse, seconds, shape (bands, n)."""
    slowest = BEAT.slowest if pulse.scale == 1 else BEAT.slowest_compound
    slow, fast = math.log(slowest), math.log(BEAT.fastest)
    width = BEAT.band_octaves * math.log(2.0)
    margin = 0.1
    lows = np.arange(slow, fast, width)
    given = known.pulse_tempo(pulse.scale)
    if given is not None:
        lows, width = np.array([math.log(given)]), 0.0
    steps = np.arange(-margin, width + margin, BEAT.tempo_step)
    return 60.0 / np.exp(lows[:, None] + steps[None, :])


def _deviation_cost(off: Floats, gap: Floats | float) -> Floats:
    """Cost of onsets that are `off` seconds from their place, `gap` seconds after the last one."""
    spread = np.sqrt(BEAT.jitter_s**2 + (BEAT.jitter_fraction * np.asarray(gap)) ** 2)
    return np.minimum(0.5 * (off / spread) ** 2, BEAT.max_deviation_cost)


def _with_drift(cost: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Costs after a possible change of tempo by up to two steps, and the tempo before it."""
    count = cost.shape[1]
    shifts = (-2, -1, 0, 1, 2)
    padded = np.pad(cost, ((0, 0), (2, 2), (0, 0)), constant_values=np.inf)
    options = np.stack(
        [padded[:, 2 + by : 2 + by + count] + BEAT.drift_cost * by * by for by in shifts]
    )
    best = np.argmin(options, axis=0)
    before = np.arange(count)[None, :, None] + np.array(shifts)[best]
    return np.take_along_axis(options, best[None], axis=0)[0], before
