"""Measuring a vibrato.

The ear's estimator (:mod:`trainer.ear.motion`) finds rate and depth, and describes the pitch with
the vibrato taken out. A bent note swings to both sides: its pitch is the centre, the mean over as
many whole cycles as fit into the held span. On a natural note throat vibrato only dips, because an
open reed does not rise: the note's pitch is the top of the vibrato, cycle by cycle, and drift and
wobble are those of the tops (Johnston 1987, Acoustics Australia 15, on pitch control in harmonica
playing, from memory; that throats only lower open reeds is common practice). How rate and depth
are scored: ``motion`` in :mod:`trainer.marking.criteria`.
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
        are those of the pitch without the vibrato, or of its tops where it only dips.
    """
    whole = HeldSpan.of(readings, held.sound, target.path[0], 0.0, readings.length_ms)
    motion = _estimate(whole, readings.length_ms)
    vibrato = motion.vibrato
    if not vibrato:
        return measured
    measured = replace(measured, vibrato_hz=vibrato.hz, vibrato_cents=vibrato.depth)
    if held.cents is None:
        return measured
    if target.step.dips_in_vibrato:
        return _measure_tops(measured, held, vibrato.hz)
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


def _measure_tops(measured: Measured, held: HeldSpan, rate_hz: float) -> Measured:
    """The figures with pitch, wobble and drift of the tops of a vibrato that only dips."""
    cycle = np.floor((held.time_ms - held.time_ms[0]) * rate_hz / 1000.0)
    groups = [held.deviation[cycle == number] for number in np.unique(cycle)]
    tops = np.array(
        [
            np.percentile(group, MEASUREMENT.top_percentile)
            for group in groups
            if len(group) >= MEASUREMENT.min_line_frames
        ]
    )
    if not len(tops):
        return measured
    measured = replace(measured, cents=float(np.median(tops)), wobble_cents=None, drift_cents=None)
    if len(tops) < MEASUREMENT.min_tops:
        return measured
    number = np.arange(len(tops))
    slope, level = np.polyfit(number, tops, 1)
    wobble = float(np.std(tops - (level + slope * number), ddof=2))
    return replace(measured, wobble_cents=wobble, drift_cents=float(slope * number[-1]))


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
