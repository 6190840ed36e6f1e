"""Guess the harp and the position of a recording.

Both are estimated together by Bayes' rule from how often each tuning and position is played and how
likely it produces the notes. Each harp is tried in each of the twelve positions.

- A position has modes, in which notes have probabilities (:mod:`trainer.drill.position`).
- A harp has holes: natural notes in the middle are the most frequent, bends less so with depth,
  overblows and overdraws rare. A note that the harp lacks is strong evidence against it, and so is
  a glide or chord that it cannot play: a bend moves between the two reeds of one hole only.

Notes of a tune are not independent, so the log probability of each is weighted by less than one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache

import numpy as np

from trainer.drill import (
    POSITION,
    PitchEvent,
    Step,
    TargetPitch,
    describe_difficulty,
    easiest_fingerings,
    passage_difficulty,
    position_log_probabilities,
    step_fingerings,
)
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.music import note_name, position_name
from trainer.transcript.model import HarpGuess, path_text

OPENING_NOTES = 10
"""Number of notes by which a player recognizes the tab of a guess."""
STANDARD_TUNING = "richter"
"""Name of the standard tuning."""


@dataclass(frozen=True, slots=True)
class HarpGuessParameters:
    """Constants of the guess.

    Priors are common practice put into numbers; there is no corpus behind them. `bent_factor` and
    `effort_weight` were chosen on the made-up tunes of benchmarks/guessed.py with seeds below 50.
    That generator makes each half step of a bend half as likely, which equals `bent_factor`, and
    shares the modes of positions. Its figures are therefore optimistic: on other material expect
    fewer right guesses.
    """

    missing_effort: float = 6.0
    """Difficulty of a note that the harp lacks, in the unit of
    :func:`trainer.drill.difficulty.passage_difficulty`: that of the hardest note that it has."""
    low_harp_prior: float = 0.15
    """Frequency of a low harp relative to a standard one (common practice)."""
    tuning_priors: Mapping[str, float] = field(
        default_factory=lambda: {
            STANDARD_TUNING: 1.0,
            "natural-minor": 1e-4,
            "harmonic-minor": 1e-4,
            "melodic-minor": 1e-4,
        }
    )
    """Frequency of the tunings that are tried, relative to the standard one. Far below how often
    they are played: the notes of many tunes fit several tunings, and the standard one stays unless
    another is clearly better. Chosen so that no standard tune of benchmarks/tunes.py with seeds 0
    to 2 on C, F and A harps is lost. Country and dorian tunings cannot be distinguished by it."""
    hole_weights: tuple[float, ...] = (0.8, 1.1, 1.2, 1.3, 1.2, 1.1, 0.7, 0.5, 0.35, 0.25)
    """Relative frequency of holes 1 to 10 (common practice)."""
    bent_factor: float = 0.5
    """Relative frequency of each further half step of bend. Equal to the generator's value; see
    the class."""
    over_factor: float = 0.01
    """Relative frequency of an overblow or overdraw (common practice)."""
    missing_probability: float = 0.002
    """Probability of a note that the harp lacks: an error of the ear, or a pitch between two
    notes."""
    effort_weight: float = 0.8
    """Log probability per unit of difficulty saved, per square root of the number of notes."""


HARP_GUESS = HarpGuessParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A harp with the steps by which it would be played.

    Attributes:
        harp: the harp.
        steps: the easiest fingerings.
        missing: pitches that it lacks.
        effort: difficulty of the steps and the missing notes.
    """

    harp: Harp
    steps: tuple[Step, ...]
    missing: tuple[TargetPitch, ...]
    effort: float


def candidate_harps(tuning: str | None = None, a4: float = 440.0) -> tuple[Harp, ...]:
    """Return the candidate harps: each standard key, normal and low.

    Args:
        tuning: name of their tuning; None for the standard one, and for the others of
            :data:`HARP_GUESS` in the normal keys.
        a4: frequency of A4 in hertz.
    """
    low = [f"low {key}" for key in STANDARD_KEYS]
    names = [(tuning or STANDARD_TUNING, name) for name in (*STANDARD_KEYS, *low)]
    if tuning is None:
        others = [other for other in HARP_GUESS.tuning_priors if other != STANDARD_TUNING]
        names += [(other, key) for other in others for key in STANDARD_KEYS]
    return tuple(Harp.of(name, its_tuning, a4=a4) for its_tuning, name in names)


def guess_harps(events: Sequence[PitchEvent], harps: Sequence[Harp]) -> tuple[HarpGuess, ...]:
    """Return the harps, most likely first, each with its most likely position.

    Args:
        events: in order of their start.
        harps: candidates.
    """
    if not events:
        return ()
    by_key = {
        tuning: np.array(position_log_probabilities(events, tuning))
        for tuning in {harp.tuning for harp in harps}
    }
    candidates = [_candidate(events, harp) for harp in harps]
    logs = np.array(
        [
            _harp_log_probability(candidate, len(events))
            + by_key[candidate.harp.tuning][candidate.harp.key.tonic % 12]
            for candidate in candidates
        ]
    )
    probabilities = np.exp(logs - logs.max())
    probabilities /= probabilities.sum()
    guesses = []
    for candidate, by_position in zip(candidates, probabilities, strict=True):
        position = int(np.argmax(by_position)) + 1
        guesses.append(
            HarpGuess(
                candidate.harp,
                position,
                float(by_position.sum()),
                len(candidate.missing),
                candidate.effort,
                _reason(candidate, position),
                " ".join(path_text(step.sounds) for step in candidate.steps[:OPENING_NOTES]),
            )
        )
    return tuple(sorted(guesses, key=lambda guess: -guess.probability))


def _harp_log_probability(candidate: _Candidate, count: int) -> float:
    """Log probability that a harp is chosen and gives the holes of the notes."""
    p, harp = HARP_GUESS, candidate.harp
    prior = p.tuning_priors.get(harp.tuning.name, 1.0)
    prior *= p.low_harp_prior if harp.key.name.startswith("low") else 1.0
    odds = _entry_probabilities(harp)
    used = sum(math.log(odds[sound[0]]) for step in candidate.steps for sound in step.sounds)
    missing = len(candidate.missing) * math.log(p.missing_probability)
    effort = p.effort_weight * candidate.effort / math.sqrt(count)
    return math.log(prior) + POSITION.note_weight * used + missing - effort


def _entry_probabilities(harp: Harp) -> Mapping[Tab, float]:
    """Probability of each entry of a harp."""
    p = HARP_GUESS
    odds = {
        tab: p.hole_weights[tab.hole - 1]
        * p.bent_factor**tab.bend
        * (p.over_factor if tab.over else 1.0)
        for tab in harp.entries
    }
    total = sum(odds.values())
    return {tab: odd / total for tab, odd in odds.items()}


_PLACEHOLDER = Tab(4, Breath.BLOW)


def _candidate(events: Sequence[PitchEvent], harp: Harp) -> _Candidate:
    """Find the easiest fingerings of the notes on a harp."""

    @cache
    def fingerings_of(path: tuple[TargetPitch, ...]) -> tuple[Step, ...]:
        step = Step(0, ((_PLACEHOLDER,),) * len(path), Fraction(0), Fraction(1))
        return step_fingerings(step, path, harp)

    choices: list[tuple[Step, ...]] = []
    missing = []
    for event in events:
        start = Fraction(event.start).limit_denominator(1000)
        if choices:
            start = max(start, choices[-1][0].start + Fraction(1, 1000))
        options = fingerings_of(event.path)
        if options:
            choices.append(tuple(replace(step, start=start) for step in options))
        else:
            missing.append(event.path[0])
    steps = easiest_fingerings(choices, harp, 1.0)
    effort = passage_difficulty(steps, harp, 1.0) + HARP_GUESS.missing_effort * len(missing)
    return _Candidate(harp, tuple(steps), tuple(missing), effort)


def _reason(candidate: _Candidate, position: int) -> str:
    """Explain a guess: ``2nd position; has all of the notes; 3 bends``."""
    clauses = [f"{position_name(position)} position"]
    if candidate.missing:
        names = Counter(
            note_name(pitch.notes[0], candidate.harp.key.note) for pitch in candidate.missing
        )
        listed = ", ".join(name for name, _ in names.most_common(3))
        clauses.append(f"lacks {len(candidate.missing)} of the notes ({listed})")
    else:
        clauses.append("has all of the notes")
    clauses.append(describe_difficulty(candidate.steps, candidate.harp, 1.0))
    return "; ".join(clauses)
