"""Notes that the drill does not ask for: sounds between the steps as they were played."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trainer.drill import Clock
from trainer.marking.follower import Segment
from trainer.marking.mark import ExtraNote
from trainer.marking.parameters import EXTRA_NOTES
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.sentence import describe_sound
from trainer.marking.target import StepTarget


def find_extra_notes(
    history: ReadingHistory,
    segments: Sequence[Segment],
    targets: Sequence[StepTarget],
    clock: Clock,
    ignored: Iterable[tuple[int, int]] = (),
) -> list[ExtraNote]:
    """The extra notes of a pass, in order.

    Args:
        history: its readings.
        segments: the segments of its steps, in order.
        targets: its steps.
        clock: its clock.
        ignored: first and last sample of each span in which the trainer itself plays.
    """
    if not segments or not len(history):
        return []
    count = len(history)
    sample = history.sample[:count]
    is_excluded = np.zeros(count, dtype=bool)
    for segment in segments:
        is_excluded[segment.start : segment.end] = True
    lead_s = EXTRA_NOTES.before_beats * clock.beat_s(targets[0].step.start)
    lead = round(lead_s * clock.rate)
    is_excluded |= sample < targets[0].at - lead
    is_excluded |= sample > max(target.end for target in targets)
    for start, end in ignored:
        is_excluded |= (sample >= start) & (sample <= end)
    extras = []
    for first, end in _runs(np.where(is_excluded, -1, history.name[:count])):
        start, stop = int(sample[first]), int(sample[end - 1])
        before = [segment for segment in segments if segment.end <= first]
        is_short = stop - start < EXTRA_NOTES.min_length_s * clock.rate
        if is_short or not _is_new_note(history, first, before):
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
    """Runs of readings with the same name, each as (first, end)."""
    edges = np.flatnonzero(np.diff(names)) + 1
    bounds = [0, *edges.tolist(), len(names)]
    return [(first, end) for first, end in pairwise(bounds) if names[first] >= 0]


def _is_new_note(history: ReadingHistory, first: int, before: Sequence[Segment]) -> bool:
    """Whether a run is a note of its own, not the end of the step before it."""
    earliest = max(0, first - EXTRA_NOTES.attack_frames_before)
    attacks = history.onset[earliest : first + EXTRA_NOTES.attack_frames_after]
    if (attacks >= 0).any():
        return True
    if not before or before[-1].end != first:
        return True
    last = history.name[before[-1].end - 1]
    return last != history.name[first]
