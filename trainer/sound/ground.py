"""The voice of a ground: what the trainer plays under a solo.

A plain tone of few partials, plucked or held. It is played with the trainer's own steps, and so is
part of the reference signal of the echo canceller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from trainer.core.types import Floats
from trainer.drill import GroundNote, GroundRole
from trainer.harp import Harp
from trainer.music import midi_to_hz


@dataclass(frozen=True, slots=True)
class GroundParameters:
    """Constants of the voice of a ground. All chosen by hand."""

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


PARAMETERS = GroundParameters()
_LEVELS = {
    GroundRole.BASS: PARAMETERS.bass_level,
    GroundRole.CHORD: PARAMETERS.chord_level,
    GroundRole.DRONE: PARAMETERS.drone_level,
}


@dataclass(frozen=True, slots=True)
class PlayedGroundNote:
    """A note of a ground as it is to be played.

    Attributes:
        note: the note.
        db: its level relative to the usual one in dB.
    """

    note: GroundNote
    db: float = 0.0

    @property
    def start(self) -> Fraction:
        """Beat on which it begins."""
        return self.note.start


class GroundVoice:
    """A note of the ground sounding, on the frames of an output.

    Attributes:
        start, stop, end: frames on which it starts, its release begins, and it is silent.
    """

    def __init__(
        self, played: PlayedGroundNote, harp: Harp, start: int, stop: int, rate: int
    ) -> None:
        """Prepare it, in equal temperament at the harp's A4.

        Args:
            played: the note.
            harp: the harp that is played beside it, which gives it its key.
            start: frame on which it starts.
            stop: frame on which its release begins.
            rate: frames per second.
        """
        p = PARAMETERS
        self.start, self.stop = start, max(stop, start + 1)
        self._release = round(p.release_s * rate)
        self._is_held = played.note.role is GroundRole.DRONE
        self._attack = round((p.drone_attack_s if self._is_held else p.attack_s) * rate)
        self._rate, self._hz = rate, midi_to_hz(played.note.midi(harp), harp.a4)
        rms = _LEVELS[played.note.role] * 10.0 ** (played.db / 20.0)
        levels = [db for k, db in enumerate(p.partials_db, 1) if k * self._hz < 0.45 * rate]
        amplitudes = 10.0 ** (np.array(levels) / 20.0)
        self._amplitudes = rms * amplitudes * math.sqrt(2.0 / float(np.sum(amplitudes**2)))

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
        rate_of_decay = 0.0 if self._is_held else 1.0 / (PARAMETERS.decay_s * self._rate)
        decay = np.exp(-n * rate_of_decay)
        phase = 2.0 * np.pi * self._hz / self._rate * n
        wave = sum(amplitude * np.sin(k * phase) for k, amplitude in enumerate(self._amplitudes, 1))
        out[a - first : b - first] += rise * fall * decay * wave

    def release_at(self, frame: int) -> None:
        """Begin its release on a frame, unless it began earlier."""
        self.stop = min(self.stop, frame)
