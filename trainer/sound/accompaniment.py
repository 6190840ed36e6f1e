"""What the trainer itself plays beside the player: calls, the other part of a duet, the ground.

A step is scheduled when it is due and rendered as it is given to the output. So neither a long part
nor a long note takes memory, and each begins on its sample however clock and output drift.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from trainer.core.types import Samples
from trainer.drill import BeatClock, Drill, Step, ground_notes
from trainer.harp import Harp
from trainer.sound.ground import GroundVoice, PlayedGroundNote
from trainer.sound.performer.fault import Fault
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.performance import perform
from trainer.sound.performer.voice import ReedVoice, VoiceKind

TrainerNote = Step | PlayedGroundNote
"""What the trainer plays: a step of the drill, or a note of its ground."""

_SEED = 2
"""Seed of its harp, another one than that of the built-in player, who may play beside it."""


def accompaniment_steps(drill: Drill, bars: tuple[int, int] | None = None) -> tuple[Step, ...]:
    """Return what the trainer plays in a pass: the calls, and all of the other part.

    Nothing where the drill has a recording, which holds both.

    Args:
        drill: with the player's part in its steps, see :meth:`trainer.drill.Drill.part`.
        bars: first and last bar of the pass, counted from 1; None takes all.

    Returns:
        The steps that start in these bars, in order of time; their indices are those of their
        own part.
    """
    if drill.recording is not None:
        return ()
    first, last = bars or (1, drill.bars)
    steps = [*(step for step in drill.steps if step.call), *drill.second]
    inside = [step for step in steps if first <= max(1, step.bar) <= last]
    return tuple(sorted(inside, key=lambda step: step.start))


def trainer_notes(
    drill: Drill, bars: tuple[int, int] | None = None, ground_db: float | None = 0.0
) -> tuple[TrainerNote, ...]:
    """Return all that the trainer plays in a pass: its steps, and the notes of the ground.

    Args:
        drill: with the player's part in its steps.
        bars: first and last bar of the pass, counted from 1; None takes all.
        ground_db: level of the ground relative to the usual one in dB; None plays none.
    """
    ground: list[PlayedGroundNote] = []
    if ground_db is not None:
        ground = [PlayedGroundNote(note, ground_db) for note in ground_notes(drill, bars)]
    notes: list[TrainerNote] = [*accompaniment_steps(drill, bars), *ground]
    return tuple(sorted(notes, key=lambda note: note.start))


class Accompaniment:
    """Steps and notes of the ground on their way to an output."""

    def __init__(self, rate: int) -> None:
        """`rate` in samples per second of the output."""
        self._rate = rate
        self._waiting: deque[tuple[Harp, BeatClock, TrainerNote]] = deque()
        self._sounding: list[ReedVoice | GroundVoice] = []

    def add(self, harp: Harp, clock: BeatClock, notes: Sequence[TrainerNote]) -> None:
        """Play steps and notes of a ground after those added before.

        Args:
            harp: what they are played on.
            clock: where their beats fall.
            notes: in order of time.

        Raises:
            HarpError: the harp cannot play one.
        """
        for note in notes:
            for tab in note.tabs if isinstance(note, Step) else ():
                harp.midi(tab)
        self._waiting.extend((harp, clock, note) for note in notes)

    def stop(self, frame: int) -> None:
        """Play nothing further, and release what sounds at a frame of the output."""
        self._waiting.clear()
        self._sounding = [voice for voice in self._sounding if voice.start < frame]
        for voice in self._sounding:
            voice.release_at(frame)

    def mix(self, out: Samples, first: int, frame_of: Callable[[int], int]) -> None:
        """Add what is played to the next stretch of output, as far as they fall into it.

        Args:
            out: frames, shape (n,), of which the first has the number `first`; changed.
            first: that number; each stretch follows on the one before.
            frame_of: returns the frame of the output on which a sample of the clock is heard.
        """
        end = first + len(out)
        while self._waiting:
            harp, clock, note = self._waiting[0]
            frame = frame_of(clock.sample(note.start))
            if frame >= end:
                break
            self._waiting.popleft()
            if isinstance(note, Step):
                self._sounding += self._voices(harp, clock, note, frame)
            else:
                stop = frame_of(clock.sample(note.note.end))
                self._sounding.append(GroundVoice(note, harp, frame, stop, self._rate))
        if not self._sounding:
            return
        sound, air = np.zeros(len(out)), np.zeros(len(out))
        for voice in self._sounding:
            voice.add_to(sound, air, first)
        self._sounding = [voice for voice in self._sounding if voice.end > end]
        out += sound.astype(np.float32)

    def _voices(self, harp: Harp, clock: BeatClock, step: Step, frame: int) -> list[ReedVoice]:
        """Return a step's voices on the output's frames, starting at `frame`."""
        beats = replace(clock, zero=0, rate=self._rate)
        pace = Pace(replace(beats, zero=frame - beats.sample(step.start)))
        return perform(harp, pace, [(step, Fault())], _SEED, VoiceKind.NATURAL)
