"""Beats on the sample clock."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class BeatClock:
    """Where the beats of one playing of a drill fall in its sound.

    Everything musical runs on samples, so that live and from a file the same beat is the same
    sample.

    Attributes:
        zero: sample on which beat 0 falls.
        tempo: beats a minute.
        rate: samples a second.
        swing: how much longer the first half of a beat lasts than the second, 1 or more.
    """

    zero: int
    tempo: float
    rate: int
    swing: float = 1.0

    def sample(self, beat: Fraction | float) -> int:
        """The sample on which a beat falls, as it is played."""
        return self.zero + round(self._played(beat) * 60.0 / self.tempo * self.rate)

    def beat(self, sample: int) -> float:
        """The beat that a sample falls on, unswung; negative during the count-in."""
        return (sample - self.zero) / self.rate * self.tempo / 60.0

    def _played(self, beat: Fraction | float) -> float:
        """Halves of a beat, and halves of these, are swung; thirds are written as played."""
        exact = Fraction(beat)
        if self.swing == 1.0 or exact.denominator & (exact.denominator - 1):
            return float(beat)
        whole, part = divmod(float(beat), 1.0)
        half = self.swing / (1.0 + self.swing)
        late = 2.0 * part * half if part <= 0.5 else 1.0 - 2.0 * (1.0 - part) * (1.0 - half)
        return whole + late
