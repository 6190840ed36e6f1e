"""What flows from a source to the ear."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Samples

REFERENCE_LEAD_S = 0.1
"""How long before it is heard, by what the drivers say, a block carries what the trainer played.

It has to come before its echo even where drivers claim too much, and a filter that works on long
blocks needs it earlier still."""

_GRID = 2.0**23


def round_to_24_bits(samples: NDArray[np.floating[Any]]) -> Samples:
    """Samples as a block holds them: on the grid of 24-bit audio.

    Each is rounded to a multiple of 2**-23 and kept within [-1, 1 - 2**-23]; what is not a
    finite number becomes 0.

    Args:
        samples: float, any shape.

    Returns:
        float32 of the same shape; a 24-bit file holds it exactly.
    """
    finite = np.isfinite(samples)
    steps = np.clip(samples if finite.all() else np.where(finite, samples, 0.0), -1.0, 1.0)
    steps *= _GRID
    np.rint(steps, out=steps)
    np.minimum(steps, _GRID - 1.0, out=steps)
    steps /= _GRID
    steps += 0.0  # leaves no negative zero
    return steps.astype(np.float32)


@dataclass(frozen=True, slots=True)
class Block:
    """A stretch of mono sound, and what the trainer itself was playing.

    Attributes:
        start: number of its first sample since the source was opened.
        samples: float32, shape (n,), within -1 to 1 and on the grid of 24-bit audio
            (multiples of 2**-23), so that saving a take to FLAC loses nothing.
        rate: samples a second.
        reference: what the trainer itself played, as given to the output, float32, shape (n,), on
            the same grid: sample i is heard `REFERENCE_LEAD_S` after sample i of `samples`, give or
            take some milliseconds that stay the same, and on the way to the microphone later
            still. None stands for silence.
    """

    start: int
    samples: Samples
    rate: int
    reference: Samples | None = None

    @property
    def end(self) -> int:
        """Number of the first sample after it."""
        return self.start + len(self.samples)


class Source(Protocol):
    """Where sound comes from: a microphone, a recording, the built-in player."""

    @property
    def name(self) -> str:
        """What it is, in words, such as ``recording take.flac``."""

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
