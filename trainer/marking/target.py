"""What a step asks for, in numbers.

Conventions. A pitch is in cents from A4 = 440 Hz (fractional; A5 is 1200), so that intervals are
differences. A set of reeds is a bit mask: bits 0 to 9 are holes 1 to 10 blown, bits 10 to 19 the
same holes drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import Clock, Sound, Step
from trainer.ear import Reading
from trainer.harp import Breath, Harp
from trainer.marking.parameters import FOLLOWER


def reed_mask(holes: Iterable[int], breath: Breath) -> int:
    """Bit mask of the reeds of some holes in one breath."""
    shift = 9 if breath is Breath.DRAW else -1
    mask = 0
    for hole in holes:
        mask |= 1 << (hole + shift)
    return mask


def sounding_mask(reading: Reading) -> int:
    """Bit mask of the reeds that sound in a reading; 0 where they are not known.

    Where the pitch belongs to two entries, the mask has the reeds of both.
    """
    if not reading.holes:
        return 0
    if reading.breath is not None:
        return reed_mask(reading.holes, reading.breath)
    mask = 0
    for tab in (reading.tab, *reading.also):
        if tab is not None:
            mask |= reed_mask([tab.hole], tab.breath)
    return mask


def hz_of_cents(cents: Floats) -> Floats:
    """Frequencies in hertz of pitches in cents from A4 = 440 Hz."""
    return np.asarray(440.0 * np.exp2(cents / 1200.0))


def absolute_cents(hz: float | None) -> float:
    """Pitch of a frequency, in cents from A4 = 440 Hz; NaN for None."""
    return math.nan if hz is None else 1200.0 * math.log2(hz / 440.0)


@dataclass(frozen=True, slots=True)
class StepTarget:
    """A step on the sample clock.

    Attributes:
        step: the step.
        at: sample on which it should start.
        end: sample on which it should end.
        path: for each of its sounds, the pitches of the reeds in cents from A4 = 440 Hz.
        holes: bit mask of all its reeds, those of a grace note included.
        begin: sample from which it may sound: that of its grace note.
        shake_pitches: pitches of a shake's other sound; empty for none.
        grace_pitches: pitches of a grace note; empty for none.
        alternative_pitches: pitch of the other note of "bent or not"; empty for none.
    """

    step: Step
    at: int
    end: int
    path: tuple[tuple[float, ...], ...]
    holes: int
    begin: int
    shake_pitches: tuple[float, ...] = ()
    grace_pitches: tuple[float, ...] = ()
    alternative_pitches: tuple[float, ...] = ()

    @classmethod
    def of(cls, step: Step, harp: Harp, clock: Clock) -> StepTarget:
        """Target of a step on a harp and a clock.

        Raises:
            HarpError: the harp cannot play the step.
        """

        def pitches(sound: Sound, offset_cents: float = 0.0) -> tuple[float, ...]:
            return tuple(absolute_cents(harp.hz(tab)) + offset_cents for tab in sound)

        holes = 0
        for tab in (*step.tabs, *step.grace):
            holes |= reed_mask([tab.hole], tab.breath)
        at, end = clock.span(step.start, step.end)
        grace = round(FOLLOWER.grace_s * clock.rate) if step.grace else 0
        return cls(
            step,
            at,
            end,
            tuple(pitches(sound, step.offset_cents(i)) for i, sound in enumerate(step.sounds)),
            holes,
            at - grace,
            pitches(step.shake.other) if step.shake else (),
            pitches(step.grace),
            pitches((step.alternative,)) if step.has_bent_choice and step.alternative else (),
        )

    @property
    def on_one_hole(self) -> NDArray[np.float64] | None:
        """Pitches of a glide or ladder that stays on one hole; None for any other step."""
        holes = {tab.hole for sound in self.step.sounds for tab in sound}
        if not self.step.has_path or len(holes) > 1:
            return None
        return np.array([pitches[0] for pitches in self.path])

    @property
    def lowest(self) -> float:
        """The lowest of its pitches, at the outer end of a scoop or fall."""
        inflections = (part.cents for part in (self.step.scoop, self.step.fall) if part)
        depth = max(inflections, default=0.0)
        return min(min(pitches) for pitches in self._sounding) - depth

    @property
    def highest(self) -> float:
        """The highest of its pitches."""
        return max(max(pitches) for pitches in self._sounding)

    @property
    def begins_with(self) -> tuple[float, ...]:
        """Pitches with which it may begin."""
        return self.grace_pitches or (*self.path[0], *self.shake_pitches, *self.alternative_pitches)

    @property
    def ends_with(self) -> tuple[float, ...]:
        """Pitches with which it may end."""
        return (*self.path[-1], *self.shake_pitches, *self.alternative_pitches)

    @property
    def _sounding(self) -> tuple[tuple[float, ...], ...]:
        others = (self.shake_pitches, self.alternative_pitches)
        return (*self.path, *filter(None, others))
