"""The way of a step through its sounds, as the built-in player goes it: which holes sound when."""

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
        path: where it is on which sound, and how many cents off it; evenly between.
    """

    start: float
    path: list[tuple[float, Sound, float]] = field(default_factory=list)
    stop: float = 0.0


def hole_spans(step: Step, onset: float, stop: float, length: float) -> Iterator[HoleSpan]:
    """A step's path of sounds, parted where it moves to other holes."""
    now, left = HoleSpan(onset), onset
    for place, sound in enumerate(step.sounds):
        begin, end = (onset + length * part for part in step.rest_interval(place))
        if place and holes(step.sounds[place - 1]) != holes(sound):
            way = _way(step.sounds[place - 1], sound)
            for j, reached in enumerate(way, start=1):
                now.stop = left + (begin - left) * (j - 0.5) / len(way)
                yield now
                now = HoleSpan(now.stop)
                if reached is not sound:
                    now.path.append((now.stop, reached, 0.0))
        now.path.append((begin, sound, step.offset_cents(place)))
        if end > begin:
            now.path.append((end, sound, step.offset_cents(place)))
        left = end
    now.stop = stop
    yield now


def holes(sound: Sound) -> frozenset[int]:
    """The holes that sound."""
    return frozenset(tab.hole for tab in sound)


def _way(before: Sound, sound: Sound) -> list[Sound]:
    """What a slide passes after `before`, up to `sound` itself: the natural reeds between."""
    a, b = before[0].hole, sound[0].hole
    if len(before) > 1 or len(sound) > 1:
        return [sound]
    between = range(a + 1, b) if a < b else range(a - 1, b, -1)
    return [*((Tab(hole, sound[0].breath),) for hole in between), sound]
