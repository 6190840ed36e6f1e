"""What is to be told about a sound: whether it is silent, clipped, broken or too coarse."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

LOW_RATE = 16_000
"""Below this many samples a second the upper partials of high reeds are missing."""
_FULL = 0.9999
_RUN = 3
"""So many samples in a row at full scale are taken for clipping: a sine that only just reaches
full scale stays there for fewer."""
_SILENT = 10.0 ** (-90.0 / 20.0)


class SignalQuality:
    """Gathers them while a sound streams by.

    Attributes:
        rate: samples a second.
        frames: how many have gone by.
        peak: largest magnitude, re full scale.
        clipped: how many places are clipped.
        broken: how many samples were not numbers.
    """

    def __init__(self, rate: int) -> None:
        self.rate = rate
        self.frames = 0
        self.peak = 0.0
        self.clipped = 0
        self.broken = 0
        self._first_clipped = self._first_broken = 0
        self._tail: NDArray[np.bool_] | None = None

    def add(self, raw: NDArray[np.floating[Any]]) -> None:
        """Take note of the next frames, shape (n, channels), as they came."""
        if not len(raw):
            return
        finite = np.isfinite(raw)
        if not finite.all():
            if not self.broken:
                self._first_broken = self.frames + int(np.argmin(finite.all(axis=1)))
            self.broken += int(np.sum(~finite))
            raw = np.where(finite, raw, 0.0)
        size = np.abs(raw)
        self.peak = max(self.peak, float(size.max()))
        self._find_clipping(size >= _FULL)
        self.frames += len(raw)

    def _find_clipping(self, full: NDArray[np.bool_]) -> None:
        """Count the runs of full-scale samples that grow long enough in these frames."""
        if self._tail is None:
            self._tail = np.zeros((_RUN, full.shape[1]), dtype=bool)
        flags = np.concatenate([self._tail, full])
        self._tail = flags[-_RUN:]
        if not flags.any():
            return
        run = np.ones((len(full) + 1, full.shape[1]), dtype=bool)
        for i in range(_RUN):
            run &= flags[i : i + len(run)]
        starts = run[1:] & ~run[:-1]
        if starts.any() and not self.clipped:
            self._first_clipped = self.frames + int(np.argmax(starts.any(axis=1)))
        self.clipped += int(starts.sum())

    @property
    def silent(self) -> bool:
        """Whether nothing above -90 dBFS has gone by."""
        return self.peak < _SILENT

    def sentences(self) -> list[str]:
        """What a player should be told, one sentence each; nothing if all is well."""
        told = []
        if self.rate < LOW_RATE:
            told.append(
                f"it has only {self.rate} samples a second, so that leaks and the highest holes "
                "are judged less well; record at 44100 or more"
            )
        if self.frames and self.silent:
            told.append("it is silent throughout; check that the right input was recorded")
        if self.broken:
            told.append(
                f"{self.broken} of its samples are not numbers, the first at "
                f"{self._first_broken / self.rate:.1f} s; they are taken as silence"
            )
        if self.clipped:
            places = "1 place" if self.clipped == 1 else f"{self.clipped} places"
            told.append(
                f"it is clipped in {places}, the first at {self._first_clipped / self.rate:.1f} "
                "s; record at a lower level"
            )
        return told
