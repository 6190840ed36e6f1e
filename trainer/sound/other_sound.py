"""Whether something other than steady noise sounds while nobody plays: talk, music, a radio.

The level of a narrow band of steady noise varies by chance, and only so far: its power is
distributed exponentially, so that 80 % of it lie within 13.4 dB, whatever the noise's colour
(Schroeder 1954, Acustica 4, on the spread of levels in narrow bands; from memory). A steady tone,
mains hum or a fan's whine varies less. Syllables and notes come and go in their bands by far more.
What moves all bands at once, such as a gain that is adjusted, is taken out first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.sound.spectra import power_densities


@dataclass(frozen=True, slots=True)
class OtherSoundParameters:
    """Constants of recognising other sound.

    Chosen by hand on the material of `python -m benchmarks.microphone --known`.
    """

    window_s: float = 0.085
    """Length of a window in seconds, rounded to a power of two in samples: shorter than a syllable,
    and long enough to resolve notes. Windows overlap by half."""
    band_hz: tuple[float, float] = (150.0, 6_000.0)
    """Band that is judged, in Hz: below it are footsteps and traffic."""
    percentiles: tuple[float, float] = (10.0, 90.0)
    """Percentiles of a bin's level between which its range lies, so that a knock does not count."""
    range_db: float = 20.0
    """Range in dB from which a bin's level varies more than steady noise does."""
    min_fraction: float = 0.05
    """Minimum fraction of the bins that must vary."""
    below_note_db: float = 40.0
    """Level below the held note down to which other sound matters, in dB."""
    least_s: float = 1.0
    """Shortest quiet that is judged, in seconds."""


PARAMETERS = OtherSoundParameters()


def has_other_sound(quiet: Sequence[NDArray[np.floating[Any]]], rate: int, note_db: float) -> bool:
    """Return whether anything but steady noise sounds.

    Args:
        quiet: stretches in which nobody plays, float, each of shape (n,).
        rate: samples per second.
        note_db: level of a held note in dBFS.
    """
    if sum(map(len, quiet)) < PARAMETERS.least_s * rate:
        return False
    power = np.hstack([_spectrogram(part, rate) for part in quiet])
    if not power.any():
        return False
    levels = 10.0 * np.log10(power + 1e-20)
    low, high = np.percentile(levels - np.median(levels, axis=0), PARAMETERS.percentiles, axis=1)
    varies = high - low > PARAMETERS.range_db
    if np.mean(varies) < PARAMETERS.min_fraction:
        return False
    loud = np.percentile(power[varies].sum(axis=0), PARAMETERS.percentiles[1])
    return bool(10.0 * math.log10(loud + 1e-20) > note_db - PARAMETERS.below_note_db)


def _spectrogram(samples: NDArray[np.floating[Any]], rate: int) -> Floats:
    """Return the power of each bin of the band, full scale being 1; shape (bins, windows)."""
    size = 1 << round(math.log2(PARAMETERS.window_s * rate))
    density, frequency = power_densities(samples, rate, size)
    low, high = PARAMETERS.band_hz
    band = (frequency > low) & (frequency < min(high, 0.45 * rate))
    return np.asarray(density[band] * rate / size)
