"""Measuring a ladder: where each rung is held."""

from __future__ import annotations

from trainer.marking.parameters import MEASUREMENT
from trainer.marking.step_readings import HeldSpan, StepReadings
from trainer.marking.target import StepTarget


def rung_spans(target: StepTarget, readings: StepReadings, length_ms: float) -> list[HeldSpan]:
    """The span of each rung, in order; empty for one that the step was let go before.

    Args:
        target: the step.
        readings: the step's.
        length_ms: length that the step should have, in milliseconds.
    """
    spans = []
    for place, (sound, pitches) in enumerate(zip(target.step.sounds, target.path, strict=True)):
        first_ms, last_ms = (bound * length_ms for bound in target.step.rest_interval(place))
        if place == 0:
            first_ms = min(MEASUREMENT.speaking_ms, last_ms / 2.0)
        if place == len(target.path) - 1:
            last_ms = readings.release_ms
            if readings.length_ms > first_ms:
                first_ms = min(first_ms, readings.length_ms - MEASUREMENT.min_last_rest_ms)
        spans.append(HeldSpan.of(readings, sound, pitches, first_ms, last_ms))
    return spans
