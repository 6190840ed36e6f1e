"""Which harp was it played on, and in which position?

Both are asked together, by Bayes' rule: how often is a position played, and how likely would it
give these notes? Each harp of a tuning is tried in each of the twelve positions.

- A position has its modes: those that its natural notes give, and the blues scale. A note of the
  mode is likely by how well it fits the tonic, others are not; where a phrase rests, and above all
  where the tune ends, the tonic is likelier still.
- A harp has its holes: natural notes in the middle are played most, bends less the deeper they
  are, overblows and overdraws hardly. What a harp does not have speaks strongly against it, and so
  does a glide or a chord that it has not: a bend moves between the two reeds of one hole only.

Notes of a tune are no independent draws, so each counts for less than one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from itertools import pairwise

import numpy as np

from trainer.core.types import Floats
from trainer.drill.difficulty import describe_difficulty, difficulty
from trainer.drill.fingerings import TargetPitch, fingerings
from trainer.drill.model import Step
from trainer.drill.transpose import easiest_fingerings
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.music import key_in_position, note_name, position_name
from trainer.transcript.model import HarpGuess

MISSING = 6.0
"""What a note that the harp does not have counts, in the unit of effort: as the hardest that it
has."""
PRIOR = {1: 0.25, 2: 0.45, 3: 0.14, 12: 0.04, 5: 0.04, 4: 0.04}
"""How often players are heard in a position (common practice, put into numbers); others RARE."""
RARE = 0.01
LOW_HARP = 0.15
"""How often a low harp is played, against a standard one (likewise)."""

MAJOR = (0, 2, 4, 5, 7, 9, 11)
BLUES = (0, 3, 5, 6, 7, 10)
MODES: Mapping[int, tuple[tuple[float, tuple[int, ...]], ...]] = {
    1: ((0.9, MAJOR), (0.1, BLUES)),
    2: ((0.5, (0, 2, 4, 5, 7, 9, 10)), (0.5, (*BLUES, 4))),
    3: ((0.6, (0, 2, 3, 5, 7, 9, 10)), (0.4, BLUES)),
    4: ((1.0, (0, 2, 3, 5, 7, 8, 10)),),
    5: ((0.6, (0, 1, 3, 5, 7, 8, 10)), (0.4, (0, 3, 5, 7, 10))),
    12: ((1.0, (0, 2, 4, 6, 7, 9, 11)),),
}
"""The modes of a position, as half steps over its tonic, and how often each is played: the church
modes that the natural notes of a Richter harp give, and blues scales (common practice)."""
OTHERS: tuple[tuple[float, tuple[int, ...]], ...] = (
    (0.5, (0, 2, 4, 5, 7, 9, 10)),
    (0.5, (0, 2, 3, 5, 7, 9, 10)),
)
"""The modes of every other position."""
WEIGHTS = {0: 2.2, 7: 1.6, 4: 1.3, 3: 1.3}
"""How much oftener than another note of the mode the tonic, the fifth and the thirds sound (after
the profiles of Krumhansl and Kessler 1982, Psychological Review 89; from memory)."""
FOREIGN = 0.08
"""And how often a note that is not in it."""
RESTS_ON = {0: 8.0, 7: 2.0, 4: 1.5, 3: 1.5}
"""The same where a phrase rests."""
ENDS_ON = {0: 30.0, 7: 3.0, 4: 2.0, 3: 2.0}
"""The same where the tune ends."""
REST = 1.6
"""A phrase ends before a silence, or on a note, so many times as long as is usual from one note to
the next."""

HOLES = (0.8, 1.1, 1.2, 1.3, 1.2, 1.1, 0.7, 0.5, 0.35, 0.25)
"""How often each hole is played, against the others (common practice, put into numbers)."""
BENT, OVER = 0.5, 0.01
"""How much seldomer each half step of a bend is, and an overblow or overdraw (likewise)."""
NOT_THERE = 0.002
"""How likely a note is played that the harp has not: heard wrong, or between two of its notes."""
TOGETHER = 0.35
"""How much a note counts: notes of one tune hang together. This, SHARPNESS, BENT and FOREIGN were
chosen on tunes of ``python -m benchmarks.guessed``, before seed 50."""
SHARPNESS = 0.8
"""How much likelier, as a power of e, a harp is for each unit of effort less by which the way from
note to note is easier, per square root of their number."""


@dataclass(frozen=True, slots=True)
class PitchEvent:
    """What sounded: when, in seconds, and along which path of pitches."""

    start: float
    end: float
    path: tuple[TargetPitch, ...]


@dataclass(frozen=True, slots=True)
class _Tried:
    """A harp with the steps that it would be played by."""

    harp: Harp
    steps: tuple[Step, ...]
    missing: tuple[TargetPitch, ...]
    effort: float


def candidate_harps(tuning: str = "richter", a4: float = 440.0) -> tuple[Harp, ...]:
    """The harps that come into question: each standard key, and the low ones."""
    names = [*STANDARD_KEYS, *(f"low {key}" for key in STANDARD_KEYS)]
    return tuple(Harp.of(name, tuning, a4=a4) for name in names)


def guess_harps(sounded: Sequence[PitchEvent], harps: Sequence[Harp]) -> tuple[HarpGuess, ...]:
    """Harps that it may have been played on, the likeliest first, each in its likeliest position.

    Args:
        sounded: what sounded, in order of its start.
        harps: the harps to be tried.
    """
    if not sounded:
        return ()
    of_position = _of_positions(sounded)
    tried = [_try(sounded, harp) for harp in harps]
    logs = np.array(
        [_of_harp(one, len(sounded)) + of_position[one.harp.key.tonic % 12] for one in tried]
    )
    shares = np.exp(logs - logs.max())
    shares /= shares.sum()
    found = []
    for one, share in zip(tried, shares, strict=True):
        position = int(np.argmax(share)) + 1
        found.append(_told(one, float(share.sum()), position))
    return tuple(sorted(found, key=lambda one: -one.probability))


def likeliest_position(sounded: Sequence[PitchEvent], harp: Harp) -> int:
    """The position, 1 to 12, in which it was most likely played on a harp.

    Args:
        sounded: what sounded, in order of its start; something must have.
        harp: what it was played on.
    """
    return int(np.argmax(_of_positions(sounded)[harp.key.tonic % 12])) + 1


def _of_positions(sounded: Sequence[PitchEvent]) -> Floats:
    """The log of how likely each position on a harp of each key is played and gives the pitch
    classes of notes, shape (12 pitch classes of the key, 12 positions)."""
    counts = _counts(sounded)
    found = np.empty((12, 12))
    for position in range(1, 13):
        modes = MODES.get(position, OTHERS)
        for key in range(12):
            tonic = key_in_position(key, position)
            fits = [
                math.log(odds)
                + sum(
                    float(np.roll(count, -tonic) @ _log_profile(mode, tuple(weights.items())))
                    for count, weights in zip(counts, (WEIGHTS, RESTS_ON, ENDS_ON), strict=True)
                )
                for odds, mode in modes
            ]
            found[key, position - 1] = math.log(PRIOR.get(position, RARE)) + np.logaddexp.reduce(
                fits
            )
    return found


def _counts(sounded: Sequence[PitchEvent]) -> tuple[Floats, Floats, Floats]:
    """How much each pitch class counts in passing, where phrases rest, and at the end: each of
    shape (12,)."""
    passing, rests, ends = np.zeros(12), np.zeros(12), np.zeros(12)
    to_next = [after.start - before.start for before, after in pairwise(sounded)]
    usual = float(np.median(to_next)) if to_next else 1.0
    for i, one in enumerate(sounded):
        for pitch in one.path:
            share = TOGETHER / (len(one.path) * len(pitch.notes))
            for note in pitch.notes:
                passing[note % 12] += share
        last = one.path[-1].notes[0] % 12
        if i == len(sounded) - 1:
            ends[last] += 1.0
        elif to_next[i] >= REST * usual:
            rests[last] += TOGETHER
    return passing, rests, ends


@cache
def _log_profile(mode: tuple[int, ...], weights: tuple[tuple[int, float], ...]) -> Floats:
    """The log of how likely each degree is, shape (12,)."""
    usual = dict(weights)
    odds = np.array([usual.get(i, 1.0) if i in mode else FOREIGN for i in range(12)])
    return np.asarray(np.log(odds / odds.sum()))


def _of_harp(one: _Tried, count: int) -> float:
    """The log of how likely a harp is taken and gives the holes of the notes."""
    low = LOW_HARP if one.harp.key.name.startswith("low") else 1.0
    usual = _usual(one.harp)
    used = sum(math.log(usual[sound[0]]) for step in one.steps for sound in step.sounds)
    away = len(one.missing) * math.log(NOT_THERE)
    ease = SHARPNESS * one.effort / math.sqrt(count)
    return math.log(low) + TOGETHER * used + away - ease


def _usual(harp: Harp) -> Mapping[Tab, float]:
    """How likely each entry of a harp is played."""
    odds = {
        tab: HOLES[tab.hole - 1] * BENT**tab.bend * (OVER if tab.over else 1.0)
        for tab in harp.entries
    }
    whole = sum(odds.values())
    return {tab: one / whole for tab, one in odds.items()}


_ANY = Tab(4, Breath.BLOW)


def _try(sounded: Sequence[PitchEvent], harp: Harp) -> _Tried:
    @cache
    def ways_of(path: tuple[TargetPitch, ...]) -> tuple[Step, ...]:
        step = Step(0, ((_ANY,),) * len(path), Fraction(0), Fraction(1))
        return fingerings(step, path, harp)

    choices: list[tuple[Step, ...]] = []
    missing = []
    for one in sounded:
        at = Fraction(one.start).limit_denominator(1000)
        if choices:
            at = max(at, choices[-1][0].start + Fraction(1, 1000))
        some = ways_of(one.path)
        if some:
            choices.append(tuple(replace(step, start=at) for step in some))
        else:
            missing.append(one.path[0])
    steps = easiest_fingerings(choices, harp, 1.0)
    hard = difficulty(steps, harp, 1.0)
    return _Tried(harp, tuple(steps), tuple(missing), hard + MISSING * len(missing))


def _told(one: _Tried, share: float, position: int) -> HarpGuess:
    return HarpGuess(
        one.harp, position, share, len(one.missing), one.effort, _reason(one, position)
    )


def _reason(one: _Tried, position: int) -> str:
    """Why: ``2nd position; all of it there, 3 bends``."""
    told = [f"{position_name(position)} position"]
    if one.missing:
        names = Counter(note_name(pitch.notes[0], one.harp.key.note) for pitch in one.missing)
        listed = ", ".join(name for name, _ in names.most_common(3))
        told.append(f"lacks {len(one.missing)} of the notes ({listed})")
    else:
        told.append("has all of the notes")
    told.append(describe_difficulty(one.steps, one.harp, 1.0))
    return "; ".join(told)
