"""Quantization of times to fractions of a beat that tab can express."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from trainer.drill import MelodyNote, Solo, Step, TargetPitch, target_pitches
from trainer.harp import Harp


@dataclass(frozen=True, slots=True)
class QuantizationParameters:
    """Constants of the quantization; none has a recorded source.

    Attributes:
        beat_divisions: divisions of a beat that are tried, the simplest first.
        snap_beats: maximum distance in beats to a simple division for it to be preferred over a
            finer one.
        min_note_beats: minimum length of a note in beats; shorter ones are extended.
        max_gap_beats: maximum silence in beats before the next note that is not a rest.
        min_offset_cents: minimum offset from a note in cents that counts as intended.
        offset_step_cents: step in cents to which intended offsets are rounded.
        max_silent_cut_beats: maximum shortening of a note in beats that is not reported.
    """

    beat_divisions: tuple[int, ...] = (1, 2, 3, 4, 6, 8, 12)
    snap_beats: Fraction = Fraction(1, 40)
    min_note_beats: Fraction = Fraction(1, 8)
    max_gap_beats: Fraction = Fraction(1, 10)
    min_offset_cents: float = 25.0
    offset_step_cents: float = 5.0
    max_silent_cut_beats: Fraction = Fraction(1, 4)


PARAMETERS = QuantizationParameters()
"""Parameters in use."""


def quantize_beat(beat: Fraction) -> Fraction:
    """Return the simplest division of a beat within `snap_beats` of a time, else the nearest."""
    candidates = [
        Fraction(round(beat * division), division) for division in PARAMETERS.beat_divisions
    ]
    near = [candidate for candidate in candidates if abs(candidate - beat) <= PARAMETERS.snap_beats]
    return near[0] if near else min(candidates, key=lambda candidate: abs(candidate - beat))


def quantize_offset(cents: float) -> float:
    """Return an offset from a note in cents, rounded, or 0 if it is small."""
    if abs(cents) < PARAMETERS.min_offset_cents:
        return 0.0
    return PARAMETERS.offset_step_cents * round(cents / PARAMETERS.offset_step_cents)


@dataclass(frozen=True, slots=True)
class TimedNote:
    """A note of another program's file.

    Attributes:
        start, end: times in beats.
        path: fractional MIDI note numbers that it moves through.
        ladder: whether each of them is held.
        written: how it is written, for its directions; None for none.
    """

    start: Fraction
    end: Fraction
    path: tuple[float, ...]
    ladder: bool = False
    written: Step | None = None


def merge_into_line(notes: Iterable[TimedNote]) -> tuple[tuple[MelodyNote, ...], int]:
    """Merge notes into a line of notes and chords without overlap.

    Notes that start together become one chord; a note that lasts beyond the start of the next ends
    there.

    Returns:
        The line, and the number of notes shortened by more than a quarter of a beat.
    """
    ordered = sorted(notes, key=lambda note: (quantize_beat(note.start), note.path[0]))
    chords: list[tuple[Fraction, list[TimedNote]]] = []
    for note in ordered:
        start = quantize_beat(note.start)
        if chords and chords[-1][0] == start:
            chords[-1][1].append(note)
        else:
            chords.append((start, [note]))
    line: list[MelodyNote] = []
    shortened = 0
    for i, (start, chord) in enumerate(chords):
        end = max(quantize_beat(note.end) for note in chord)
        end = max(end, start + PARAMETERS.min_note_beats)
        next_start = chords[i + 1][0] if i + 1 < len(chords) else None
        if next_start is not None and end > next_start:
            shortened += end - next_start > PARAMETERS.max_silent_cut_beats
            end = next_start
        elif next_start is not None and end < next_start:
            silence = min(note.start for note in chords[i + 1][1]) - max(note.end for note in chord)
            if silence <= PARAMETERS.max_gap_beats:
                end = next_start
        written = next((note.written for note in chord if note.written), None)
        line.append(MelodyNote(start, end - start, _chord_path(chord), chord[0].ladder, written))
    return tuple(line), shortened


def written_note(step: Step, harp: Harp) -> MelodyNote:
    """Return a step of an exported drill as a note that keeps its holes.

    Raises:
        HarpError: the harp cannot play it.
    """
    path = target_pitches(step, harp)
    return MelodyNote(step.start, step.beats, path, step.ladder, step, is_fingered=True)


def merge_lines(line: Sequence[MelodyNote], others: Sequence[MelodyNote]) -> tuple[MelodyNote, ...]:
    """Merge two lines into one without overlap; a note ends where the next begins."""
    ordered = sorted([*line, *others], key=lambda note: note.start)
    merged: list[MelodyNote] = []
    for note in ordered:
        if merged and note.start <= merged[-1].start:
            continue
        if merged and note.start < merged[-1].start + merged[-1].beats:
            merged[-1] = replace(merged[-1], beats=note.start - merged[-1].start)
        merged.append(note)
    return tuple(merged)


def without_notes(solos: Iterable[Solo], line: Sequence[MelodyNote]) -> tuple[Solo, ...]:
    """Return the solos in which no note of a line begins: another program may have written some."""
    starts = [note.start for note in line]
    return tuple(
        solo for solo in solos if not any(solo.start <= start < solo.end for start in starts)
    )


def without_swing(beat: Fraction, swing: float) -> Fraction:
    """Return the beat that swing moves to a given one; inverse of the swing of a `BeatClock`."""
    if swing == 1.0:
        return beat
    whole, part = divmod(beat, 1)
    half = Fraction(swing) / (1 + Fraction(swing))
    if part <= half:
        return whole + part / (2 * half)
    return whole + 1 - (1 - part) / (2 * (1 - half))


def drop_leading_bars(line: Sequence[MelodyNote], meter: tuple[int, int]) -> tuple[MelodyNote, ...]:
    """Return a line without the empty bars before it."""
    if not line:
        return ()
    empty = line[0].start // meter[0] * meter[0]
    if empty <= 0:
        return tuple(line)
    return tuple(replace(note, start=note.start - empty) for note in line)


def _chord_path(chord: Sequence[TimedNote]) -> tuple[TargetPitch, ...]:
    """Return the pitches of a chord, with as many stages as its first note's path has."""
    path: list[TargetPitch] = []
    for stage in range(len(chord[0].path)):
        pitches = [note.path[min(stage, len(note.path) - 1)] for note in chord]
        notes = tuple(sorted({round(pitch) for pitch in pitches}))
        offset = quantize_offset(100.0 * (pitches[0] - round(pitches[0])))
        path.append(TargetPitch(notes, offset))
    return tuple(pitch for i, pitch in enumerate(path) if i == 0 or pitch != path[i - 1])
