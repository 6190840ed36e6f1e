"""Measuring a vibrato.

The ear's estimator (:mod:`trainer.ear.motion`) finds rate and depth, and describes the pitch with
the vibrato taken out. The centre of the vibrato is the mean pitch over as many whole cycles as fit
into the held span. How rate and depth are scored: ``motion`` in :mod:`trainer.marking.criteria`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trainer.ear import Motion, estimate_motion
from trainer.marking.mark import Measured
from trainer.marking.parameters import MEASUREMENT
from trainer.marking.step_readings import HeldSpan, StepReadings
from trainer.marking.target import StepTarget, hz_of_cents


def measure_vibrato(
    measured: Measured, target: StepTarget, readings: StepReadings, held: HeldSpan
) -> Measured:
    """Figures of a note that asks for a vibrato; unchanged where no vibrato is found.

    Args:
        measured: its figures as those of a plain note.
        target: the step.
        readings: the step's.
        held: its held span.

    Returns:
        The figures with the vibrato's rate and depth. Pitch, wobble, drift, scoop and settling time
        are those of the pitch without the vibrato.
    """
    whole = HeldSpan.of(readings, held.sound, target.path[0], 0.0, readings.length_ms)
    motion = _estimate(whole, readings.length_ms)
    vibrato = motion.vibrato
    if not vibrato:
        return measured
    measured = replace(measured, vibrato_hz=vibrato.hz, vibrato_cents=vibrato.depth)
    if held.cents is None:
        return measured
    centre = _centre(held, vibrato.hz)
    slope, scoop = motion.drift_cents_s, motion.scoop_cents
    length_s = float(held.time_ms[-1] - held.time_ms[0]) / 1000.0
    return replace(
        measured,
        cents=centre,
        wobble_cents=motion.wobble_cents,
        drift_cents=None if slope is None else slope * length_s,
        scoop_cents=None if scoop is None else scoop + centre,
        settle_ms=motion.settle_ms,
    )


def _estimate(note: HeldSpan, length_ms: float) -> Motion:
    """Motion of a whole note; nothing known of one with too few readings."""
    if len(note.deviation) < MEASUREMENT.min_line_frames:
        return Motion()
    return estimate_motion(note.time_ms / 1000.0, hz_of_cents(note.deviation), length_ms / 1000.0)


def _centre(held: HeldSpan, rate_hz: float) -> float:
    """Mean deviation in cents over as many whole cycles as fit; the median where none fits."""
    length_s = float(held.time_ms[-1] - held.time_ms[0]) / 1000.0
    cycles_ms = np.floor(length_s * rate_hz) / rate_hz * 1000.0
    inside = held.time_ms <= held.time_ms[0] + cycles_ms
    values = held.deviation
    return float(np.mean(values[inside])) if cycles_ms else float(np.median(values))
