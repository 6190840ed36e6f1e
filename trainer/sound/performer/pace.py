"""When a performer begins and ends each step: in time, rushing, or after a hesitation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from trainer.drill import BeatClock, Step


@dataclass(frozen=True, slots=True)
class Pace:
    """The clock of a pass as a performer keeps it.

    Attributes:
        clock: the beats as they are meant.
        rush: how many times as fast the last beat goes as the first; 1 keeps time.
        span: the beats between which the tempo changes, evenly from beat to beat.
        hesitate: how many ms later steps come from one on, by its index.
    """

    clock: BeatClock
    rush: float = 1.0
    span: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))
    hesitate: Mapping[int, float] = field(default_factory=dict)

    @property
    def rate(self) -> int:
        """Samples a second."""
        return self.clock.rate

    def start(self, step: Step) -> int:
        """The sample on which a step begins."""
        return self._sample(step.start) + self._behind(step)

    def end(self, step: Step) -> int:
        """The sample on which a step ends."""
        return self._sample(step.end) + self._behind(step)

    def _behind(self, step: Step) -> int:
        ms = sum(ms for index, ms in self.hesitate.items() if index <= step.index)
        return round(ms * self.rate / 1000.0)

    def _sample(self, beat: Fraction) -> int:
        first, last = (self.clock.sample(end) for end in self.span)
        sample, length, more = self.clock.sample(beat), last - first, self.rush - 1.0
        if more == 0.0 or sample <= first:
            return sample
        # At a tempo of 1 + more * u, where u goes from 0 to 1, each du takes du / (1 + more * u).
        u = (min(sample, last) - first) / length
        rest = max(0, sample - last) / self.rush
        return first + round(length / more * math.log1p(more * u) + rest)
