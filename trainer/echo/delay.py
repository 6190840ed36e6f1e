"""Delay of the echo.

Estimated by the generalised cross-correlation with phase transform (Knapp and Carter 1976, IEEE
Trans. ASSP 24(4), cited from memory): every frequency of the reference counts alike, so that a
sound as broad as a click gives a single sharp peak, also in a room.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats

MIN_POWER = 1e-3
"""Power relative to the strongest frequency from which a frequency counts. Chosen."""
MIN_BANDWIDTH_HZ = 600.0
"""Smallest bandwidth of a sound, in hertz, whose correlation has a single peak. Chosen."""


@dataclass(frozen=True, slots=True)
class DelayEstimate:
    """Where the echo of a stretch of sound was found.

    Attributes:
        lag: samples after the sound.
        height: the peak's power relative to the mean over all lags.
        gain: the echo's amplitude relative to the sound's.
    """

    lag: int
    height: float
    gain: float


def estimate_delay(
    reference: Floats, heard: Floats, rate: int, max_lag: int
) -> DelayEstimate | None:
    """Estimate the delay after which a stretch of sound is heard.

    Args:
        reference: what was played, shape (n,).
        heard: the microphone's samples from the start of `reference` on, shape (m,), m > n.
        rate: samples per second of both.
        max_lag: lags from 0 up to this are considered, in samples.

    Returns:
        The delay, whatever its height; None where the sound is too narrow to estimate it.
    """
    n = 2 << math.ceil(math.log2(len(heard)))
    played = np.fft.rfft(reference, n)
    power = np.abs(played) ** 2
    cross = np.conj(played) * np.fft.rfft(heard, n)
    used = (power > MIN_POWER * power.max()) & (np.abs(cross) > 0.0)
    if np.sum(used) * rate / n < MIN_BANDWIDTH_HZ:
        return None
    phase = np.zeros(n, complex)
    phase[: len(used)][used] = cross[used] / np.abs(cross[used])
    match = np.abs(np.fft.ifft(phase))[:max_lag] ** 2
    lag = int(match.argmax())
    rotation = np.exp(2j * np.pi * lag / n * np.arange(len(cross)))
    gain = float(np.abs(np.sum((cross * rotation)[used])) / np.sum(power[used]))
    return DelayEstimate(lag, float(match[lag] / match.mean()), gain)
