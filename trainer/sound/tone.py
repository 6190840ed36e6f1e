"""The reference tone."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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
    n = np.arange(round(seconds * rate))
    wave = np.zeros(len(n))
    power = 0.0
    for k, level in enumerate(_PARTIALS_DB, start=1):
        if k * hz < 0.45 * rate:
            wave += 10.0 ** (level / 20.0) * np.sin(2 * np.pi * k * hz / rate * n)
            power += 10.0 ** (level / 10.0) / 2.0
    fade = np.clip(np.minimum(n, n[::-1]) / (_FADE_S * rate), 0.0, 1.0)
    gain = 10.0 ** (level_db / 20.0) / np.sqrt(power) if power else 0.0
    return np.asarray(gain * wave * fade, dtype=np.float32)
