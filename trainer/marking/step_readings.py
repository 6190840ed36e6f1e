"""The readings of a step, and the spans of it in which one sound is held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.drill import Sound
from trainer.marking.parameters import MEASUREMENT
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class StepReadings:
    """The readings of a step.

    Attributes:
        frames: their indices in the history of the pass.
        time_ms: time of each in milliseconds from the start of the step.
        pitch: cents from A4 = 440 Hz without outliers; NaN where there is none.
        length_ms: length of the step as played, in milliseconds.
    """

    frames: NDArray[np.int64]
    time_ms: Floats
    pitch: Floats
    length_ms: float

    def until(self, last_ms: float) -> StepReadings:
        """The readings up to a time in milliseconds, as those of a shorter step."""
        inside = self.time_ms <= last_ms
        return StepReadings(
            self.frames[inside], self.time_ms[inside], self.pitch[inside], max(0.0, last_ms)
        )

    @property
    def release_ms(self) -> float:
        """Time from which the breath lets go, in milliseconds."""
        longest = self.length_ms / MEASUREMENT.release_divisor
        return self.length_ms - min(MEASUREMENT.release_ms, longest)


@dataclass(frozen=True, slots=True)
class HeldSpan:
    """A span of a step in which one sound is held.

    Attributes:
        sound: the sound that the drill asks for.
        frames: indices of the span's readings.
        time_ms, deviation: of the readings with a pitch, the time in milliseconds from the start
            of the step, and cents from the sound. Empty where there are too few, or, in a chord,
            where the pitch is near none of its reeds.
    """

    sound: Sound
    frames: NDArray[np.int64]
    time_ms: Floats
    deviation: Floats

    @classmethod
    def of(
        cls,
        readings: StepReadings,
        sound: Sound,
        pitches: Sequence[float],
        first_ms: float,
        last_ms: float,
    ) -> HeldSpan:
        """The span from `first_ms` to `last_ms`, both included.

        Args:
            readings: the step's.
            sound: the sound that should be held.
            pitches: pitches of its reeds, in cents from A4 = 440 Hz. A reading is compared with
                the nearest.
            first_ms: start of the range, in milliseconds from the start of the step.
            last_ms: end of the range, in milliseconds from the start of the step.
        """
        inside = (readings.time_ms >= first_ms) & (readings.time_ms <= last_ms)
        frames = readings.frames[inside]
        inside &= ~np.isnan(readings.pitch)
        time_ms = readings.time_ms[inside]
        deviation = cents_from_nearest(readings.pitch[inside], pitches)
        is_far = (
            len(sound) > 1
            and len(deviation)
            and abs(float(np.median(deviation))) > MEASUREMENT.max_chord_cents
        )
        if len(deviation) < MEASUREMENT.min_pitch_frames or is_far:
            time_ms, deviation = time_ms[:0], deviation[:0]
        return cls(sound, frames, time_ms, deviation)

    @property
    def cents(self) -> float | None:
        """Mean deviation from the sound, in cents; None where there is no pitch."""
        return held_mean(self.time_ms, self.deviation) if len(self.deviation) else None


def held_mean(time_ms: Floats, deviation: Floats) -> float:
    """Mean of a held pitch that neither a wobble nor a slip moves much, in cents.

    A Hann window weights the readings, so that a wobble of two periods or more, whole or not,
    cancels: less than 3 % of its amplitude remains, where the mean keeps 13 % and the median 30 %
    (Harris 1978, Proceedings of the IEEE 66(1), on the sidelobes of windows). What lies further
    than two robust standard deviations from the median counts as if it lay there: one step of an
    estimate after Huber (1964, Annals of Mathematical Statistics 35). Both from memory.

    Args:
        time_ms: milliseconds, shape (n,), n at least 1, not descending.
        deviation: cents, shape (n,).
    """
    middle = float(np.median(deviation))
    limit = MEASUREMENT.band_sds * SD_PER_MAD * median_absolute_deviation(deviation, middle)
    lasted_ms = float(time_ms[-1] - time_ms[0])
    if len(deviation) < MEASUREMENT.min_line_frames or not lasted_ms:
        return middle
    # Readings are denser after an attack: each stands for the time around it.
    hann = np.sin(np.pi * (time_ms - time_ms[0]) / lasted_ms) ** 2
    weights = hann * np.gradient(time_ms)
    limited = np.clip(deviation - middle, -limit, limit)
    return middle + float(np.average(limited, weights=weights))


def cents_from_nearest(pitch: Floats, references: Sequence[float]) -> Floats:
    """Signed distance of each pitch from the nearest of some references, all in cents."""
    distance = pitch[:, None] - np.array(references)[None, :]
    nearest = np.abs(distance).argmin(axis=1)
    return np.asarray(distance[np.arange(len(pitch)), nearest])


def without_outliers(pitch: Floats) -> Floats:
    """Pitches in cents with NaN for octave errors and other outliers.

    An outlier lies more than `MEASUREMENT.outlier_cents` from the median of five readings around
    it (a Hampel filter with a fixed threshold).

    Args:
        pitch: cents, shape (n,); NaN where there is none.
    """
    has_pitch = np.flatnonzero(~np.isnan(pitch))
    clean = pitch.copy()
    if len(has_pitch) < 5:
        return clean
    padded = np.pad(pitch[has_pitch], 2, mode="reflect")
    around = np.lib.stride_tricks.sliding_window_view(padded, 5)
    distance = np.abs(pitch[has_pitch] - np.median(around, axis=1))
    clean[has_pitch[distance > MEASUREMENT.outlier_cents]] = np.nan
    return clean


def without_octaves(pitch: Floats) -> Floats:
    """Pitches of one note in cents, with NaN where a few lie on its second or third partial.

    Args:
        pitch: cents, shape (n,); NaN where there is none.
    """
    if np.isnan(pitch).all():
        return pitch
    above = pitch - np.nanmedian(pitch)
    partials = cents(2.0, 1.0), cents(3.0, 1.0)
    is_partial = np.any([np.abs(above - at) < MEASUREMENT.outlier_cents for at in partials], axis=0)
    if np.count_nonzero(is_partial) > MEASUREMENT.max_octaves * len(pitch):
        return pitch
    return np.where(is_partial, np.nan, pitch)


def wobble_and_drift(held: HeldSpan) -> tuple[float | None, float | None]:
    """Standard deviation about the line of least squares, and change along it, in cents.

    None for a span with too few readings, or one that lasts no time: a step whose attack is found
    at its very end.
    """
    if len(held.deviation) < MEASUREMENT.min_line_frames or not np.ptp(held.time_ms):
        return None, None
    slope, level = np.polyfit(held.time_ms, held.deviation, 1)
    residual = held.deviation - (level + slope * held.time_ms)
    drift = float(slope * (held.time_ms[-1] - held.time_ms[0]))
    return float(np.std(residual, ddof=2)), drift
