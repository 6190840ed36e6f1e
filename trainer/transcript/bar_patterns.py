"""Cost of a page of rhythm: how likely its beats, its bars and their repetitions are.

Within a beat, each note follows from the one before by a table of transitions. A bar begins on its
first beat more often than its other beats do. A bar that has been played before costs less than a
new one: tunes repeat themselves (McLeod, Nakamura and Yoshii 2019, ICASSP; Temperley 2007, Music
and Probability). So the meter is preferred in which the page has the fewest different bars and the
fewest notes off the beat.

Costs are negative log probabilities, in nats.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import groupby, pairwise

TICKS = 12
"""Ticks per pulse; all places are whole numbers of them."""
UNLIKELY = 1e-4
"""Probability of a place that a table does not name."""

HALF, QUARTER, THREE_QUARTERS = Fraction(1, 2), Fraction(1, 4), Fraction(3, 4)
THIRD, TWO_THIRDS, SIXTH, FIVE_SIXTHS = (
    Fraction(1, 3),
    Fraction(2, 3),
    Fraction(1, 6),
    Fraction(5, 6),
)
ZERO, ONE = Fraction(0), Fraction(1)


@dataclass(frozen=True, eq=False)
class Division:
    """How beats, or other pulses, are divided.

    Attributes:
        first: probability that the first note of a pulse begins at a place, by pulses; what is
            missing to 1 is the probability of a pulse in which none begins.
        after: by a note's place, the probabilities of the next note's in the same pulse; what is
            missing to 1 is the probability that none follows.
    """

    first: Mapping[Fraction, float]
    after: Mapping[Fraction, Mapping[Fraction, float]]

    @property
    def places(self) -> tuple[Fraction, ...]:
        """Places in a pulse on which notes may begin, in order."""
        return tuple(sorted(self.after))

    @cached_property
    def empty(self) -> float:
        """Cost of a pulse in which no note begins."""
        return -math.log(1.0 - sum(self.first.values()))

    @cached_property
    def first_cost(self) -> list[float]:
        """Cost of the first note of a pulse at each tick."""
        return [-math.log(self.first.get(_place(tick), UNLIKELY)) for tick in range(TICKS)]

    @cached_property
    def after_cost(self) -> list[list[float]]:
        """Cost of the next note of a pulse at each tick, after a note at each tick."""
        return [
            [-math.log(after.get(_place(tick), UNLIKELY)) for tick in range(TICKS)]
            for after in self._after
        ]

    @cached_property
    def last_cost(self) -> list[float]:
        """Cost of a note's being the last of its pulse, at each tick."""
        return [-math.log(max(1.0 - sum(after.values()), UNLIKELY)) for after in self._after]

    @property
    def _after(self) -> list[Mapping[Fraction, float]]:
        return [self.after.get(_place(tick), {}) for tick in range(TICKS)]


def _place(tick: int) -> Fraction:
    return Fraction(tick, TICKS)


STRAIGHT = Division(
    {ZERO: 0.66, HALF: 0.07, QUARTER: 0.004, THREE_QUARTERS: 0.01, THIRD: 0.003, TWO_THIRDS: 0.004},
    {
        ZERO: {HALF: 0.37, THREE_QUARTERS: 0.05, QUARTER: 0.025, THIRD: 0.035, TWO_THIRDS: 0.003},
        QUARTER: {HALF: 0.75, THREE_QUARTERS: 0.1},
        HALF: {THREE_QUARTERS: 0.07},
        THREE_QUARTERS: {},
        THIRD: {TWO_THIRDS: 0.9},
        TWO_THIRDS: {},
    },
)
"""Halved beats, sometimes quartered or divided by three."""
SWUNG = Division(
    {ZERO: 0.66, HALF: 0.07, THIRD: 0.004},
    {ZERO: {HALF: 0.42, THIRD: 0.03}, HALF: {}, THIRD: {TWO_THIRDS: 0.9}, TWO_THIRDS: {}},
)
"""Halved beats whose halves are uneven, sometimes divided by three."""
COMPOUND = Division(
    {ZERO: 0.72, THIRD: 0.04, TWO_THIRDS: 0.06, HALF: 0.003, SIXTH: 0.001, FIVE_SIXTHS: 0.002},
    {
        ZERO: {THIRD: 0.32, TWO_THIRDS: 0.33, HALF: 0.02, SIXTH: 0.01, FIVE_SIXTHS: 0.01},
        SIXTH: {THIRD: 0.6, HALF: 0.1, TWO_THIRDS: 0.2},
        THIRD: {TWO_THIRDS: 0.85, HALF: 0.03, FIVE_SIXTHS: 0.01},
        HALF: {TWO_THIRDS: 0.7, FIVE_SIXTHS: 0.1},
        TWO_THIRDS: {FIVE_SIXTHS: 0.04},
        FIVE_SIXTHS: {},
    },
)
"""Pulses of three parts, which are sometimes halved."""


@dataclass(frozen=True, slots=True)
class PageParameters:
    """Constants of the cost of a page, chosen by hand on the grammar of benchmarks/lengths.py."""

    first_beat: float = 0.88
    """Probability that a note begins on the first beat of a bar."""
    middle_beat: float = 0.72
    """Probability that a note begins on the middle beat of a bar."""
    new_bar: float = 1.5
    """Weight of a new bar, in bars, against those that have been played (Pitman 2006: the Chinese
    restaurant process)."""
    min_notes: int = 2
    """Minimum number of notes of a bar that counts as repeated."""
    repeated_fraction: float = 0.3
    """Fraction of its cost as a new bar that the rhythm of a repeated bar costs, too: otherwise a
    tune of equal bars would say once only where its bars begin."""
    pitch_cost: float = 1.6
    """Cost of the interval to a note, where a bar is new (from memory: melodies have about 2.5 bits
    a note)."""
    max_empty_bars: int = 1
    """Maximum length of a silence whose empty beats have a cost, bars."""
    empty_bar: float = 0.7
    """Cost of each further bar of silence."""
    pick_up: float = 1.0
    """Cost of a pick-up of up to a third of a bar."""
    long_pick_up: float = 5.0
    """Cost of a longer one."""
    long_pulses: float = 1.5
    """Time to the next note from which a note is long, pulses."""
    long_off_beat: float = 0.7
    """Cost of a long note that begins within a pulse."""
    long_weak: float = 0.3
    """Cost of a long note that begins on a pulse other than a bar's first and middle one."""
    bars_of_four: float = 0.5
    """Cost of a number of bars that is no multiple of four."""
    last_first: float = 0.6
    """Cost of a last note elsewhere than on the first beat or the middle one."""


PAGE = PageParameters()
"""The constants in use."""


def page_cost(
    places: Sequence[int], division: Division, pulses: int, melody: Sequence[int] | None
) -> float:
    """Return the cost of notes in bars.

    Args:
        places: place of each note from the first full bar, ticks, ascending; negative in a
            pick-up.
        division: how pulses are divided.
        pulses: of a bar.
        melody: pitch of each note, half steps; None to leave the pitches out.
    """
    bar = pulses * TICKS
    total = _edges(places, pulses) + _long_notes(places, pulses)
    rhythms: Counter[object] = Counter()
    tunes: Counter[object] = Counter()
    last_bar = places[-1] // bar
    before: int | None = None
    played = groupby(range(len(places)), key=lambda i: places[i] // bar)
    for seen, (number, group) in enumerate(played):
        notes = list(group)
        if before is not None:
            gap = number - before - 1
            total += min(gap, PAGE.max_empty_bars) * pulses * division.empty
            total += max(0, gap - PAGE.max_empty_bars) * PAGE.empty_bar
        rhythm = tuple(places[i] - number * bar for i in notes)
        # What comes before the tune is no rest, and neither is what comes after it.
        begin = 0 if seen else rhythm[0] // TICKS
        end = rhythm[-1] // TICKS + 1 if number == last_bar else pulses
        rhythm_cost = _rhythm_cost(rhythm, division, pulses, begin, end)
        pitch_cost = 0.0
        tune: object = rhythm
        if melody is not None:
            pitch_cost = PAGE.pitch_cost * (len(notes) - 1)
            tune = rhythm, tuple(melody[i] - melody[notes[0]] for i in notes)
        weight = seen + PAGE.new_bar
        cost = rhythm_cost + pitch_cost - math.log(PAGE.new_bar / weight)
        if len(notes) >= PAGE.min_notes:
            again = PAGE.repeated_fraction * rhythm_cost
            if rhythms[rhythm]:
                known = again - math.log(0.5 * rhythms[rhythm] / weight)
                cost = min(cost, known + pitch_cost)
            if tunes[tune]:
                cost = min(cost, again - math.log(0.5 * tunes[tune] / weight))
        total += cost
        rhythms[rhythm] += 1
        tunes[tune] += 1
        before = number
    return total


def _edges(places: Sequence[int], pulses: int) -> float:
    """Cost of the pick-up, of the number of bars and of the last note's place."""
    cost, bar = 0.0, pulses * TICKS
    if places[0]:
        short = places[0] < 0 and -3 * places[0] <= bar
        cost += PAGE.pick_up if short else PAGE.long_pick_up
    if (places[-1] // bar + 1) % 4:
        cost += PAGE.bars_of_four
    last = places[-1] % bar
    if last and (pulses % 2 or 2 * last != bar):
        cost += PAGE.last_first
    return cost


def _long_notes(places: Sequence[int], pulses: int) -> float:
    """Cost of long notes that begin on weak places."""
    cost, long, bar = 0.0, PAGE.long_pulses * TICKS, pulses * TICKS
    for place, after in pairwise(places):
        if after - place < long:
            continue
        if place % TICKS:
            cost += PAGE.long_off_beat
        elif place % bar and (pulses % 2 or 2 * (place % bar) != bar):
            cost += PAGE.long_weak
    return cost


def _rhythm_cost(
    rhythm: Sequence[int], division: Division, pulses: int, begin: int, end: int
) -> float:
    """Cost of the places of a bar's notes, in ticks, from pulse `begin` up to pulse `end`."""
    cost = 0.0
    usual = division.first[ZERO]
    i = 0
    for pulse in range(begin, end):
        on = usual
        if pulse == 0:
            on = max(PAGE.first_beat, usual)
        elif 2 * pulse == pulses:
            on = max(PAGE.middle_beat, usual)
        off_beat = math.log((1.0 - usual) / (1.0 - on))
        line = (pulse + 1) * TICKS
        if i == len(rhythm) or rhythm[i] >= line:
            cost += division.empty + off_beat
            continue
        tick = rhythm[i] % TICKS
        cost += division.first_cost[tick] + off_beat if tick else -math.log(on)
        i += 1
        while i < len(rhythm) and rhythm[i] < line:
            after = rhythm[i] % TICKS
            cost += division.after_cost[tick][after]
            tick = after
            i += 1
        cost += division.last_cost[tick]
    return cost
