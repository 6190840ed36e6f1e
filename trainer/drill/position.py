"""The position in which a tune is played, from its notes.

A drill names its harp, not the key of its music. The position is estimated by Bayes' rule from how
often each position is played and how likely it produces the notes. A position has modes: those of
its natural notes, which depend on the tuning, and the blues scale. A note in the mode has a
probability by its interval from the tonic, other notes a small one. Where a phrase rests, and above
all where the tune ends, the tonic is more likely still. Notes of a tune are not independent, so the
log probability of each is weighted by less than one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import pairwise
from statistics import median

from trainer.drill.fingerings import TargetPitch, target_pitches
from trainer.drill.model import Drill, Sound, Step
from trainer.harp import HOLES, Harp, Tab, Tuning, load_tuning
from trainer.music import POSITIONS, key_in_position

_MAJOR = (0, 2, 4, 5, 7, 9, 11)
_BLUES = (0, 3, 5, 6, 7, 10)
_DORIAN = (0, 2, 3, 5, 7, 9, 10)
_MIXOLYDIAN = (0, 2, 4, 5, 7, 9, 10)

_STANDARD = load_tuning("richter")

WeightedMode = tuple[float, tuple[int, ...]]
"""Prior probability of a mode in its position, and its half steps above the tonic."""


@dataclass(frozen=True, slots=True)
class PositionParameters:
    """Constants of the estimate.

    All are common practice put into numbers; there is no corpus behind them. `foreign_weight` and
    `note_weight` were chosen on the made-up tunes of benchmarks/guessed.py with seeds below 50,
    whose generator shares the modes of positions.
    """

    position_prior: Mapping[int, float] = field(
        default_factory=lambda: {1: 0.25, 2: 0.45, 3: 0.14, 12: 0.04, 5: 0.04, 4: 0.04}
    )
    """Relative frequency of each position (common practice)."""
    rare_position_prior: float = 0.01
    """Relative frequency of each other position (common practice)."""
    modes: Mapping[int, tuple[WeightedMode, ...]] = field(
        default_factory=lambda: {
            1: ((0.9, _MAJOR), (0.1, _BLUES)),
            2: ((0.5, _MIXOLYDIAN), (0.5, (*_BLUES, 4))),
            3: ((0.6, _DORIAN), (0.4, _BLUES)),
            4: ((1.0, (0, 2, 3, 5, 7, 8, 10)),),
            5: ((0.6, (0, 1, 3, 5, 7, 8, 10)), (0.4, (0, 3, 5, 7, 10))),
            12: ((1.0, (0, 2, 4, 6, 7, 9, 11)),),
        }
    )
    """Modes of each position: the church modes of a Richter harp's natural notes, and blues scales
    (common practice)."""
    other_modes: tuple[WeightedMode, ...] = ((0.5, _MIXOLYDIAN), (0.5, _DORIAN))
    """Modes of every other position."""
    tuned_prior: Mapping[int, float] = field(
        default_factory=lambda: {1: 0.4, 2: 0.45, 3: 0.05, 12: 0.02, 5: 0.02, 4: 0.02}
    )
    """As `position_prior`, for other tunings than the standard one: they are made for the first
    and second position (common practice)."""
    tuned_natural: float = 0.8
    """Probability that a tune in another tuning keeps to the natural notes of its harp, for which
    the tuning was chosen; else it has the blues scale (common practice)."""
    degree_weights: Mapping[int, float] = field(
        default_factory=lambda: {0: 2.2, 7: 1.6, 4: 1.3, 3: 1.3}
    )
    """Frequency of the tonic, the fifth and the thirds relative to other notes of the mode, by half
    steps. In the manner of the key profiles of Krumhansl and Kessler 1982 (Psychological Review
    89), but not taken from their table."""
    foreign_weight: float = 0.08
    """Frequency of a note outside the mode, relative to one inside."""
    rest_weights: Mapping[int, float] = field(
        default_factory=lambda: {0: 8.0, 7: 2.0, 4: 1.5, 3: 1.5}
    )
    """As `degree_weights`, for the last note of a phrase (common practice)."""
    end_weights: Mapping[int, float] = field(
        default_factory=lambda: {0: 30.0, 7: 3.0, 4: 2.0, 3: 2.0}
    )
    """As `degree_weights`, for the last note of the tune (common practice)."""
    rest_ratio: float = 1.6
    """Time to the next note over its median from which a phrase ends."""
    note_weight: float = 0.35
    """Weight of the log probability of one note; below 1 as notes of a tune are correlated."""


POSITION = PositionParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class PitchEvent:
    """A note as pitches, whatever the harp.

    Attributes:
        start, end: seconds.
        path: the pitches through which it goes, one unless it glides.
    """

    start: float
    end: float
    path: tuple[TargetPitch, ...]


def drill_position(drill: Drill, harp: Harp) -> int:
    """Return the position of a drill, 1 to 12: its own, or the likeliest of its first part.

    Args:
        drill: the drill.
        harp: the harp that plays it.

    Raises:
        HarpError: the harp cannot play the drill.
    """
    if drill.position is not None:
        return drill.position
    clock = drill.clock(1000)  # its samples are milliseconds
    events = [
        PitchEvent(
            clock.sample(step.start) / 1000.0,
            clock.sample(step.end) / 1000.0,
            target_pitches(_with_whole_chords(step, harp), harp),
        )
        for step in drill.steps
    ]
    return likeliest_position(events, harp)


def _with_whole_chords(step: Step, harp: Harp) -> Step:
    """Return a step with the chords that are written by one hole in full, their roots first."""
    sounds = tuple(
        _around(sound[0], harp) if step.implied_neighbour(sound) else sound for sound in step.sounds
    )
    return replace(step, sounds=sounds)


def _around(tab: Tab, harp: Harp) -> Sound:
    """Return the chord of a hole and its neighbours; its root is the note with a fifth above."""
    holes = sorted({tab.hole - 1, tab.hole, tab.hole + 1} & set(HOLES))
    chord = [Tab(hole, tab.breath) for hole in holes]
    classes = {harp.midi(each) % 12 for each in chord}
    return tuple(sorted(chord, key=lambda each: (harp.midi(each) + 7) % 12 not in classes))


def likeliest_position(events: Sequence[PitchEvent], harp: Harp) -> int:
    """Return the most likely position on a harp, 1 to 12.

    Args:
        events: in order of their start, at least one.
        harp: the harp.
    """
    logs = position_log_probabilities(events, harp.tuning)[harp.key.tonic % 12]
    return max(POSITIONS, key=lambda position: logs[position - 1])


def position_log_probabilities(events: Sequence[PitchEvent], tuning: Tuning) -> list[list[float]]:
    """Return the log joint probability of each position and of the pitch classes in it.

    Args:
        events: in order of their start, at least one.
        tuning: tuning of the harp.

    Returns:
        For each pitch class of a harp's key, a log probability for each of the 12 positions.
    """
    p = POSITION
    counts = _pitch_class_counts(events)
    all_weights = (p.degree_weights, p.rest_weights, p.end_weights)
    logs = [[0.0] * 12 for _ in range(12)]
    for position in POSITIONS:
        frequency, modes = _position_modes(position, tuning)
        prior = math.log(frequency)
        for key in range(12):
            tonic = key_in_position(key, position)
            fits = [
                math.log(odds)
                + sum(
                    _log_probability(count, tonic, _log_profile(mode, tuple(weights.items())))
                    for count, weights in zip(counts, all_weights, strict=True)
                )
                for odds, mode in modes
            ]
            logs[key][position - 1] = prior + _log_sum(fits)
    return logs


def _position_modes(position: int, tuning: Tuning) -> tuple[float, tuple[WeightedMode, ...]]:
    """Return the relative frequency of a position and its modes."""
    p = POSITION
    if (tuning.blow, tuning.draw) == (_STANDARD.blow, _STANDARD.draw):
        frequency = p.position_prior.get(position, p.rare_position_prior)
        return frequency, p.modes.get(position, p.other_modes)
    tonic = key_in_position(0, position)
    natural = tuple(sorted({(reed - tonic) % 12 for reed in (*tuning.blow, *tuning.draw)}))
    modes = ((p.tuned_natural, natural), (1.0 - p.tuned_natural, _BLUES))
    return p.tuned_prior.get(position, p.rare_position_prior), modes


def _log_probability(count: Sequence[float], tonic: int, profile: Sequence[float]) -> float:
    """Return the log probability of weighted pitch classes under a profile above a tonic."""
    return sum(count[(tonic + i) % 12] * profile[i] for i in range(12))


def _log_sum(logs: Sequence[float]) -> float:
    """Return the log of a sum of exponentials."""
    highest = max(logs)
    return highest + math.log(sum(math.exp(log - highest) for log in logs))


def _pitch_class_counts(
    events: Sequence[PitchEvent],
) -> tuple[list[float], list[float], list[float]]:
    """Return weighted counts of the 12 pitch classes: all notes, phrase ends, and the end."""
    p = POSITION
    passing, rests, ends = [0.0] * 12, [0.0] * 12, [0.0] * 12
    to_next = [after.start - before.start for before, after in pairwise(events)]
    usual = median(to_next) if to_next else 1.0
    for i, event in enumerate(events):
        for pitch in event.path:
            weight = p.note_weight / (len(event.path) * len(pitch.notes))
            for note in pitch.notes:
                passing[note % 12] += weight
        last = event.path[-1].notes[0] % 12
        if i == len(events) - 1:
            ends[last] += 1.0
        elif to_next[i] >= p.rest_ratio * usual:
            rests[last] += p.note_weight
    return passing, rests, ends


@cache
def _log_profile(
    mode: tuple[int, ...], weights: tuple[tuple[int, float], ...]
) -> tuple[float, ...]:
    """Return the log probability of each half step above the tonic."""
    in_mode = dict(weights)
    odds = [in_mode.get(i, 1.0) if i in mode else POSITION.foreign_weight for i in range(12)]
    total = sum(odds)
    return tuple(math.log(each / total) for each in odds)
