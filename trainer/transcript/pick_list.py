"""The pick list: the harps on which a recording may have been played."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from trainer.drill import Drill, PitchEvent, target_pitches, written_harp
from trainer.transcript.harp_guess import candidate_harps, guess_harps
from trainer.transcript.model import HarpGuess


@dataclass(frozen=True, slots=True)
class PickListParameters:
    """Constants of the pick list, chosen by hand."""

    min_probability: float = 0.02
    """Probability from which a guess is plausible."""
    min_count: int = 3
    """Number of guesses that are listed in any case."""
    max_count: int = 4
    """Maximum number of guesses that are listed."""


PICK_LIST = PickListParameters()
"""The constants in use."""


def plausible_guesses(guesses: Sequence[HarpGuess]) -> tuple[HarpGuess, ...]:
    """Return those of the guesses that a player should choose from.

    Args:
        guesses: most likely first.
    """
    p = PICK_LIST
    return tuple(
        guess
        for number, guess in enumerate(guesses[: p.max_count], start=1)
        if number <= p.min_count or guess.probability >= p.min_probability
    )


def guess_drill_harps(drill: Drill, a4: float = 440.0) -> tuple[HarpGuess, ...]:
    """Return the harps on which a drill may have been played, by its pitches, most likely first.

    Args:
        drill: the drill; with a recording, its notes sound when they do there.
        a4: frequency of A4 in hertz.

    Raises:
        HarpError: the tuning of the drill's harp no longer exists.
    """
    harp = written_harp(drill)
    clock = drill.clock(1_000_000)
    events = [
        PitchEvent(
            clock.sample(step.start) / clock.rate,
            clock.sample(step.end) / clock.rate,
            target_pitches(replace(step, offsets_cents=()), harp),
        )
        for step in drill.steps
    ]
    return guess_harps(events, candidate_harps(None, a4))
