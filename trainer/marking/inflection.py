"""Measuring a scoop or dip into a note, and a fall off it.

The pitch near one end of the note is fitted by a level and half a cosine that leads to it: for each
of some durations, depth and level by least squares; the duration that leaves the least absolute
residual wins. So depth and duration are found together, whatever the ear missed of the very first
milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.marking.parameters import MEASUREMENT
from trainer.marking.step_readings import HeldSpan, StepReadings
from trainer.marking.target import StepTarget


@dataclass(frozen=True, slots=True)
class InflectionFigures:
    """A scoop, dip or fall as it was played.

    Attributes:
        cents: how far below the note its outer end lies.
        ms: its duration in milliseconds.
    """

    cents: float
    ms: float


def measure_scoop(
    target: StepTarget, readings: StepReadings, length_ms: float
) -> InflectionFigures | None:
    """The scoop or dip into a note that asks for one; None where too little was heard.

    Args:
        target: the step, with a scoop.
        readings: the step's.
        length_ms: length that the step should have, in milliseconds.
    """
    note = _note(target, readings)
    until_ms = _middle(target, readings, length_ms)
    inside = note.time_ms <= until_ms
    return _fit(note.time_ms[inside], note.deviation[inside], until_ms)


def measure_fall(
    target: StepTarget, readings: StepReadings, length_ms: float
) -> InflectionFigures | None:
    """The fall off a note that asks for one; arguments as in :func:`measure_scoop`."""
    note = _note(target, readings)
    if not len(note.time_ms):
        return None
    # What is heard beyond the written end is the room.
    end_ms = min(float(note.time_ms[-1]), length_ms)
    from_ms = min(_middle(target, readings, length_ms), end_ms)
    inside = (note.time_ms >= from_ms) & (note.time_ms <= end_ms)
    return _fit(end_ms - note.time_ms[inside][::-1], note.deviation[inside][::-1], end_ms - from_ms)


def _note(target: StepTarget, readings: StepReadings) -> HeldSpan:
    return HeldSpan.of(readings, target.step.first, target.path[0], 0.0, readings.length_ms)


def _middle(target: StepTarget, readings: StepReadings, length_ms: float) -> float:
    """Middle in milliseconds of the time for which a note holds its pitch.

    Where it ends too soon or too late, it is stretched.
    """
    step = target.step
    scoop, fall = (
        float(part.beats / step.beats) if part else 0.0 for part in (step.scoop, step.fall)
    )
    played_ms = min(readings.length_ms, length_ms)
    return played_ms * min(max(0.5 * (1.0 + scoop - fall), 0.2), 0.8)


def _fit(time_ms: Floats, deviation: Floats, longest_ms: float) -> InflectionFigures | None:
    """Fit half a cosine that starts at time 0 and ends on the note.

    Args:
        time_ms: times from the outer end of the note, ascending.
        deviation: cents from the target at these times.
        longest_ms: greatest duration that is tried.
    """
    p = MEASUREMENT
    if len(time_ms) < p.min_line_frames or longest_ms <= p.min_inflection_ms:
        return None
    best, least = None, np.inf
    for ms in np.geomspace(p.min_inflection_ms, longest_ms, p.inflection_steps):
        shape = 0.5 * (1.0 + np.cos(np.pi * np.clip(time_ms / ms, 0.0, 1.0)))
        rows = np.stack([np.ones_like(shape), -shape], axis=1)
        (level, depth), *_ = np.linalg.lstsq(rows, deviation, rcond=None)
        residual = float(np.abs(deviation - level + depth * shape).sum())
        if residual < least:
            best, least = InflectionFigures(max(0.0, float(depth)), float(ms)), residual
    return best
