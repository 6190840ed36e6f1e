"""Times that were played by hand or counted in ticks, as parts of a beat that can be written."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from trainer.drill.fingerings import TargetPitch
from trainer.drill.melody import MelodyNote

BEAT_DIVISIONS = (1, 2, 3, 4, 6, 8, 12)
"""Parts of a beat that are tried, the plainest first."""
SNAP_BEATS = Fraction(1, 40)
"""Beats; what lies so near to a part is that part."""
MIN_NOTE_BEATS = Fraction(1, 8)
MIN_OFFSET_CENTS, OFFSET_STEP_CENTS = 25.0, 5.0
"""A pitch so far from its note is meant so, to the nearest 5 cents."""


def quantize_beat(beat: Fraction) -> Fraction:
    """The plainest part of a beat that a time lies near, or else the nearest of all."""
    tries = [Fraction(round(beat * part), part) for part in BEAT_DIVISIONS]
    near = [one for one in tries if abs(one - beat) <= SNAP_BEATS]
    return near[0] if near else min(tries, key=lambda one: abs(one - beat))


def quantize_offset(cents: float) -> float:
    """Cents off a note as a drill says them."""
    return (
        OFFSET_STEP_CENTS * round(cents / OFFSET_STEP_CENTS)
        if abs(cents) >= MIN_OFFSET_CENTS
        else 0.0
    )


@dataclass(frozen=True, slots=True)
class TimedNote:
    """A note of another program's.

    Attributes:
        start, end: beats.
        path: MIDI note numbers, with fractions, that it goes through.
        ladder: whether each of these is held.
    """

    start: Fraction
    end: Fraction
    path: tuple[float, ...]
    ladder: bool = False


def merge_into_line(notes: Iterable[TimedNote]) -> tuple[tuple[MelodyNote, ...], int]:
    """Notes as a line of notes and chords, none over another.

    Those that begin together are one chord; one that is still on when the next begins ends there.

    Returns:
        the line, and how many notes had to end for that more than a quarter of a beat sooner.
    """
    ordered = sorted(notes, key=lambda note: (quantize_beat(note.start), note.path[0]))
    chords: list[tuple[Fraction, list[TimedNote]]] = []
    for note in ordered:
        at = quantize_beat(note.start)
        if chords and chords[-1][0] == at:
            chords[-1][1].append(note)
        else:
            chords.append((at, [note]))
    line: list[MelodyNote] = []
    cut = 0
    for i, (at, together) in enumerate(chords):
        end = max(quantize_beat(note.end) for note in together)
        end = max(end, at + MIN_NOTE_BEATS)
        following = chords[i + 1][0] if i + 1 < len(chords) else None
        if following is not None and end > following:
            cut += end - following > Fraction(1, 4)
            end = following
        line.append(MelodyNote(at, end - at, _path(together), together[0].ladder))
    return tuple(line), cut


def drop_leading_bars(line: Sequence[MelodyNote], meter: tuple[int, int]) -> tuple[MelodyNote, ...]:
    """The line without the empty bars before it."""
    if not line:
        return ()
    empty = line[0].start // meter[0] * meter[0]
    return (
        tuple(replace(note, start=note.start - empty) for note in line)
        if empty > 0
        else tuple(line)
    )


def _path(together: Sequence[TimedNote]) -> tuple[TargetPitch, ...]:
    """What sounds together; where several glide, as far as the first does."""
    found: list[TargetPitch] = []
    for place in range(len(together[0].path)):
        pitches = [note.path[min(place, len(note.path) - 1)] for note in together]
        whole = tuple(sorted({round(one) for one in pitches}))
        off = quantize_offset(100.0 * (pitches[0] - round(pitches[0])))
        found.append(TargetPitch(whole, off))
    kept = [one for i, one in enumerate(found) if i == 0 or one != found[i - 1]]
    return tuple(kept)
