"""Histories of one step, reading by reading, for tests of its measurement."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from tests.support.synthetic_takes import HARP, RATE, drill_of
from trainer.drill import BeatClock
from trainer.ear import Reading
from trainer.harp import Tab
from trainer.marking import Measured
from trainer.marking.follower import Segment
from trainer.marking.measurement import measure_step
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.target import StepTarget

HOP = 240
"""Samples between two readings: 5 ms."""
TEMPO = 60.0
"""So that a beat lasts one second."""


def target_of(tab: str) -> StepTarget:
    """The target of a drill's first step on a C harp, from sample 0."""
    step = drill_of(tab, tempo=TEMPO).steps[0]
    return StepTarget.of(step, HARP, BeatClock(0, TEMPO, RATE))


def note(
    tab: str, cents: Iterable[float | None], *, start_ms: float = 0.0, attack: bool = True
) -> list[Reading]:
    """Readings of one tab entry, 5 ms apart; None where there is no pitch.

    Args:
        tab: the entry.
        cents: deviation of each reading from the entry.
        start_ms: time of the first.
        attack: whether its attack is detected with the first.
    """
    entry = Tab.parse(tab)
    readings = []
    for i, off in enumerate(cents):
        sample = round(start_ms * RATE / 1000.0) + i * HOP
        reading = Reading(
            sample,
            sample,
            RATE,
            None if off is None else HARP.hz(entry) * 2.0 ** (off / 1200.0),
            -20.0,
            True,
            sample if attack and i == 0 else None,
            tab=entry,
            cents=off,
            also=HARP.same_pitch(entry),
            breath=entry.breath,
            holes=(entry.hole,),
            levels=((entry.hole, 0.0),),
        )
        readings.append(reading)
    return readings


def curve(length_ms: float, cents: Callable[[float], float]) -> list[float]:
    """Deviations every 5 ms, from a function of the time in milliseconds."""
    return [cents(5.0 * i) for i in range(round(length_ms / 5.0))]


def with_leak(reading: Reading, hole: int, db: float, *, sounds: bool = True) -> Reading:
    """A reading in which another hole leaks, loud enough to count as sounding or not."""
    holes = tuple(sorted({*reading.holes, hole})) if sounds else reading.holes
    levels = (*reading.levels, (hole, db))
    return replace(reading, holes=holes, leak_db=db, leak_hole=hole, levels=levels)


def history_of(readings: Sequence[Reading]) -> ReadingHistory:
    history = ReadingHistory()
    for reading in readings:
        history.append(reading)
    return history


def measured(
    tab: str, readings: Sequence[Reading], *, tolerance: float = 10.0, silence_after: int = 40
) -> Measured:
    """Figures of a step whose segment is all of some readings, with silence after them."""
    end = readings[-1].sample + HOP
    after = [Reading(end + i * HOP, end + i * HOP, RATE) for i in range(silence_after)]
    segment = Segment(0, 0, len(readings), 0.0, None)
    return measure_step(target_of(tab), history_of([*readings, *after]), segment, RATE, tolerance)
