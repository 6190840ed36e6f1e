"""Candidate pitches: autocorrelation of short windows, and aubio's detector on long ones.

aubio's YIN needs its whole buffer inside the note. Until then, and wherever its pitch fails the
harmonic fit, candidates come from the autocorrelation of a shorter window divided by that of the
window function (Boersma 1993, Proc. Inst. Phonetic Sciences 17). Of the peaks that are nearly as
high as the highest, the one at the shortest lag comes first. This avoids sub-octaves; an error to
the octave above would require the odd partials to be missing.
"""

from __future__ import annotations

from functools import lru_cache

import aubio
import numpy as np

from trainer.core.types import Floats
from trainer.ear.harmonic_fit import hann

OVERSAMPLING = 2
"""Lags per sample. At a low rate the peaks of a high note fall between samples."""
NEARLY_HIGHEST = 0.12
"""Difference in normalised autocorrelation up to which a peak is nearly as high as the highest.
Chosen on `harmonica 1`."""
LONGEST_LAG = 0.7
"""Longest lag over the window's length. Beyond it too few samples overlap."""


@lru_cache(maxsize=64)
def _window_autocorrelation(length: int, size: int) -> Floats:
    """Normalised autocorrelation of the window function itself."""
    spectrum = np.fft.rfft(hann(length), size)
    correlation = np.fft.irfft(np.abs(spectrum) ** 2, OVERSAMPLING * size)
    return correlation / correlation[0]


def autocorrelation(window: Floats, longest: int) -> Floats:
    """Return the normalised autocorrelation of a window, 1 at lag 0.

    Args:
        window: samples, shape (n,).
        longest: longest lag in samples. Beyond 0.7 n the result is 0, as too little overlaps.

    Returns:
        Shape (OVERSAMPLING * longest + 1,), at lags of 1 / OVERSAMPLING samples.
    """
    n = len(window)
    size = 1 << int(n + longest).bit_length()
    centred = (window - window.mean()) * hann(n)
    spectrum = np.fft.rfft(centred, size)
    raw = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, OVERSAMPLING * size)
    result = np.zeros(OVERSAMPLING * longest + 1)
    if raw[0] <= 0.0:
        return result
    reach = OVERSAMPLING * min(longest, int(LONGEST_LAG * n)) + 1
    result[:reach] = raw[:reach] / raw[0] / _window_autocorrelation(n, size)[:reach]
    return result


def _interpolated_peak(values: Floats, lag: int) -> tuple[float, float]:
    """Lag in samples and height of the parabola through a peak and its neighbours."""
    left, centre, right = values[lag - 1 : lag + 2].tolist()
    curvature = left - 2.0 * centre + right
    offset = 0.5 * (left - right) / curvature if curvature < 0.0 else 0.0
    return (lag + offset) / OVERSAMPLING, centre - 0.25 * (left - right) * offset


def candidate_periods(correlation: Floats, shortest: int) -> list[tuple[float, float]]:
    """Return the periods that a window may have.

    Args:
        correlation: as returned by :func:`autocorrelation`.
        shortest: shortest period in samples.

    Returns:
        (period in samples, clarity) by ascending period, from the shortest one that is nearly as
        clear as the clearest; empty if nothing repeats. Clarity is the height of the peak, up to
        about 1.
    """
    inner = correlation[1:-1]
    peaks = np.flatnonzero((inner >= correlation[:-2]) & (inner > correlation[2:])) + 1
    peaks = peaks[peaks >= OVERSAMPLING * shortest]
    if not len(peaks):
        return []
    high = peaks[correlation[peaks] > correlation[peaks].max() - 2.0 * NEARLY_HIGHEST]
    candidates = [_interpolated_peak(correlation, int(lag)) for lag in high]
    highest = max(height for _, height in candidates)
    first = next(
        i for i, (_, height) in enumerate(candidates) if height >= highest - NEARLY_HIGHEST
    )
    return candidates[first:]


class AubioPitch:
    """aubio's yinfast (de Cheveigne and Kawahara 2002, JASA 111) on the ear's samples."""

    def __init__(self, rate: float, buffer: int) -> None:
        """Create a detector; `buffer` is the length of its windows in samples of the ear."""
        self._detector = aubio.pitch("yinfast", buffer, buffer, round(rate))
        self._detector.set_unit("Hz")
        self._detector.set_silence(-120)
        self._scale = rate / round(rate)

    def process(self, window: Floats) -> float | None:
        """Return the pitch in Hz of a window, shape (buffer,); None if there is none."""
        hz = float(self._detector(window.astype(np.float32))[0])
        return hz * self._scale if hz > 0.0 else None
