"""The unit of sound that flows from a source to the ear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Samples

REFERENCE_LEAD_S = 0.1
"""Seconds by which a block's reference signal is ahead of its sound, by the drivers' latencies.

The reference must come before its echo even where drivers overstate the latency, and a filter that
works on long blocks needs it earlier still."""

_GRID = 2.0**23
"""Steps per unit of amplitude of 24-bit audio."""


def round_to_24_bits(samples: NDArray[np.floating[Any]]) -> Samples:
    """Round samples to the grid of 24-bit audio, as a block holds them.

    Each is rounded to a multiple of 2**-23 and clipped to [-1, 1 - 2**-23]; NaN and infinity
    become 0.

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
    steps += 0.0  # turns -0.0 into 0.0
    return steps.astype(np.float32)


@dataclass(frozen=True, slots=True)
class Block:
    """Consecutive mono samples, and the reference signal for the echo canceller.

    Attributes:
        start: number of its first sample since the source was opened.
        samples: float32, shape (n,), within -1 to 1 and on the grid of 24-bit audio
            (multiples of 2**-23), so that saving a take to FLAC loses nothing.
        rate: samples per second.
        reference: what the trainer itself plays, as handed to the output, float32, shape (n,), on
            the same grid. Sample i is heard `REFERENCE_LEAD_S` after sample i of `samples`, up to
            a constant error of some milliseconds, and reaches the microphone later still. None
            stands for silence.
    """

    start: int
    samples: Samples
    rate: int
    reference: Samples | None = None

    @property
    def end(self) -> int:
        """Number of the first sample after it."""
        return self.start + len(self.samples)
