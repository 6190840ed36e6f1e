"""Turn down the harp in a recording, where its notes are known.

The short-time spectrum is attenuated around the partials of the written notes while they sound,
and what else lies there with them: a mask on a mixture cannot separate two sounds at one
frequency. A harp's partials are narrow and steady, so that most of a band lies between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats, Samples


@dataclass(frozen=True, slots=True)
class FaderParameters:
    """Constants of the fader. Chosen by hand, on the built-in player beside plucked chords."""

    window_s: float = 0.085
    """Length of a frame in seconds: partials of a bass a whole tone away are still apart."""
    overlap: int = 4
    """Frames that overlap at any time."""
    half_width_cents: float = 30.0
    """Half the width of the band around a partial that is attenuated in full, cents."""
    half_width_bins: float = 1.6
    """The same at least, in bins of the spectrum: half the main lobe of the window."""
    max_hz: float = 9_000.0
    """Highest partial that is attenuated, Hz."""
    early_s: float = 0.06
    """Time before a written note from which it is attenuated, seconds: players are not exact."""
    late_s: float = 0.18
    """Time after a written note until which it is attenuated, seconds: it rings in the room."""


FADER = FaderParameters()


@dataclass(frozen=True, slots=True)
class FadedNote:
    """A note to be turned down.

    Attributes:
        start, end: when it sounds, in seconds of the samples.
        low, high: lowest and highest f0 in Hz, the same for a steady note.
    """

    start: float
    end: float
    low: float
    high: float


def fade_harp(sound: Samples, rate: int, notes: Sequence[FadedNote], by_db: float) -> Samples:
    """Turn down notes in a sound.

    Args:
        sound: samples, shape (n,).
        rate: samples per second.
        notes: in any order.
        by_db: attenuation in dB, positive.

    Returns:
        Samples, float32, shape (n,).
    """
    size = 1 << round(np.log2(FADER.window_s * rate))
    hop = size // FADER.overlap
    window = np.sqrt(np.hanning(size + 1)[:-1])
    padded = np.pad(np.asarray(sound, np.float64), (size, 2 * size))
    out = np.zeros(len(padded))
    low_gain = 10.0 ** (-by_db / 20.0)
    for first in range(0, len(padded) - size, hop):
        middle = (first + size / 2 - size) / rate
        frame = window * padded[first : first + size]
        playing = [
            note
            for note in notes
            if note.start - FADER.early_s <= middle <= note.end + FADER.late_s
        ]
        if playing:
            spectrum = np.fft.rfft(frame) * _gains(playing, size, rate, low_gain)
            frame = np.fft.irfft(spectrum, size)
        out[first : first + size] += window * frame
    scale = np.sum(window[::hop] ** 2)
    return np.asarray(out[size : size + len(sound)] / scale, np.float32)


def _gains(notes: Sequence[FadedNote], size: int, rate: int, low_gain: float) -> Floats:
    """Return the gain of each bin, shape (size / 2 + 1,)."""
    gains = np.ones(size // 2 + 1)
    ratio = 2.0 ** (FADER.half_width_cents / 1200.0)
    for note in notes:
        for k in range(1, int(min(FADER.max_hz, rate / 2.0) / note.low) + 1):
            first, last = (k * hz * size / rate for hz in (note.low, note.high))
            low = min(first / ratio, first - FADER.half_width_bins)
            high = max(last * ratio, last + FADER.half_width_bins)
            gains[max(0, int(np.ceil(low))) : int(high) + 1] = low_gain
    return gains
