"""Finding the grace note in front of a step's own note."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trainer.marking.follower import Segment
from trainer.marking.onset import segment_start
from trainer.marking.parameters import MEASUREMENT, ONSET
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.step_readings import cents_from_nearest
from trainer.marking.target import StepTarget, reed_mask


class GraceNote(NamedTuple):
    """A step with its grace note taken off.

    Attributes:
        note: segment of the step without its grace note.
        start: sample on which the note starts.
        ms: length of the grace note in milliseconds; None where none was heard.
    """

    note: Segment
    start: int
    ms: float | None


def split_grace_note(
    target: StepTarget, history: ReadingHistory, segment: Segment, rate: int
) -> GraceNote:
    """Split a segment into its grace note and the note.

    The pitch is that of the note from the reading on that leaves the fewest readings on the wrong
    side, within the first half of the segment. While the reed of the grace note dies away, that of
    the note may sound already: then it starts there.

    Args:
        target: the step, with a grace note.
        history: the readings of the pass.
        segment: the step's readings, grace note included.
        rate: sample rate in hertz.
    """
    frames = np.arange(segment.start, segment.end)
    pitch = history.pitch[frames]
    to_grace, to_note = (
        np.abs(cents_from_nearest(pitch, pitches))
        for pitches in (target.grace_pitches, target.path[0])
    )
    known = ~np.isnan(pitch)
    is_grace = known & (to_grace < to_note) & (to_grace <= MEASUREMENT.max_chord_cents)
    is_note = known & (to_note < to_grace) & (to_note <= MEASUREMENT.max_chord_cents)
    # The change of sides that leaves the fewest readings on the wrong one.
    wrong = np.cumsum(is_note) + is_grace.sum() - np.cumsum(is_grace)
    half = len(frames) // 2
    last = int(np.argmin(wrong[: half or 1]))
    start = segment_start(history, segment.start)
    if is_grace[: last + 1].sum() < MEASUREMENT.min_grace_frames:
        return GraceNote(segment, start, None)
    following = np.flatnonzero(known[last + 1 :])
    first = segment.start + last + 1 + (int(following[0]) if len(following) else 0)
    note_start = _note_start(target, history, segment.start, first)
    ms = max(0.0, (note_start - start) * 1000.0 / rate)
    return GraceNote(segment._replace(start=first), note_start, ms)


def _note_start(target: StepTarget, history: ReadingHistory, earliest: int, first: int) -> int:
    """Sample on which the note after a grace note starts.

    Args:
        target: the step.
        history: the readings of the pass.
        earliest: first reading of the grace note.
        first: first reading with the pitch of the note.
    """
    begin = max(earliest + ONSET.attack_frames, first - MEASUREMENT.grace_attack_frames)
    attacks = history.onset[begin : first + 1]
    attacks = attacks[attacks >= 0]
    if len(attacks):
        return int(attacks[-1])
    reeds = reed_mask((tab.hole for tab in target.step.first), target.step.first[0].breath)
    is_other_reed = not reeds & reed_mask(
        (tab.hole for tab in target.step.grace), target.step.grace[0].breath
    )
    sounding = first
    while is_other_reed and sounding > earliest and history.reeds[sounding - 1] & reeds:
        sounding -= 1
    # Where it sounds for longer, it is the room that rings with an earlier note.
    if 0 < first - sounding <= MEASUREMENT.max_overlap_frames:
        return int(history.sample[sounding])
    return segment_start(history, first)
