"""The ground of a drill as notes: which sound when, for the chords that it has.

They lie below most of the harp, so that players hear their own reeds: the bass from C2 on, chords
from E3 on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from itertools import groupby

from trainer.drill.model import Drill
from trainer.drill.solo import GroundChord, GroundStyle
from trainer.harp import Harp
from trainer.music import Chord, key_in_position

LOWEST_BASS, LOWEST_CHORD = 36, 52
"""Lowest MIDI notes of the bass and of chords: C2 and E3 (chosen by hand)."""
CHORD_BEATS = Fraction(1, 2)
"""Length of a chord on a weak beat, in pulses (chosen by hand)."""
_LINE = (0, 2, 1, 2)
"""Notes of the chord on the beats of a bass line: root, fifth, third, fifth (common practice)."""


class GroundRole(StrEnum):
    """What a note of the ground is."""

    BASS = "bass"
    CHORD = "chord"
    DRONE = "drone"


@dataclass(frozen=True, slots=True)
class GroundNote:
    """A note of the ground.

    Attributes:
        start, end: beats between which it sounds.
        half_steps: its note in half steps above the key of the harp, 0 to 11.
        lowest: MIDI note from which its octave is counted.
        role: what it is.
    """

    start: Fraction
    end: Fraction
    half_steps: int
    lowest: int
    role: GroundRole

    def midi(self, harp: Harp) -> int:
        """MIDI note number on a harp."""
        return self.lowest + (harp.key.tonic + self.half_steps - self.lowest) % 12


def ground_notes(drill: Drill, bars: tuple[int, int] | None = None) -> tuple[GroundNote, ...]:
    """Return the notes of a drill's ground that begin in a range of bars, in order of time.

    Args:
        drill: the drill.
        bars: first and last bar, counted from 1; None takes all.
    """
    if drill.ground is None:
        return ()
    first_bar, last_bar = bars or (1, drill.bars)
    first, end = drill.first_beat(first_bar), drill.first_beat(last_bar + 1)
    play = {
        GroundStyle.DRONE: _drone,
        GroundStyle.BASS: _bass,
        GroundStyle.CHORDS: _chords,
    }[drill.ground.style]
    chords = [chord for chord in drill.chords if first <= chord.start < end]
    tonic = key_in_position(0, drill.position or 1)
    notes = (
        replace(note, half_steps=(tonic + note.half_steps) % 12)
        for note in play(chords, drill.meter)
    )
    return tuple(sorted(notes, key=lambda note: note.start))


def _drone(chords: list[GroundChord], meter: tuple[int, int]) -> Iterator[GroundNote]:
    """Yield root and fifth, held over each bar and over chords that stay in it."""
    for _, run in groupby(chords, lambda each: (each.chord, each.start // meter[0])):
        same = list(run)
        start, end, root = same[0].start, same[-1].end, same[0].chord.root
        for half_steps, lowest in ((root, LOWEST_BASS), ((root + 7) % 12, LOWEST_BASS + 7)):
            yield GroundNote(start, end, half_steps, lowest, GroundRole.DRONE)


def _bass(chords: list[GroundChord], meter: tuple[int, int]) -> Iterator[GroundNote]:
    """Yield a line of one note on each pulse."""
    beat = _pulse(meter)
    for each in chords:
        notes = each.chord.half_steps
        for i in range(math.ceil(each.beats / beat)):
            start = each.start + i * beat
            end = min(start + beat, each.end)
            half_steps = notes[_LINE[i % len(_LINE)] % len(notes)]
            yield GroundNote(start, end, half_steps, LOWEST_BASS, GroundRole.BASS)


def _chords(chords: list[GroundChord], meter: tuple[int, int]) -> Iterator[GroundNote]:
    """Yield the root on the first of two pulses, and the chord on the second."""
    beat = _pulse(meter)
    for each in chords:
        for i in range(math.ceil(each.beats / beat)):
            start = each.start + i * beat
            if i == 0 or (meter[0] % 2 == 0 and i % 2 == 0):
                end = min(start + beat, each.end)
                yield GroundNote(start, end, each.chord.root, LOWEST_BASS, GroundRole.BASS)
            else:
                end = min(start + CHORD_BEATS * beat, each.end)
                for half_steps in _voicing(each.chord):
                    yield GroundNote(start, end, half_steps, LOWEST_CHORD, GroundRole.CHORD)


def _voicing(chord: Chord) -> tuple[int, ...]:
    """Return the notes of a chord that are played above its root, three at most."""
    notes = chord.half_steps
    return notes if len(notes) <= 3 else notes[1:4]


def _pulse(meter: tuple[int, int]) -> Fraction:
    """Return the beats of a pulse: three in compound meters, one in others (common practice)."""
    count, value = meter
    return Fraction(3 if value >= 8 and count % 3 == 0 and count > 3 else 1)
