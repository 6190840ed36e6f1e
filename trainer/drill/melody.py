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
from trainer.drill.fingerings import TargetPitch, describe_unplayable, step_fingerings
from trainer.drill.model import Drill, Goal, Step
from trainer.drill.transpose import (
    OCTAVE_SHIFTS,
    Arrangement,
    easiest_fingerings,
    make_arrangement,
    rank_arrangements,
)
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.music import key_in_position

_ANY_HOLE = ((Tab(1, Breath.BLOW),),)
"""Placeholder sound of a step until a fingering is chosen."""


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """A note, chord, glide or ladder of a melody.

    Attributes:
        start, beats: beat on which it starts, and duration in beats.
        path: its pitches; more than one for a glide or a ladder.
        ladder: whether each pitch is held, without a glide between.
    """

    start: Fraction
    beats: Fraction
    path: tuple[TargetPitch, ...]
    ladder: bool = False


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


def arrange_on_harp(melody: Melody, harp: Harp, half_steps: int = 0) -> Arrangement:
    """Arrange a melody for a harp with the easiest fingerings.

    Notes that the harp cannot play are left out and listed in the arrangement's problems.

    Args:
        melody: the melody.
        harp: the harp.
        half_steps: transposition of the melody.
    """
    bar = melody.meter[0]
    empty = _empty_drill(melody, harp)
    beat_s = seconds_per_beat(empty)
    choices: list[tuple[Step, ...]] = []
    missing: list[tuple[Step, str]] = []
    for note in melody.notes:
        wanted = tuple(
            TargetPitch(tuple(midi + half_steps for midi in pitch.notes), pitch.offset_cents)
            for pitch in note.path
        )
        number = math.floor(note.start / bar) + 1 if note.start >= 0 else 0
        step = Step(
            0, _ANY_HOLE * len(note.path), note.start, note.beats, number, ladder=note.ladder
        )
        if ways := step_fingerings(step, wanted, harp):
            choices.append(ways)
        else:
            where = f"bar {number}, beat {_beat(note.start, bar)}" if number else "pick-up"
            missing.append((step, f"{where}: {describe_unplayable(None, wanted, harp)}"))
    steps = tuple(
        replace(step, index=i) for i, step in enumerate(easiest_fingerings(choices, harp, beat_s))
    )
    return make_arrangement(replace(empty, steps=steps), harp, half_steps, missing)


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


def _empty_drill(melody: Melody, harp: Harp) -> Drill:
    """Return a drill with the time and names of a melody, without steps."""
    end = max((note.start + note.beats for note in melody.notes), default=Fraction(1))
    bar = melody.meter[0]
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
    )


def _beat(at: Fraction, bar: int) -> str:
    return f"{float(at % bar) + 1.0:g}"
