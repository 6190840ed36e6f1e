"""A melody that nobody has written for a harp yet: its notes in time, and harps that can play them.

Conventions. Beats are counted as in :class:`trainer.drill.Drill`, from the first beat of the first
full bar, as exact fractions.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from trainer.drill.difficulty import seconds_per_beat
from trainer.drill.fingerings import TargetPitch, describe_unplayable, fingerings
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
"""What stands in a step until a hole has been chosen."""


@dataclass(frozen=True, slots=True)
class MelodyNote:
    """One note, or what sounds together.

    Attributes:
        start, beats: where it stands, and for how long.
        path: what sounds; more than one where it glides from one to the next.
        ladder: whether each of these is held, without a glide between.
    """

    start: Fraction
    beats: Fraction
    path: tuple[TargetPitch, ...]
    ladder: bool = False


@dataclass(frozen=True, slots=True)
class Melody:
    """A melody.

    Attributes:
        name: for the file of a drill.
        title: its title.
        notes: in order, none over another.
        tempo: beats a minute.
        meter: beats in a bar and the note value of one.
        start: the beat on which it begins: 0, or negative with a pick-up.
        swing: as in :class:`trainer.drill.Drill`.
        tonic: pitch class of its tonic, by its key signature; None where there is none.
        notices: what of the file was left out or changed, a sentence each.
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
    """The melody on a harp, moved by half steps, in the easiest way; what the harp cannot play is
    left out and told."""
    bar = melody.meter[0]
    frame = _frame(melody, harp)
    beat_s = seconds_per_beat(frame)
    choices: list[tuple[Step, ...]] = []
    lost: list[tuple[Step, str]] = []
    for note in melody.notes:
        wanted = tuple(
            TargetPitch(tuple(one + half_steps for one in pitch.notes), pitch.offset_cents)
            for pitch in note.path
        )
        number = math.floor(note.start / bar) + 1 if note.start >= 0 else 0
        step = Step(
            0, _ANY_HOLE * len(note.path), note.start, note.beats, number, ladder=note.ladder
        )
        if found := fingerings(step, wanted, harp):
            choices.append(found)
        else:
            where = f"bar {number}, beat {_beat(note.start, bar)}" if number else "pick-up"
            lost.append((step, f"{where}: {describe_unplayable(None, wanted, harp)}"))
    steps = tuple(
        replace(step, index=i) for i, step in enumerate(easiest_fingerings(choices, harp, beat_s))
    )
    return make_arrangement(replace(frame, steps=steps), harp, half_steps, lost)


def arrange_on_harps(
    melody: Melody, harps: Iterable[Harp], moves: Iterable[int] = OCTAVE_SHIFTS
) -> tuple[Arrangement, ...]:
    """Arrangements of a melody on several harps, the best first.

    Args:
        melody: the melody.
        harps: that are tried.
        moves: the half steps by which it may be moved.
    """
    moves = tuple(moves)
    return rank_arrangements(arrange_on_harp(melody, harp, by) for harp in harps for by in moves)


def standard_harps(tuning: str) -> tuple[Harp, ...]:
    """A harp in each of the standard keys.

    Raises:
        HarpError: there is no such tuning.
    """
    return tuple(Harp.of(key, tuning) for key in STANDARD_KEYS)


def half_steps_to_position(melody: Melody, harp: Harp, position: int) -> tuple[int, ...]:
    """The half steps by which a melody comes into a position on a harp, in each octave.

    Raises:
        MusicError: there is no such position.
    """
    wanted = key_in_position(harp.key.tonic, position)
    up = (wanted - (melody.tonic or 0) + 6) % 12 - 6
    return tuple(up + octave for octave in OCTAVE_SHIFTS)


def _frame(melody: Melody, harp: Harp) -> Drill:
    """A drill of its time, without steps."""
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
