"""Measuring a shake: the rapid alternation of two sounds of one breath.

A reading belongs to the sound nearest to its pitch; a visit of less than 15 ms is no change of
sides. After a change the ear's window, and the reverberation of a room, still hold the sound
before. So where the pitch changes sides once while both reeds are detected, all of that time
belongs to the sound that follows: on a low harp, whose windows are long, the pitch changes up to
40 ms later than the player, and more often in one direction than in the other.

In a room that rings long, both reeds sound all the time, and the pitch may stay with one of them;
their levels relative to each other still rise and fall, and separate the sides. How long each side
lasts is then not known.

From the times of the changes follow

- the rate: the median time from a change to the next one in the same direction is one cycle;
- the fraction of the time on the step's own sound, over whole cycles;
- the spread of the cycles: their median absolute deviation, scaled to a standard deviation,
  relative to the median.

Rates of shakes and how even they must be are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.marking.parameters import MEASUREMENT
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.step_readings import cents_from_nearest
from trainer.marking.target import StepTarget, reed_mask


@dataclass(frozen=True, slots=True)
class ShakeFigures:
    """A shake as it was played.

    Attributes:
        hz: full cycles per second; None where the sounds do not alternate.
        fraction: fraction of the time on the step's own sound; None where they do not alternate,
            or both sound all the time.
        spread: standard deviation of the cycles' lengths relative to the median; None with fewer
            than three.
        level_db: level of the other sound relative to the step's own; None where one is missing.
    """

    hz: float | None = None
    fraction: float | None = None
    spread: float | None = None
    level_db: float | None = None


def measure_shake(
    target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64], rate: int
) -> ShakeFigures:
    """Measure a shake.

    Args:
        target: the step, with a shake.
        history: the readings of the pass.
        frames: indices of the step's readings.
        rate: sample rate in hertz.
    """
    side = _louder_in_turn(target, history, frames)
    if side is None:
        side = _sides_by_pitch(target, history, frames)
    frames, is_other = frames[side.known], side.is_other[side.known]
    if len(frames) < MEASUREMENT.min_line_frames:
        return ShakeFigures()
    # Where the ear's window grows after an attack, a reading's centre may precede the last one's.
    time_s = np.maximum.accumulate(history.sample[frames]) / rate
    level_db = side.level_db
    if level_db is None:
        level_db = _level_difference(history.level_db[frames].astype(float), is_other)
    times, to_other = _changes(time_s, is_other)
    periods = np.concatenate([np.diff(times[to_other]), np.diff(times[~to_other])])
    if len(periods) < MEASUREMENT.min_shake_cycles:
        return ShakeFigures(level_db=level_db)
    cycle = float(np.median(periods))
    deviation = median_absolute_deviation(periods, cycle)
    spread = SD_PER_MAD * deviation / cycle if len(periods) > 2 else None
    fraction = _own_fraction(times, to_other) if side.level_db is None else None
    return ShakeFigures(1.0 / cycle, fraction, spread, level_db)


@dataclass(frozen=True, slots=True)
class _Sides:
    """Which sound of a shake each reading belongs to.

    Attributes:
        known: whether it is known, shape (n,).
        is_other: whether it is the other sound, shape (n,).
        level_db: level of the other sound relative to the step's own, where the levels separate
            them; None where the pitch does.
    """

    known: NDArray[np.bool_]
    is_other: NDArray[np.bool_]
    level_db: float | None = None


def _sides_by_pitch(
    target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]
) -> _Sides:
    """The sound nearest to the pitch; in the overlap of one change, the one that follows."""
    own, other = (
        np.abs(cents_from_nearest(history.pitch[frames], pitches))
        for pitches in (target.path[0], target.shake_pitches)
    )
    known, is_other = np.minimum(own, other) <= MEASUREMENT.max_chord_cents, other < own
    alone = np.flatnonzero(known & ~_together(target, history, frames))
    for last, first in pairwise(alone):
        overlap = is_other[last : first + 1]
        if is_other[last] != is_other[first] and np.count_nonzero(np.diff(overlap)) == 1:
            is_other[last + 1 : first] = is_other[first]
    return _Sides(known, is_other)


def _louder_in_turn(
    target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]
) -> _Sides | None:
    """The sound that is louder than on average, where both sound nearly all the time.

    None where they do not, and where their levels do not move: that is a chord.
    """
    assert target.step.shake is not None
    together = _together(target, history, frames)
    sounding = np.count_nonzero(history.reeds[frames])
    if together.sum() <= MEASUREMENT.min_together * sounding:
        return None
    own, other = target.step.first[0].hole, target.step.shake.other[0].hole
    levels = history.levels[frames].astype(float)
    difference = levels[:, other - 1] - levels[:, own - 1]
    known = ~np.isnan(difference)
    if known.sum() < MEASUREMENT.min_line_frames:
        return None
    low, high = np.percentile(difference[known], (10.0, 90.0))
    if high - low < MEASUREMENT.min_level_swing_db:
        return None
    middle = 0.5 * float(low + high)
    return _Sides(known, difference > middle, middle)


def _together(
    target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Whether the first reeds of both sounds are detected, shape (n,)."""
    assert target.step.shake is not None
    own, other = (
        reed_mask([tab.hole], tab.breath)
        for tab in (target.step.first[0], target.step.shake.other[0])
    )
    reeds = history.reeds[frames]
    return (reeds & own != 0) & (reeds & other != 0)


def _changes(time_s: Floats, is_other: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_]]:
    """Times of the changes of sides in seconds, and whether each leads to the other sound."""
    edges = np.flatnonzero(np.diff(is_other)) + 1
    bounds = np.array([0, *edges, len(is_other)])
    stops = np.append(time_s[bounds[1:-1]], time_s[-1])
    is_visit = stops - time_s[bounds[:-1]] >= MEASUREMENT.min_shake_visit_ms / 1000.0
    firsts, ends = bounds[:-1][is_visit], bounds[1:][is_visit]
    side = is_other[firsts]
    changed = np.flatnonzero(np.diff(side))
    # The pitch changed between the last reading of one visit and the first of the next.
    times = 0.5 * (time_s[ends[changed] - 1] + time_s[firsts[changed + 1]])
    return times, side[changed + 1]


def _own_fraction(times: Floats, to_other: NDArray[np.bool_]) -> float:
    """Fraction of the time on the step's own sound, over whole cycles from the first change on."""
    last = len(times) - 1 - (len(times) - 1) % 2
    spent = np.diff(times[: last + 1])
    own = spent[1::2] if to_other[0] else spent[::2]
    return float(own.sum() / spent.sum())


def _level_difference(level_db: Floats, is_other: NDArray[np.bool_]) -> float | None:
    """Median level of the readings on the other sound, less that of the step's own, in dB."""
    least = MEASUREMENT.min_pitch_frames
    if is_other.sum() < least or (~is_other).sum() < least:
        return None
    return float(np.median(level_db[is_other]) - np.median(level_db[~is_other]))
