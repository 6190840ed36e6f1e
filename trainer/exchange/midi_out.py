"""Export of a drill as a Standard MIDI file, format 1 (MIDI 1.0; lyrics by RP-017).

Each part is a track; :mod:`trainer.exchange.midi_performance` says how its notes are played. The
tab of each step is a lyric. The instrument is General MIDI's harmonica. Swing is written as played,
because MIDI has no notation for it.

So that the file reads back as the same drill, text events carry what MIDI has no other means for:
in the first track the fields of :mod:`trainer.exchange.drill_fields`, in the others each step,
rest and solo as it is written in a drill file. A marker is on beat 0, and one on each solo.

Where a chord is asked for and one hole is written, its neighbour sounds too. It has a track of its
own after the parts, and the ground has the last one. A note stops shortly before the next one,
unless it is legato.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import mido

from trainer.drill import Drill, GroundRole, Solo, Step, ground_notes, step_text
from trainer.exchange.drill_fields import SOLO_MARK, DrillFields
from trainer.exchange.errors import ExchangeError
from trainer.exchange.midi_performance import (
    DEFAULT_BEND_RANGE,
    TICKS_PER_QUARTER,
    TimedMessage,
    Timing,
    bend_range,
    control_messages,
    moving_controls,
    note_messages,
    sounding_messages,
    soundings,
    velocity_of,
    voice_count,
)
from trainer.exchange.spelling import MIN_FIFTHS, key_signature
from trainer.harp import Harp
from trainer.music import key_in_position

HARMONICA_PROGRAM = 22
"""General MIDI program of the harmonica, from 0."""
PART_CHANNELS = (0, 1, 2, 3, 4), (5, 6, 7, 8, 10)
"""Channels of the first and the second part, from 0; 9 is for drums."""
NEIGHBOUR_CHANNELS = 11, 12
"""Channels of the neighbours that complete the chords of the first and the second part."""
GROUND_CHANNEL, GROUND_PROGRAM = 13, 0
"""Channel and General MIDI program of the ground, from 0: a piano."""
GROUND_VELOCITIES = {GroundRole.BASS: 72, GroundRole.CHORD: 52, GroundRole.DRONE: 52}
"""Velocities of its notes (chosen by hand)."""
FIRST_BEAT_MARKER = "bar 1"
"""Marker on beat 0."""
_MAJOR_KEYS = ("Gb", "Db", "Ab", "Eb", "Bb", "F", "C", "G", "D", "A", "E", "B", "F#")
"""Major keys from `MIN_FIFTHS` on."""
_MINOR_KEYS = ("Ebm", "Bbm", "Fm", "Cm", "Gm", "Dm", "Am", "Em", "Bm", "F#m", "C#m", "G#m", "D#m")
"""Minor keys with the same signatures."""
_ORDER_ON_TICK = {
    "note_off": 0,
    "text": 1,
    "lyrics": 2,
    "control_change": 3,
    "pitchwheel": 3,
    "note_on": 4,
}
"""Order of messages on the same tick."""


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
    timing = Timing.of(drill, _beat_0(drill))
    file.tracks.append(_header_track(drill, harp, timing))
    for steps, channels in zip((drill.steps, drill.second), PART_CHANNELS, strict=True):
        if steps:
            solos = drill.solos if steps is drill.steps else ()
            file.tracks.append(_part_track(steps, solos, channels, harp, timing))
    for steps, channel in zip((drill.steps, drill.second), NEIGHBOUR_CHANNELS, strict=True):
        if any(step.implied_neighbour(step.first) for step in steps):
            file.tracks.append(_neighbour_track(steps, channel, harp, timing))
    if drill.ground:
        file.tracks.append(_ground_track(drill, harp, timing))
    return file


def _beat_0(drill: Drill) -> int:
    """Return the tick of beat 0: after an empty bar if something sounds before it."""
    begins_early = drill.start < 0 or any(
        step.grace for steps in (drill.steps, drill.second) for step in steps[:1]
    )
    return drill.meter[0] * TICKS_PER_QUARTER * 4 // drill.meter[1] if begins_early else 0


def _header_track(drill: Drill, harp: Harp, timing: Timing) -> mido.MidiTrack:
    steps = (*drill.steps, *drill.second)
    notes = [harp.midi(tab) for step in steps for sound in step.sounds for tab in sound]
    fields = DrillFields.of(drill, harp)
    signature = key_signature(notes, key_in_position(harp.key.tonic, fields.position or 1))
    keys = _MINOR_KEYS if signature.mode == "minor" else _MAJOR_KEYS
    messages: list[TimedMessage] = [
        (0, mido.MetaMessage("text", text=f"{name}: {text}"))
        for name, text in fields.texts().items()
    ]
    messages += [
        (
            0,
            mido.MetaMessage(
                "time_signature", numerator=drill.meter[0], denominator=drill.meter[1]
            ),
        ),
        (0, mido.MetaMessage("key_signature", key=keys[signature.fifths - MIN_FIFTHS])),
    ]
    events = [*_tempos(drill, timing)]
    marks = [(Fraction(0), FIRST_BEAT_MARKER), *((solo.start, SOLO_MARK) for solo in drill.solos)]
    events += ((timing.tick(at), mido.MetaMessage("marker", text=text)) for at, text in marks)
    return _track(drill.title, messages, sorted(events, key=lambda event: event[0]))


def _tempos(drill: Drill, timing: Timing) -> Iterator[TimedMessage]:
    """Yield the tempo at the beginning, and on each beat where it changes."""
    quarters = 4 / drill.meter[1]
    change = drill.tempo_change
    yield 0, mido.MetaMessage("set_tempo", tempo=round(60e6 / (drill.tempo * quarters)))
    if change is None:
        return
    for beat in range(math.floor(drill.start), math.ceil(drill.end)):
        relative = change.elapsed(beat + 1.0) - change.elapsed(float(beat))
        tempo = round(60e6 * relative / (drill.tempo * quarters))
        yield timing.tick(Fraction(beat)), mido.MetaMessage("set_tempo", tempo=tempo)


def _part_track(
    steps: tuple[Step, ...],
    solos: tuple[Solo, ...],
    channels: tuple[int, ...],
    harp: Harp,
    timing: Timing,
) -> mido.MidiTrack:
    widest = bend_range(steps, harp)
    used = channels[: max(map(voice_count, steps))]
    controls = sorted({control for step in steps for control in moving_controls(step)})
    messages: list[TimedMessage] = []
    for channel in used:
        messages += ((0, message) for message in _channel_setup(channel, widest))
    events: list[TimedMessage] = [*_texts(steps, solos, timing)]
    for sounding in soundings(steps, harp, timing):
        events += control_messages(sounding, used, controls)
        events += sounding_messages(sounding, used, harp, timing, widest)
    return _track(f"{harp.name} harp", messages, _in_order(events))


def _texts(
    steps: tuple[Step, ...], solos: tuple[Solo, ...], timing: Timing
) -> Iterator[TimedMessage]:
    """Yield each step, rest and solo as it is written, and the tab of each step as a lyric."""
    at = min(timing.drill.start, Fraction(0))
    written: list[Step | Solo] = [*steps, *solos]
    for each in sorted(written, key=lambda each: each.start):
        if each.start > at:
            yield timing.tick(at), mido.MetaMessage("text", text=f"r:{each.start - at}")
        tick = timing.tick(each.start)
        if isinstance(each, Solo):
            yield tick, mido.MetaMessage("text", text=f"{SOLO_MARK}:{each.beats}")
        else:
            yield tick, mido.MetaMessage("text", text=step_text(each))
            yield tick, mido.MetaMessage("lyrics", text=each.tab)
        at = each.end


def _neighbour_track(
    steps: tuple[Step, ...], channel: int, harp: Harp, timing: Timing
) -> mido.MidiTrack:
    """Return the neighbours that complete the chords of a part, held at their own pitch."""
    messages = [(0, message) for message in _channel_setup(channel, DEFAULT_BEND_RANGE)]
    controls = sorted({control for step in steps for control in moving_controls(step)})
    events: list[TimedMessage] = []
    for sounding in soundings(steps, harp, timing):
        for tab in sounding.step.implied_neighbour(sounding.step.first):
            events += control_messages(sounding, (channel,), controls)
            events += note_messages(
                sounding.start, sounding.stop, channel, harp.midi(tab), velocity_of(sounding.step)
            )
    return _track(f"{harp.name} harp, neighbouring holes", messages, _in_order(events))


def _ground_track(drill: Drill, harp: Harp, timing: Timing) -> mido.MidiTrack:
    """Return the ground: its notes, and its chords as texts."""
    tonic = key_in_position(harp.key.tonic, drill.position or 1)
    setup = mido.Message("program_change", channel=GROUND_CHANNEL, program=GROUND_PROGRAM)
    events: list[TimedMessage] = [
        (timing.tick(each.start), mido.MetaMessage("text", text=f"chord {each.chord.name(tonic)}"))
        for each in drill.chords
    ]
    for note in ground_notes(drill):
        start, stop = timing.tick(note.start), timing.tick(note.end)
        velocity = GROUND_VELOCITIES[note.role]
        events += note_messages(start, stop, GROUND_CHANNEL, note.midi(harp), velocity)
    return _track("ground", [(0, setup)], _in_order(events))


def _in_order(events: list[TimedMessage]) -> list[TimedMessage]:
    return sorted(events, key=lambda event: (event[0], _ORDER_ON_TICK[event[1].type]))


def _track(name: str, messages: list[TimedMessage], events: list[TimedMessage]) -> mido.MidiTrack:
    """Return a track of messages that set it up, and of events in order."""
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name=name))
    now = 0
    for tick, message in [*messages, *events]:
        track.append(message.copy(time=tick - now))
        now = tick
    track.append(mido.MetaMessage("end_of_track"))
    return track


def _channel_setup(channel: int, bend_range: int) -> Iterator[mido.Message]:
    yield mido.Message("program_change", channel=channel, program=HARMONICA_PROGRAM)
    select_bend_range = ((101, 0), (100, 0))
    deselect = ((101, 127), (100, 127))
    for control, value in (*select_bend_range, (6, bend_range), (38, 0), *deselect):
        yield mido.Message("control_change", channel=channel, control=control, value=value)
