"""When the frames of a stream pass its device."""

from __future__ import annotations

import numpy as np

_REMEMBERED = 64


class StreamTiming:
    """Ties the frame numbers of one stream to the clock that all streams share.

    What a driver says of single blocks is uneven, so that the middle one of the last 64 counts.
    One thread notes, another asks; neither waits.

    Attributes:
        notes: how many there have been.
    """

    def __init__(self, rate: int) -> None:
        self._rate = rate
        self._offsets = np.zeros(_REMEMBERED)
        self._valid = 0
        self._next = 0
        self.notes = 0

    def note(self, frame: int, seconds: float) -> None:
        """A frame passed at that time."""
        self._offsets[self._next] = seconds - frame / self._rate
        self._next = (self._next + 1) % _REMEMBERED
        self._valid = min(self._valid + 1, _REMEMBERED)
        self.notes += 1

    def forget(self) -> None:
        """Keep the last note only: the frames have slipped against the clock."""
        self._offsets[0] = self._offsets[self._next - 1]
        self._next = self._valid = 1

    def time_of(self, frame: float) -> float:
        """When a frame passes, in seconds; meaningless until something was noted."""
        return self._offset() + frame / self._rate

    def frame_at(self, seconds: float) -> float:
        """Which frame passes at a time."""
        return (seconds - self._offset()) * self._rate

    def _offset(self) -> float:
        return float(np.median(self._offsets[: max(1, self._valid)]))
