"""Finding a drill in a recording that has no start time.

Each heard note is tried as each of the first steps. The clock on which most steps find a matching
note near their beat wins. The median lateness is then taken out, because without a click nobody
knows what the player was late for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trainer.core import TrainerError
from trainer.drill import BeatClock, Drill, Step
from trainer.ear import HeardNote
from trainer.harp import Harp, Tab
from trainer.marking.parameters import PASS_SEARCH

NO_NOTE = "no note is heard in the recording; is it the right file, and loud enough?"


class StartError(TrainerError):
    """A recording in which a drill cannot be found."""


def not_found(drill: Drill) -> StartError:
    """The error of a recording in which too little of a drill is there."""
    return StartError(
        f"{drill.name} cannot be found in the recording; check the drill, the harp and the "
        "tempo, or give the second of its first beat with --start"
    )


def find_start(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, tempo: float, rate: int
) -> BeatClock:
    """The clock of a drill in a recording.

    Args:
        heard: the notes of the recording, in order.
        drill: the drill.
        harp: the harp it is played on.
        tempo: beats per minute.
        rate: sample rate in hertz.

    Raises:
        StartError: too little of the drill is there.
    """
    starts = np.array([note.start for note in heard], dtype=float)
    if not len(starts):
        raise StartError(NO_NOTE)
    clock = drill.clock(rate, tempo=tempo)
    due = np.array([clock.sample(step.start) for step in drill.steps], dtype=float)
    fits = np.array([[_fits(note, step, harp) for note in heard] for step in drill.steps])
    near = _near_samples(clock, drill)
    best_zero, best_score, best_lateness = 0.0, -1.0, np.zeros(0)
    for anchor in range(min(PASS_SEARCH.anchors, len(due))):
        for k in np.flatnonzero(fits[anchor]):
            zero = starts[k] - due[anchor]
            lateness = starts[None, :] - (due[:, None] + zero)
            lateness = np.where(fits, lateness, np.inf)
            nearest = lateness[np.arange(len(due)), np.argmin(np.abs(lateness), axis=1)]
            is_hit = np.abs(nearest) < near
            distance = np.abs(nearest[is_hit]) / near
            score = float(np.sum(1.0 - distance * PASS_SEARCH.distance_weight))
            if score > best_score:
                best_zero, best_score, best_lateness = zero, score, nearest[is_hit]
    if best_score < PASS_SEARCH.min_score * len(due):
        raise not_found(drill)
    return replace(clock, zero=round(best_zero + float(np.median(best_lateness))))


def find_passes(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, tempo: float, rate: int
) -> list[BeatClock]:
    """The clocks of all passes through a drill in a recording, in order.

    The notes before and after the pass that fits best are searched for further passes. A false
    start, of which too little is there, is left out.

    Args and errors are those of :func:`find_start`.
    """
    best = find_start(heard, drill, harp, tempo, rate)
    first, last = best.sample(drill.start), best.sample(drill.steps[-1].end)
    slack = round(_near_samples(best, drill))
    before = [note for note in heard if note.start < first - slack]
    after = [note for note in heard if note.start > last - slack]
    return [
        *_further_passes(before, drill, harp, tempo, rate),
        best,
        *_further_passes(after, drill, harp, tempo, rate),
    ]


def _further_passes(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, tempo: float, rate: int
) -> list[BeatClock]:
    """The passes of which most of the drill is there."""
    if len(heard) < PASS_SEARCH.min_repeat * len(drill.steps):
        return []
    try:
        clocks = find_passes(heard, drill, harp, tempo, rate)
    except StartError:
        return []
    least = PASS_SEARCH.min_repeat
    return [clock for clock in clocks if _fraction_heard(heard, drill, harp, clock) >= least]


def _fraction_heard(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, clock: BeatClock
) -> float:
    """Fraction of a drill's steps that have a matching note near their beat."""
    near = _near_samples(clock, drill)
    is_heard = [
        any(
            abs(note.start - clock.sample(step.start)) < near and _fits(note, step, harp)
            for note in heard
        )
        for step in drill.steps
    ]
    return sum(is_heard) / len(is_heard)


def _near_samples(clock: BeatClock, drill: Drill) -> float:
    """Greatest distance in samples between a step's beat and the note taken for it."""
    shortest_s = min(clock.beat_s(drill.start), clock.beat_s(drill.end))
    return PASS_SEARCH.near_beats * shortest_s * clock.rate


def _fits(note: HeardNote, step: Step, harp: Harp) -> bool:
    """Whether a heard note can be the start of a step: same pitch, or same hole and breath.

    Of a chord that is written by one hole, any neighbour may be heard as its note.
    """
    entries, sound = {note.tab, *note.also}, step.first
    if step.implied_neighbour(sound):
        near = (hole for hole in (sound[0].hole - 1, sound[0].hole + 1) if 1 <= hole <= 10)
        sound = (*sound, *(Tab(hole, sound[0].breath) for hole in near))
    same_pitch = {tab for entry in sound for tab in (entry, *harp.same_pitch(entry))}
    return bool(entries & same_pitch) or (
        len(sound) == 1
        and any(
            entry.hole == sound[0].hole and entry.breath is sound[0].breath for entry in entries
        )
    )
