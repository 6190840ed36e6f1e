"""From the source's samples to the ear's own: one rate for all that follows, and a memory.

Everything a harp says about pitch and holes lies below 10 kHz, so the ear works at a rate
between 22 and 44 kHz that is the source's own divided by a whole number. The low-pass before
the division is a Kaiser-windowed sinc of linear phase; its delay is a whole number of samples
and is taken off every time stamp.
"""

from __future__ import annotations

import numpy as np

from trainer.core.types import Floats

LOWEST_RATE = 22_000
TAPS_A_SIDE = 12
"""Taps on each side of the filter's centre, in samples of the ear."""
KAISER_BETA = 6.0


class Frontend:
    """Divides the rate and remembers the last stretch of sound.

    Attributes:
        factor: source samples for each sample of the ear.
        rate: samples a second of the ear; a float, because the division may leave a fraction.
        count: samples of the ear made so far.
    """

    def __init__(self, rate: int, memory: float) -> None:
        """`rate` is the source's, in samples a second; `memory` in seconds."""
        self.factor = max(1, rate // LOWEST_RATE)
        self.rate = rate / self.factor
        self.count = 0
        half = TAPS_A_SIDE * self.factor if self.factor > 1 else 0
        self._half = half
        if half:
            n = np.arange(-half, half + 1)
            cutoff = 0.9 / self.factor
            self._taps: Floats = cutoff * np.sinc(cutoff * n) * np.kaiser(len(n), KAISER_BETA)
            self._taps /= self._taps.sum()
        self._pending: Floats = np.zeros(half)
        self._begun = False
        self._memory = int(memory * self.rate) + 1
        self._kept: Floats = np.zeros(2 * self._memory)
        self._place = self._memory
        """Where in `_kept` sample 0 of the ear would lie."""

    def resample(self, samples: Floats) -> None:
        """Take in source samples, shape (n,)."""
        if not self._begun and len(samples):
            # What came before is taken to be like the first sample: an offset is no step.
            self._begun = True
            self._pending = np.full(self._half, samples[0], dtype=float)
            self._kept[: self._memory] = samples[0]
        self._pending = np.concatenate([self._pending, samples])
        if self._half:
            ready = (len(self._pending) - 2 * self._half - 1) // self.factor + 1
            if ready <= 0:
                return
            # Stretches that overlap, without copying them; the taps are symmetric.
            size = self._pending.itemsize
            shape, strides = (ready, len(self._taps)), (self.factor * size, size)
            used = np.ndarray(shape, float, self._pending, strides=strides)
            made: Floats = np.vecdot(used, self._taps)
            self._pending = self._pending[ready * self.factor :]
        else:
            made = self._pending
            self._pending = np.zeros(0)
        self._keep(made)

    def _keep(self, made: Floats) -> None:
        """Remember samples of the ear."""
        stop = self._place + self.count
        if stop + len(made) > len(self._kept):
            kept = self._kept[stop - self._memory : stop]
            stop = self._memory
            if stop + len(made) > len(self._kept):
                self._kept = np.empty(2 * (stop + len(made)))
            self._kept[:stop] = kept
            self._place = stop - self.count
        self._kept[stop : stop + len(made)] = made
        self.count += len(made)

    def window(self, end: int, length: int) -> Floats:
        """The `length` samples before sample `end` of the ear, shape (length,), as they are kept
        until the next are fed.

        What lies before the first sample is as that.
        """
        stop = self._place + end
        return self._kept[stop - length : stop]

    def source_sample(self, position: float) -> int:
        """The source sample at a place, which may be fractional, in the ear's samples."""
        return round(position * self.factor)

    def heard(self, end: int) -> int:
        """Source samples that must have come for the ear's samples before `end` to be known."""
        return (end - 1) * self.factor + self._half + 1
