"""The reference tone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats

_PARTIALS_DB = (0.0, -12.0, -20.0, -26.0)
_FADE_S = 0.03


def tone(hz: float, seconds: float, rate: int, level_db: float = -20.0) -> NDArray[np.float32]:
    """A steady tone to tune the ear to.

    A few partials make a low one audible on a laptop's loudspeaker, where a sine is not.

    Args:
        hz: pitch; partials above 0.45 of the rate are left out.
        seconds: length, fades of 30 ms included.
        rate: samples a second.
        level_db: RMS level, dB re full scale.

    Returns:
        float32, shape (seconds * rate,).
    """
    n = np.arange(round(seconds * rate), dtype=np.float64)
    fade = np.clip(np.minimum(n, n[::-1]) / (_FADE_S * rate), 0.0, 1.0)
    return np.asarray(_wave(hz / rate * n, hz, rate, level_db) * fade, dtype=np.float32)


def _wave(turns: NDArray[np.float64], hz: float, rate: int, level_db: float) -> Floats:
    """A tone at so many turns of its fundamental, without its fades."""
    wave = np.zeros(len(turns))
    power = 0.0
    for k, level in enumerate(_PARTIALS_DB, start=1):
        if k * hz < 0.45 * rate:
            wave += 10.0 ** (level / 20.0) * np.sin(2 * np.pi * k * turns)
            power += 10.0 ** (level / 10.0) / 2.0
    return 10.0 ** (level_db / 20.0) / np.sqrt(power) * wave if power else wave


class ToneGenerator:
    """A tone that goes on until it is told otherwise, in stretches that join without a click.

    Args:
        rate: samples a second.
        level_db: RMS level, dB re full scale.
    """

    def __init__(self, rate: int, level_db: float = -20.0) -> None:
        self._rate, self._level_db = rate, level_db
        self._hz: float | None = None
        self._wanted: float | None = None
        self._turns = 0.0
        self._gain = 0.0

    def turn_to(self, hz: float | None) -> None:
        """Sound at another pitch from the next stretch on, or not at all."""
        self._wanted = hz

    def add_to(self, out: NDArray[np.float32]) -> None:
        """Add the next stretch to samples, shape (n,); one pitch fades out before the next."""
        done = 0
        while done < len(out):
            if self._gain == 0.0:
                self._hz = self._wanted
            if self._hz is None:
                return
            rises = self._hz == self._wanted
            step = (1.0 if rises else -1.0) / (_FADE_S * self._rate)
            left = (1.0 if rises else 0.0) - self._gain
            turning = max(1, round(left / step)) if left else len(out) - done
            count = min(len(out) - done, turning)
            ramp = self._gain + (step if left else 0.0) * np.arange(1, count + 1, dtype=np.float64)
            turns = self._turns + self._hz / self._rate * np.arange(1, count + 1, dtype=np.float64)
            wave = _wave(turns, self._hz, self._rate, self._level_db)
            out[done : done + count] += (np.clip(ramp, 0.0, 1.0) * wave).astype(np.float32)
            self._turns = float(turns[-1] % 1.0)
            self._gain = float(np.clip(ramp[-1], 0.0, 1.0))
            if count == turning and left:
                self._gain = 1.0 if rises else 0.0
            done += count
