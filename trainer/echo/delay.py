"""How late the trainer's reference sound comes back.

By the generalised cross-correlation with phase transform (Knapp and Carter 1976, IEEE Trans. ASSP
24(4), cited from memory): every frequency that was played counts alike, so that a sound as broad
as a click gives one sharp peak, in a room too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats

PLAYED = 1e-3
"""Power, over the strongest frequency's, from which a frequency counts as played."""
BROAD_HZ = 600.0
"""A sound over a narrower band than this has too many peaks to tell its delay."""


@dataclass(frozen=True, slots=True)
class DelayEstimate:
    """Where the echo of a stretch of sound was found.

    Attributes:
        lag: samples after the sound.
        height: the peak's power over the mean of all lags: how sure it is.
        gain: the echo's amplitude over the sound's.
    """

    lag: int
    height: float
    gain: float


def estimate_delay(reference: Floats, heard: Floats, rate: int, most: int) -> DelayEstimate | None:
    """The delay after which a stretch of sound is heard.

    Args:
        reference: what was played, shape (n,).
        heard: what was heard from the moment on at which `reference` begins, shape (m,), m > n.
        rate: samples a second of both.
        most: lags from 0 to this, in samples, are looked at.

    Returns:
        The delay, whatever its height; None where the sound is too narrow to tell.
    """
    n = 2 << math.ceil(math.log2(len(heard)))
    played = np.fft.rfft(reference, n)
    power = np.abs(played) ** 2
    cross = np.conj(played) * np.fft.rfft(heard, n)
    told = (power > PLAYED * power.max()) & (np.abs(cross) > 0.0)
    if np.sum(told) * rate / n < BROAD_HZ:
        return None
    phase = np.zeros(n, complex)
    phase[: len(told)][told] = cross[told] / np.abs(cross[told])
    match = np.abs(np.fft.ifft(phase))[:most] ** 2
    lag = int(match.argmax())
    turn = np.exp(2j * np.pi * lag / n * np.arange(len(cross)))
    gain = float(np.abs(np.sum((cross * turn)[told])) / np.sum(power[told]))
    return DelayEstimate(lag, float(match[lag] / match.mean()), gain)
