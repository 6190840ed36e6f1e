"""From a heard note to what is written: its path of sounds, and what sounds along.

A glide inside a note is written as one where it moves for a good part of the note; where the
pitch only steps from one rest to another, as a bend that is let up in passing, each rest is a
note of its own, slurred to the one before.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from trainer.drill import CleannessRule, Sound, Vibrato
from trainer.ear import HeardNote
from trainer.ear.motion import HeldPart, held_parts
from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.transcript.model import TranscribedNote

CHORD_DB = -10.0
"""A neighbour that is at least so loud is played, and not leaking (common practice: the reeds of a
chord are about as loud as each other)."""
LOOSE_DB = -26.0
"""A neighbour under this is not heard beside the wanted note."""
PASSING = 0.25
"""A movement over a smaller share of the note is a step from one note to another."""
RESTS_S = 0.12
"""So long must each of two notes be held that are not one glide."""
SHALLOW_CENTS = 60.0
"""A path that reaches no further from its first entry does not leave it."""
DEEP_VIBRATO = 5.0
"""Cents; a shallower one is not written."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A part of a note on one entry: when, in seconds from the note's start, and its f0."""

    tab: Tab
    start: float
    end: float
    hz: float


def notate(
    notes: Iterable[HeardNote], harp: Harp, explained: Sequence[float] | None = None
) -> Iterator[TranscribedNote]:
    """What is written for each heard note, in order.

    Args:
        notes: as they were heard.
        harp: what they were heard on.
        explained: the share that the reeds of each explain; see
            :mod:`trainer.transcript.confidence`.
    """
    for i, note in enumerate(notes):
        yield from _parts(note, harp, None if explained is None else explained[i])


def _parts(note: HeardNote, harp: Harp, explained: float | None) -> Iterator[TranscribedNote]:
    stretches = _stretches(note, harp)
    start, end = note.start / note.rate, note.end / note.rate
    groups = _groups(stretches, end - start)
    edges = [0.0]
    for before, after in pairwise(groups):
        edges.append(0.5 * (before[-1].end + after[0].start))
    edges.append(end - start)
    for i, group in enumerate(groups):
        longest = max(group, key=lambda one: one.end - one.start)
        sounds = tuple(_sound(one.tab, note, harp) for one in group)
        yield TranscribedNote(
            start=start + edges[i],
            end=start + edges[i + 1],
            sounds=sounds,
            cents=cents(longest.hz, harp.hz(longest.tab)),
            hz=longest.hz,
            level_db=note.level_db,
            holes=note.holes,
            leak_db=note.leak_db,
            leak_hole=note.leak_hole,
            care=_care(note, sounds),
            vibrato=_vibrato(note),
            struck=i == 0,
            explained=explained,
            # What leaks beside it tells which breath it was.
            others=_others(sounds, harp) if len(note.holes) == 1 else (),
        )


def _stretches(note: HeardNote, harp: Harp) -> list[_Stretch]:
    """The entries on which a note rests, in order."""
    length = (note.end - note.start) / note.rate
    still = [_Stretch(note.tab, 0.0, length, note.hz)]
    if note.motion.glide is None or (len(note.holes) > 1 and note.leak_db is None):
        return still
    at, hz = np.array(note.path, dtype=float).T
    held = list(held_parts((at - note.start) / note.rate, hz, length))
    held = _with_ends(held, note, length)
    found: list[_Stretch] = []
    for part in held:
        tab = _entry(part.hz, note.tab, harp)
        if found and found[-1].tab == tab:
            before = found.pop()
            longer = part if part.end - part.start > before.end - before.start else before
            found.append(_Stretch(tab, before.start, part.end, longer.hz))
        else:
            found.append(_Stretch(tab, part.start, part.end, part.hz))
    return found if len(found) > 1 else still


def _with_ends(held: list[HeldPart], note: HeardNote, length: float) -> list[HeldPart]:
    """The rests, and where the pitch came from or went to without resting there."""
    glide = note.motion.glide
    assert glide is not None
    if not held:
        return [HeldPart(0.0, 0.0, glide.start_hz), HeldPart(length, length, glide.end_hz)]
    if abs(cents(glide.end_hz, held[-1].hz)) > SHALLOW_CENTS and length - held[-1].end > RESTS_S:
        held = [*held, HeldPart(length, length, glide.end_hz)]
    first = note.path[0][1]
    if abs(cents(first, held[0].hz)) > SHALLOW_CENTS and held[0].start > RESTS_S:
        held = [HeldPart(0.0, 0.0, first), *held]
    return held


def _entry(hz: float, tab: Tab, harp: Harp) -> Tab:
    """The entry of the same hole and breath that a pitch is nearest to."""
    own = [
        one
        for one in harp.hole_entries(tab.hole)
        if one.breath is tab.breath and one.over == tab.over
    ]
    return min(own, key=lambda one: abs(cents(hz, harp.hz(one))))


def _groups(stretches: list[_Stretch], length: float) -> list[list[_Stretch]]:
    """Stretches that are one note each: a glide, or a rest between steps."""
    groups = [[stretches[0]]]
    for after in stretches[1:]:
        before = groups[-1][-1]
        moving = after.start - before.end
        whole = after.end - (before.start if len(groups[-1]) == 1 else groups[-1][0].start)
        rests = min(before.end - before.start, after.end - after.start)
        if rests >= RESTS_S and moving < PASSING * whole:
            groups.append([after])
        else:
            groups[-1].append(after)
    return groups


def _sound(tab: Tab, note: HeardNote, harp: Harp) -> Sound:
    """An entry and what was played along with it."""
    if len(note.holes) < 2 or (note.leak_db is not None and note.leak_db < CHORD_DB):
        return (tab,)
    tabs = [Tab(hole, tab.breath) if hole != tab.hole else tab for hole in note.holes]
    return tuple(sorted(one for one in tabs if harp.can_play(one)))


def _care(note: HeardNote, sounds: tuple[Sound, ...]) -> CleannessRule:
    leaks = len(note.holes) > 1 and note.leak_db is not None and note.leak_db > LOOSE_DB
    return CleannessRule.LOOSE if leaks and len(sounds[0]) == 1 else CleannessRule.PLAIN


def _vibrato(note: HeardNote) -> Vibrato | None:
    swing = note.motion.vibrato
    return Vibrato(swing.hz, swing.depth) if swing and swing.depth >= DEEP_VIBRATO else None


def _others(sounds: tuple[Sound, ...], harp: Harp) -> tuple[tuple[Sound, ...], ...]:
    """Other entries of the same pitch, for a note of one hole that is held."""
    if len(sounds) > 1 or len(sounds[0]) > 1:
        return ()
    return tuple(((other,),) for other in harp.same_pitch(sounds[0][0]))
