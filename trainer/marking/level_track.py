"""The level of a stretch of a pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.marking.reading_history import ReadingHistory


@dataclass(frozen=True, slots=True)
class LevelTrack:
    """Levels of a stretch of a pass, in order.

    Attributes:
        at: sample of each, the middle of its window of 10 ms.
        db: RMS level in dB re full scale.
    """

    at: NDArray[np.int64]
    db: Floats

    @classmethod
    def of(cls, history: ReadingHistory, first: int, end: int) -> LevelTrack:
        """The levels of some readings, by the indices of the first and of the one after the last.

        Indices beyond the readings of the pass are allowed.
        """
        inside = slice(max(0, first), min(end, len(history)))
        return cls(history.level_at[inside], history.level[inside].astype(float))

    def between(self, start: float, stop: float) -> LevelTrack:
        """The levels from one sample to another, both included."""
        inside = (self.at >= start) & (self.at <= stop)
        return LevelTrack(self.at[inside], self.db[inside])
