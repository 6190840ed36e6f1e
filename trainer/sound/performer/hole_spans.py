"""The path of a step through its sounds: which holes sound when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from trainer.drill import Sound, Step
from trainer.harp import Tab


@dataclass(slots=True)
class HoleSpan:
    """A part of a step on the same holes.

    Attributes:
        start, stop: samples between which they sound.
        path: corners of the path: sample, sound, and offset from it in cents; straight between.
    """

    start: float
    path: list[tuple[float, Sound, float]] = field(default_factory=list)
    stop: float = 0.0


def hole_spans(step: Step, onset: float, stop: float, length: float) -> Iterator[HoleSpan]:
    """Yield a step's path of sounds, split where it moves to other holes.

    Args:
        step: the step.
        onset: sample at which it starts.
        stop: sample at which it ends.
        length: its written length, in samples.
    """
    span, left_at = HoleSpan(onset), onset
    for place, sound in enumerate(step.sounds):
        begin, end = (onset + length * part for part in step.rest_interval(place))
        if place and holes(step.sounds[place - 1]) != holes(sound):
            passed = _slide(step.sounds[place - 1], sound)
            for j, reached in enumerate(passed, start=1):
                span.stop = left_at + (begin - left_at) * (j - 0.5) / len(passed)
                yield span
                span = HoleSpan(span.stop)
                if reached is not sound:
                    span.path.append((span.stop, reached, 0.0))
        span.path.append((begin, sound, step.offset_cents(place)))
        if end > begin:
            span.path.append((end, sound, step.offset_cents(place)))
        left_at = end
    span.stop = stop
    yield span


def holes(sound: Sound) -> frozenset[int]:
    """Return the holes of a sound."""
    return frozenset(tab.hole for tab in sound)


def _slide(before: Sound, sound: Sound) -> list[Sound]:
    """Return the sounds of a slide after `before`, up to `sound`: the natural notes between."""
    a, b = before[0].hole, sound[0].hole
    if len(before) > 1 or len(sound) > 1:
        return [sound]
    between = range(a + 1, b) if a < b else range(a - 1, b, -1)
    return [*((Tab(hole, sound[0].breath),) for hole in between), sound]
