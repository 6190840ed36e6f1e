"""Notes that nothing asked for: what sounds between the steps as they were played."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trainer.drill import BeatClock
from trainer.marking.follower import Segment
from trainer.marking.mark import ExtraNote
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.sentence import describe_sound
from trainer.marking.target import StepTarget

LEAST_S = 0.08
"""What is shorter is a slip on the way from hole to hole, and no note."""
BEFORE_BEATS = 0.5
"""What sounds so long before the first step, or earlier, is not yet part of the take."""
BEFORE, AFTER = 8, 3
"""Readings from a run's first, 40 ms before and 15 after, in which its attack may be known."""


def find_extra_notes(
    history: ReadingHistory,
    segments: Sequence[Segment],
    targets: Sequence[StepTarget],
    clock: BeatClock,
    spared: Iterable[tuple[int, int]] = (),
) -> list[ExtraNote]:
    """The extra notes of a pass.

    Args:
        history: its readings.
        segments: those that belong to steps, in order.
        targets: its steps.
        clock: where its beats fall.
        spared: stretches of samples in which the trainer plays.
    """
    if not segments or not len(history):
        return []
    count = len(history)
    sample = history.sample[:count]
    inside = np.zeros(count, dtype=bool)
    for segment in segments:
        inside[segment.start : segment.end] = True
    begins = targets[0].at - round(BEFORE_BEATS * 60.0 / clock.tempo * clock.rate)
    inside |= (sample < begins) | (sample > max(target.end for target in targets))
    for start, end in spared:
        inside |= (sample >= start) & (sample <= end)
    extras = []
    for first, end in _runs(np.where(inside, -1, history.name[:count])):
        start, stop = int(sample[first]), int(sample[end - 1])
        before = [segment for segment in segments if segment.end <= first]
        if stop - start < LEAST_S * clock.rate or not _begins(history, first, before):
            continue
        tab = history.names[int(history.name[first])][0]
        beats = clock.beat(stop) - clock.beat(start)
        after = targets[before[-1].step].step if before else None
        where = f"after step {after.index + 1}" if after else "before the first step"
        extras.append(
            ExtraNote(
                start,
                stop,
                beats,
                after.index if after else None,
                str(tab),
                f"extra note {where}: {describe_sound((tab,))}",
            )
        )
    return extras


def _runs(names: NDArray[np.int16]) -> list[tuple[int, int]]:
    """Stretches of readings with one name, (first, end)."""
    edges = np.flatnonzero(np.diff(names)) + 1
    bounds = [0, *edges.tolist(), len(names)]
    return [(first, end) for first, end in pairwise(bounds) if names[first] >= 0]


def _begins(history: ReadingHistory, first: int, before: Sequence[Segment]) -> bool:
    """Whether a run is a note of its own, and not what a step leaves ringing."""
    attacks = history.onset[max(0, first - BEFORE) : first + AFTER]
    if (attacks >= 0).any():
        return True
    if not before or before[-1].end != first:
        return True
    last = history.name[before[-1].end - 1]
    return last != history.name[first]
