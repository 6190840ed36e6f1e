"""Export of a drill as a Standard MIDI file, format 1 (MIDI 1.0; lyrics by RP-017).

Each part is a track. Each note of a chord has a channel of its own, so that it can be bent by
itself. Bends, glides and vibrato are pitch bend, with the range set by registered parameter 0. The
tab of each step is a lyric. The instrument is General MIDI's harmonica. Swing is written as played,
because MIDI has no notation for it.

Where a chord is asked for and one hole is written, its neighbour sounds too. It has a track of its
own after the parts, so that the part reads back as it is written. A note that sounds in two steps
in a row stops shortly before the second, as between two breaths.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import mido

from trainer.drill import BeatClock, Drill, Sound, Step
from trainer.exchange.errors import ExchangeError
from trainer.exchange.spelling import MIN_FIFTHS, best_key_signature
from trainer.harp import Harp

TICKS_PER_QUARTER = 960
"""Resolution in ticks per quarter note."""
HARMONICA_PROGRAM = 22
"""General MIDI program of the harmonica, from 0."""
NOTE_VELOCITY = 90
"""Velocity of all notes, of 127: a drill has no dynamics."""
PART_CHANNELS = (0, 1, 2, 3, 4), (5, 6, 7, 8, 10)
"""Channels of the first and the second part, from 0; 9 is for drums."""
REPEAT_GAP_S = 0.06
"""Seconds for which a note stops before it sounds again, as the built-in player does. Chosen."""
MAX_REPEAT_GAP_BEATS = Fraction(1, 10)
"""The same in beats, at most: `time_grid` reads a gap of that size as none."""
NEIGHBOUR_CHANNELS = 11, 12
"""Channels of the neighbours that complete the chords of the first and the second part."""
BEND_INTERVAL_S = 0.01
"""Seconds between pitch-bend messages while the pitch moves."""
DEFAULT_BEND_RANGE = 2
"""Pitch-bend range in half steps that synthesizers have by default."""
_BEND_UNITS = 8192
"""Pitch-bend units of the range to one side."""
_MAJOR_KEYS = ("Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#")
"""Major keys from `MIN_FIFTHS` on."""
_ORDER_ON_TICK = {"note_off": 0, "lyrics": 1, "pitchwheel": 2, "note_on": 3}
"""Order of messages on the same tick."""

TimedMessage = tuple[int, mido.Message]
"""A message and its tick."""


def write_midi(drill: Drill, harp: Harp, path: Path) -> None:
    """Write a drill as a Standard MIDI file.

    Args:
        drill: the drill.
        harp: the harp that plays it.
        path: the file.

    Raises:
        HarpError: the harp cannot play the drill.
        ExchangeError: the file cannot be written.
    """
    file = drill_to_midi(drill, harp)
    try:
        file.save(path)
    except OSError as error:
        raise ExchangeError(
            f"{path} cannot be written: {error.strerror}; choose another name"
        ) from None


def drill_to_midi(drill: Drill, harp: Harp) -> mido.MidiFile:
    """Return a drill as a Standard MIDI file.

    Raises:
        HarpError: the harp cannot play the drill.
    """
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    beat_ticks = TICKS_PER_QUARTER * 4 // drill.meter[1]
    file.tracks.append(_header_track(drill, harp))
    beat_0 = drill.meter[0] * beat_ticks if drill.start < 0 else 0
    clock = BeatClock(beat_0, 60.0, beat_ticks, drill.swing)  # its samples are ticks
    for steps, channels in zip((drill.steps, drill.second), PART_CHANNELS, strict=True):
        if steps:
            file.tracks.append(_part_track(drill, steps, channels, harp, clock))
    for steps, channel in zip((drill.steps, drill.second), NEIGHBOUR_CHANNELS, strict=True):
        if any(step.implied_neighbour(step.first) for step in steps):
            file.tracks.append(_neighbour_track(drill, steps, channel, harp, clock))
    return file


def _header_track(drill: Drill, harp: Harp) -> mido.MidiTrack:
    steps = (*drill.steps, *drill.second)
    notes = [note for step in steps for voice in _voices(step, harp) for note in voice]
    quarters_per_minute = drill.tempo * 4 / drill.meter[1]
    key = _MAJOR_KEYS[best_key_signature(notes) - MIN_FIFTHS]
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=drill.title))
    track.append(mido.MetaMessage("set_tempo", tempo=round(60e6 / quarters_per_minute)))
    track.append(
        mido.MetaMessage("time_signature", numerator=drill.meter[0], denominator=drill.meter[1])
    )
    track.append(mido.MetaMessage("key_signature", key=key))
    track.append(mido.MetaMessage("end_of_track"))
    return track


def _part_track(
    drill: Drill, steps: tuple[Step, ...], channels: tuple[int, ...], harp: Harp, clock: BeatClock
) -> mido.MidiTrack:
    bend_range = _bend_range(steps, harp)
    messages: list[TimedMessage] = []
    for channel in channels[: max(len(step.first) for step in steps)]:
        messages += ((0, message) for message in _channel_setup(channel, bend_range))
    events: list[TimedMessage] = []
    for step, stop in zip(steps, _stops(drill, steps, harp, clock), strict=True):
        events += _step_messages(drill, step, stop, channels, harp, clock, bend_range)
    return _track(f"{harp.name} harp", messages, events)


def _neighbour_track(
    drill: Drill, steps: tuple[Step, ...], channel: int, harp: Harp, clock: BeatClock
) -> mido.MidiTrack:
    """Return the neighbours that complete the chords of a part, held at their own pitch."""
    messages = [(0, message) for message in _channel_setup(channel, DEFAULT_BEND_RANGE)]
    events: list[TimedMessage] = []
    for step, stop in zip(steps, _stops(drill, steps, harp, clock), strict=True):
        for tab in step.implied_neighbour(step.first):
            events += _note_messages(clock.sample(step.start), stop, channel, harp.midi(tab))
    return _track(f"{harp.name} harp, neighbouring holes", messages, events)


def _stops(drill: Drill, steps: tuple[Step, ...], harp: Harp, clock: BeatClock) -> Iterator[int]:
    """Yield the tick on which each step stops: on its end, or before the same note sounds again."""
    beat_ticks = TICKS_PER_QUARTER * 4 // drill.meter[1]
    second = drill.tempo * beat_ticks / 60.0
    gap = min(round(REPEAT_GAP_S * second), math.floor(MAX_REPEAT_GAP_BEATS * beat_ticks))
    for step, following in zip(steps, (*steps[1:], None), strict=True):
        start, end = clock.sample(step.start), clock.sample(step.end)
        is_repeated = (
            following is not None
            and following.start == step.end
            and bool(_notes(step, step.last, harp) & _notes(following, following.first, harp))
        )
        yield max(end - gap, (start + end) // 2) if is_repeated else end


def _notes(step: Step, sound: Sound, harp: Harp) -> set[int]:
    """Return the MIDI note numbers of one of a step's sounds, with the implied neighbour's."""
    return {harp.midi(tab) for tab in (*sound, *step.implied_neighbour(sound))}


def _track(name: str, messages: list[TimedMessage], events: list[TimedMessage]) -> mido.MidiTrack:
    """Return a track of messages that set it up, and of events in any order."""
    events.sort(key=lambda event: (event[0], _ORDER_ON_TICK[event[1].type]))
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=name))
    now = 0
    for tick, message in [*messages, *events]:
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track"))
    return track


def _bend_range(steps: tuple[Step, ...], harp: Harp) -> int:
    """Return the pitch-bend range in half steps that a part needs."""
    voices = [voice for step in steps for voice in _voices(step, harp)]
    widest = max((max(abs(note - voice[0]) for note in voice) for voice in voices), default=0)
    offset = max((abs(cents) for step in steps for cents in step.offsets_cents), default=0.0)
    vibrato = max((step.vibrato.cents for step in steps if step.vibrato), default=0.0)
    return max(DEFAULT_BEND_RANGE, math.ceil(widest + offset / 100.0 + vibrato / 100.0))


def _channel_setup(channel: int, bend_range: int) -> Iterator[mido.Message]:
    yield mido.Message("program_change", channel=channel, program=HARMONICA_PROGRAM)
    select_bend_range = ((101, 0), (100, 0))
    deselect = ((101, 127), (100, 127))
    for control, value in (*select_bend_range, (6, bend_range), (38, 0), *deselect):
        yield mido.Message("control_change", channel=channel, control=control, value=value)


def _voices(step: Step, harp: Harp) -> list[list[int]]:
    """Return the MIDI note numbers of each note of a step's chord along its path."""
    sounds = [[harp.midi(tab) for tab in sorted(sound)] for sound in step.sounds]
    return [
        [sound[min(voice, len(sound) - 1)] for sound in sounds] for voice in range(len(sounds[0]))
    ]


def _step_messages(
    drill: Drill,
    step: Step,
    stop: int,
    channels: tuple[int, ...],
    harp: Harp,
    clock: BeatClock,
    bend_range: int,
) -> Iterator[TimedMessage]:
    start, end = clock.sample(step.start), clock.sample(step.end)
    yield start, mido.MetaMessage("lyrics", text=step.tab)
    seconds = (end - start) / TICKS_PER_QUARTER * 60.0 / (drill.tempo * 4 / drill.meter[1])
    moves = step.has_path or step.vibrato
    count = max(1, round(seconds / BEND_INTERVAL_S)) if moves else 1
    for channel, voice in zip(channels, _voices(step, harp), strict=False):
        sent = None
        for i in range(count):
            elapsed = i / count
            half_steps = _bend_half_steps(step, voice, elapsed, elapsed * seconds)
            units = round(half_steps / bend_range * _BEND_UNITS)
            bend = max(-_BEND_UNITS, min(_BEND_UNITS - 1, units))
            if bend != sent:
                tick = start + round(elapsed * (end - start))
                yield tick, mido.Message("pitchwheel", channel=channel, pitch=bend)
                sent = bend
        yield from _note_messages(start, stop, channel, voice[0])


def _note_messages(start: int, stop: int, channel: int, note: int) -> Iterator[TimedMessage]:
    """Yield the start and the end of a note."""
    yield start, mido.Message("note_on", channel=channel, note=note, velocity=NOTE_VELOCITY)
    yield stop, mido.Message("note_off", channel=channel, note=note, velocity=0)


def _bend_half_steps(step: Step, voice: list[int], elapsed: float, seconds: float) -> float:
    """Return the pitch of a voice relative to its first note, in half steps.

    Args:
        step: the step.
        voice: the voice's note numbers along the path.
        elapsed: elapsed fraction of the step.
        seconds: elapsed time in seconds, for the vibrato.
    """
    position = step.path_position(elapsed)
    before, after = math.floor(position), math.ceil(position)
    pitches = [voice[index] + step.offset_cents(index) / 100.0 for index in (before, after)]
    pitch = pitches[0] + (pitches[1] - pitches[0]) * (position - before)
    if step.vibrato:
        wave = math.sin(2.0 * math.pi * step.vibrato.hz * seconds)
        pitch += step.vibrato.cents / 100.0 * wave
    return pitch - voice[0]
