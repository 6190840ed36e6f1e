"""When the frames of a stream pass its device."""

from __future__ import annotations

import numpy as np

OBSERVATIONS = 64
"""Latest observations of which the median counts. Common practice for jittery callback times."""


class StreamTiming:
    """Relates the frame numbers of one stream to the clock that all streams share.

    Single times reported by a driver are uneven, so the median offset of the latest observations
    is used. One thread adds, another reads; neither waits.

    Attributes:
        count: observations so far.
    """

    def __init__(self, rate: int) -> None:
        """`rate` in frames per second."""
        self._rate = rate
        self._offsets = np.zeros(OBSERVATIONS)
        self._valid = 0
        self._next = 0
        self.count = 0

    def add(self, frame: int, seconds: float) -> None:
        """Add an observation: a frame passed at that time."""
        self._offsets[self._next] = seconds - frame / self._rate
        self._next = (self._next + 1) % OBSERVATIONS
        self._valid = min(self._valid + 1, OBSERVATIONS)
        self.count += 1

    def restart(self) -> None:
        """Keep the last observation only: the frames have slipped against the clock."""
        self._offsets[0] = self._offsets[self._next - 1]
        self._next = self._valid = 1

    def time_of(self, frame: float) -> float:
        """Time at which a frame passes, in seconds; undefined before the first observation."""
        return self._offset() + frame / self._rate

    def frame_at(self, seconds: float) -> float:
        """Frame that passes at a time."""
        return (seconds - self._offset()) * self._rate

    def _offset(self) -> float:
        return float(np.median(self._offsets[: max(1, self._valid)]))
