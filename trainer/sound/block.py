"""What flows from a source to the ear."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of mono sound.

    Attributes:
        start: number of its first sample since the source was opened.
        samples: float32, shape (n,), within -1 to 1 and on the grid of 24-bit audio
            (multiples of 2**-23), so that saving a take to FLAC loses nothing.
        rate: samples a second.
    """

    start: int
    samples: Samples
    rate: int

    @property
    def end(self) -> int:
        """Number of the first sample after it."""
        return self.start + len(self.samples)


class Source(Protocol):
    """Where sound comes from: a microphone, a recording, the built-in player."""

    @property
    def rate(self) -> int:
        """Samples a second; fixed while the source is open."""

    def blocks(self) -> Iterator[Block]:
        """Blocks in order and without holes, until the sound ends or the source is closed.

        Raises:
            SoundError: when the sound stops coming or cannot be read further.
        """

    def close(self) -> None:
        """Let go of the device or file. May be called twice."""
