"""Melodies without fingerings, and their arrangement for harps.

Conventions. Beats are counted as in :class:`trainer.drill.Drill`: from the first beat of the first
full bar, as exact fractions.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from trainer.drill.difficulty import seconds_per_beat
from trainer.drill.fingerings import (
    SidePitches,
    TargetPitch,
    describe_unplayable,
    side_pitches,
    step_fingerings,
)
from trainer.drill.model import Drill, Goal, Step
from trainer.drill.solo import Ground, Solo, SoloBrief
from trainer.drill.transpose import (
    OCTAVE_SHIFTS,
    Arrangement,
    easiest_fingerings,
    make_arrangement,
    rank_arrangements,
)
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.music import key_in_position, position_for

_ANY_HOLE = ((Tab(1, Breath.BLOW),),)
"""Placeholder sound of a step until a fingering is chosen."""


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """A note, chord, glide or ladder of a melody.

    Attributes:
        start, beats: beat on which it starts, and duration in beats.
        path: its pitches; more than one for a glide or a ladder.
        ladder: whether each pitch is held, without a glide between.
        written: how it is written, for its directions; None for none.
        is_fingered: whether the holes of `written` are those on the melody's harp.
    """

    start: Fraction
    beats: Fraction
    path: tuple[TargetPitch, ...]
    ladder: bool = False
    written: Step | None = None
    is_fingered: bool = False


@dataclass(frozen=True, slots=True)
class Melody:
    """A melody.

    Attributes:
        name: name of its drill file.
        title: its title.
        notes: notes in order of time, without overlap.
        tempo: beats per minute.
        meter: beats per bar and the note value of a beat.
        start: beat on which it begins: 0, or negative with a pick-up.
        swing: as in :class:`trainer.drill.Drill`.
        tonic: pitch class of its tonic by the key signature; None without one.
        notices: changes and omissions made on reading, a sentence each.
        harp: the harp that its file names; None if it names none.
        second: notes of the other part of a duet, as `notes`.
        tempo_to, ground, solos, brief: as in :class:`trainer.drill.Drill`.
    """

    name: str
    title: str
    notes: tuple[MelodyNote, ...]
    tempo: float = 90.0
    meter: tuple[int, int] = (4, 4)
    start: Fraction = Fraction(0)
    swing: float = 1.0
    tonic: int | None = None
    notices: tuple[str, ...] = ()
    harp: Harp | None = None
    second: tuple[MelodyNote, ...] = ()
    tempo_to: float | None = None
    ground: Ground | None = None
    solos: tuple[Solo, ...] = ()
    brief: SoloBrief | None = None

    @property
    def position(self) -> int | None:
        """Position on its harp, 1 to 12; None if its harp or its key is not known."""
        if self.harp is None or self.tonic is None:
            return None
        return position_for(self.harp.key.tonic, self.tonic)


def arrange_on_harp(melody: Melody, harp: Harp, half_steps: int = 0) -> Arrangement:
    """Arrange a melody for a harp with the easiest fingerings.

    On the harp that its file names, at the same pitch, each note keeps the holes that the file
    names. Notes that the harp cannot play are left out and listed in the arrangement's problems.

    Args:
        melody: the melody.
        harp: the harp.
        half_steps: transposition of the melody.
    """
    empty = _empty_drill(melody, harp, half_steps)
    keeps_holes = half_steps == 0 and harp == melody.harp
    missing: list[tuple[Step, str]] = []
    parts = []
    for notes in (melody.notes, melody.second):
        choices: list[tuple[Step, ...]] = []
        for note in notes:
            step = _unfingered(note, melody)
            wanted = tuple(
                TargetPitch(tuple(midi + half_steps for midi in pitch.notes), pitch.offset_cents)
                for pitch in note.path
            )
            if keeps_holes and note.is_fingered:
                choices.append((step,))
            elif ways := step_fingerings(step, wanted, harp, _beside(note, melody, half_steps)):
                choices.append(ways)
            else:
                missing.append((step, _describe_missing(step, wanted, harp, melody)))
        chosen = easiest_fingerings(choices, harp, seconds_per_beat(empty))
        parts.append(tuple(replace(step, index=i) for i, step in enumerate(chosen)))
    return make_arrangement(
        replace(empty, steps=parts[0], second=parts[1]), harp, half_steps, missing
    )


def _unfingered(note: MelodyNote, melody: Melody) -> Step:
    """Return a note as a step, with its holes if its file names them."""
    written = note.written or Step(0, _ANY_HOLE, note.start, note.beats)
    sounds = written.sounds if note.is_fingered else _ANY_HOLE * len(note.path)
    return replace(
        written,
        sounds=sounds,
        start=note.start,
        beats=note.beats,
        bar=_bar(note.start, melody),
        ladder=note.ladder,
    )


def _bar(beat: Fraction, melody: Melody) -> int:
    """Return the bar of a beat, from 1; 0 in a pick-up."""
    return math.floor(beat / melody.meter[0]) + 1 if beat >= 0 else 0


def _beside(note: MelodyNote, melody: Melody, half_steps: int) -> SidePitches:
    """Return the pitches that a note has beside its path, if its file names its harp."""
    if note.written is None or melody.harp is None:
        return SidePitches()
    return side_pitches(note.written, melody.harp, half_steps)


def _describe_missing(
    step: Step, wanted: tuple[TargetPitch, ...], harp: Harp, melody: Melody
) -> str:
    beat = f"{float(step.start % melody.meter[0]) + 1.0:g}"
    where = f"bar {step.bar}, beat {beat}" if step.bar else "pick-up"
    return f"{where}: {describe_unplayable(None, wanted, harp)}"


def arrange_on_harps(
    melody: Melody, harps: Iterable[Harp], transpositions: Iterable[int] = OCTAVE_SHIFTS
) -> tuple[Arrangement, ...]:
    """Arrange a melody for several harps, as ranked by :func:`rank_arrangements`.

    Args:
        melody: the melody.
        harps: harps to try.
        transpositions: half steps to try on each harp.
    """
    transpositions = tuple(transpositions)
    return rank_arrangements(
        arrange_on_harp(melody, harp, half_steps) for harp in harps for half_steps in transpositions
    )


def arrange_as_written(melody: Melody) -> Arrangement | None:
    """Arrange a melody for the harp that its file names, with the file's holes.

    Returns:
        The arrangement; None if the file names no harp.
    """
    return arrange_on_harp(melody, melody.harp) if melody.harp else None


def standard_harps(tuning: str) -> tuple[Harp, ...]:
    """Return a harp in each of the standard keys.

    Raises:
        HarpError: there is no such tuning.
    """
    return tuple(Harp.of(key, tuning) for key in STANDARD_KEYS)


def half_steps_to_position(melody: Melody, harp: Harp, position: int) -> tuple[int, ...]:
    """Return the transpositions to a position on a harp, in half steps, one per octave.

    Raises:
        MusicError: position is not 1 to 12.
    """
    wanted = key_in_position(harp.key.tonic, position)
    up = (wanted - (melody.tonic or 0) + 6) % 12 - 6
    return tuple(up + octave for octave in OCTAVE_SHIFTS)


def _empty_drill(melody: Melody, harp: Harp, half_steps: int) -> Drill:
    """Return a drill with the time, names, ground and solos of a melody, without steps."""
    notes = (*melody.notes, *melody.second)
    ends = [note.start + note.beats for note in notes] + [solo.end for solo in melody.solos]
    end = max(ends, default=Fraction(1))
    bar = melody.meter[0]
    position = None
    if melody.ground or melody.brief:
        position = position_for(harp.key.tonic, (melody.tonic or 0) + half_steps)
    return Drill(
        name=melody.name,
        title=melody.title,
        about="",
        key=harp.key.name,
        tuning=harp.tuning.name,
        tempo=melody.tempo,
        meter=melody.meter,
        goal=Goal(),
        steps=(),
        end=Fraction(max(1, math.ceil(end / bar)) * bar),
        start=melody.start,
        swing=melody.swing,
        tempo_to=melody.tempo_to,
        position=position,
        ground=melody.ground,
        solos=tuple(replace(solo, bar=_bar(solo.start, melody)) for solo in melody.solos),
        brief=melody.brief,
    )
