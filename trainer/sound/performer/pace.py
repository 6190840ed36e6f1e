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
        clock: the beats as they are written.
        rush: tempo at the end of the span relative to its start; 1 keeps time.
        span: the beats between which the tempo changes, evenly from beat to beat.
        hesitate: delay in milliseconds of all steps from one on, by that step's index.
    """

    clock: BeatClock
    rush: float = 1.0
    span: tuple[Fraction, Fraction] = (Fraction(0), Fraction(0))
    hesitate: Mapping[int, float] = field(default_factory=dict)

    @property
    def rate(self) -> int:
        """Samples per second."""
        return self.clock.rate

    def start(self, step: Step) -> int:
        """Return the sample on which a step begins."""
        return self._sample(step.start) + self._delay(step)

    def end(self, step: Step) -> int:
        """Return the sample on which a step ends."""
        return self._sample(step.end) + self._delay(step)

    def _delay(self, step: Step) -> int:
        ms = sum(ms for index, ms in self.hesitate.items() if index <= step.index)
        return round(ms * self.rate / 1000.0)

    def _sample(self, beat: Fraction) -> int:
        first, last = (self.clock.sample(end) for end in self.span)
        sample, length, gain = self.clock.sample(beat), last - first, self.rush - 1.0
        if gain == 0.0 or sample <= first:
            return sample
        # At the relative tempo 1 + gain * u, with u from 0 to 1, each du lasts du / (1 + gain * u).
        u = (min(sample, last) - first) / length
        rest = max(0, sample - last) / self.rush
        return first + round(length / gain * math.log1p(gain * u) + rest)
