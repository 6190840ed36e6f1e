"""Measuring a glide: its two ends, and the path between them.

A glide on one hole is compared with the path that the drill asks for, shifted so that its ends meet
those that were played, because the ends are scored by themselves.

- `stray_cents` is the greatest distance from that path.
- `back_cents` is how far the pitch went against its direction, in total. Turns of less than
  5 cents do not count.

A slide across holes has no path, because the reeds between do not bend into each other. Of the
sounds on its way, those that were not heard are listed.
"""

from __future__ import annotations

import numpy as np

from trainer.core.types import Floats
from trainer.marking.parameters import MEASUREMENT
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.sounding_holes import ever_sounded
from trainer.marking.step_readings import HeldSpan, StepReadings
from trainer.marking.target import StepTarget

Ends = tuple[float | None, float | None]
"""Deviation in cents of a glide's first sound and of its last; None where not measured."""


def end_spans(target: StepTarget, readings: StepReadings, length_ms: float) -> list[HeldSpan]:
    """The spans in which a glide rests on its first sound and on its last.

    Args:
        target: the step.
        readings: the step's.
        length_ms: length that the step should have, in milliseconds.
    """
    step = target.step
    leaves_ms = step.rest_interval(0)[1] * length_ms
    arrives_ms = step.rest_interval(len(step.sounds) - 1)[0] * length_ms
    # Where the note ends too soon, its end is taken for the last rest.
    arrives_ms = min(arrives_ms, readings.length_ms - MEASUREMENT.min_last_rest_ms)
    speaks_ms = min(MEASUREMENT.speaking_ms, leaves_ms / 2.0)
    has_rest = arrives_ms + MEASUREMENT.min_last_rest_ms <= readings.release_ms
    end_ms = readings.release_ms if has_rest else readings.length_ms
    return [
        HeldSpan.of(readings, step.first, target.path[0], speaks_ms, leaves_ms),
        HeldSpan.of(readings, step.last, target.path[-1], arrives_ms, end_ms),
    ]


def path_deviation(
    target: StepTarget, readings: StepReadings, length_ms: float, ends: Ends
) -> tuple[float | None, float | None]:
    """`stray_cents` and `back_cents` of a glide or ladder; None where not measured.

    Args:
        target: the step.
        readings: the step's.
        length_ms: length that the step should have, in milliseconds.
        ends: deviation of its ends.
    """
    wanted = target.on_one_hole
    # Reeds rise to their pitch as they begin.
    speaks_ms = 0.5 * target.step.rest_interval(0)[1] * length_ms
    inside = (
        ~np.isnan(readings.pitch)
        & (readings.time_ms >= speaks_ms)
        & (readings.time_ms <= readings.release_ms)
    )
    if wanted is None or inside.sum() < MEASUREMENT.min_line_frames:
        return None, None
    time_ms, pitch = readings.time_ms[inside], _median_filtered(readings.pitch[inside])
    way = float(abs(np.diff(wanted)).sum())
    # A detour goes there and back again, so half of it was the wrong way.
    back = max(0.0, 0.5 * (_distance_travelled(pitch) - way - _overshoot(wanted, ends)))
    if target.step.ladder or None in ends:
        return None, back
    return _stray(target, time_ms, pitch, wanted, length_ms, ends), back


def missed_sounds(
    target: StepTarget, readings: StepReadings, history: ReadingHistory, length_ms: float
) -> tuple[str, ...]:
    """Tab of the sounds on the way of a slide that were not heard, as text."""
    step = target.step
    if target.on_one_hole is not None or len(step.sounds) < 3:
        return ()
    inside = readings.frames[
        (readings.time_ms >= MEASUREMENT.slide_start * length_ms)
        & (readings.time_ms <= readings.release_ms)
    ]
    return tuple(
        str(sound[0])
        for sound in step.sounds[1:-1]
        if len(sound) == 1 and not ever_sounded(history, inside, sound[0])
    )


def _overshoot(wanted: Floats, ends: Ends) -> float:
    """Cents by which the ends lie further apart than they should."""
    start, end = (deviation or 0.0 for deviation in ends)
    first = float(np.sign(wanted[1] - wanted[0]))
    last = float(np.sign(wanted[-1] - wanted[-2]))
    return max(0.0, -first * start) + max(0.0, last * end)


def _stray(
    target: StepTarget,
    time_ms: Floats,
    pitch: Floats,
    wanted: Floats,
    length_ms: float,
    ends: Ends,
) -> float | None:
    rest = 0.5 * target.step.rest_interval(0)[1]
    inside = (time_ms >= rest * length_ms) & (time_ms <= (1.0 - rest) * length_ms)
    if inside.sum() < MEASUREMENT.min_line_frames:
        return None
    time_ms, pitch = time_ms[inside], pitch[inside]
    last = len(wanted) - 1
    start, end = (deviation or 0.0 for deviation in ends)
    place = np.array([target.step.path_position(t / length_ms) for t in time_ms])
    path = np.interp(place, np.arange(last + 1), wanted) + start + (end - start) * place / last
    return float(np.abs(pitch - path).max())


def _median_filtered(pitch: Floats) -> Floats:
    length = MEASUREMENT.smooth_frames
    padded = np.pad(pitch, length // 2, mode="edge")
    around = np.lib.stride_tricks.sliding_window_view(padded, length)
    return np.asarray(np.median(around, axis=1))


def _distance_travelled(pitch: Floats) -> float:
    """Sum of all ups and downs in cents; turns smaller than `turn_cents` do not count."""
    smallest = MEASUREMENT.turn_cents
    total, turn, low, high, direction = 0.0, pitch[0], pitch[0], pitch[0], 0
    for value in pitch.tolist():
        low, high = min(low, value), max(high, value)
        if direction >= 0 and high - value >= smallest:
            total += high - turn
            turn, direction, low = high, -1, value
        elif direction <= 0 and value - low >= smallest:
            total += turn - low
            turn, direction, high = low, 1, value
    return float(total + max(high - turn, turn - low))
