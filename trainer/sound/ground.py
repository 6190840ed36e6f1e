"""The ground: what the trainer plays under a solo, as notes of a plain voice.

The notes follow from the chords of a drill and from how it wants them played. They lie below most
of the harp, between C2 and the B above middle C, and have few partials, so that a player hears
their own reeds through them. They are played with the trainer's own steps, and so are part of the
reference signal of the echo canceller.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

import numpy as np

from trainer.core.types import Floats
from trainer.drill import Drill, GroundChord, GroundStyle
from trainer.harp import Harp
from trainer.music import Chord, key_in_position, midi_to_hz


@dataclass(frozen=True, slots=True)
class GroundParameters:
    """Constants of the ground, chosen by hand."""

    lowest_bass: int = 36
    """Lowest MIDI note of the bass: C2."""
    lowest_chord: int = 52
    """Lowest MIDI note of the chords: E3."""
    bass_level: float = 0.07
    """RMS level of a note of the bass at its onset, relative to full scale."""
    chord_level: float = 0.025
    """The same of each note of a chord."""
    drone_level: float = 0.03
    """The same of each note of a drone."""
    partials_db: tuple[float, ...] = (0.0, -8.0, -14.0, -22.0, -28.0)
    """Levels of the partials from the fundamental up, in dB."""
    decay_s: float = 0.7
    """Time constant of the decay of bass and chords, in seconds."""
    attack_s: float = 0.008
    """Attack of bass and chords, in seconds."""
    drone_attack_s: float = 0.15
    """Attack of a drone, in seconds."""
    release_s: float = 0.06
    """Release, in seconds."""
    chord_beats: float = 0.5
    """Length of a chord on a weak beat, in beats."""


PARAMETERS = GroundParameters()
_LINE = (0, 2, 1, 2)
"""Notes of the chord on the beats of a bass line: root, fifth, third, fifth (common practice)."""


@dataclass(frozen=True, slots=True)
class GroundNote:
    """A note of the ground.

    Attributes:
        start, end: beats between which it sounds.
        half_steps: its note in half steps above the key of the harp, 0 to 11.
        lowest: MIDI note from which its octave is counted.
        level: RMS level at its onset, relative to full scale.
        is_held: whether it keeps its level.
    """

    start: Fraction
    end: Fraction
    half_steps: int
    lowest: int
    level: float
    is_held: bool = False

    def midi(self, harp: Harp) -> int:
        """MIDI note number on a harp."""
        return self.lowest + (harp.key.tonic + self.half_steps - self.lowest) % 12


def ground_notes(drill: Drill, bars: tuple[int, int], db: float = 0.0) -> tuple[GroundNote, ...]:
    """Return the notes of a drill's ground that begin in a range of bars, in order of time.

    Args:
        drill: the drill.
        bars: first and last bar, counted from 1.
        db: level relative to the usual one in dB.
    """
    if drill.ground is None:
        return ()
    first, end = drill.first_beat(bars[0]), drill.first_beat(bars[1] + 1)
    play = {
        GroundStyle.DRONE: _drone,
        GroundStyle.BASS: _bass,
        GroundStyle.CHORDS: _chords,
    }[drill.ground.style]
    chords = [chord for chord in drill.chords if first <= chord.start < end]
    tonic, gain = key_in_position(0, drill.position or 1), 10.0 ** (db / 20.0)
    notes = (
        replace(note, half_steps=(tonic + note.half_steps) % 12, level=gain * note.level)
        for note in play(chords, drill.meter)
    )
    return tuple(sorted(notes, key=lambda note: note.start))


def _drone(chords: list[GroundChord], meter: tuple[int, int]) -> Iterator[GroundNote]:
    """Yield root and fifth, held over each bar and over chords that stay."""
    p = PARAMETERS
    for _, run in groupby(chords, lambda each: (each.chord, each.start // meter[0])):
        same = list(run)
        root = same[0].chord.root
        for half_steps, lowest in ((root, p.lowest_bass), ((root + 7) % 12, p.lowest_bass + 7)):
            yield GroundNote(same[0].start, same[-1].end, half_steps, lowest, p.drone_level, True)


def _bass(chords: list[GroundChord], meter: tuple[int, int]) -> Iterator[GroundNote]:
    """Yield a line of one note on each beat, or on each three eighths of a compound meter."""
    p, beat = PARAMETERS, _pulse(meter)
    for each in chords:
        notes = each.chord.half_steps
        for i in range(math.ceil(each.beats / beat)):
            start = each.start + i * beat
            half_steps = notes[_LINE[i % len(_LINE)] % len(notes)]
            yield GroundNote(
                start, min(start + beat, each.end), half_steps, p.lowest_bass, p.bass_level
            )


def _chords(chords: list[GroundChord], meter: tuple[int, int]) -> Iterator[GroundNote]:
    """Yield the root on the first of two pulses, and the chord on the second."""
    p, beat = PARAMETERS, _pulse(meter)
    length = Fraction(p.chord_beats).limit_denominator(16) * beat
    for each in chords:
        for i in range(math.ceil(each.beats / beat)):
            start = each.start + i * beat
            is_root = i == 0 or (meter[0] % 2 == 0 and i % 2 == 0)
            if is_root:
                end = min(start + beat, each.end)
                yield GroundNote(start, end, each.chord.root, p.lowest_bass, p.bass_level)
            else:
                end = min(start + length, each.end)
                for half_steps in _voicing(each.chord):
                    yield GroundNote(start, end, half_steps, p.lowest_chord, p.chord_level)


def _voicing(chord: Chord) -> tuple[int, ...]:
    """Return the notes of a chord that are played above its root, three at most."""
    notes = chord.half_steps
    return notes if len(notes) <= 3 else (notes[1], *notes[2:4])


def _pulse(meter: tuple[int, int]) -> Fraction:
    """Return the beats of a pulse: three in compound meters, one in others (common practice)."""
    count, value = meter
    return Fraction(3 if value >= 8 and count % 3 == 0 and count > 3 else 1)


class GroundVoice:
    """A note of the ground sounding, on the frames of an output.

    Attributes:
        start, stop, end: frames on which it starts, its release begins, and it is silent.
    """

    def __init__(self, hz: float, note: GroundNote, start: int, stop: int, rate: int) -> None:
        """Prepare it: a note at a pitch in hertz, between two frames, at a rate in hertz."""
        p = PARAMETERS
        self.start, self.stop = start, max(stop, start + 1)
        self._release = round(p.release_s * rate)
        self._attack = round((p.drone_attack_s if note.is_held else p.attack_s) * rate)
        self._hz, self._rate, self._note = hz, rate, note
        levels = [db for k, db in enumerate(p.partials_db, 1) if k * hz < 0.45 * rate]
        amplitudes = 10.0 ** (np.array(levels) / 20.0)
        self._amplitudes = note.level * amplitudes * math.sqrt(2.0 / float(np.sum(amplitudes**2)))

    @property
    def end(self) -> int:
        """First frame after it."""
        return self.stop + self._release

    def add_to(self, out: Floats, air: Floats, first: int) -> None:
        """Add its next stretch to frames, shape (n,), of which the first has the number `first`.

        Its level needs no breath: `air` stays as it is.
        """
        a, b = max(self.start, first), min(self.end, first + len(out))
        if a >= b:
            return
        n = np.arange(a, b, dtype=np.float64) - self.start
        rise = np.minimum(1.0, (n + 1.0) / self._attack)
        fall = np.clip(1.0 - (n + self.start - self.stop) / self._release, 0.0, 1.0)
        rate_of_decay = 0.0 if self._note.is_held else 1.0 / (PARAMETERS.decay_s * self._rate)
        decay = np.exp(-n * rate_of_decay)
        phase = 2.0 * np.pi * self._hz / self._rate * n
        wave = sum(amplitude * np.sin(k * phase) for k, amplitude in enumerate(self._amplitudes, 1))
        out[a - first : b - first] += rise * fall * decay * wave

    def release_at(self, frame: int) -> None:
        """Begin its release on a frame, unless it began earlier."""
        self.stop = min(self.stop, frame)


def ground_hz(note: GroundNote, harp: Harp) -> float:
    """Return the pitch of a note in hertz, in equal temperament at the harp's A4."""
    return midi_to_hz(note.midi(harp), harp.a4)
