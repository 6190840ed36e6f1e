"""Estimate tempo, meter, bars and swing from the onsets of notes.

A hidden Markov model after Cemgil and Kappen (2003, JAIR 18) and Temperley (2007, Music and
Probability). The hidden state is a place in the bar, on a grid of beats, halves, thirds and
quarters, and a tempo that drifts from note to note. Each place has a probability that a note
begins there: a beat a higher one than its half, thirds and quarters low ones. The observation is
the time from one onset to the next. The most likely path (Viterbi 1967) assigns each note its
place; it is computed for each candidate meter and swing, and the most likely of all is returned.

Costs are negative log probabilities, up to a constant.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import BeatClock


@dataclass(frozen=True, slots=True)
class BeatParameters:
    """Constants of the beat tracker.

    Chosen by hand on the drills of the shelf, played by the built-in player with scattered onsets,
    unless a field names another source. On tunes of another kind expect worse figures.
    """

    slowest: float = 36.0
    """Lowest tempo that is tried, pulses per minute."""
    fastest: float = 220.0
    """Highest tempo that is tried, pulses per minute."""
    tempo_step: float = 0.025
    """Relative step between tempos."""
    usual_tempo: float = 96.0
    """Centre of the log-normal prior of the tempo, pulses per minute (after Parncutt 1994, Music
    Perception 11: a pulse is most salient near 100 per minute)."""
    usual_compound_tempo: float = 66.0
    """The same for pulses of three eighths."""
    tempo_octaves: float = 0.55
    """Standard deviation of that prior, octaves."""
    tempo_weight: float = 3.0
    """Weight of that prior at the start."""
    tempo_weight_per_note: float = 0.6
    """Weight of that prior for each note."""
    given_octaves: float = 0.06
    """Standard deviation of the tempo about a given one, octaves."""
    jitter_s: float = 0.022
    """Standard deviation of the time between two onsets: constant part, seconds."""
    jitter_fraction: float = 0.04
    """Standard deviation of the time between two onsets: part proportional to it."""
    drift_cost: float = 0.6
    """Cost of a change of tempo by one step from a note to the next; grows with its square."""
    max_deviation_cost: float = 9.0
    """Maximum cost of a deviation: players stumble."""
    on_beat: float = 0.62
    """Probability that a note begins on a beat."""
    on_half: float = 0.30
    """Probability that a note begins on half a beat."""
    on_third: float = 0.03
    """Probability that a note begins on a third of a beat."""
    on_quarter: float = 0.07
    """Probability that a note begins on a quarter of a beat."""
    on_first: float = 0.80
    """Probability that a note begins on the first beat of a bar."""
    on_middle: float = 0.68
    """Probability that a note begins on the middle beat of a bar."""
    on_compound: Mapping[Fraction, float] = field(
        default_factory=lambda: {
            Fraction(0): 0.75,
            Fraction(1, 3): 0.35,
            Fraction(2, 3): 0.50,
            Fraction(1, 6): 0.04,
            Fraction(1, 2): 0.06,
            Fraction(5, 6): 0.06,
        }
    )
    """Probability that a note begins at a place in a pulse of three eighths, by pulses."""
    long_pulses: float = 1.5
    """Time to the next note from which a note is long, pulses."""
    long_weak_cost: float = 0.6
    """Cost of a long note on a weak place."""
    pick_up_cost: float = 1.5
    """Cost of a pick-up of up to a beat."""
    late_start_cost: float = 5.0
    """Cost of a beginning elsewhere in the bar."""
    max_empty_bars: int = 2
    """Maximum length of a silence whose empty places have a cost, bars."""
    min_notes: int = 5
    """Minimum number of onsets."""
    swings: tuple[float, ...] = (1.0, 1.5, 2.0)
    """Candidate swings: ratios of the first half of a beat to the second."""
    swing_cost: float = 2.5
    """Cost of a swing other than 1."""
    meter_costs: Mapping[tuple[int, int], float] = field(
        default_factory=lambda: {(4, 4): 0.0, (3, 4): 3.0, (6, 8): 8.0}
    )
    """Candidate meters and their costs."""


BEAT = BeatParameters()
"""The constants in use."""

CLOCK_RATE = 1_000_000
"""Clock ticks per beat by which swung places are calculated; finer than any place needs."""


@dataclass(frozen=True, slots=True)
class BarGrid:
    """The places of a bar on which notes may begin.

    Attributes:
        meter: as in a drill.
        pulses: pulses per bar; a pulse is a beat, or three eighths in 6/8.
        places: pulses from the start of the bar, exact, n of them.
        swing: as in a drill.
        cost: cost of a note at each place, less that of none, shape (n,).
        opening: additional cost of the first note at each place, shape (n,).
        empty: cost of a pulse without a note.
        prior: cost of the meter and the swing.
        scale: beats of the meter per pulse.
    """

    meter: tuple[int, int]
    pulses: int
    places: tuple[Fraction, ...]
    swing: float
    cost: Floats
    opening: Floats
    empty: float
    prior: float
    scale: int = 1

    @property
    def played(self) -> Floats:
        """Places as played, with swing, pulses, shape (n,)."""
        return np.array([swung_position(place, self.swing) for place in self.places])


@dataclass(frozen=True, slots=True)
class BeatAlignment:
    """The places of notes.

    Attributes:
        grid: the meter.
        at: place of each note, pulses from the last bar line at or before the first note, exact.
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


def _simple_grid(beats: int, swing: float, prior: float, note_value: int = 4) -> BarGrid:
    """A bar of beats that are halved, sometimes quartered or divided by three."""
    p = BEAT
    parts = {
        Fraction(0): p.on_beat,
        Fraction(1, 2): p.on_half,
        Fraction(1, 3): p.on_third,
        Fraction(2, 3): p.on_third,
        Fraction(1, 4): p.on_quarter,
        Fraction(3, 4): p.on_quarter,
    }
    probabilities = {}
    for beat in range(beats):
        for part, probability in parts.items():
            probabilities[beat + part] = probability
    if beats % 2 == 0:
        probabilities[Fraction(beats // 2)] = p.on_middle
    probabilities[Fraction(0)] = p.on_first
    return _grid((beats, note_value), beats, probabilities, swing, prior)


def _compound_grid(prior: float) -> BarGrid:
    """A bar of 6/8: two pulses of three eighths, sometimes halved."""
    probabilities = {
        pulse + part: probability
        for pulse in range(2)
        for part, probability in BEAT.on_compound.items()
    }
    probabilities[Fraction(0)] = BEAT.on_first
    return _grid((6, 8), 2, probabilities, 1.0, prior, scale=3)


def _grid(
    meter: tuple[int, int],
    pulses: int,
    probabilities: dict[Fraction, float],
    swing: float,
    prior: float,
    scale: int = 1,
) -> BarGrid:
    places = tuple(sorted(probabilities))
    probability = np.array([probabilities[place] for place in places])
    empty = float(-np.log1p(-probability).sum()) / pulses
    cost = np.log1p(-probability) - np.log(probability)
    opening = np.array([BEAT.late_start_cost if place else 0.0 for place in places])
    opening[[place >= pulses - 1 for place in places]] = BEAT.pick_up_cost
    return BarGrid(meter, pulses, places, swing, cost, opening, empty, prior, scale)


def candidate_grids(meter: tuple[int, int] | None = None) -> tuple[BarGrid, ...]:
    """Return the candidate meters and swings; those of one meter if it is given."""
    grids = []
    meters = BEAT.meter_costs if meter is None else {meter: 0.0}
    for (beats, note_value), prior in meters.items():
        if note_value == 8 and beats % 3 == 0:
            grids.append(_compound_grid(prior))
            continue
        for swing in BEAT.swings:
            cost = BEAT.swing_cost if swing != 1.0 else 0.0
            grids.append(_simple_grid(beats, swing, prior + cost, note_value))
    return tuple(grids)


def align_beats(
    starts: Sequence[float],
    candidates: Sequence[BarGrid],
    *,
    tempo: float | None = None,
    first_beat: float | None = None,
) -> BeatAlignment | None:
    """Assign onsets to places in bars.

    Args:
        starts: onsets, seconds, ascending.
        candidates: candidate meters.
        tempo: beats per minute, if known.
        first_beat: seconds of the first beat of a bar, if known.

    Returns:
        The most likely alignment; None for too few onsets.
    """
    if len(starts) < BEAT.min_notes:
        return None
    paths = [_viterbi(np.asarray(starts), grid, tempo, first_beat) for grid in candidates]
    return min(paths, key=lambda path: path.cost)


def _viterbi(
    starts: Floats, grid: BarGrid, tempo: float | None, first_beat: float | None
) -> BeatAlignment:
    """The most likely path through tempos k and places p of a grid."""
    periods, prior = _tempo_prior(grid, tempo)
    played, bar = grid.played, float(grid.pulses)
    ahead = (played[None, :] - played[:, None]) % bar  # from place to place, within a bar
    weight = BEAT.tempo_weight + BEAT.tempo_weight_per_note * len(starts)
    cost: Floats = weight * prior[:, None] + (grid.cost + grid.opening)[None, :] + grid.prior
    if first_beat is not None:
        late = (starts[0] - first_beat) / periods[:, None] - played[None, :]
        off = (late + 0.5 * bar) % bar - 0.5 * bar
        cost = cost + _deviation_cost(off * periods[:, None], np.zeros(1))
    back: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    for gap in np.diff(starts):
        cost, tempo_before = _with_drift(cost)
        beats = gap / periods
        bars = np.maximum(0.0, np.round((beats[:, None, None] - ahead[None]) / bar))
        total = ahead[None] + bars * bar
        step = _deviation_cost((beats[:, None, None] - total) * periods[:, None, None], gap)
        step = step + grid.empty * np.minimum(total, BEAT.max_empty_bars * bar)
        step = np.where(total <= 0.0, np.inf, step)
        weak = (grid.cost[:, None] > np.min(grid.cost) + 0.3)[None]
        long = (total >= BEAT.long_pulses) & weak
        reached = cost[:, :, None] + step + BEAT.long_weak_cost * long
        place_before = np.argmin(reached, axis=1)
        cost = np.take_along_axis(reached, place_before[:, None, :], axis=1)[:, 0]
        cost = cost + grid.cost[None, :]
        back.append((place_before, tempo_before))
    k, p = (int(index) for index in np.unravel_index(np.argmin(cost), cost.shape))
    lowest = float(cost[k, p])
    states = [(k, p)]
    for place_before, tempo_before in reversed(back):
        p = int(place_before[k, p])
        k = int(tempo_before[k, p])
        states.append((k, p))
    states.reverse()
    places = _unrolled(states, starts, grid, periods)
    return BeatAlignment(grid, places, periods[[k for k, _ in states]], lowest)


def _unrolled(
    states: Sequence[tuple[int, int]], starts: Floats, grid: BarGrid, periods: Floats
) -> tuple[Fraction, ...]:
    """The places of the states, counted on from bar to bar."""
    played, bar = grid.played, grid.pulses
    at = [grid.places[states[0][1]]]
    for (_, last), (k, p), gap in zip(states, states[1:], np.diff(starts), strict=False):
        ahead = float(played[p] - played[last]) % bar
        bars = max(0, round((float(gap) / float(periods[k]) - ahead) / bar))
        exact = (grid.places[p] - grid.places[last]) % bar
        at.append(at[-1] + exact + bars * bar)
    return tuple(at)


def _tempo_prior(grid: BarGrid, tempo: float | None) -> tuple[Floats, Floats]:
    """Candidate periods of a pulse, seconds, and the cost of each."""
    slow, fast = math.log(BEAT.slowest), math.log(BEAT.fastest)
    if tempo is not None:
        middle = math.log(tempo / grid.scale)
        slow, fast = middle - 0.1, middle + 0.1
    rates = np.exp(np.arange(slow, fast, BEAT.tempo_step))
    usual = BEAT.usual_tempo if grid.scale == 1 else BEAT.usual_compound_tempo
    centre = usual if tempo is None else tempo / grid.scale
    octaves = BEAT.tempo_octaves if tempo is None else BEAT.given_octaves
    prior = 0.5 * (np.log2(rates / centre) / octaves) ** 2
    return 60.0 / rates, prior


def _deviation_cost(off: Floats, gap: Floats | float) -> Floats:
    """Cost of onsets that are `off` seconds from their place, `gap` seconds after the last one."""
    spread = np.sqrt(BEAT.jitter_s**2 + (BEAT.jitter_fraction * np.asarray(gap)) ** 2)
    return np.minimum(0.5 * (off / spread) ** 2, BEAT.max_deviation_cost)


def _with_drift(cost: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """Costs after a possible change of tempo by up to two steps, and the tempo before it."""
    count = len(cost)
    shifts = (-2, -1, 0, 1, 2)
    padded = np.pad(cost, ((2, 2), (0, 0)), constant_values=np.inf)
    options = np.stack(
        [padded[2 + by : 2 + by + count] + BEAT.drift_cost * by * by for by in shifts]
    )
    best = np.argmin(options, axis=0)
    before = np.arange(count)[:, None] + np.array(shifts)[best]
    return np.take_along_axis(options, best[None], axis=0)[0], before
