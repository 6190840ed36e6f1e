"""The readings of a step as played, and the parts of it in which one sound is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import Sound

FEWEST = 4
"""Readings with a pitch (20 ms) below which it cannot be judged."""
FEWEST_STEADY = 8
RELEASE_MS = 40.0
_GLITCH_CENTS = 50.0
"""No reed moves so far and back within 25 ms: a reading so far off the median of its neighbours
is a mishearing."""
_CHORD_CENTS = 60.0


@dataclass(frozen=True, slots=True)
class StepReadings:
    """A step's readings.

    Attributes:
        frames: their numbers in the take.
        t: when each was, in ms from the start of the step.
        pitch: cents from A4 = 440 Hz, without mishearings; NaN where there is none.
        length: how long the step was played, in ms.
    """

    frames: NDArray[np.int64]
    t: Floats
    pitch: Floats
    length: float

    @property
    def release(self) -> float:
        """From when on the breath lets go, in ms."""
        return self.length - min(RELEASE_MS, self.length / 5.0)


@dataclass(frozen=True, slots=True)
class HeldSpan:
    """A part of a step in which one sound is held.

    Attributes:
        sound: what was asked for.
        frames: numbers of its readings.
        t, off: of those with a pitch, when they were and how far from the sound; empty when
            there are too few, or, in a chord, when they are near none of its reeds.
    """

    sound: Sound
    frames: NDArray[np.int64]
    t: Floats
    off: Floats

    @classmethod
    def of(
        cls, played: StepReadings, sound: Sound, reeds: Sequence[float], first: float, last: float
    ) -> HeldSpan:
        """The readings of a step from `first` to `last`, in ms, off the nearest of its reeds."""
        inside = (played.t >= first) & (played.t <= last)
        frames = played.frames[inside]
        inside &= ~np.isnan(played.pitch)
        t, off = played.t[inside], cents_from_nearest(played.pitch[inside], reeds)
        far = len(sound) > 1 and len(off) and abs(float(np.median(off))) > _CHORD_CENTS
        if len(off) < FEWEST or far:
            t, off = t[:0], off[:0]
        return cls(sound, frames, t, off)

    @property
    def cents(self) -> float | None:
        """Median distance from the sound."""
        return float(np.median(self.off)) if len(self.off) else None


def cents_from_nearest(pitch: Floats, reeds: Sequence[float]) -> Floats:
    """Cents from the nearest of some reeds."""
    each = pitch[:, None] - np.array(reeds)[None, :]
    nearest = np.abs(each).argmin(axis=1)
    return np.asarray(each[np.arange(len(pitch)), nearest])


def without_outliers(pitch: Floats) -> Floats:
    """Pitches in cents, shape (n,), with NaN for mishearings."""
    has = np.flatnonzero(~np.isnan(pitch))
    clean = pitch.copy()
    if len(has) < 5:
        return clean
    around = np.lib.stride_tricks.sliding_window_view(np.pad(pitch[has], 2, mode="reflect"), 5)
    off = np.abs(pitch[has] - np.median(around, axis=1))
    clean[has[off > _GLITCH_CENTS]] = np.nan
    return clean


def wobble_and_drift(held: HeldSpan) -> tuple[float | None, float | None]:
    """Spread about the slope, and change by it; None for a part too short to tell."""
    if len(held.off) < FEWEST_STEADY:
        return None, None
    slope, level = np.polyfit(held.t, held.off, 1)
    spread = float(np.std(held.off - (level + slope * held.t), ddof=2))
    return spread, float(slope * (held.t[-1] - held.t[0]))
