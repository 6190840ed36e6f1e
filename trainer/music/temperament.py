"""Temperaments: deviation of each degree of a key from equal temperament.

Conventions. A temperament is twelve offsets in cents, one for each half step above the tonic. The
tonic has offset 0: in just intonation a harp's key note is where equal temperament has it, and the
other degrees follow from frequency ratios.

- ``just5``: the five-limit chromatic scale, the syntonic diatonic with the nearest chromatic
  degrees (H. von Helmholtz, On the Sensations of Tone, tr. A. J. Ellis, 1885). Thirds and sixths
  are pure in major and in minor, so it suits minor tunings too.
- ``just7``: the naturals of a standard harp as two chords of the overtone series, 4:5:6 on the
  tonic and 4:5:6:7:9 on the fifth, so that the draw chord does not beat. Its seventh (hole 5 draw)
  is 3/2 * 7/4 = 21/16, its ninth (hole 6 draw) 3/2 * 9/8 = 27/16. The tonic has a 7/4, too. The
  other degrees, which only bends and overblows reach, are those of just5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from trainer.music.errors import MusicError


@dataclass(frozen=True, slots=True)
class Temperament:
    """Target pitch of each degree relative to equal temperament.

    Attributes:
        name: identifier in commands and settings.
        offsets: 12 offsets from equal temperament in cents, by half steps above the tonic.
        tempers_bends: whether the targets of bends, overblows and overdraws follow it.
    """

    name: str
    offsets: tuple[float, ...]
    tempers_bends: bool = False

    def offset(self, half_steps: int) -> float:
        """Offset in cents of the degree `half_steps` above the tonic."""
        return self.offsets[half_steps % 12]

    @classmethod
    def from_ratios(cls, name: str, ratios: str) -> Temperament:
        """Return the temperament of 12 frequency ratios to the tonic, separated by spaces."""
        return cls(
            name,
            tuple(
                1200.0 * math.log2(Fraction(ratio)) - 100.0 * degree
                for degree, ratio in enumerate(ratios.split())
            ),
        )

    def halfway_to_equal(self) -> Temperament:
        """The temperament with half of each offset."""
        return Temperament(f"half-{self.name}", tuple(0.5 * cents for cents in self.offsets))

    def with_bends(self) -> Temperament:
        """The same temperament for bends, overblows and overdraws, too."""
        return Temperament(f"{self.name}-bends", self.offsets, tempers_bends=True)


_EQUAL = Temperament("equal", (0.0,) * 12)
_JUST5, _JUST7 = (
    Temperament.from_ratios("just5", "1 16/15 9/8 6/5 5/4 4/3 45/32 3/2 8/5 5/3 9/5 15/8"),
    Temperament.from_ratios("just7", "1 16/15 9/8 6/5 5/4 21/16 45/32 3/2 8/5 27/16 7/4 15/8"),
)
TEMPERAMENTS = {
    temperament.name: temperament
    for temperament in (
        _EQUAL,
        _JUST5,
        _JUST7,
        _JUST5.halfway_to_equal(),
        _JUST7.halfway_to_equal(),
        _JUST5.with_bends(),
        _JUST7.with_bends(),
    )
}


def temperament_named(name: str) -> Temperament:
    """Return a temperament by name; case is ignored.

    Raises:
        MusicError: no temperament has that name.
    """
    try:
        return TEMPERAMENTS[name.strip().lower()]
    except KeyError:
        known = ", ".join(TEMPERAMENTS)
        raise MusicError(f"no temperament is called '{name}'; there are {known}") from None
