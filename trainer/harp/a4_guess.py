"""Guess a harp's A4 from four of its notes, before anything else is known of it.

Makers tune harps to an A4 between 440 and 444 Hz, so that they come down to about 440 Hz when they
are blown (common practice), in a temperament that the player rarely knows. Hence:

- the notes are those whose degrees lie alike in all temperaments: the tonic, the fifth and the
  second, which differ by four cents at most, where a third differs by fourteen;
- a player pulls a note flat and never sharp, so that of four notes the second highest is taken: two
  flat ones do not change it, nor does one sharp reed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from trainer.harp.harp import Harp
from trainer.harp.measured_tuning import ReedFrequencies, natural_entries
from trainer.harp.tab import Tab
from trainer.music import TEMPERAMENTS, cents

STANDARD_A4_HZ = 440.0
"""Standard pitch in hertz (ISO 16)."""


@dataclass(frozen=True, slots=True)
class A4GuessParameters:
    """Constants of the guess."""

    notes: int = 4
    """Number of notes."""
    holes: tuple[int, ...] = (3, 4, 5, 6)
    """Holes that speak easily and sag little (common practice)."""
    choices_hz: tuple[float, ...] = (440.0, 441.0, 442.0, 443.0, 444.0)
    """Frequencies of A4 in hertz to which harps are tuned (common practice)."""
    max_beyond_cents: float = 4.0
    """Maximum distance of a harp beyond the lowest or highest choice, in cents: 1 Hz."""
    agreement_cents: float = 8.0
    """Maximum distance of a second note from the one that is taken, in cents (chosen by hand)."""


A4_GUESS = A4GuessParameters()
"""The constants in use."""


@dataclass(frozen=True, slots=True)
class A4Guess:
    """A harp's A4, as far as four notes show it.

    Attributes:
        offset_cents: offset of the harp from A4 = 440 Hz in cents; positive is sharp.
        a4: frequency of A4 in hertz, of `A4GuessParameters.choices_hz`; None if the notes disagree
            or none of these is near.
        agrees: whether a second note confirms the one that was taken.
    """

    offset_cents: float
    a4: float | None
    agrees: bool


def a4_guess_notes(harp: Harp) -> tuple[Tab, ...]:
    """Return the notes to play for a guess, by hole: those that all temperaments tune alike."""

    def spread(tab: Tab) -> float:
        degree = harp.midi(tab) - harp.key.tonic
        offsets = [temperament.offset(degree) for temperament in TEMPERAMENTS.values()]
        return max(offsets) - min(offsets)

    naturals = [tab for tab in natural_entries(harp) if tab.hole in A4_GUESS.holes]
    return tuple(sorted(sorted(naturals, key=spread)[: A4_GUESS.notes]))


def guess_a4(harp: Harp, reeds: ReedFrequencies) -> A4Guess:
    """Guess the A4 of a harp from some of its notes.

    Args:
        harp: its key and tuning; A4, temperament and offsets are ignored.
        reeds: notes as they were played, at least two, best those of :func:`a4_guess_notes`.
    """
    # Halfway between equal and just, a degree is at most two cents from where either has it.
    nominal = replace(harp, a4=STANDARD_A4_HZ, temperament=TEMPERAMENTS["half-just7"], offsets={})
    offsets = sorted((cents(hz, nominal.hz(tab)) for tab, hz in reeds.items()), reverse=True)
    taken = offsets[1]
    gaps = [above - below for above, below in pairwise(offsets)][:2]
    agrees = min(gaps) <= A4_GUESS.agreement_cents
    choices = {hz: cents(hz, STANDARD_A4_HZ) for hz in A4_GUESS.choices_hz}
    nearest = min(choices, key=lambda hz: abs(choices[hz] - taken))
    lowest, highest = min(choices.values()), max(choices.values())
    is_near = lowest - A4_GUESS.max_beyond_cents <= taken <= highest + A4_GUESS.max_beyond_cents
    return A4Guess(taken, nearest if agrees and is_near else None, agrees)
