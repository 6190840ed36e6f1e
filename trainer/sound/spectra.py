"""Power spectral densities of short windows: `numpy` alone, as players have no scipy."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats


def power_densities(
    samples: NDArray[np.floating[Any]], rate: int, size: int
) -> tuple[Floats, Floats]:
    """Return the one-sided power density of each window; their mean is Welch's estimate.

    Windows are Hann's, overlap by half, and have their mean removed (Welch 1967, IEEE Trans. Audio
    Electroacoust. 15(2); conventions of `scipy.signal.spectrogram`).

    Args:
        samples: float, shape (n,).
        rate: samples per second.
        size: length of a window in samples, at least 2.

    Returns:
        Densities per Hz, shape (bins, windows), no window if the sound is shorter than one; and
        the frequencies in Hz, shape (bins,).
    """
    frequency = np.fft.rfftfreq(size, 1.0 / rate)
    if len(samples) < size:
        return np.zeros((len(frequency), 0)), frequency
    sound = np.asarray(samples, np.float64)
    windows = np.lib.stride_tricks.sliding_window_view(sound, size)[:: size - size // 2]
    shape = np.hanning(size + 1)[:-1]
    level = windows - windows.mean(axis=1, keepdims=True)
    density = np.abs(np.fft.rfft(level * shape)) ** 2 / (rate * np.sum(shape**2))
    density[:, 1 : (size + 1) // 2] *= 2.0
    return density.T, frequency
