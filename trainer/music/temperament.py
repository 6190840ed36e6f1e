"""Temperaments: how far each degree of a key lies from equal temperament.

Conventions. A temperament is twelve offsets in cents, one for each half step above the tonic,
which keeps its place: a harp in just intonation has its key note where equal temperament has
it, and all else follows from frequency ratios.

- ``just5``: the usual five-limit chromatic scale, the syntonic diatonic with the chromatic
  degrees nearest to it (H. von Helmholtz, On the Sensations of Tone, tr. A. J. Ellis, 1885).
  Thirds and sixths are pure both in major and in minor, so it also suits minor tunings.
- ``just7``: the naturals of a standard harp as parts of two chords of the overtone series, 4:5:6
  on the tonic and 4:5:6:7:9 on the fifth, so that the draw chord is free of beats. Its seventh
  (hole 5 draw) is 3/2 * 7/4 = 21/16, and its ninth (hole 6 draw) 3/2 * 9/8 = 27/16. The tonic
  gets its own 7/4 too. The other degrees, which only bends and overblows reach, are those of
  just5.
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
    def from_ratios(cls, name: str, ratios: str) -> Temperament:
        """A temperament from the 12 frequency ratios of its degrees to the tonic, in words."""
        return cls(
            name,
            tuple(
                1200.0 * math.log2(Fraction(ratio)) - 100.0 * degree
                for degree, ratio in enumerate(ratios.split())
            ),
        )


TEMPERAMENTS = {
    temperament.name: temperament
    for temperament in (
        Temperament("equal", (0.0,) * 12),
        Temperament.from_ratios("just5", "1 16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 5/3 9/5 15/8"),
        Temperament.from_ratios("just7", "1 16/15 9/8 6/5 5/4 21/16 45/32 3/2 8/5 27/16 7/4 15/8"),
    )
}


def temperament_named(name: str) -> Temperament:
    """The temperament of that name.

    Raises:
        MusicError: there is none.
    """
    try:
        return TEMPERAMENTS[name.strip().lower()]
    except KeyError:
        known = ", ".join(TEMPERAMENTS)
        raise MusicError(f"no temperament is called '{name}'; there are {known}") from None
