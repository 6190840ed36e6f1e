"""A ring buffer between an audio callback and the thread that serves it."""

from __future__ import annotations

import numpy as np

from trainer.core.types import Samples


class RingBuffer:
    """Frames on their way from one thread to one other, without a lock.

    One side only writes, the other only reads. Each moves its own counter after the frames are
    copied, so that neither sees a frame that is incomplete.

    Attributes:
        frames_written, frames_read: totals since it was made.
    """

    def __init__(self, size: int, channels: int) -> None:
        """Make room for `size` frames of float32."""
        self._frames = np.zeros((size, channels), dtype=np.float32)
        self.frames_written = 0
        self.frames_read = 0

    @property
    def free(self) -> int:
        """Frames that can be written."""
        return len(self._frames) - self.available

    @property
    def available(self) -> int:
        """Frames that can be read."""
        return self.frames_written - self.frames_read

    @property
    def is_silent(self) -> bool:
        """Whether everything in the buffer is exactly zero."""
        return not self._frames.any()

    def write(self, frames: Samples) -> bool:
        """Write frames, shape (n, channels), all or none; return whether there was room."""
        count, size = len(frames), len(self._frames)
        if count > self.free:
            return False
        at = self.frames_written % size
        until_wrap = min(count, size - at)
        self._frames[at : at + until_wrap] = frames[:until_wrap]
        self._frames[: count - until_wrap] = frames[until_wrap:]
        self.frames_written += count
        return True

    def read(self, out: Samples) -> int:
        """Fill `out` from its start; return the number of frames that were available.

        The shape of `out` is (n, channels).
        """
        count, size = min(len(out), self.available), len(self._frames)
        at = self.frames_read % size
        until_wrap = min(count, size - at)
        out[:until_wrap] = self._frames[at : at + until_wrap]
        out[until_wrap:count] = self._frames[: count - until_wrap]
        self.frames_read += count
        return count
