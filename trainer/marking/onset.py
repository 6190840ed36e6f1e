"""When a step starts, from the readings around its first one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trainer.ear import soft_attacks
from trainer.marking.level_track import LevelTrack
from trainer.marking.parameters import ONSET
from trainer.marking.reading_history import ReadingHistory


def segment_start(history: ReadingHistory, first: int, *, is_steady: bool = False) -> int:
    """Sample on which a segment starts.

    This is the start of its attack. Without one, it is where the level rises out of a dip shortly
    before the pitch changes: in a room the note before rings on, and hides the attack and for some
    60 ms the pitch. Else it is the moment at which the pitch crosses the middle between the pitch
    before and the pitch after.

    Args:
        history: the readings of the pass.
        first: index of the segment's first reading.
        is_steady: whether the level moves with attacks alone, as no hand or throat moves it.
    """
    known = _attacks(history, first)
    if len(known):
        return int(known[0])
    if is_steady and (attacks := _soft_attacks(history, first)):
        return attacks[-1]
    before = history.pitch[max(0, first - ONSET.slur_frames) : max(0, first - ONSET.edge_frames)]
    after = history.pitch[first + ONSET.edge_frames : min(first + ONSET.slur_frames, len(history))]
    if np.isnan(before).all() or np.isnan(after).all():
        return int(history.sample[first])
    middle = float(np.nanmedian(before) + np.nanmedian(after)) / 2.0
    return _crossing(history, first, middle)


def is_slurred(history: ReadingHistory, first: int) -> bool:
    """Whether a segment starts without an attack; arguments as in :func:`segment_start`."""
    return not len(_attacks(history, first))


def _attacks(history: ReadingHistory, first: int) -> NDArray[np.int64]:
    """Samples of the attacks at the start of a segment."""
    attacks = history.onset[first : min(first + ONSET.attack_frames, len(history))]
    return attacks[attacks >= 0]


def _soft_attacks(history: ReadingHistory, first: int) -> list[int]:
    """Samples of the attacks in the level that were not detected, shortly before a segment."""
    levels = LevelTrack.of(history, first - 2 * ONSET.slur_frames, first + ONSET.slur_frames)
    attacks = soft_attacks(zip(levels.at.tolist(), levels.db, strict=True))
    first_at, last_at = history.sample[max(0, first - ONSET.slur_frames)], history.sample[first]
    return [at for at in attacks if first_at <= at <= last_at]


def _crossing(history: ReadingHistory, near: int, pitch: float) -> int:
    """Sample on which the pitch crosses a value, nearest to a reading; linear in between."""
    first = max(0, near - ONSET.slur_frames // 2)
    end = min(near + ONSET.slur_frames // 2, len(history))
    distance = history.pitch[first:end] - pitch
    crossings = np.flatnonzero(distance[:-1] * distance[1:] <= 0.0)
    if not len(crossings):
        return int(history.sample[near])
    k = int(crossings[np.abs(crossings + 0.5 + first - near).argmin()])
    change = distance[k + 1] - distance[k]
    early, late = history.sample[first + k], history.sample[first + k + 1]
    return int(early) + round(float(-distance[k] / change * (late - early)) if change else 0.0)
