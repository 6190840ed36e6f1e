"""Measuring a ladder: where each rung is held.

Rungs are played on the beat, or in equal parts of the time for which the player holds the step.
"""

from __future__ import annotations

from math import inf

from trainer.marking.parameters import MEASUREMENT
from trainer.marking.step_readings import HeldSpan, StepReadings
from trainer.marking.target import StepTarget


def rung_spans(target: StepTarget, readings: StepReadings, length_ms: float) -> list[HeldSpan]:
    """The span of each rung, in order; empty for one that the step was let go before.

    A ladder that was let go early is measured by the beat or by its own length, whichever its
    rungs fit better: how long it was held is judged apart.

    Args:
        target: the step.
        readings: the step's.
        length_ms: length that the step should have, in milliseconds.
    """
    on_the_beat = _spans_within(target, readings, length_ms)
    if readings.release_ms >= MEASUREMENT.shortened_ladder * length_ms:
        return on_the_beat
    shortened = _spans_within(target, readings, readings.release_ms)
    return min(on_the_beat, shortened, key=_worst_cents)


def _worst_cents(spans: list[HeldSpan]) -> float:
    """Greatest deviation of a rung that was reached, in cents."""
    return max((abs(span.cents) for span in spans if span.cents is not None), default=inf)


def _spans_within(target: StepTarget, readings: StepReadings, length_ms: float) -> list[HeldSpan]:
    """The spans of rungs that divide a length equally."""
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
