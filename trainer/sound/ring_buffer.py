"""A ring buffer between an audio callback and the thread that serves it."""

from __future__ import annotations

import numpy as np

from trainer.core.types import Samples


class RingBuffer:
    """Frames on their way from one thread to one other, without a lock.

    One side only puts, the other only takes; each moves its own counter after the frames are
    copied, so that neither sees a frame that is not there.

    Attributes:
        put_frames, taken_frames: how many have gone in and out since it was made.
    """

    def __init__(self, size: int, channels: int) -> None:
        """Make room for `size` frames of float32."""
        self._frames = np.zeros((size, channels), dtype=np.float32)
        self.put_frames = 0
        self.taken_frames = 0

    @property
    def room(self) -> int:
        """How many frames can be put."""
        return len(self._frames) - self.held

    @property
    def held(self) -> int:
        """How many frames can be taken."""
        return self.put_frames - self.taken_frames

    @property
    def silent(self) -> bool:
        """Whether all that lies in it is zero to the last bit."""
        return not self._frames.any()

    def put(self, frames: Samples) -> bool:
        """Put frames, shape (n, channels), all or none; whether there was room."""
        count, size = len(frames), len(self._frames)
        if count > self.room:
            return False
        at = self.put_frames % size
        whole = min(count, size - at)
        self._frames[at : at + whole] = frames[:whole]
        self._frames[: count - whole] = frames[whole:]
        self.put_frames += count
        return True

    def take(self, out: Samples) -> int:
        """Fill `out`, shape (n, channels), from its start; how many frames there were for it."""
        count, size = min(len(out), self.held), len(self._frames)
        at = self.taken_frames % size
        whole = min(count, size - at)
        out[:whole] = self._frames[at : at + whole]
        out[whole:count] = self._frames[: count - whole]
        self.taken_frames += count
        return count
