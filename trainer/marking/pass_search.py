"""Finding where a drill starts in a recording that does not say.

Every heard note is tried for each of the first steps: the beat on which most of the drill then
finds its note, near its time, is the one. What is left of a common lateness is taken out, because
without a click nobody can say what the player was late for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trainer.core import TrainerError
from trainer.drill import BeatClock, Drill
from trainer.ear import HeardNote
from trainer.harp import Harp, Tab

ANCHORS = 6
"""Steps that a heard note is tried for."""
NEAR_BEATS = 0.35
"""How far from its beat a note may begin and still be taken for a step."""
LEAST_SHARE = 0.3
AGAIN_SHARE = 0.7
"""Another time that a drill is played counts where so much of it is there."""


class StartError(TrainerError):
    """A recording in which a drill cannot be found."""


def find_start(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, tempo: float, rate: int
) -> BeatClock:
    """The clock of a drill in a recording.

    Args:
        heard: the notes of the recording, in order.
        drill, harp: what was played, on what.
        tempo: beats a minute.
        rate: samples a second.

    Raises:
        StartError: too little of the drill is there.
    """
    starts = np.array([note.start for note in heard], dtype=float)
    if not len(starts):
        raise StartError(
            "no note is heard in the recording; is it the right file, and loud enough?"
        )
    clock = BeatClock(0, tempo, rate, drill.swing)
    ats = np.array([clock.sample(step.start) for step in drill.steps], dtype=float)
    fits = np.array([[_fits(note, step.first, harp) for note in heard] for step in drill.steps])
    near = NEAR_BEATS * 60.0 / tempo * rate
    best, best_score, offsets = 0.0, -1.0, np.zeros(0)
    for anchor in range(min(ANCHORS, len(ats))):
        for k in np.flatnonzero(fits[anchor]):
            zero = starts[k] - ats[anchor]
            away = starts[None, :] - (ats[:, None] + zero)
            away = np.where(fits, away, np.inf)
            nearest = away[np.arange(len(ats)), np.argmin(np.abs(away), axis=1)]
            hit = np.abs(nearest) < near
            score = float(np.sum(1.0 - np.abs(nearest[hit]) / near * 0.5))
            if score > best_score:
                best, best_score, offsets = zero, score, nearest[hit]
    if best_score < LEAST_SHARE * len(ats):
        raise StartError(
            f"{drill.name} cannot be found in the recording; check the drill, the harp and the "
            "tempo, or say with --start on which second its first beat falls"
        )
    return replace(clock, zero=round(best + float(np.median(offsets))))


def find_passes(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, tempo: float, rate: int
) -> list[BeatClock]:
    """The clocks of all times that a drill is played in a recording, in order.

    The arguments are those of :func:`find_start`. What is played before and after the time that
    fits best is searched for others; of a false start too little is there, and it is left out.

    Raises:
        StartError: too little of the drill is there.
    """
    best = find_start(heard, drill, harp, tempo, rate)
    first, last = best.sample(drill.start), best.sample(drill.steps[-1].end)
    slack = round(NEAR_BEATS * 60.0 / tempo * rate)
    before = [note for note in heard if note.start < first - slack]
    after = [note for note in heard if note.start > last - slack]
    return [
        *_others(before, drill, harp, tempo, rate),
        best,
        *_others(after, drill, harp, tempo, rate),
    ]


def _others(
    heard: Sequence[HeardNote], drill: Drill, harp: Harp, tempo: float, rate: int
) -> list[BeatClock]:
    """Other times, where most of the drill is there."""
    if len(heard) < AGAIN_SHARE * len(drill.steps):
        return []
    try:
        found = find_passes(heard, drill, harp, tempo, rate)
    except StartError:
        return []
    return [clock for clock in found if _share(heard, drill, harp, clock) >= AGAIN_SHARE]


def _share(heard: Sequence[HeardNote], drill: Drill, harp: Harp, clock: BeatClock) -> float:
    """The share of the steps that are there, near their beats."""
    near = NEAR_BEATS * 60.0 / clock.tempo * clock.rate
    there = [
        any(
            abs(note.start - clock.sample(step.start)) < near and _fits(note, step.first, harp)
            for note in heard
        )
        for step in drill.steps
    ]
    return sum(there) / len(there)


def _fits(note: HeardNote, sound: Sequence[Tab], harp: Harp) -> bool:
    """Whether a heard note can be the start of a step."""
    entries = {note.tab, *note.also}
    near = {tab for entry in sound for tab in (entry, *harp.same_pitch(entry))}
    return bool(entries & near) or (
        len(sound) == 1
        and any(
            entry.hole == sound[0].hole and entry.breath is sound[0].breath for entry in entries
        )
    )
