"""Conversion between beats and samples."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class BeatClock:
    """Maps the beats of one pass to samples.

    Everything musical runs on the sample clock, so that a beat is the same sample live and from a
    file.

    Attributes:
        zero: sample of beat 0.
        tempo: beats per minute.
        rate: sample rate in hertz.
        swing: duration of the first half of a beat over the second, 1 or more.
    """

    zero: int
    tempo: float
    rate: int
    swing: float = 1.0

    def sample(self, beat: Fraction | float) -> int:
        """Return the sample of a beat, swing included."""
        return self.zero + round(self._swung(beat) * 60.0 / self.tempo * self.rate)

    def beat(self, sample: int) -> float:
        """Return the beat of a sample, without swing; negative during the count-in."""
        return (sample - self.zero) / self.rate * self.tempo / 60.0

    def _swung(self, beat: Fraction | float) -> float:
        """Return a beat with swing: binary parts of a beat are moved, thirds are not."""
        exact = Fraction(beat)
        if self.swing == 1.0 or exact.denominator & (exact.denominator - 1):
            return float(beat)
        whole, part = divmod(float(beat), 1.0)
        half = self.swing / (1.0 + self.swing)
        late = 2.0 * part * half if part <= 0.5 else 1.0 - 2.0 * (1.0 - part) * (1.0 - half)
        return whole + late
