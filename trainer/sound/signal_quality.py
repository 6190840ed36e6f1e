"""Whether a sound is silent, clipped, damaged or too coarse."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

LOW_RATE_HZ = 16_000
"""Sample rate below which the upper partials of high reeds are missing."""
_FULL_SCALE = 0.9999
"""Magnitude from which a sample counts as full scale."""
_CLIPPED_RUN = 3
"""Consecutive samples at full scale that count as clipping; a sine that only just reaches full
scale stays there for fewer."""
_SILENT = 10.0 ** (-90.0 / 20.0)
"""Peak magnitude below which a sound is silent: -90 dBFS."""


class SignalQuality:
    """Measures the quality of a sound as it streams by.

    Attributes:
        rate: samples per second.
        frames: frames measured so far.
        peak: largest magnitude relative to full scale.
        clipped: number of clipped places.
        broken: number of samples that are NaN or infinite.
    """

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self.frames = 0
        self.peak = 0.0
        self.clipped = 0
        self.broken = 0
        self._first_clipped = self._first_broken = 0
        self._tail: NDArray[np.bool_] | None = None

    def measure(self, raw: NDArray[np.floating[Any]]) -> None:
        """Measure the next frames, shape (n, channels)."""
        if not len(raw):
            return
        finite = np.isfinite(raw)
        if not finite.all():
            if not self.broken:
                self._first_broken = self.frames + int(np.argmin(finite.all(axis=1)))
            self.broken += int(np.sum(~finite))
            raw = np.where(finite, raw, 0.0)
        magnitude = np.abs(raw)
        self.peak = max(self.peak, float(magnitude.max()))
        self._count_clipping(magnitude >= _FULL_SCALE)
        self.frames += len(raw)

    def _count_clipping(self, full: NDArray[np.bool_]) -> None:
        """Count the runs at full scale that grow long enough in these frames."""
        if self._tail is None:
            self._tail = np.zeros((_CLIPPED_RUN, full.shape[1]), dtype=bool)
        flags = np.concatenate([self._tail, full])
        self._tail = flags[-_CLIPPED_RUN:]
        if not flags.any():
            return
        run = np.ones((len(full) + 1, full.shape[1]), dtype=bool)
        for i in range(_CLIPPED_RUN):
            run &= flags[i : i + len(run)]
        starts = run[1:] & ~run[:-1]
        if starts.any() and not self.clipped:
            self._first_clipped = self.frames + int(np.argmax(starts.any(axis=1)))
        self.clipped += int(starts.sum())

    @property
    def silent(self) -> bool:
        """Whether no sample has exceeded -90 dBFS."""
        return self.peak < _SILENT

    def warnings(self) -> list[str]:
        """Return what is wrong with the sound, a sentence each; empty if nothing is."""
        sentences = []
        if self.rate < LOW_RATE_HZ:
            sentences.append(
                f"record at 44100 samples a second or more: with {self.rate}, leaks and the "
                "highest holes are judged less well"
            )
        if self.frames and self.silent:
            sentences.append("check that the right input was recorded: it is silent throughout")
        if self.broken:
            sentences.append(
                f"{self.broken} of its samples are not numbers, the first at "
                f"{self._first_broken / self.rate:.1f} s; they are taken as silence"
            )
        if self.clipped:
            places = "1 place" if self.clipped == 1 else f"{self.clipped} places"
            sentences.append(
                f"record at a lower level: it is clipped in {places}, the first at "
                f"{self._first_clipped / self.rate:.1f} s"
            )
        return sentences
