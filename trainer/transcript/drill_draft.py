"""A transcript as a drill, which can be practised at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from trainer.drill import CleannessRule, Drill, DrillError, Goal, Step, Vibrato
from trainer.drill.tab_words import MIN_LENGTH_BEATS
from trainer.transcript.model import TranscribedNote, Transcript

STEADY_TEMPO = 60.0
"""Beats a minute of a drill whose recording has no beat: seconds serve as beats."""
FINEST = Fraction(1, 12)
"""Beats of the grid on which such a drill is written."""
TEMPI = (20.0, 300.0)
OFF_CENTS, OFF_STEP = 25.0, 5.0
"""A pitch held so far from its tab entry is meant so; it is written to the nearest 5 cents."""
MOST_OFF = 95.0


def draft_drill(transcript: Transcript, name: str, title: str, about: str = "") -> Drill:
    """A drill of what was played.

    Args:
        transcript: the notes.
        name: of the drill.
        title: its title.
        about: what it says of itself.

    Raises:
        DrillError: nothing was played.
    """
    if not transcript.notes:
        raise DrillError(f"no note is heard in {transcript.name}; there is nothing to write down")
    meter = transcript.meter
    bar = meter.meter[0] if meter else 4
    zero = min(part[0].start for part in transcript.parts)
    parts = [_steps(part, zero, bar) for part in transcript.parts]
    steps, second = parts[0], parts[1] if len(parts) > 1 else ()
    begins = min(Fraction(0), *(part[0].start for part in parts))
    end = max(part[-1].end for part in parts)
    beats = Fraction(max(1, math.ceil(end / bar)) * bar)
    return Drill(
        name=name,
        title=title,
        about=about,
        key=transcript.harp.key.name,
        tuning=transcript.harp.tuning.name,
        tempo=min(max(round(meter.tempo), TEMPI[0]), TEMPI[1]) if meter else STEADY_TEMPO,
        meter=meter.meter if meter else (4, 4),
        goal=Goal(),
        steps=steps,
        end=beats,
        start=begins,
        swing=meter.swing if meter else 1.0,
        second=second,
    )


def _steps(notes: Sequence[TranscribedNote], zero: float, bar: int) -> tuple[Step, ...]:
    """Steps of one player's notes; `zero` is the second of the first beat where none is known."""
    steps: list[Step] = []
    for note in notes:
        at, beats = note.at, note.beats
        if at is None or beats is None:
            at = round(Fraction(note.start - zero) / FINEST) * FINEST
            beats = max(FINEST, round(Fraction(note.seconds) / FINEST) * FINEST)
        if steps and at < steps[-1].end:
            steps[-1] = _shorter(steps[-1], at)
        steps.append(_step(len(steps), note, at, beats, bar))
    return tuple(steps)


def _step(index: int, note: TranscribedNote, at: Fraction, beats: Fraction, bar: int) -> Step:
    off = round(note.cents / OFF_STEP) * OFF_STEP if abs(note.cents) >= OFF_CENTS else 0.0
    off = min(max(off, -MOST_OFF), MOST_OFF)
    alone = len(note.sounds) == 1
    chord = len(note.sounds[0]) > 1
    return Step(
        index,
        note.sounds,
        at,
        max(beats, MIN_LENGTH_BEATS),
        math.floor(at / bar) + 1 if at >= 0 else 0,
        offsets_cents=(off,) if off and alone and not chord else (),
        cleanness_rule=CleannessRule.PLAIN if chord else note.care,
        vibrato=_vibrato(note.vibrato),
    )


def _vibrato(vibrato: Vibrato | None) -> Vibrato | None:
    """As a drill can say it: a rate in halves of a hertz, a depth in steps of 5 cents."""
    if vibrato is None:
        return None
    hz = min(max(round(2.0 * vibrato.hz) / 2.0, 3.0), 9.0)
    return Vibrato(hz, min(max(5.0 * round(vibrato.cents / 5.0), 5.0), 100.0))


def _shorter(step: Step, end: Fraction) -> Step:
    return replace(step, beats=max(MIN_LENGTH_BEATS, end - step.start))
