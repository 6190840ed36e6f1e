"""Temperaments: how far each degree of a key lies from equal temperament.

Conventions. A temperament is twelve offsets in cents, one for each half step above the tonic;
the tonic's own is 0. The just ones come from frequency ratios: the 5-limit scale from the
syntonic diatonic and its usual chromatic degrees, the 7-limit one with 21/16, 7/4 and 7/5 where
a harp's draw chord is a smooth dominant seventh on the fifth (3/2 * 7/4 = 21/16).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from trainer.music.errors import MusicError


@dataclass(frozen=True, slots=True)
class Temperament:
    """What 'in tune' means for each degree.

    Attributes:
        name: how a command or setting refers to it.
        offsets: 12 offsets from equal temperament in cents, by half steps above the tonic.
    """

    name: str
    offsets: tuple[float, ...]

    def offset(self, half_steps: int) -> float:
        """Cents from equal temperament of the degree so many half steps above the tonic."""
        return self.offsets[half_steps % 12]

    @classmethod
    def from_ratios(cls, name: str, ratios: tuple[Fraction, ...]) -> Temperament:
        """A temperament from the 12 frequency ratios of its degrees to the tonic."""
        return cls(
            name,
            tuple(1200.0 * math.log2(ratio) - 100.0 * i for i, ratio in enumerate(ratios)),
        )


def _ratios(text: str) -> tuple[Fraction, ...]:
    return tuple(Fraction(word) for word in text.split())


TEMPERAMENTS = {
    temperament.name: temperament
    for temperament in (
        Temperament("equal", (0.0,) * 12),
        Temperament.from_ratios(
            "just5", _ratios("1 16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 5/3 9/5 15/8")
        ),
        Temperament.from_ratios(
            "just7", _ratios("1 16/15 9/8 6/5 5/4 21/16 7/5 3/2 8/5 27/16 7/4 15/8")
        ),
    )
}


def temperament(name: str) -> Temperament:
    """The temperament of that name.

    Raises:
        MusicError: there is none.
    """
    try:
        return TEMPERAMENTS[name.lower()]
    except KeyError:
        known = ", ".join(TEMPERAMENTS)
        raise MusicError(f"no temperament is called '{name}'; there are {known}") from None
