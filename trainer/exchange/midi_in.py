"""Import of a melody from a Standard MIDI file.

One track is read: the requested one, or the one with the most notes apart from drums. Times are
quantized to fractions of a beat. Pitch bend is read with the range that the file sets, or two half
steps: a note that ends a half step or more from its start is a glide.

A file that :mod:`trainer.exchange.midi_out` wrote names its harp and has each step as text. A step
is read from its text where the notes on its tick are those that the text has on that harp. Where
they are others, because the file was edited, the notes are read and not the text.
"""

from __future__ import annotations

import io
from collections import defaultdict
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido

from trainer.drill import BeatClock, Melody, MelodyNote, Solo, Step, read_step
from trainer.exchange.drill_fields import SOLO_MARK, DrillFields
from trainer.exchange.errors import ExchangeError
from trainer.exchange.limits import LIMITS, guarded, read_limited
from trainer.exchange.midi_out import FIRST_BEAT_MARKER
from trainer.exchange.time_grid import (
    TimedNote,
    drop_leading_bars,
    merge_into_line,
    merge_lines,
    quantize_beat,
    without_notes,
    without_swing,
    written_note,
)
from trainer.harp import Harp, HarpError
from trainer.music import MusicError, key_in_position, parse_pitch_class

DRUM_CHANNEL = 9
"""Channel of the drums in General MIDI, from 0."""
TEMPO_RANGE = (20.0, 300.0)
"""Range of a drill's tempo in beats per minute."""
MIN_PLATEAU_FRACTION = 0.08
"""Minimum fraction of a note for which the pitch must be constant to count as held."""
MIN_LADDER_FRACTION = 0.6
"""Minimum total fraction of held pitch for a moving note to be a ladder, not a glide."""
MAX_TITLE_CHARACTERS = 80
"""Maximum length of a drill's title in characters."""
MAX_TICKS_OFF = 2
"""Maximum distance in ticks of a step's text from its beat, which was rounded."""
MAX_GRACE_BEATS = 1
"""Maximum duration of a grace note in beats; it is 80 ms long."""
_DEFAULT_TEMPO = 120.0
"""Tempo in quarter notes per minute of a file without one (Standard MIDI Files 1.0)."""
_BEND_UNITS = 8192
"""Pitch-bend units of the range to one side (MIDI 1.0)."""
_DEFAULT_BEND_RANGE = 2.0
"""Pitch-bend range in half steps of a file that sets none (General MIDI)."""
_UNSELECTED = (127, 127)
"""Number of the null registered parameter."""
_BEND_RANGE_PARAMETER = (0, 0)
"""Number of the registered parameter for the pitch-bend range."""


@dataclass
class _Channel:
    """State of a channel.

    Attributes:
        bend: current bend in half steps.
        bend_range: bend range in half steps.
        parameter: selected registered parameter, most significant number first.
        bends: ticks and half steps of all bends so far.
        sounding: start ticks of sounding notes by note number.
    """

    bend: float = 0.0
    bend_range: float = _DEFAULT_BEND_RANGE
    parameter: tuple[int, int] = _UNSELECTED
    bends: list[tuple[int, float]] = field(default_factory=list)
    sounding: dict[int, int] = field(default_factory=dict)


@dataclass
class _Header:
    """Global properties of a file, each from its first message; None without one.

    Attributes:
        tempo: quarter notes per minute.
        meter: beats per bar and the note value of a beat.
        tonic: pitch class.
        title: name of the first named track.
        first_beat: tick of the marker on beat 0.
        texts: texts with a name, by their names.
    """

    tempo: float | None = None
    meter: tuple[int, int] | None = None
    tonic: int | None = None
    title: str | None = None
    first_beat: int = 0
    texts: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Note:
    """A note of a track.

    Attributes:
        start, end: ticks.
        number: MIDI note number.
        path, is_ladder: the pitches that it moves through, as in :class:`TimedNote`.
    """

    start: int
    end: int
    number: int
    path: tuple[float, ...]
    is_ladder: bool

    def timed(self, beat_ticks: Fraction) -> TimedNote:
        """Return it with its time in beats."""
        return TimedNote(self.start / beat_ticks, self.end / beat_ticks, self.path, self.is_ladder)


@dataclass(frozen=True)
class _Part:
    """A part of an exported drill: its notes, and the passages that are left to the player."""

    notes: tuple[MelodyNote, ...]
    solos: tuple[Solo, ...]


@guarded("MIDI file")
def read_midi(path: Path, track: int | None = None) -> Melody:
    """Read a melody from a Standard MIDI file.

    Args:
        path: the file.
        track: number of the track, from 1; None takes the one with the most notes, or the parts of
            a drill that was exported.

    Raises:
        ExchangeError: it is not a MIDI file, or the track does not exist or has no notes.
    """
    file = _load(path)
    if file.ticks_per_beat <= 0 or file.ticks_per_beat >= 0x8000:
        raise ExchangeError(f"save {path} with time in beats; it counts film frames")
    header = _read_header(file)
    meter = header.meter or (4, 4)
    beat_ticks = Fraction(file.ticks_per_beat * 4, meter[1])
    tempo = (header.tempo or _DEFAULT_TEMPO) * meter[1] / 4.0
    melody = Melody(
        path.stem,
        (header.title or path.stem)[:MAX_TITLE_CHARACTERS],
        (),
        min(max(round(tempo, 2), TEMPO_RANGE[0]), TEMPO_RANGE[1]),
        meter,
        tonic=header.tonic,
    )
    tracks = {number: _read_notes(messages) for number, messages in enumerate(file.tracks, 1)}
    if fields := DrillFields.read(header.texts):
        clock = BeatClock(header.first_beat, 60.0, round(beat_ticks), fields.swing)
        parts = [
            _read_part(file.tracks[number - 1], tracks[number], clock, fields)
            for number in tracks
            if track in (None, number)
        ]
        if parts := [part for part in parts if any(note.is_fingered for note in part.notes)]:
            return _drill_melody(melody, fields, parts)
    chosen = _choose_track(path, tracks, track)
    line, shortened = merge_into_line(note.timed(beat_ticks) for note in tracks[chosen])
    notices = []
    with_notes = [number for number, notes in tracks.items() if notes]
    if track is None and len(with_notes) > 1:
        others = ", ".join(str(number) for number in with_notes if number != chosen)
        notices.append(f"track {chosen} was taken, with the most notes; others are {others}")
    if shortened:
        notices.append(f"{shortened} notes were shortened to the start of the next")
    return replace(melody, notes=drop_leading_bars(line, meter), notices=tuple(notices))


def _load(path: Path) -> mido.MidiFile:
    """Load a file whose texts are UTF-8, or else Latin-1, the default of the standard.

    Raises:
        ExchangeError: it is too large.
    """
    data = read_limited(path, LIMITS.midi_bytes)
    try:
        return mido.MidiFile(file=io.BytesIO(data), charset="utf-8")
    except UnicodeDecodeError:
        return mido.MidiFile(file=io.BytesIO(data))


def _drill_melody(melody: Melody, fields: DrillFields, parts: list[_Part]) -> Melody:
    """Return the melody of an exported drill."""
    tonic = melody.tonic
    if fields.position is not None:
        tonic = key_in_position(fields.harp.key.tonic, fields.position)
    return replace(
        melody,
        notes=parts[0].notes,
        second=parts[1].notes if len(parts) > 1 else (),
        start=-fields.pickup,
        swing=fields.swing,
        tempo_to=fields.tempo_to,
        tonic=tonic,
        harp=fields.harp,
        ground=fields.ground,
        solos=parts[0].solos if fields.brief else (),
        brief=fields.brief if parts[0].solos else None,
    )


def _read_part(
    track: mido.MidiTrack, notes: list[_Note], clock: BeatClock, fields: DrillFields
) -> _Part:
    """Read a part of an exported drill: steps and solos from their texts, and other notes.

    Args:
        track: the track.
        notes: its notes.
        clock: the drill's beats; its samples are ticks.
        fields: the drill's fields.
    """
    remaining = list(notes)
    line: list[MelodyNote] = []
    solos: list[Solo] = []
    at, now = -fields.pickup, 0
    for message in track:
        now += message.time
        if message.type != "text":
            continue
        word, _, length = message.text.partition(":")
        is_silent = word in ("r", SOLO_MARK)
        step = None if is_silent else read_step(message.text)
        if not is_silent and step is None:
            continue
        if abs(clock.sample(at) - now) > MAX_TICKS_OFF:  # the texts before it were edited
            at = quantize_beat(without_swing(Fraction(now - clock.zero, clock.rate), clock.swing))
        beats = step.beats if step else _parse_rest(length)
        end = clock.sample(at + beats)
        if step and (own := _notes_of(step, fields.harp, (now, end), clock.rate, remaining)):
            remaining = [note for note in remaining if note not in own]
            line.append(written_note(replace(step, start=at), fields.harp))
        if word == SOLO_MARK and beats > 0:
            solos.append(Solo(at, beats))
        at += beats
    others, _ = merge_into_line(
        TimedNote(
            without_swing(Fraction(note.start - clock.zero, clock.rate), clock.swing),
            without_swing(Fraction(note.end - clock.zero, clock.rate), clock.swing),
            note.path,
            note.is_ladder,
        )
        for note in remaining
    )
    merged = merge_lines(line, others)
    return _Part(merged, without_notes(solos, merged))


def _parse_rest(length: str) -> Fraction:
    try:
        return Fraction(length)
    except (ValueError, ZeroDivisionError):
        return Fraction(0)


def _notes_of(
    step: Step, harp: Harp, ticks: tuple[int, int], beat_ticks: int, notes: list[_Note]
) -> list[_Note]:
    """Return the notes by which a step was exported; empty if they were edited.

    Args:
        step: the step.
        harp: the harp.
        ticks: ticks on which it begins and ends.
        beat_ticks: ticks of a beat.
        notes: notes of the track.
    """
    try:
        wanted = {harp.midi(tab) for tab in step.first}
    except HarpError:
        return []
    tick, end = ticks
    if not wanted <= {note.number for note in notes if note.start == tick}:
        return []
    graces = {harp.midi(tab) for tab in step.grace}
    earliest = tick - MAX_GRACE_BEATS * beat_ticks
    return [
        note
        for note in notes
        if tick <= note.start < end
        or (note.number in graces and note.end == tick and note.start >= earliest)
    ]


def _choose_track(path: Path, tracks: dict[int, list[_Note]], track: int | None) -> int:
    if track is not None and track not in tracks:
        raise ExchangeError(f"{path} has no track {track}; it has {len(tracks)}")
    chosen = track or max(tracks, key=lambda number: len(tracks[number]), default=0)
    if not tracks.get(chosen):
        source = f"track {chosen} of {path}" if track else str(path)
        raise ExchangeError(f"{source} has no notes to play; is it the right one?")
    return chosen


def _read_header(file: mido.MidiFile) -> _Header:
    header = _Header()
    for track in file.tracks:
        now = 0
        for message in track:
            now += message.time
            match message.type:
                case "set_tempo" if header.tempo is None and message.tempo:
                    header.tempo = 60e6 / message.tempo
                case "time_signature" if header.meter is None:
                    header.meter = (message.numerator, message.denominator)
                case "key_signature" if header.tonic is None:
                    header.tonic = _parse_tonic(message.key)
                case "track_name" if header.title is None and message.name.strip():
                    header.title = " ".join(message.name.split())
                case "marker" if message.text == FIRST_BEAT_MARKER:
                    header.first_beat = now
                case "text" if now == 0 and ": " in message.text:
                    name, _, text = message.text.partition(": ")
                    header.texts.setdefault(name, text)
    return header


def _parse_tonic(key: str) -> int | None:
    try:
        return parse_pitch_class(key.removesuffix("m"))
    except MusicError:
        return None


def _read_notes(track: mido.MidiTrack) -> list[_Note]:
    """Return the notes of a track without drums."""
    notes: list[_Note] = []
    channels: dict[int, _Channel] = defaultdict(_Channel)
    now = 0
    for message in track:
        now += message.time
        if message.is_meta or not hasattr(message, "channel") or message.channel == DRUM_CHANNEL:
            continue
        channel = channels[message.channel]
        match message.type:
            case "note_on" if message.velocity:
                notes += _end_note(channel, message.note, now)
                channel.sounding[message.note] = now
            case "note_on" | "note_off":
                notes += _end_note(channel, message.note, now)
            case "pitchwheel":
                channel.bend = message.pitch / _BEND_UNITS * channel.bend_range
                channel.bends.append((now, channel.bend))
            case "control_change":
                _apply_control(channel, message.control, message.value)
    for channel in channels.values():
        for note in list(channel.sounding):
            notes += _end_note(channel, note, now)
    return notes


def _apply_control(channel: _Channel, control: int, value: int) -> None:
    """Track registered parameter 0, the pitch-bend range in half steps and cents."""
    coarse, fine = channel.parameter
    if control == 101:
        channel.parameter = (value, fine)
    elif control == 100:
        channel.parameter = (coarse, value)
    elif control == 6 and channel.parameter == _BEND_RANGE_PARAMETER:
        channel.bend_range = float(value) or _DEFAULT_BEND_RANGE
    elif control == 38 and channel.parameter == _BEND_RANGE_PARAMETER:
        channel.bend_range = float(int(channel.bend_range)) + value / 100.0


def _end_note(channel: _Channel, note: int, now: int) -> list[_Note]:
    """Return a note that ends now, if it has begun and has a length."""
    start = channel.sounding.pop(note, None)
    if start is None or now <= start:
        return []
    path, ladder = _pitch_path(channel, note, start, now)
    return [_Note(start, now, note, path, ladder)]


def _pitch_path(
    channel: _Channel, note: int, start: int, end: int
) -> tuple[tuple[float, ...], bool]:
    """Return the pitches that a note moves through, and whether it is a ladder.

    A ladder's pitches are those that are held; a glide's are those where the pitch turns.
    """
    before = [bend for tick, bend in channel.bends if tick <= start][-1:] or [0.0]
    inside = [(tick, bend) for tick, bend in channel.bends if start < tick < end]
    ticks = [start, *(tick for tick, _ in inside), end]
    pitches = [note + before[0], *(note + bend for _, bend in inside)]
    fractions = [(after - at) / (end - start) for at, after in pairwise(ticks)]
    if len({round(pitch) for pitch in pitches}) == 1:
        return (_weighted_median(pitches, fractions),), False
    held = [
        round(pitch)
        for pitch, fraction in zip(pitches, fractions, strict=True)
        if fraction >= MIN_PLATEAU_FRACTION
    ]
    rungs = [pitch for i, pitch in enumerate(held) if i == 0 or pitch != held[i - 1]]
    held_fraction = sum(fraction for fraction in fractions if fraction >= MIN_PLATEAU_FRACTION)
    if held_fraction > MIN_LADDER_FRACTION and len(rungs) > 1:
        return tuple(map(float, rungs)), True
    return tuple(_turning_points(pitches)), False


def _weighted_median(values: list[float], weights: list[float]) -> float:
    """Return the median of values with weights whose sum is 1."""
    total = 0.0
    for value, weight in sorted(zip(values, weights, strict=True)):
        total += weight
        if total >= 0.5:
            return value
    return values[-1]


def _turning_points(pitches: list[float]) -> list[float]:
    """Return the pitches at the start, at turns of more than half a half step, and at the end."""
    points, extreme, direction = [pitches[0]], pitches[0], 0
    for pitch in pitches[1:]:
        if direction * (pitch - extreme) >= 0.0 and direction:
            extreme = pitch
        elif abs(pitch - extreme) > 0.5:
            if direction:
                points.append(extreme)
            direction = 1 if pitch > extreme else -1
            extreme = pitch
    points.append(pitches[-1] if abs(pitches[-1] - extreme) < 0.5 else extreme)
    return [
        pitch for i, pitch in enumerate(points) if i == 0 or round(pitch) != round(points[i - 1])
    ]
