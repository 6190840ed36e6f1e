"""The sound of a recording as data inside an HTML page."""

from __future__ import annotations

import base64
import io

import numpy as np
from numpy.typing import NDArray

MIN_RATE_HZ = 24_000
"""Lowest sample rate after decimation: twice the highest partial that matters to a listener."""


def flac_base64(samples: NDArray[np.float32], rate: int) -> str:
    """Return sound as FLAC of 16 bits in base64.

    FLAC plays in every current browser, starts exactly at a given time, and is encoded thirteen
    times as fast as Ogg Vorbis.

    Args:
        samples: float32, shape (n,).
        rate: sample rate in hertz; it is divided by the largest whole number that leaves
            `MIN_RATE_HZ` or more.
    """
    import soundfile

    factor = max(1, rate // MIN_RATE_HZ)
    if factor > 1:  # a moving mean filters well enough for listening
        whole = samples[: len(samples) // factor * factor].reshape(-1, factor)
        samples = whole.mean(axis=1)
    file = io.BytesIO()
    soundfile.write(file, samples, rate // factor, format="FLAC", subtype="PCM_16")
    return base64.b64encode(file.getvalue()).decode()
