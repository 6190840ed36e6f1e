"""Spectra over log frequency, stacked by harmonics: the input of the network.

Each frame has power spectra under several windows, on a grid of `BINS_PER_SEMITONE` bins per half
step. In the stack, channel (w, h) at pitch p holds spectrum w at h times the frequency of p: all
partials of a pitch lie at one place, so that a small filter sees them together (Bittner, McFee,
Salamon, Li and Bello 2017, "Deep salience representations for f0 estimation in polyphonic music",
ISMIR).

Levels are dB relative to the recording's loud frames, mapped to 0 to 1. All arrays are float32,
which is what the network was trained with.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
from numpy.typing import NDArray

Spectra = NDArray[np.float32]
"""Single precision: the precision of the weights, at half the time."""

RATE = 22_050
"""Samples per second of the network's input."""
HOP = 256
"""Samples from one frame to the next: 11.6 ms."""
WINDOWS = (4096, 1024)
"""Lengths of the Hann windows, samples: one separates neighbouring notes, one shows attacks."""
LOWEST_MIDI = 41
"""Lowest pitch: below the lowest note of a low G harp (43) by two half steps."""
SEMITONES = 64
"""Number of half steps: the highest pitch is MIDI note 104."""
BINS_PER_SEMITONE = 3
"""Bins per half step; the middle one of each three is in tune at 440 Hz."""
HARMONICS = (1.0 / 3.0, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0)
"""Multiples of a pitch in the stack. Energy at those below 1 belongs to a lower note."""
RANGE_DB = 80.0
"""Range of levels that is mapped to 0 to 1, dB."""
SILENT_RMS = 1e-5
"""RMS level up to which a recording is silent, re full scale."""
LOUD_QUANTILE = 0.98
"""Quantile of the frames' highest levels that is mapped to `LOUD_VALUE`."""
LOUD_VALUE = 0.9
"""Value of that level."""

PITCHES = SEMITONES * BINS_PER_SEMITONE
CHANNELS = len(WINDOWS) * len(HARMONICS)
_SHIFTS = tuple(round(12 * BINS_PER_SEMITONE * np.log2(h)) for h in HARMONICS)
_BELOW = -min(_SHIFTS)
_BINS = _BELOW + PITCHES + max(_SHIFTS)


def shifts_of_harmonics() -> tuple[int, tuple[int, ...]]:
    """Return the number of bins below the lowest pitch, and the shift of each harmonic in bins."""
    return _BELOW, _SHIFTS


def bin_hz() -> NDArray[np.float64]:
    """Return the centres of all bins of the spectra, Hz."""
    midi = LOWEST_MIDI + (np.arange(_BINS) - _BELOW - 1) / BINS_PER_SEMITONE
    return 440.0 * 2.0 ** ((midi - 69.0) / 12.0)


@cache
def log_matrix(window: int) -> Spectra:
    """Return the map from a power spectrum to bins of log frequency.

    Triangles whose half width is one bin of either grid, whichever is wider.

    Args:
        window: length of the window, samples.

    Returns:
        Weights, shape (window // 2 + 1, bins); a column sums to 1, or to 0 beyond the band.
    """
    step = RATE / window
    centre = bin_hz()
    width = np.maximum(step, centre * (2.0 ** (1.0 / (12.0 * BINS_PER_SEMITONE)) - 1.0))
    fourier = np.arange(window // 2 + 1) * step
    matrix = np.maximum(0.0, 1.0 - np.abs(fourier[:, None] - centre[None, :]) / width[None, :])
    matrix[:, centre > 0.48 * RATE] = 0.0
    total = matrix.sum(axis=0)
    return (matrix / np.where(total > 0.0, total, 1.0)).astype(np.float32)


def level_spectra(samples: NDArray[np.floating]) -> Spectra:
    """Return the spectra of a sound in dB re its RMS level.

    Args:
        samples: shape (n,), at `RATE`.

    Returns:
        shape (windows, frames, bins); frame i is centred on sample i x `HOP`.
    """
    frames = 1 + len(samples) // HOP
    rms = float(np.sqrt(np.mean(np.square(samples)))) if len(samples) else 0.0
    samples = samples / max(rms, SILENT_RMS)
    spectra = np.empty((len(WINDOWS), frames, _BINS), np.float32)
    for i, window in enumerate(WINDOWS):
        padded = np.pad(samples.astype(np.float32), window // 2 + 1)
        taper = (np.hanning(window + 1)[:-1] * 2.0 / window).astype(np.float32)
        matrix = log_matrix(window)
        for first in range(0, frames, 512):
            last = min(frames, first + 512)
            at = (np.arange(first, last) * HOP + 1)[:, None] + np.arange(window)
            power = np.abs(np.fft.rfft(padded[at] * taper)).astype(np.float32) ** 2
            spectra[i, first:last] = 10.0 * np.log10(power @ matrix + 1e-10)
    return spectra


def normalize(spectra: Spectra) -> Spectra:
    """Map levels in dB to 0 to 1, relative to the loud frames of the recording."""
    loud = float(np.quantile(spectra[0].max(axis=1), LOUD_QUANTILE))
    scaled = (spectra - loud) * (1.0 / RANGE_DB) + LOUD_VALUE
    return np.clip(scaled, 0.0, 1.0, out=scaled)


def stack_harmonics(spectra: Spectra) -> Spectra:
    """Return the stack of normalized spectra, shape (frames, pitches, channels)."""
    parts = [
        spectra[w, :, _BELOW + shift : _BELOW + shift + PITCHES]
        for w in range(len(WINDOWS))
        for shift in _SHIFTS
    ]
    return np.stack(parts, axis=-1)


def chunks(frames: int, length: int, margin: int) -> Iterator[tuple[int, int, int, int]]:
    """Yield pieces of a recording: first and last frame to read, first and last one to keep."""
    for first in range(0, frames, length):
        last = min(frames, first + length)
        yield max(0, first - margin), min(frames, last + margin), first, last
