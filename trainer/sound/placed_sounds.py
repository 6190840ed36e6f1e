"""Sounds that are played from given frames of an output on: clicks, and recordings."""

from __future__ import annotations

import numpy as np

from trainer.core.types import Samples
from trainer.sound.click import mix

STOP_FADE_S = 0.03
"""Fade-out where it is broken off, in seconds. Chosen: no click."""


class PlacedSounds:
    """Sounds on their way to an output, each from a frame on."""

    def __init__(self, rate: int) -> None:
        """`rate` in samples per second of the output."""
        self._fade = round(STOP_FADE_S * rate)
        self._sounds: list[tuple[int, Samples]] = []

    def place(self, frame: int, samples: Samples) -> None:
        """Play samples, shape (n,), from a frame of the output on, beside those before."""
        self._sounds.append((frame, samples))

    def stop(self, frame: int) -> None:
        """Fade out what sounds at a frame, and play nothing after it."""
        kept = []
        for at, samples in self._sounds:
            tail = samples[: max(0, frame - at) + self._fade].copy()
            if at < frame:
                count = min(self._fade, len(tail))
                tail[len(tail) - count :] *= np.linspace(1.0, 0.0, count, dtype=np.float32)
                kept.append((at, tail))
        self._sounds = kept

    def mix(self, out: Samples, first: int) -> None:
        """Add them to a stretch of output, shape (n,), whose first frame has the number `first`."""
        for at, samples in self._sounds:
            mix(out, first, samples, at)
        self._sounds = [each for each in self._sounds if each[0] + len(each[1]) > first + len(out)]
