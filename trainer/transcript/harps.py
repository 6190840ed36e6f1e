"""Which harp was it played on, and in which position?

Each harp of a tuning is tried: what can it not play, and how hard would the rest be? A note that a
harp does not have speaks strongly against it, and so does a glide or a chord that it has not: a
bend moves between the two reeds of one hole only. Among those that can play all of it, players
take the one on which it lies well, in a position that is in use.

The tonic is found by how long each note sounds, against the profiles that listeners gave
(Krumhansl and Kessler 1982, Psychological Review 89), and by the last note.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache

import numpy as np

from trainer.drill.effort import effort, in_words
from trainer.drill.model import Step
from trainer.drill.move import easiest
from trainer.drill.ways import Pitch, ways
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.music import note_name, position_for, position_name
from trainer.sound import Floats
from trainer.transcript.model import HarpGuess

MISSING = 6.0
"""What a note that the harp does not have counts, in the unit of effort: as the hardest that it
has."""
SHARPNESS = 1.2
"""How much likelier, as a power of e, a harp is for each unit of effort less by which the whole is
easier per square root of its notes."""
PRIOR = {1: 0.25, 2: 0.45, 3: 0.14, 12: 0.04, 5: 0.04, 4: 0.04}
"""How often players are heard in a position (common practice, put into numbers); others 0.01."""
RARE = 0.01
LOW_HARP = 0.15
"""How often a low harp is played, against a standard one (likewise)."""
LAST_NOTE = 1.5
"""How much the last note speaks for a tonic, in seconds of sound."""
KEENNESS = 6.0
"""How far a better correlation with a profile speaks for a tonic."""

MAJOR = (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88)
MINOR = (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17)
"""Krumhansl and Kessler's profiles (from memory), by half steps above the tonic."""


@dataclass(frozen=True, slots=True)
class Sounded:
    """What sounded: when, in seconds, and along which path of pitches."""

    start: float
    end: float
    path: tuple[Pitch, ...]


@dataclass(frozen=True, slots=True)
class _Tried:
    """A harp with the steps that it would be played by."""

    harp: Harp
    steps: tuple[Step, ...]
    missing: tuple[Pitch, ...]
    effort: float


def all_harps(tuning: str = "richter", a4: float = 440.0) -> tuple[Harp, ...]:
    """The harps that come into question: each standard key, and the low ones."""
    names = [*STANDARD_KEYS, *(f"low {key}" for key in STANDARD_KEYS)]
    return tuple(Harp.of(name, tuning, a4=a4) for name in names)


def guess(sounded: Sequence[Sounded], harps: Sequence[Harp]) -> tuple[HarpGuess, ...]:
    """Harps that it may have been played on, the likeliest first.

    Args:
        sounded: what sounded, in order of its start.
        harps: the harps to be tried.
    """
    if not sounded:
        return ()
    tonics = tonic_shares(sounded)
    tried = [_try(sounded, harp) for harp in harps]
    least = min(one.effort for one in tried)
    weights = []
    for one in tried:
        positions = [position_for(one.harp.key.tonic, tonic) for tonic in range(12)]
        usual = sum(
            share * PRIOR.get(position, RARE)
            for share, position in zip(tonics, positions, strict=True)
        )
        low = LOW_HARP if one.harp.key.name.startswith("low") else 1.0
        ease = SHARPNESS * (one.effort - least) / math.sqrt(len(sounded))
        weights.append(usual * low * math.exp(-ease))
    total = sum(weights)
    found = [_told(one, weight / total, tonics) for one, weight in zip(tried, weights, strict=True)]
    return tuple(sorted(found, key=lambda one: -one.share))


def tonic_shares(sounded: Sequence[Sounded]) -> list[float]:
    """How likely each pitch class is the tonic, shape (12,); they add up to 1."""
    length = np.zeros(12)
    for one in sounded:
        share = (one.end - one.start) / len(one.path)
        for pitch in one.path:
            length[pitch.notes[0] % 12] += share
    length[sounded[-1].path[-1].notes[0] % 12] += LAST_NOTE
    fits = [
        max(_fit(np.roll(length, -tonic), profile) for profile in (MAJOR, MINOR))
        for tonic in range(12)
    ]
    weights = np.exp(KEENNESS * np.array(fits))
    return [float(one) for one in weights / weights.sum()]


def _fit(length: Floats, profile: Sequence[float]) -> float:
    if np.ptp(length) == 0.0:
        return 0.0
    return float(np.corrcoef(length, profile)[0, 1])


_ANY = Tab(4, Breath.BLOW)


def _try(sounded: Sequence[Sounded], harp: Harp) -> _Tried:
    @cache
    def ways_of(path: tuple[Pitch, ...]) -> tuple[Step, ...]:
        step = Step(0, ((_ANY,),) * len(path), Fraction(0), Fraction(1))
        return ways(step, path, harp)

    choices: list[tuple[Step, ...]] = []
    missing = []
    for one in sounded:
        at = Fraction(one.start).limit_denominator(1000)
        if choices:
            at = max(at, choices[-1][0].at + Fraction(1, 1000))
        some = ways_of(one.path)
        if some:
            choices.append(tuple(replace(step, at=at) for step in some))
        else:
            missing.append(one.path[0])
    steps = easiest(choices, harp, 1.0)
    hard = effort(steps, harp, 1.0)
    return _Tried(harp, tuple(steps), tuple(missing), hard + MISSING * len(missing))


def _told(one: _Tried, share: float, tonics: Sequence[float]) -> HarpGuess:
    tonic = max(
        range(12),
        key=lambda note: tonics[note] * PRIOR.get(position_for(one.harp.key.tonic, note), RARE),
    )
    position = position_for(one.harp.key.tonic, tonic)
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
    told.append(in_words(one.steps, one.harp, 1.0))
    return "; ".join(told)
