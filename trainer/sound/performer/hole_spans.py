"""The path of a step through its sounds: which holes sound when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from trainer.drill import Sound, Step
from trainer.harp import Tab

GRACE_TURN_MS = 15.0
"""Time that a grace note on the note's own hole takes to reach it, in milliseconds. Chosen."""


@dataclass(slots=True)
class HoleSpan:
    """A part of a step on the same holes.

    Attributes:
        start, stop: samples between which they sound.
        path: corners of the path: sample, sound, and offset from it in cents; straight between.
        level_db: level relative to the rest of the step.
    """

    start: float
    path: list[tuple[float, Sound, float]] = field(default_factory=list)
    stop: float = 0.0
    level_db: float = 0.0


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


@dataclass(frozen=True, slots=True)
class Alternation:
    """A shake as it is played.

    Attributes:
        cycles: length of each cycle in samples, in order, beyond the end of the step.
        fraction: fraction of each cycle on the step's own sound.
        level_db: level of the other sound relative to the step's own.
    """

    cycles: tuple[float, ...]
    fraction: float
    level_db: float

    @classmethod
    def of(
        cls,
        cycle: float,
        length: float,
        *,
        fraction: float,
        level_db: float,
        spread: float,
        seed: int,
    ) -> Alternation:
        """Return a shake whose cycles vary in length.

        Args:
            cycle: mean length of a cycle in samples.
            length: length of the step in samples.
            fraction: fraction of each cycle on the step's own sound.
            level_db: level of the other sound relative to the step's own.
            spread: standard deviation of the lengths of the cycles, relative to their mean.
            seed: of their variation.
        """
        count = 2 * int(length / cycle) + 2
        factors = 1.0 + spread * np.random.default_rng(seed).standard_normal(count)
        cycles = cycle * np.clip(factors, 0.3, 1.7)
        return cls(tuple(cycles.tolist()), fraction, level_db)


def shake_spans(
    step: Step, onset: float, stop: float, alternation: Alternation
) -> Iterator[HoleSpan]:
    """Yield the spans of a shake, its two sounds in turn.

    Args:
        step: the step, with a shake.
        onset: sample at which it starts.
        stop: sample at which it ends.
        alternation: how it is played.
    """
    assert step.shake is not None
    at = onset
    for cycle in alternation.cycles:
        middle, end = at + alternation.fraction * cycle, at + cycle
        parts = (
            (step.first, step.offset_cents(0), 0.0, at, middle),
            (step.shake.other, 0.0, alternation.level_db, middle, end),
        )
        for sound, offset_cents, level_db, first, last in parts:
            if first < stop and last > first:
                path = [(first, sound, offset_cents)]
                yield HoleSpan(first, path, min(last, stop), level_db)
        at = end


def with_grace(spans: list[HoleSpan], grace: Sound, start: float, turn: float) -> list[HoleSpan]:
    """Return the spans of a step with those of its grace note.

    A grace note on the holes of the note, such as a bend let up, moves the pitch of the reed that
    sounds already.

    Args:
        spans: spans of the step, in order.
        grace: the sound of the grace note.
        start: sample at which the grace note starts.
        turn: time in samples that the pitch takes to move on the same hole.
    """
    first = spans[0]
    at, sound, _ = first.path[0]
    is_same_reed = holes(grace) == holes(sound) and grace[0].breath is sound[0].breath
    if is_same_reed:
        path = [(start, grace, 0.0), (max(start, at - 0.5 * turn), grace, 0.0)]
        first.path = [*path, (at + 0.5 * turn, *first.path[0][1:]), *first.path[1:]]
        first.start = start
        return spans
    return [HoleSpan(start, [(start, grace, 0.0)], first.start), *spans]


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
