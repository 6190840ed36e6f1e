"""Guess the harp and the position of a recording.

Each harp is tried in each of the twelve positions. What the notes say about a harp and a tonic
(:mod:`trainer.transcript.harp_evidence`) is weighed by a network of one hidden layer, whose weights
lie beside this module. They were fitted on made-up tunes so that the true harp and position rank
above all others (training/README.md). Its scores become probabilities by a temperature that was
chosen on tunes of generators that the weights had not seen (Guo et al. 2017, On calibration of
modern neural networks), and by how often each key and tuning is played.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from importlib.resources import files

import numpy as np

from trainer.drill import (
    PitchEvent,
    Step,
    TargetPitch,
    describe_difficulty,
    easiest_fingerings,
    passage_difficulty,
    step_fingerings,
)
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.music import note_name, position_name
from trainer.transcript.harp_evidence import STANDARD_TUNING, Array, gather_evidence
from trainer.transcript.model import HarpGuess, path_text

OPENING_NOTES = 10
"""Number of notes by which a player recognizes the tab of a guess."""


@dataclass(frozen=True, slots=True)
class HarpGuessParameters:
    """Constants of the guess.

    They are common practice put into numbers; there is no corpus behind them.
    """

    missing_effort: float = 6.0
    """Difficulty of a note that the harp lacks, in the unit of
    :func:`trainer.drill.difficulty.passage_difficulty`: that of the hardest note that it has."""
    key_frequency: Mapping[str, float] = field(
        default_factory=lambda: {
            **{"C": 1.0, "A": 1.0, "G": 0.9, "D": 0.9, "F": 0.8, "Bb": 0.7},
            **{"E": 0.7, "Eb": 0.5, "Ab": 0.4, "B": 0.4, "Db": 0.4, "F#": 0.3},
        }
    )
    """Relative frequency of the keys of harps that players own."""
    minor_tunings: tuple[str, ...] = ("natural-minor", "harmonic-minor", "melodic-minor")
    """Tunings that are tried beside the standard one. Country and dorian tunings cannot be
    distinguished from it by their notes."""
    tuned_frequency: float = 0.03
    """Fraction of tunes that are played on harps in these tunings."""
    min_probability: float = 0.002
    """Probability from which a harp is listed."""
    min_listed: int = 8
    """Number of harps that are listed however improbable they are."""


HARP_GUESS = HarpGuessParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class HarpRanking:
    """The network with its weights.

    Attributes:
        weights: as `training/rank_harps.py` stores them.
    """

    weights: Mapping[str, Array]

    def probabilities(self, events: Sequence[PitchEvent], harps: Sequence[Harp]) -> Array:
        """Return the probability of each harp and position, shape (harps, 12).

        Args:
            events: in order of their start, at least one.
            harps: candidates.
        """
        w, evidence = self.weights, gather_evidence(events, harps)
        tonic = np.array([[(harp.key.tonic + 7 * q) % 12 for q in range(12)] for harp in harps])
        by_tonic = (evidence.tonics @ w["tonic"])[tonic]
        hidden = (evidence.harps @ w["harp"])[:, None] + by_tonic + w["position"]
        scores = np.maximum(hidden, 0.0) @ w["out"] + w["position_out"]
        scores += (evidence.harps @ w["harp_out"])[:, None]
        scores += (evidence.tonics @ w["tonic_out"])[tonic]
        log_temperature, slope = w["calibration"]
        scores /= np.exp(log_temperature + slope * np.log(len(events) / 30.0))
        scores += np.log([_frequency(harp, float(w["tuned"])) for harp in harps])[:, None]
        odds = np.exp(scores - scores.max())
        return np.asarray(odds / odds.sum())


def _frequency(harp: Harp, trained: float) -> float:
    """Return how often a harp is played relative to its frequency in the training."""
    p = HARP_GUESS
    name = harp.key.name.rpartition(" ")[2]
    frequency = p.key_frequency.get(name, min(p.key_frequency.values()))
    if harp.tuning.name == STANDARD_TUNING:
        return frequency * (1.0 - p.tuned_frequency) / (1.0 - trained)
    return frequency * p.tuned_frequency / trained


@cache
def load_ranking() -> HarpRanking:
    """Return the network with the weights of the package."""
    with (
        (files("trainer.transcript") / "harp_ranking.npz").open("rb") as file,
        np.load(file) as data,
    ):
        return HarpRanking({name: data[name] for name in data.files})


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A harp with the steps by which it would be played.

    Attributes:
        harp: the harp.
        steps: the easiest fingerings.
        lacking: notes that it lacks.
        unplayable: number of glides and chords that it has the notes of, but cannot play.
        effort: difficulty of the steps and of what is missing.
    """

    harp: Harp
    steps: tuple[Step, ...]
    lacking: tuple[int, ...]
    unplayable: int
    effort: float


def candidate_harps(tuning: str | None = None, a4: float = 440.0) -> tuple[Harp, ...]:
    """Return the candidate harps: each standard key, normal and low.

    Args:
        tuning: name of their tuning; None for the standard one, and for minor ones in the normal
            keys.
        a4: frequency of A4 in hertz.
    """
    low = [f"low {key}" for key in STANDARD_KEYS]
    names = [(tuning or STANDARD_TUNING, name) for name in (*STANDARD_KEYS, *low)]
    if tuning is None:
        names += [(minor, key) for minor in HARP_GUESS.minor_tunings for key in STANDARD_KEYS]
    return tuple(Harp.of(name, its_tuning, a4=a4) for its_tuning, name in names)


def guess_harps(events: Sequence[PitchEvent], harps: Sequence[Harp]) -> tuple[HarpGuess, ...]:
    """Return the plausible harps, most likely first, each with its most likely position.

    Args:
        events: in order of their start.
        harps: candidates.
    """
    if not events:
        return ()
    odds = load_ranking().probabilities(events, harps)
    by_harp = odds.sum(axis=1)
    order = [int(i) for i in np.argsort(-by_harp, kind="stable")]
    plausible = int((by_harp >= HARP_GUESS.min_probability).sum())
    listed = order[: max(plausible, HARP_GUESS.min_listed)]
    total = float(by_harp[listed].sum())
    guesses = []
    for i in listed:
        candidate, position = _candidate(events, harps[i]), int(np.argmax(odds[i])) + 1
        guesses.append(
            HarpGuess(
                candidate.harp,
                position,
                float(by_harp[i]) / total,
                len(candidate.lacking) + candidate.unplayable,
                candidate.effort,
                _reason(candidate, position),
                " ".join(path_text(step.sounds) for step in candidate.steps[:OPENING_NOTES]),
            )
        )
    return tuple(guesses)


_PLACEHOLDER = Tab(4, Breath.BLOW)


def _candidate(events: Sequence[PitchEvent], harp: Harp) -> _Candidate:
    """Find the easiest fingerings of the notes on a harp."""

    @cache
    def fingerings_of(path: tuple[TargetPitch, ...]) -> tuple[Step, ...]:
        step = Step(0, ((_PLACEHOLDER,),) * len(path), Fraction(0), Fraction(1))
        return step_fingerings(step, path, harp)

    choices: list[tuple[Step, ...]] = []
    lacking: list[int] = []
    unplayable = 0
    for event in events:
        start = Fraction(event.start).limit_denominator(1000)
        if choices:
            start = max(start, choices[-1][0].start + Fraction(1, 1000))
        options = fingerings_of(event.path)
        if options:
            choices.append(tuple(replace(step, start=start) for step in options))
            continue
        notes = [note for pitch in event.path for note in pitch.notes]
        absent = [note for note in notes if not harp.entries_for(note)]
        lacking += absent[:1]
        unplayable += not absent
    steps = easiest_fingerings(choices, harp, 1.0)
    missing = HARP_GUESS.missing_effort * (len(lacking) + unplayable)
    effort = passage_difficulty(steps, harp, 1.0) + missing
    return _Candidate(harp, tuple(steps), tuple(lacking), unplayable, effort)


def _reason(candidate: _Candidate, position: int) -> str:
    """Explain a guess: ``2nd position; has all of the notes; 3 bends``."""
    clauses = [f"{position_name(position)} position"]
    if candidate.lacking:
        names = Counter(note_name(note, candidate.harp.key.note) for note in candidate.lacking)
        listed = ", ".join(name for name, _ in names.most_common(3))
        clauses.append(f"lacks {len(candidate.lacking)} of the notes ({listed})")
    else:
        clauses.append("has all of the notes")
    if candidate.unplayable:
        clauses.append(f"cannot play {candidate.unplayable} of the glides and chords")
    clauses.append(describe_difficulty(candidate.steps, candidate.harp, 1.0))
    return "; ".join(clauses)
