"""Measuring a held note: when it settles, and which span of it is held.

The line that a held pitch follows is fitted robustly: the median of the slopes between readings
half the span apart (after Theil 1950 and Sen 1968; from memory). So a slip shows as a distance from
the line and does not bend it.

A note has settled at its first reading within tolerance of that line, extended back, from which
nine in ten readings of the next 200 ms lie within it too. A note that wobbles by more than the
tolerance gets a wider band, two standard deviations, up to five tolerances: whether a note is in
tune or steady is for other figures. A note that never settles is judged from its first third on,
but not before 120 ms.
"""

from __future__ import annotations

import numpy as np

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.ear import initial_pitch
from trainer.marking.parameters import MEASUREMENT
from trainer.marking.step_readings import HeldSpan, StepReadings
from trainer.marking.target import StepTarget


def measure_attack(
    target: StepTarget, readings: StepReadings, tolerance: float
) -> tuple[float | None, float | None]:
    """Settling time in milliseconds and initial deviation in cents; None where not measured.

    Args:
        target: the step.
        readings: the step's.
        tolerance: cents within which a note is in tune.
    """
    whole = HeldSpan.of(readings, target.step.first, target.path[0], 0.0, readings.length_ms)
    if not len(whole.deviation):
        return None, None
    scoop = initial_pitch(whole.time_ms / 1000.0, whole.deviation)
    return _settling_time(whole, readings.release_ms, tolerance), scoop


def held_span(target: StepTarget, readings: StepReadings, settle_ms: float | None) -> HeldSpan:
    """The span in which a note is held, from shortly after it settled until it is let go.

    The whole note where that span has no pitch.
    """
    length_ms, release_ms = readings.length_ms, readings.release_ms
    if settle_ms is None:
        first_ms = max(
            length_ms / MEASUREMENT.line_divisor, min(MEASUREMENT.unsettled_ms, length_ms / 2.0)
        )
    else:
        longest = (release_ms - settle_ms) / MEASUREMENT.arrival_divisor
        first_ms = settle_ms + min(MEASUREMENT.arrival_ms, longest)
    sound, pitches = target.step.first, target.path[0]
    held = HeldSpan.of(readings, sound, pitches, first_ms, release_ms)
    if len(held.deviation):
        return held
    return HeldSpan.of(readings, sound, pitches, 0.0, length_ms)


def _settling_time(note: HeldSpan, release_ms: float, tolerance: float) -> float | None:
    time_ms, deviation = note.time_ms, note.deviation
    line_starts = time_ms[0] + (release_ms - time_ms[0]) / MEASUREMENT.line_divisor
    on_line = (time_ms >= line_starts) & (time_ms <= release_ms)
    if on_line.sum() < MEASUREMENT.min_line_frames:
        return None
    residual = deviation - _robust_line(time_ms[on_line], deviation[on_line], time_ms)
    spread = SD_PER_MAD * median_absolute_deviation(residual[on_line], 0.0)
    widest = MEASUREMENT.max_band_tolerances * tolerance
    is_inside = np.abs(residual) <= np.clip(MEASUREMENT.band_sds * spread, tolerance, widest)
    here = np.arange(len(time_ms))
    last_ms = np.minimum(time_ms + MEASUREMENT.stays_ms, release_ms)
    until = np.maximum(np.searchsorted(time_ms, last_ms, side="right"), here + 1)
    count = np.concatenate([[0], np.cumsum(is_inside)])
    stays = count[until] - count[here] >= MEASUREMENT.stays_fraction * (until - here)
    in_time = time_ms <= release_ms - MEASUREMENT.release_ms
    settled = np.flatnonzero(is_inside & stays & in_time)
    return float(time_ms[settled[0]]) if len(settled) else None


def _robust_line(x: Floats, y: Floats, at: Floats) -> Floats:
    """Values at some places of the robust line through points (x, y)."""
    half = len(x) // 2
    slope = np.median((y[-half:] - y[:half]) / (x[-half:] - x[:half]))
    return np.asarray(np.median(y - slope * x) + slope * at)
