"""Beats on the sample clock."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Clock:
    """Where the beats of one playing of a drill fall in its sound.

    Everything musical runs on samples, so that live and from a file the same beat is the same
    sample.

    Attributes:
        zero: sample on which beat 0 falls.
        tempo: beats a minute.
        rate: samples a second.
    """

    zero: int
    tempo: float
    rate: int

    def sample(self, beat: Fraction | float) -> int:
        """The sample on which a beat falls."""
        return self.zero + round(float(beat) * 60.0 / self.tempo * self.rate)

    def beat(self, sample: int) -> float:
        """The beat that a sample falls on; negative during the count-in."""
        return (sample - self.zero) / self.rate * self.tempo / 60.0
