"""Where the beats fall: tempo, meter, bars and swing out of when notes begin.

A hidden Markov model after Cemgil and Kappen (2003, JAIR 18) and Temperley (2007, Music and
Probability): a hidden place in the bar, on a grid of beats, halves, thirds and quarters, and a
hidden tempo that wanders a little from note to note. Each slot of the grid has its chance that a
note begins there: a beat more than its half, and thirds and quarters seldom. What is heard is the
time from one beginning to the next. The likeliest path (Viterbi 1967) says where each note stands;
it is sought for each meter and swing in question, and the likeliest of all is taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import BeatClock

SLOWEST, FASTEST, TEMPO_STEP = 36.0, 220.0, 0.025
"""Pulses a minute that are tried, and by which share they differ."""
USUAL_TEMPO, USUAL_COMPOUND, TEMPO_OCTAVES = 96.0, 66.0, 0.55
"""Tempos are log-normal about this, with so many octaves of standard deviation (after Parncutt
1994, Music Perception 11: a pulse is most salient near 100 a minute)."""
TEMPO_WEIGHT, TEMPO_EACH = 3.0, 0.6
"""How much that counts at the start, and again with each note."""
GIVEN_OCTAVES = 0.06
"""How far from a tempo that is given the real one may lie, in octaves, standard deviation."""
JITTER_S, JITTER_SHARE = 0.022, 0.04
"""Standard deviation of the time between two notes: a part that is always there, and a share."""
WANDER = 0.6
"""What each step of tempo from one note to the next costs."""
OUTLIER = 9.0
"""No deviation costs more: a player stumbles."""
ON_BEAT, ON_HALF, ON_THIRD, ON_QUARTER = 0.62, 0.30, 0.03, 0.07
"""Chance that a note begins there."""
STRONG, HALF_STRONG = 0.80, 0.68
"""The same on the first beat of a bar, and on the middle one."""
LONG_BEATS, LONG_WEAK = 1.5, 0.6
"""A note that long begins on a beat, and rather on a strong one."""
PICK_UP, OPENS_LATE = 1.5, 5.0
"""What it costs that a tune begins with a pick-up of up to a beat, or in the middle of a bar."""
MOST_BARS = 2
"""No silence counts for more bars than this."""
LEAST_NOTES = 5
SAMPLES = 1_000_000
"""In a beat; as fine as the places of notes need be."""
SWINGS = (1.0, 1.5, 2.0)
SWUNG = 2.5
"""What it costs that a tune is swung."""


@dataclass(frozen=True, slots=True)
class BarGrid:
    """The slots of a bar on which notes may begin.

    Attributes:
        meter: as in a drill.
        pulses: pulses in a bar; a pulse is the beat, or three eighths in 6/8.
        places: pulses from the start of the bar, exact, shape (n,).
        swing: as in a drill.
        cost: what it costs that a note begins there rather than not, shape (n,).
        opening: what it costs that the first note stands there, shape (n,).
        empty: what a pulse costs in which nothing begins.
        prior: what the meter and the swing cost.
        scale: beats of the meter in a pulse.
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
        """Where the places fall when they are played, pulses; halves are swung."""
        return np.array([swung_position(place, self.swing) for place in self.places])


@dataclass(frozen=True, slots=True)
class BeatAlignment:
    """Where notes stand.

    Attributes:
        grid: the meter.
        at: where each begins, in pulses from the first bar line before it or on it, exact.
        period: seconds of a pulse at each, shape (n,).
        cost: how unlikely it all is, as minus the logarithm of its probability.
    """

    grid: BarGrid
    at: tuple[Fraction, ...]
    period: Floats
    cost: float


def swung_position(place: Fraction, swing: float) -> float:
    """Where a place falls when it is played: halves, and halves of these, are swung."""
    return BeatClock(0, 60.0, SAMPLES, swing).sample(place) / SAMPLES


def _simple(beats: int, swing: float, prior: float, note_value: int = 4) -> BarGrid:
    """A bar of beats that are halved, and sometimes quartered or divided by three."""
    parts = {
        Fraction(0): ON_BEAT,
        Fraction(1, 2): ON_HALF,
        Fraction(1, 3): ON_THIRD,
        Fraction(2, 3): ON_THIRD,
        Fraction(1, 4): ON_QUARTER,
        Fraction(3, 4): ON_QUARTER,
    }
    chances = {}
    for beat in range(beats):
        for part, chance in parts.items():
            chances[beat + part] = chance
    if beats % 2 == 0:
        chances[Fraction(beats // 2)] = HALF_STRONG
    chances[Fraction(0)] = STRONG
    return _grid((beats, note_value), beats, chances, swing, prior)


def _compound(prior: float) -> BarGrid:
    """A bar of 6/8: two pulses of three eighths, which are halved at times."""
    parts = {
        Fraction(0): 0.75,
        Fraction(1, 3): 0.35,
        Fraction(2, 3): 0.50,
        Fraction(1, 6): 0.04,
        Fraction(1, 2): 0.06,
        Fraction(5, 6): 0.06,
    }
    chances = {pulse + part: chance for pulse in range(2) for part, chance in parts.items()}
    chances[Fraction(0)] = STRONG
    return _grid((6, 8), 2, chances, 1.0, prior, scale=3)


def _grid(
    meter: tuple[int, int],
    pulses: int,
    chances: dict[Fraction, float],
    swing: float,
    prior: float,
    scale: int = 1,
) -> BarGrid:
    places = tuple(sorted(chances))
    chance = np.array([chances[place] for place in places])
    empty = float(-np.log1p(-chance).sum()) / pulses
    cost = np.log1p(-chance) - np.log(chance)
    opening = np.array([OPENS_LATE if place else 0.0 for place in places])
    opening[[place >= pulses - 1 for place in places]] = PICK_UP
    return BarGrid(meter, pulses, places, swing, cost, opening, empty, prior, scale)


def candidate_grids(meter: tuple[int, int] | None = None) -> tuple[BarGrid, ...]:
    """The meters and swings in question.

    Args:
        meter: takes only this one.
    """
    found = []
    meters = {(4, 4): 0.0, (3, 4): 3.0, (6, 8): 8.0}
    for one, prior in meters.items() if meter is None else [(meter, 0.0)]:
        if one[1] == 8 and one[0] % 3 == 0:
            found.append(_compound(prior))
            continue
        for by in SWINGS:
            cost = SWUNG if by != 1.0 else 0.0
            found.append(_simple(one[0], by, prior + cost, one[1]))
    return tuple(found)


def align_beats(
    starts: Sequence[float],
    candidates: Sequence[BarGrid],
    *,
    tempo: float | None = None,
    first_beat: float | None = None,
) -> BeatAlignment | None:
    """Where notes stand in bars.

    Args:
        starts: when they begin, seconds, ascending.
        candidates: the meters in question.
        tempo: beats a minute, if known.
        first_beat: the second on which the first beat of a bar falls, if known.

    Returns:
        the likeliest; None for too few notes.
    """
    if len(starts) < LEAST_NOTES:
        return None
    found = [_path(np.asarray(starts), grid, tempo, first_beat) for grid in candidates]
    return min(found, key=lambda one: one.cost)


def _path(
    starts: Floats, grid: BarGrid, tempo: float | None, first_beat: float | None
) -> BeatAlignment:
    periods, prior = _tempos(grid, tempo)
    b, bar = grid.played, float(grid.pulses)
    ahead = (b[None, :] - b[:, None]) % bar  # from place to place, within a bar
    each = TEMPO_WEIGHT + TEMPO_EACH * len(starts)
    cost: Floats = each * prior[:, None] + (grid.cost + grid.opening)[None, :] + grid.prior
    if first_beat is not None:
        late = (starts[0] - first_beat) / periods[:, None] - b[None, :]
        off = (late + 0.5 * bar) % bar - 0.5 * bar
        cost = cost + _deviation(off * periods[:, None], np.zeros(1))
    came: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
    for gap in np.diff(starts):
        cost, before = _wandered(cost)
        beats = gap / periods
        bars = np.maximum(0.0, np.round((beats[:, None, None] - ahead[None]) / bar))
        total = ahead[None] + bars * bar
        step = _deviation((beats[:, None, None] - total) * periods[:, None, None], gap)
        step = step + grid.empty * np.minimum(total, MOST_BARS * bar)
        step = np.where(total <= 0.0, np.inf, step)
        long = (total >= LONG_BEATS) & (grid.cost[:, None] > np.min(grid.cost) + 0.3)[None]
        reached = cost[:, :, None] + step + LONG_WEAK * long
        origin = np.argmin(reached, axis=1)
        cost = np.take_along_axis(reached, origin[:, None, :], axis=1)[:, 0] + grid.cost[None, :]
        came.append((origin, before))
    k, p = (int(one) for one in np.unravel_index(np.argmin(cost), cost.shape))
    least = float(cost[k, p])
    states = [(k, p)]
    for origin, before in reversed(came):
        p = int(origin[k, p])
        k = int(before[k, p])
        states.append((k, p))
    states.reverse()
    return BeatAlignment(
        grid, _counted(states, starts, grid, periods), periods[[k for k, _ in states]], least
    )


def _counted(
    states: Sequence[tuple[int, int]], starts: Floats, grid: BarGrid, periods: Floats
) -> tuple[Fraction, ...]:
    """The places of the states, counted on from bar to bar."""
    b, bar = grid.played, grid.pulses
    at = [grid.places[states[0][1]]]
    for (_, last), (k, p), gap in zip(states, states[1:], np.diff(starts), strict=False):
        ahead = float(b[p] - b[last]) % bar
        bars = max(0, round((float(gap) / float(periods[k]) - ahead) / bar))
        exact = (grid.places[p] - grid.places[last]) % bar
        at.append(at[-1] + exact + bars * bar)
    return tuple(at)


def _tempos(grid: BarGrid, tempo: float | None) -> tuple[Floats, Floats]:
    """Periods of a pulse that are tried, seconds, and what each costs."""
    slow, fast = math.log(SLOWEST), math.log(FASTEST)
    if tempo is not None:
        middle = math.log(tempo / grid.scale)
        slow, fast = middle - 0.1, middle + 0.1
    rates = np.exp(np.arange(slow, fast, TEMPO_STEP))
    usual = USUAL_TEMPO if grid.scale == 1 else USUAL_COMPOUND
    centre = usual if tempo is None else tempo / grid.scale
    octaves = TEMPO_OCTAVES if tempo is None else GIVEN_OCTAVES
    prior = 0.5 * (np.log2(rates / centre) / octaves) ** 2
    return 60.0 / rates, prior


def _deviation(off: Floats, gap: Floats | float) -> Floats:
    """What it costs that a note comes so many seconds off, after so long a gap."""
    spread = np.sqrt(JITTER_S**2 + (JITTER_SHARE * np.asarray(gap)) ** 2)
    return np.minimum(0.5 * (off / spread) ** 2, OUTLIER)


def _wandered(cost: Floats) -> tuple[Floats, NDArray[np.intp]]:
    """The costs after the tempo may have changed a little, and which tempo each came from."""
    count = len(cost)
    shifts = (-2, -1, 0, 1, 2)
    padded = np.pad(cost, ((2, 2), (0, 0)), constant_values=np.inf)
    options = np.stack([padded[2 + by : 2 + by + count] + WANDER * by * by for by in shifts])
    best = np.argmin(options, axis=0)
    came = np.arange(count)[:, None] + np.array(shifts)[best]
    return np.take_along_axis(options, best[None], axis=0)[0], came
