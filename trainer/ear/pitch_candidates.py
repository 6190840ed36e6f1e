"""The first guess of a pitch: aubio's detector, and an autocorrelation for the attack.

aubio's YIN needs its whole buffer inside the note; until then, and wherever its answer fails
the check, the autocorrelation of a shorter window is searched, divided by the window's own
(Boersma 1993, Proc. Inst. Phonetic Sciences 17). Of the peaks nearly as high as the highest the
shortest lag wins, which is what keeps sub-octaves out; octave errors upward would need the odd
partials to be missing.
"""

from __future__ import annotations

from functools import lru_cache

import aubio
import numpy as np

from trainer.core.types import Floats
from trainer.ear.harmonic_fit import hann

FINE = 2
"""Lags to a sample: at a low rate a high note's peaks fall between samples."""
NEARLY = 0.12
"""A peak this close to the highest counts as nearly as high."""


@lru_cache(maxsize=64)
def _own(length: int, size: int) -> Floats:
    spectrum = np.fft.rfft(hann(length), size)
    own = np.fft.irfft(np.abs(spectrum) ** 2, FINE * size)
    return own / own[0]


def autocorrelation(window: Floats, longest: int) -> Floats:
    """Normalised autocorrelation of a window, 1 at lag 0.

    Args:
        window: samples, shape (n,).
        longest: the longest lag in samples; beyond 0.7 n too little overlaps, and it is 0.

    Returns:
        Shape (FINE * longest + 1,), at lags of 1 / FINE samples.
    """
    n = len(window)
    size = 1 << int(n + longest).bit_length()
    centred = (window - window.mean()) * hann(n)
    spectrum = np.fft.rfft(centred, size)
    raw = np.fft.irfft(spectrum.real**2 + spectrum.imag**2, FINE * size)
    result = np.zeros(FINE * longest + 1)
    if raw[0] <= 0.0:
        return result
    reach = FINE * min(longest, int(0.7 * n)) + 1
    result[:reach] = raw[:reach] / raw[0] / _own(n, size)[:reach]
    return result


def _peak(values: Floats, lag: int) -> tuple[float, float]:
    """Lag in samples and height of the parabola through a peak and its neighbours."""
    left, centre, right = values[lag - 1 : lag + 2].tolist()
    bend = left - 2.0 * centre + right
    shift = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    return (lag + shift) / FINE, centre - 0.25 * (left - right) * shift


def candidate_periods(correlation: Floats, shortest: int) -> list[tuple[float, float]]:
    """Periods that a window may have, the likeliest first.

    Args:
        correlation: as :func:`autocorrelation` gives it.
        shortest: the least lag in samples that counts.

    Returns:
        (period in samples, clarity: height of the peak, up to about 1), from the shortest that is
        nearly as clear as the clearest, by period; empty where nothing repeats.
    """
    inner = correlation[1:-1]
    peaks = np.flatnonzero((inner >= correlation[:-2]) & (inner > correlation[2:])) + 1
    peaks = peaks[peaks >= FINE * shortest]
    if not len(peaks):
        return []
    nearly = peaks[correlation[peaks] > correlation[peaks].max() - 2.0 * NEARLY]
    fine = [_peak(correlation, int(lag)) for lag in nearly]
    highest = max(height for _, height in fine)
    first = next(i for i, (_, height) in enumerate(fine) if height >= highest - NEARLY)
    return fine[first:]


class AubioPitch:
    """aubio's yinfast (de Cheveigne and Kawahara 2002, JASA 111) on the ear's samples."""

    def __init__(self, rate: float, hop: int, buffer: int) -> None:
        """`hop` and `buffer` in samples of the ear."""
        self._detector = aubio.pitch("yinfast", buffer, hop, round(rate))
        self._detector.set_unit("Hz")
        self._detector.set_silence(-120)
        self._scale = rate / round(rate)

    def process(self, hop: Floats) -> float | None:
        """The pitch in Hz after one more hop, shape (hop,); None if it found none."""
        hz = float(self._detector(hop.astype(np.float32))[0])
        return hz * self._scale if hz > 0.0 else None
