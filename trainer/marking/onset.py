"""When a step starts, from the readings around its first one."""

from __future__ import annotations

import numpy as np

from trainer.marking.reading_history import ReadingHistory

_KNOWN_WITHIN = 3
"""Readings after a segment's first in which its attack may become known."""
SEEN_BEYOND = 24
"""Readings, 120 ms, from which the pitches before and after a slur are taken. So many after a
segment's end, more say nothing new of it."""
_EDGE = 3


def start_of(history: ReadingHistory, first: int) -> int:
    """Sample on which a segment starts.

    The start of its attack; without one, the moment at which the pitch crosses the middle
    between what sounded before and what sounds now.

    Args:
        history: the take.
        first: number of the segment's first reading.
    """
    attacks = history.onset[first : min(first + _KNOWN_WITHIN, len(history))]
    known = attacks[attacks >= 0]
    if len(known):
        return int(known[0])
    before = history.pitch[max(0, first - SEEN_BEYOND) : max(0, first - _EDGE)]
    now = history.pitch[first + _EDGE : min(first + SEEN_BEYOND, len(history))]
    if np.isnan(before).all() or np.isnan(now).all():
        return int(history.sample[first])
    return _crossing(history, first, float(np.nanmedian(before) + np.nanmedian(now)) / 2.0)


def _crossing(history: ReadingHistory, near: int, pitch: float) -> int:
    """Sample, nearest to a reading, on which the pitch crosses a value."""
    a = max(0, near - SEEN_BEYOND // 2)
    b = min(near + SEEN_BEYOND // 2, len(history))
    off = history.pitch[a:b] - pitch
    crossed = np.flatnonzero(off[:-1] * off[1:] <= 0.0)
    if not len(crossed):
        return int(history.sample[near])
    k = int(crossed[np.abs(crossed + 0.5 + a - near).argmin()])
    moved = off[k + 1] - off[k]
    early, late = history.sample[a + k], history.sample[a + k + 1]
    return int(early) + round(float(-off[k] / moved * (late - early)) if moved else 0.0)
