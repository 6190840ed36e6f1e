"""What a step asks for, in numbers.

Conventions. Pitches are cents from A4 = 440 Hz (fractional, A5 is 1200), so that distances are
differences. Sets of holes are whole numbers with a bit for each reed: bits 0 to 9 are holes 1 to
10 blown, bits 10 to 19 the same holes drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import BeatClock, Step
from trainer.ear import Reading
from trainer.harp import Breath, Harp


def reed_mask(holes: Iterable[int], breath: Breath) -> int:
    """A set of holes in one breath, as bits."""
    shift = 9 if breath is Breath.DRAW else -1
    bits = 0
    for hole in holes:
        bits |= 1 << (hole + shift)
    return bits


def sounding_mask(reading: Reading) -> int:
    """The holes that a reading says sound, as bits; 0 when it does not know.

    A note that may be either of two entries sets the bits of both.
    """
    if not reading.holes:
        return 0
    if reading.breath is not None:
        return reed_mask(reading.holes, reading.breath)
    bits = 0
    for tab in (reading.tab, *reading.also):
        if tab is not None:
            bits |= reed_mask([tab.hole], tab.breath)
    return bits


def hz_of_cents(cents: Floats) -> Floats:
    """Hz of pitches in cents from A4 = 440 Hz."""
    return np.asarray(440.0 * np.exp2(cents / 1200.0))


def absolute_cents(hz: float | None) -> float:
    """Cents from A4 = 440 Hz; not a number where there is no pitch."""
    return math.nan if hz is None else 1200.0 * math.log2(hz / 440.0)


@dataclass(frozen=True, slots=True)
class StepTarget:
    """A step on the sample clock.

    Attributes:
        step: the step.
        at: sample on which it should start.
        end: sample on which it should end.
        path: pitches of each sound's reeds, in cents from A4 = 440 Hz.
        holes: every hole wanted in it, as bits.
    """

    step: Step
    at: int
    end: int
    path: tuple[tuple[float, ...], ...]
    holes: int

    @classmethod
    def of(cls, step: Step, harp: Harp, clock: BeatClock) -> StepTarget:
        """A step of a drill, on a harp and a clock.

        Raises:
            HarpError: the harp cannot play it.
        """

        def pitches(place: int) -> tuple[float, ...]:
            return tuple(
                absolute_cents(harp.hz(tab)) + step.offset_cents(place)
                for tab in step.sounds[place]
            )

        holes = 0
        for tab in step.tabs:
            holes |= reed_mask([tab.hole], tab.breath)
        return cls(
            step,
            clock.sample(step.start),
            clock.sample(step.end),
            tuple(pitches(place) for place in range(len(step.sounds))),
            holes,
        )

    @property
    def on_one_hole(self) -> NDArray[np.float64] | None:
        """The pitches of a glide or ladder that stays on one hole; None of any other step."""
        holes = {tab.hole for sound in self.step.sounds for tab in sound}
        if not self.step.has_path or len(holes) > 1:
            return None
        return np.array([pitches[0] for pitches in self.path])

    @property
    def lowest(self) -> float:
        """The lowest pitch in it."""
        return min(min(pitches) for pitches in self.path)

    @property
    def highest(self) -> float:
        """The highest pitch in it."""
        return max(max(pitches) for pitches in self.path)
