"""A drill as a Standard MIDI file (format 1; MIDI 1.0 Detailed Specification, with RP-017 lyrics).

A part is a track, each note of a chord on a channel of its own, so that each can be bent by
itself. Bends, glides and vibrato are pitch bend over a range that registered parameter 0 sets.
The tab stands beside each note as a lyric. The instrument is General MIDI's harmonica. Swing is
played, since a MIDI file has no word for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import mido

from trainer.drill import BeatClock, Drill, Step
from trainer.exchange.errors import ExchangeError
from trainer.exchange.spelling import MIN_FIFTHS, best_key_signature
from trainer.harp import Harp

TICKS_PER_QUARTER = 960
"""Of a quarter note."""
HARMONICA_PROGRAM = 22
"""Counted from 0."""
NOTE_VELOCITY = 90
PART_CHANNELS = (0, 1, 2, 3, 4), (5, 6, 7, 8, 10)
"""Channels of the first and the second part; 9 is for drums."""
BEND_INTERVAL_S = 0.01
"""Seconds between two pitch bends, while the pitch moves."""
DEFAULT_BEND_RANGE = 2
"""Half steps of bend that every synthesizer has by itself."""
_MIDDLE = 8192
_KEYS = ("Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#")
"""Major keys from `MIN_FIFTHS` on."""
_LATE = {"note_off": 0, "lyrics": 1, "pitchwheel": 2, "note_on": 3}
"""What comes first on one tick."""


def write_midi(drill: Drill, harp: Harp, path: Path) -> None:
    """Write a drill as a Standard MIDI file.

    Args:
        drill: the drill.
        harp: what it is played on.
        path: the file.

    Raises:
        HarpError: the harp cannot play it.
        ExchangeError: the file cannot be written.
    """
    file = drill_to_midi(drill, harp)
    try:
        file.save(path)
    except OSError as error:
        raise ExchangeError(f"{path} cannot be written: {error.strerror}; name another") from None


def drill_to_midi(drill: Drill, harp: Harp) -> mido.MidiFile:
    """A drill as a Standard MIDI file.

    Raises:
        HarpError: the harp cannot play it.
    """
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    beat = TICKS_PER_QUARTER * 4 // drill.meter[1]
    steps = (*drill.steps, *drill.second)
    head = mido.MidiTrack()
    head.append(mido.MetaMessage("track_name", name=drill.title))
    quarters = drill.tempo * 4 / drill.meter[1]
    head.append(mido.MetaMessage("set_tempo", tempo=round(60e6 / quarters)))
    head.append(
        mido.MetaMessage("time_signature", numerator=drill.meter[0], denominator=drill.meter[1])
    )
    sounding = [note for step in steps for voice in _voices(step, harp) for note in voice]
    head.append(
        mido.MetaMessage("key_signature", key=_KEYS[best_key_signature(sounding) - MIN_FIFTHS])
    )
    head.append(mido.MetaMessage("end_of_track"))
    file.tracks.append(head)
    zero = drill.meter[0] * beat if drill.start < 0 else 0
    clock = BeatClock(zero, 60.0, beat, drill.swing)  # a sample of it is a tick
    for part, channels in zip((drill.steps, drill.second), PART_CHANNELS, strict=True):
        if part:
            file.tracks.append(_track(drill, part, channels, harp, clock))
    return file


def _track(
    drill: Drill, steps: tuple[Step, ...], channels: tuple[int, ...], harp: Harp, clock: BeatClock
) -> mido.MidiTrack:
    bends = [one for step in steps for voice in _voices(step, harp) for one in voice]
    widest = max(
        (max(abs(one - voice[0]) for one in voice) for voice in _all(steps, harp)), default=0
    )
    offs = max((abs(off) for step in steps for off in step.offsets_cents), default=0.0) / 100.0
    swing = max((step.vibrato.cents for step in steps if step.vibrato), default=0.0) / 100.0
    reach = (
        max(DEFAULT_BEND_RANGE, math.ceil(widest + offs + swing)) if bends else DEFAULT_BEND_RANGE
    )
    voices = max(len(step.first) for step in steps)
    told: list[tuple[int, mido.Message]] = []
    for channel in channels[:voices]:
        told.append((0, mido.Message("program_change", channel=channel, program=HARMONICA_PROGRAM)))
        for control, value in ((101, 0), (100, 0), (6, reach), (38, 0), (101, 127), (100, 127)):
            told.append(
                (0, mido.Message("control_change", channel=channel, control=control, value=value))
            )
    events: list[tuple[int, mido.Message]] = []
    for step in steps:
        events += _step(drill, step, channels, harp, clock, reach)
    events.sort(key=lambda one: (one[0], _LATE[one[1].type]))
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=f"{harp.name} harp"))
    now = 0
    for at, message in [*told, *events]:
        track.append(message.copy(time=at - now))
        now = at
    track.append(mido.MetaMessage("end_of_track"))
    return track


def _all(steps: tuple[Step, ...], harp: Harp) -> Iterator[list[int]]:
    for step in steps:
        yield from _voices(step, harp)


def _voices(step: Step, harp: Harp) -> list[list[int]]:
    """The MIDI note numbers that each note of a step's chord goes through."""
    paths = [[harp.midi(tab) for tab in sorted(sound)] for sound in step.sounds]
    return [[path[min(k, len(path) - 1)] for path in paths] for k in range(len(paths[0]))]


def _step(
    drill: Drill,
    step: Step,
    channels: tuple[int, ...],
    harp: Harp,
    clock: BeatClock,
    reach: int,
) -> Iterator[tuple[int, mido.Message]]:
    start, end = clock.sample(step.start), clock.sample(step.end)
    yield start, mido.MetaMessage("lyrics", text=step.tab)
    seconds = (end - start) / TICKS_PER_QUARTER * 60.0 / (drill.tempo * 4 / drill.meter[1])
    count = max(1, round(seconds / BEND_INTERVAL_S)) if step.has_path or step.vibrato else 1
    for channel, voice in zip(channels, _voices(step, harp), strict=False):
        sent = None
        for i in range(count):
            part = i / count
            bend = _bend(step, voice, part, part * seconds)
            value = max(-_MIDDLE, min(_MIDDLE - 1, round(bend / reach * _MIDDLE)))
            if value != sent:
                at = start + round(part * (end - start))
                yield at, mido.Message("pitchwheel", channel=channel, pitch=value)
                sent = value
        yield start, mido.Message("note_on", channel=channel, note=voice[0], velocity=NOTE_VELOCITY)
        yield end, mido.Message("note_off", channel=channel, note=voice[0], velocity=0)


def _bend(step: Step, voice: list[int], part: float, seconds: float) -> float:
    """Half steps from the note that a voice began on."""
    place = step.path_position(part)
    before, after = math.floor(place), math.ceil(place)
    heights = [voice[at] + step.offset_cents(at) / 100.0 for at in (before, after)]
    height = heights[0] + (heights[1] - heights[0]) * (place - before)
    if step.vibrato:
        wave = math.sin(2.0 * math.pi * step.vibrato.hz * seconds)
        height += step.vibrato.cents / 100.0 * wave
    return height - voice[0]
