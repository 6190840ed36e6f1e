"""From heard notes to notation: the path of sounds of each note, and sounding neighbours.

A glide inside a note is notated as one if it moves for a good part of the note. If the pitch only
steps from one rest to another, as when a bend is released in passing, each rest is a note of its
own, slurred to the one before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Generic, TypeVar

import numpy as np

from trainer.drill import CleannessRule, PitchEvent, Sound, TargetPitch, Vibrato
from trainer.ear import HeardNote, HeldPart, held_parts
from trainer.harp import Harp, Tab
from trainer.music import cents, hz_to_midi
from trainer.transcript.model import TranscribedNote


@dataclass(frozen=True, slots=True)
class NotationParameters:
    """Constants of the notation.

    Chosen on the phrases of benchmarks/transcripts.py unless a field says otherwise.
    """

    chord_db: float = -10.0
    """Level relative to the main hole from which a neighbour is played and no leak, dB (common
    practice: the reeds of a chord are about equally loud)."""
    blur_db: float = -26.0
    """Level relative to the main hole from which a leak is notated, dB."""
    min_moving: float = 0.25
    """Minimum fraction of a glide in which the pitch moves. With less it is a step between two
    notes."""
    min_rest_s: float = 0.12
    """Minimum duration of each of two notes that are no glide, seconds."""
    min_reach_cents: float = 60.0
    """Distance from a rest from which the start or end of a path is another entry, cents."""
    max_scoop_s: float = 0.12
    """Time up to which a pitch below the note at its attack is a scoop and no entry of its own,
    seconds: recorded reeds begin flat for up to 100 ms."""
    min_vibrato_cents: float = 5.0
    """Minimum depth of a vibrato that is notated, plus and minus cents."""


NOTATION = NotationParameters()
"""The constants in use."""


Entry = TypeVar("Entry", Tab, int)


@dataclass(frozen=True, slots=True)
class _Stretch(Generic[Entry]):
    """A part of a note on one entry of a harp, or half step: seconds from its start, and f0."""

    entry: Entry
    start: float
    end: float
    hz: float


def notate(
    notes: Iterable[HeardNote], harp: Harp, explained: Sequence[float] | None = None
) -> Iterator[TranscribedNote]:
    """Yield the notation of heard notes, in order.

    Args:
        notes: the heard notes.
        harp: the harp.
        explained: fraction of the sound that the reeds of each explain; see
            :mod:`trainer.transcript.confidence`.
    """
    for i, note in enumerate(notes):
        yield from _notate_note(note, harp, None if explained is None else explained[i])


def pitch_events(note: HeardNote, a4: float) -> Iterator[PitchEvent]:
    """Yield the notes of a heard note as pitches, whatever the harp.

    Args:
        note: the heard note.
        a4: reference pitch of the harp, Hz.
    """

    def half_step(hz: float) -> int:
        return round(hz_to_midi(hz, a4))

    groups = _groups(_stretches(note, half_step(note.hz), half_step))
    begin = note.start / note.rate
    for (start, end), group in zip(pairwise(_edges(groups, note)), groups, strict=True):
        path = tuple(TargetPitch((stretch.entry,)) for stretch in group)
        yield PitchEvent(begin + start, begin + end, path)


def _notate_note(note: HeardNote, harp: Harp, explained: float | None) -> Iterator[TranscribedNote]:
    def entry_of_reed(hz: float) -> Tab:
        return nearest_entry_of_reed(hz, note.tab, harp)

    start = note.start / note.rate
    groups = _groups(_stretches(note, note.tab, entry_of_reed))
    edges = _edges(groups, note)
    for i, group in enumerate(groups):
        longest = max(group, key=lambda stretch: stretch.end - stretch.start)
        sounds = tuple(_sound(stretch.entry, note, harp) for stretch in group)
        yield TranscribedNote(
            start=start + edges[i],
            end=start + edges[i + 1],
            sounds=sounds,
            cents=cents(longest.hz, harp.hz(longest.entry)),
            hz=longest.hz,
            level_db=note.level_db,
            holes=note.holes,
            leak_db=note.leak_db,
            leak_hole=note.leak_hole,
            cleanness_rule=_cleanness_rule(note, sounds),
            vibrato=_vibrato(note),
            struck=i == 0,
            explained=explained,
            # A leak shows the breath and leaves no alternative.
            alternatives=_alternatives(sounds, harp) if len(note.holes) == 1 else (),
        )


def _edges(groups: Sequence[Sequence[_Stretch[Entry]]], note: HeardNote) -> list[float]:
    """Bounds of the groups in seconds from the note's start, one more than there are groups."""
    edges = [0.0]
    for before, after in pairwise(groups):
        edges.append(0.5 * (before[-1].end + after[0].start))
    edges.append((note.end - note.start) / note.rate)
    return edges


def _stretches(
    note: HeardNote, entry: Entry, entry_of: Callable[[float], Entry]
) -> list[_Stretch[Entry]]:
    """The entries on which a note rests, in order.

    Args:
        note: the heard note.
        entry: its entry as a whole.
        entry_of: the entry of a pitch in Hz.
    """
    length = (note.end - note.start) / note.rate
    whole = [_Stretch(entry, 0.0, length, note.hz)]
    if note.motion.glide is None or (len(note.holes) > 1 and note.leak_db is None):
        return whole
    at, hz = np.array(note.path, dtype=float).T
    held = list(held_parts((at - note.start) / note.rate, hz, length))
    held = _with_ends(held, note, length)
    stretches: list[_Stretch[Entry]] = []
    for part in held:
        each = entry_of(part.hz)
        if stretches and stretches[-1].entry == each:
            before = stretches.pop()
            longer = part if part.end - part.start > before.end - before.start else before
            stretches.append(_Stretch(each, before.start, part.end, longer.hz))
        else:
            stretches.append(_Stretch(each, part.start, part.end, part.hz))
    stretches = _without_scoop(stretches)
    return stretches if len(stretches) > 1 else whole


def _without_scoop(stretches: list[_Stretch[Entry]]) -> list[_Stretch[Entry]]:
    """The entries without a short one at the attack from which the pitch rises: that is a scoop."""
    if len(stretches) < 2:
        return stretches
    scoop, note, *others = stretches
    if scoop.end > NOTATION.max_scoop_s or scoop.hz > note.hz:
        return stretches
    return [_Stretch(note.entry, scoop.start, note.end, note.hz), *others]


def _with_ends(held: list[HeldPart], note: HeardNote, length: float) -> list[HeldPart]:
    """The rests, and the start and end of the pitch if it does not rest there."""
    p, glide = NOTATION, note.motion.glide
    assert glide is not None
    if not held:
        return [HeldPart(0.0, 0.0, glide.start_hz), HeldPart(length, length, glide.end_hz)]
    if (
        abs(cents(glide.end_hz, held[-1].hz)) > p.min_reach_cents
        and length - held[-1].end > p.min_rest_s
    ):
        held = [*held, HeldPart(length, length, glide.end_hz)]
    first = note.path[0][1]
    if abs(cents(first, held[0].hz)) > p.min_reach_cents and held[0].start > p.min_rest_s:
        held = [HeldPart(0.0, 0.0, first), *held]
    return held


def nearest_entry_of_reed(hz: float, tab: Tab, harp: Harp) -> Tab:
    """Return the entry nearest to a pitch, of those of the same hole, breath and kind."""
    entries = [
        entry
        for entry in harp.hole_entries(tab.hole)
        if entry.breath is tab.breath and entry.over == tab.over
    ]
    return min(entries, key=lambda entry: abs(cents(hz, harp.hz(entry))))


def _groups(stretches: list[_Stretch[Entry]]) -> list[list[_Stretch[Entry]]]:
    """Stretches that are one note each: a glide, or a rest between steps."""
    groups = [[stretches[0]]]
    for after in stretches[1:]:
        before = groups[-1][-1]
        moving = after.start - before.end
        whole = after.end - (before.start if len(groups[-1]) == 1 else groups[-1][0].start)
        shorter_rest = min(before.end - before.start, after.end - after.start)
        if shorter_rest >= NOTATION.min_rest_s and moving < NOTATION.min_moving * whole:
            groups.append([after])
        else:
            groups[-1].append(after)
    return groups


def _sound(tab: Tab, note: HeardNote, harp: Harp) -> Sound:
    """An entry and the neighbours that were played with it."""
    if len(note.holes) < 2 or (note.leak_db is not None and note.leak_db < NOTATION.chord_db):
        return (tab,)
    tabs = [Tab(hole, tab.breath) if hole != tab.hole else tab for hole in note.holes]
    return tuple(sorted(entry for entry in tabs if harp.can_play(entry)))


def _cleanness_rule(note: HeardNote, sounds: tuple[Sound, ...]) -> CleannessRule:
    leaks = len(note.holes) > 1 and note.leak_db is not None and note.leak_db > NOTATION.blur_db
    return CleannessRule.BLUR if leaks and len(sounds[0]) == 1 else CleannessRule.PLAIN


def _vibrato(note: HeardNote) -> Vibrato | None:
    vibrato = note.motion.vibrato
    if vibrato is None or vibrato.depth < NOTATION.min_vibrato_cents:
        return None
    return Vibrato(vibrato.hz, vibrato.depth)


def _alternatives(sounds: tuple[Sound, ...], harp: Harp) -> tuple[tuple[Sound, ...], ...]:
    """Other entries of the same pitch, for a note on a single entry."""
    if len(sounds) > 1 or len(sounds[0]) > 1:
        return ()
    return tuple(((entry,),) for entry in harp.same_pitch(sounds[0][0]))
