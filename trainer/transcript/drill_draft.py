"""Write a transcript as a drill that can be practised at once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from trainer.drill import (
    MIN_BEATS,
    MIN_LENGTH_BEATS,
    CleannessRule,
    Drill,
    DrillError,
    DrillRecording,
    Goal,
    Step,
    Vibrato,
)
from trainer.transcript.free_time import time_freely
from trainer.transcript.model import Meter, TranscribedNote, Transcript

ABOUT_FREE_TIME = (
    "Free time: each beat lasts as long as in the recording, and bars only count beats."
)
"""Description of a drill in free time that is played along with its recording."""


@dataclass(frozen=True, slots=True)
class DraftParameters:
    """Constants of the draft. The ranges are those of the drill format."""

    beatless_tempo: float = 60.0
    """Tempo of a drill without a beat, beats per minute: a beat is a second."""
    beatless_grid: Fraction = Fraction(1, 12)
    """Grid of such a drill, beats."""
    min_tempo: float = 20.0
    """Lowest tempo of a drill, beats per minute."""
    max_tempo: float = 300.0
    """Highest tempo of a drill, beats per minute."""
    intended_cents: float = 25.0
    """Deviation from a tab entry from which the pitch is taken to be intended, cents (quarter
    tones are 50)."""
    offset_step_cents: float = 5.0
    """Step to which such a deviation is rounded, cents."""
    max_title: int = 80
    """Maximum length of a drill's title, characters."""
    max_offset_cents: float = 95.0
    """Maximum deviation that is written, cents."""


DRAFT = DraftParameters()
"""The constants in use."""


def draft_drill(
    transcript: Transcript,
    name: str,
    title: str = "",
    about: str = "",
    recording: str | None = None,
    channel: int | None = None,
) -> Drill:
    """Return a drill of a transcript.

    Args:
        transcript: the notes.
        name: name of the drill.
        title: title of the drill; by default, where it was heard.
        about: description of the drill.
        recording: path of the recording, to be played along with; None for none. Where it has no
            steady beat, its beats fall on the notes.
        channel: its channel, as in :class:`trainer.sound.RecordingSpec`.

    Raises:
        DrillError: the transcript has no notes.
    """
    if not transcript.notes:
        raise DrillError(f"no note is heard in {transcript.name}; there is nothing to write down")
    meter = transcript.meter
    if recording and (meter is None or len(meter.times) < MIN_BEATS):
        transcript, about = time_freely(transcript), about or ABOUT_FREE_TIME
        meter = transcript.meter
    bar = meter.meter[0] if meter else 4
    zero = min(part[0].start for part in transcript.parts)
    parts = [_steps(part, zero, bar) for part in transcript.parts]
    steps, second = parts[0], parts[1] if len(parts) > 1 else ()
    start = min(Fraction(0), *(part[0].start for part in parts))
    last = max(part[-1].end for part in parts)
    end = Fraction(max(1, math.ceil(last / bar)) * bar)
    tempo = DRAFT.beatless_tempo
    if meter:
        tempo = min(max(round(meter.tempo), DRAFT.min_tempo), DRAFT.max_tempo)
    return Drill(
        name=name,
        title=title or f"Heard in {transcript.name}"[: DRAFT.max_title],
        about=about,
        key=transcript.harp.key.name,
        tuning=transcript.harp.tuning.name,
        tempo=tempo,
        meter=meter.meter if meter else (4, 4),
        goal=Goal(),
        steps=steps,
        end=end,
        start=start,
        swing=meter.swing if meter else 1.0,
        second=second,
        recording=_recording(transcript, meter, recording, channel)
        if recording and meter
        else None,
    )


def _recording(
    transcript: Transcript, meter: Meter, file: str, channel: int | None
) -> DrillRecording:
    times = tuple(round(time, 3) for time in meter.times)
    first, second = (
        tuple(number for number, note in enumerate(part, start=1) if note.is_doubtful)
        for part in (transcript.notes, transcript.second)
    )
    return DrillRecording(file, times, meter.first, channel, doubtful=first, second_doubtful=second)


def _steps(notes: Sequence[TranscribedNote], zero: float, bar: int) -> tuple[Step, ...]:
    """Steps of one player's notes.

    A step that overlaps the next one is cut at its start.

    Args:
        notes: in order of their start.
        zero: second of the first beat, for notes without a beat.
        bar: beats per bar.
    """
    grid = DRAFT.beatless_grid
    steps: list[Step] = []
    for note in notes:
        start, beats = note.at, note.beats
        if start is None or beats is None:
            start = round(Fraction(note.start - zero) / grid) * grid
            beats = max(grid, round(Fraction(note.seconds) / grid) * grid)
        if steps and start < steps[-1].end:
            steps[-1] = _shortened(steps[-1], start)
        steps.append(_step(len(steps), note, start, beats, bar))
    return tuple(steps)


def _step(index: int, note: TranscribedNote, start: Fraction, beats: Fraction, bar: int) -> Step:
    step, limit = DRAFT.offset_step_cents, DRAFT.max_offset_cents
    offset = round(note.cents / step) * step if abs(note.cents) >= DRAFT.intended_cents else 0.0
    offset = min(max(offset, -limit), limit)
    alone = len(note.sounds) == 1
    chord = len(note.sounds[0]) > 1
    return Step(
        index,
        note.sounds,
        start,
        max(beats, MIN_LENGTH_BEATS),
        math.floor(start / bar) + 1 if start >= 0 else 0,
        offsets_cents=(offset,) if offset and alone and not chord else (),
        cleanness_rule=CleannessRule.PLAIN if chord else note.cleanness_rule,
        vibrato=_vibrato(note.vibrato),
    )


def _vibrato(vibrato: Vibrato | None) -> Vibrato | None:
    """Round to the drill format: 3 to 9 Hz in steps of 0.5, 5 to 100 cents in steps of 5."""
    if vibrato is None:
        return None
    hz = min(max(round(2.0 * vibrato.hz) / 2.0, 3.0), 9.0)
    return Vibrato(hz, min(max(5.0 * round(vibrato.cents / 5.0), 5.0), 100.0))


def _shortened(step: Step, end: Fraction) -> Step:
    return replace(step, beats=max(MIN_LENGTH_BEATS, end - step.start))
