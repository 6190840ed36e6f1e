"""The reference tone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats

_PARTIALS_DB = (0.0, -12.0, -20.0, -26.0)
"""Levels of the partials from the fundamental up, in dB. Chosen so that a low tone is audible on a
laptop's loudspeaker."""
_FADE_S = 0.03
"""Fade-in and fade-out, in seconds."""
_TOP = 0.45
"""Highest partial as a fraction of the sample rate."""


def tone(hz: float, seconds: float, rate: int, level_db: float = -20.0) -> NDArray[np.float32]:
    """Return a steady tone to tune the ear to.

    Args:
        hz: pitch; partials above 0.45 of the rate are left out.
        seconds: length, fades of 30 ms included.
        rate: samples per second.
        level_db: RMS level relative to full scale, in dB.

    Returns:
        float32, shape (seconds * rate,).
    """
    n = np.arange(round(seconds * rate), dtype=np.float64)
    fade = np.clip(np.minimum(n, n[::-1]) / (_FADE_S * rate), 0.0, 1.0)
    return np.asarray(_wave(hz / rate * n, hz, rate, level_db) * fade, dtype=np.float32)


def _wave(cycles: NDArray[np.float64], hz: float, rate: int, level_db: float) -> Floats:
    """Return a tone without its fades, at phases given in cycles of its fundamental."""
    wave = np.zeros(len(cycles))
    power = 0.0
    for k, partial_db in enumerate(_PARTIALS_DB, start=1):
        if k * hz < _TOP * rate:
            wave += 10.0 ** (partial_db / 20.0) * np.sin(2 * np.pi * k * cycles)
            power += 10.0 ** (partial_db / 10.0) / 2.0
    return 10.0 ** (level_db / 20.0) / np.sqrt(power) * wave if power else wave


class ToneGenerator:
    """Generates tones of changing pitch in stretches that join without a click.

    Args:
        rate: samples per second.
        level_db: RMS level relative to full scale, in dB.
    """

    def __init__(self, rate: int, level_db: float = -20.0) -> None:
        self._rate, self._level_db = rate, level_db
        self._hz: tuple[float, ...] = ()
        self._wanted_hz: tuple[float, ...] = ()
        self._cycles: list[float] = []
        """Phase of each tone, in cycles of its fundamental."""
        self._gain = 0.0

    def set_pitches(self, hz: tuple[float, ...]) -> None:
        """Change the pitches from the next stretch on; several share the level, none is silence."""
        self._wanted_hz = hz

    def mix_into(self, out: NDArray[np.float32]) -> None:
        """Add the next stretch to samples, shape (n,); one sound fades out before the next."""
        done = 0
        while done < len(out):
            if self._gain == 0.0 and self._hz != self._wanted_hz:
                self._hz, self._cycles = self._wanted_hz, [0.0] * len(self._wanted_hz)
            if not self._hz:
                return
            rises = self._hz == self._wanted_hz
            step = (1.0 if rises else -1.0) / (_FADE_S * self._rate)
            missing = (1.0 if rises else 0.0) - self._gain
            fading = max(1, round(missing / step)) if missing else len(out) - done
            count = min(len(out) - done, fading)
            n = np.arange(1, count + 1, dtype=np.float64)
            ramp = self._gain + (step if missing else 0.0) * n
            level_db = self._level_db - 10.0 * np.log10(len(self._hz))
            for k, hz in enumerate(self._hz):
                cycles = self._cycles[k] + hz / self._rate * n
                wave = _wave(cycles, hz, self._rate, level_db)
                out[done : done + count] += (np.clip(ramp, 0.0, 1.0) * wave).astype(np.float32)
                self._cycles[k] = float(cycles[-1] % 1.0)
            self._gain = float(np.clip(ramp[-1], 0.0, 1.0))
            if count == fading and missing:
                self._gain = 1.0 if rises else 0.0
            done += count
