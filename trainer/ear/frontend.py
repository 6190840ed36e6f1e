"""Resample the source to the ear's rate and keep the last seconds of it.

A harp's partials that matter for pitch and holes lie below 10 kHz. The ear therefore works at
22 to 44 kHz: the source's rate divided by a whole number. The anti-alias filter is a
Kaiser-windowed sinc of linear phase; its delay is a whole number of samples and is subtracted
from every time stamp.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats


@dataclass(frozen=True, slots=True)
class FrontendParameters:
    """Constants of the resampler."""

    lowest_rate: int = 22_000
    """Lowest rate of the ear in Hz. Its Nyquist frequency, 11 kHz, clears the 9.5 kHz up to which
    partials are fitted."""
    taps_per_side: int = 12
    """Length of the filter on each side of its centre, in samples of the ear."""
    kaiser_beta: float = 6.0
    """Shape of the Kaiser window: stop-band attenuation of about 63 dB (Kaiser 1974)."""
    cutoff: float = 0.9
    """Cut-off frequency over the ear's Nyquist frequency."""


DEFAULT_FRONTEND = FrontendParameters()


class Frontend:
    """Resampler with a memory.

    Attributes:
        factor: source samples per sample of the ear.
        rate: samples of the ear per second; a float, as the division may leave a fraction.
        count: samples of the ear produced so far.
    """

    def __init__(
        self, rate: int, memory: float, parameters: FrontendParameters = DEFAULT_FRONTEND
    ) -> None:
        """Prepare for a source.

        Args:
            rate: source samples per second.
            memory: length of sound to keep, seconds.
            parameters: constants.
        """
        self.factor = max(1, rate // parameters.lowest_rate)
        self.rate = rate / self.factor
        self.count = 0
        half = parameters.taps_per_side * self.factor if self.factor > 1 else 0
        self._half = half
        if half:
            n = np.arange(-half, half + 1)
            cutoff = parameters.cutoff / self.factor
            window = np.kaiser(len(n), parameters.kaiser_beta)
            self._taps: Floats = cutoff * np.sinc(cutoff * n) * window
            self._taps /= self._taps.sum()
        self._pending: Floats = np.zeros(half)
        self._begun = False
        self._memory = int(memory * self.rate) + 1
        self._kept: Floats = np.zeros(2 * self._memory)
        self._zero = self._memory
        """Index in `_kept` at which sample 0 of the ear would lie."""

    def resample(self, samples: Floats) -> None:
        """Resample source samples, shape (n,), and append them to the memory."""
        if not self._begun and len(samples):
            # Extend the first sample backward: a constant offset must not look like a step.
            self._begun = True
            self._pending = np.full(self._half, samples[0], dtype=float)
            self._kept[: self._memory] = samples[0]
        self._pending = np.concatenate([self._pending, samples])
        if self._half:
            ready = (len(self._pending) - 2 * self._half - 1) // self.factor + 1
            if ready <= 0:
                return
            # Overlapping windows without a copy; the taps are symmetric.
            size = self._pending.itemsize
            shape, strides = (ready, len(self._taps)), (self.factor * size, size)
            windows = np.ndarray(shape, float, self._pending, strides=strides)
            resampled: Floats = np.vecdot(windows, self._taps)
            self._pending = self._pending[ready * self.factor :]
        else:
            resampled = self._pending
            self._pending = np.zeros(0)
        self._append(resampled)

    def _append(self, resampled: Floats) -> None:
        """Append samples of the ear to the memory."""
        stop = self._zero + self.count
        if stop + len(resampled) > len(self._kept):
            kept = self._kept[stop - self._memory : stop]
            stop = self._memory
            if stop + len(resampled) > len(self._kept):
                self._kept = np.empty(2 * (stop + len(resampled)))
            self._kept[:stop] = kept
            self._zero = stop - self.count
        self._kept[stop : stop + len(resampled)] = resampled
        self.count += len(resampled)

    def window(self, end: int, length: int) -> Floats:
        """Return the `length` samples before sample `end` of the ear, shape (length,).

        The array is a view that is valid until the next call of :meth:`resample`. Samples before
        the first one equal the first one.
        """
        stop = self._zero + end
        return self._kept[stop - length : stop]

    def source_sample(self, position: float) -> int:
        """Return the source sample at a position, possibly fractional, in samples of the ear."""
        return round(position * self.factor)

    def heard(self, end: int) -> int:
        """Return how many source samples are needed to know the ear's samples before `end`."""
        return (end - 1) * self.factor + self._half + 1
