"""Import of a melody from a Standard MIDI file.

One track is read: the requested one, or the one with the most notes apart from drums. Times are
quantized to fractions of a beat. Pitch bend is read with the range that the file sets, or two half
steps: a note that ends a half step or more from its start is a glide.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido

from trainer.drill import Melody
from trainer.exchange.errors import ExchangeError
from trainer.exchange.time_grid import TimedNote, drop_leading_bars, merge_into_line
from trainer.music import MusicError, parse_pitch_class

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
    """

    tempo: float | None = None
    meter: tuple[int, int] | None = None
    tonic: int | None = None
    title: str | None = None


def read_midi(path: Path, track: int | None = None) -> Melody:
    """Read a melody from a Standard MIDI file.

    Args:
        path: the file.
        track: number of the track, from 1; None takes the one with the most notes.

    Raises:
        ExchangeError: it is not a MIDI file, or the track does not exist or has no notes.
    """
    try:
        file = mido.MidiFile(path)
    except FileNotFoundError:
        raise ExchangeError(f"there is no file {path}") from None
    except (OSError, EOFError, ValueError, KeyError, IndexError) as error:
        raise ExchangeError(f"{path} is not a readable MIDI file: {error}") from None
    if file.ticks_per_beat <= 0 or file.ticks_per_beat >= 0x8000:
        raise ExchangeError(f"save {path} with time in beats; it counts film frames")
    header = _read_header(file)
    meter = header.meter or (4, 4)
    beat_ticks = Fraction(file.ticks_per_beat * 4, meter[1])
    tracks = {
        number: _read_notes(messages, beat_ticks) for number, messages in enumerate(file.tracks, 1)
    }
    chosen = _choose_track(path, tracks, track)
    line, shortened = merge_into_line(tracks[chosen])
    notices = []
    with_notes = [number for number, notes in tracks.items() if notes]
    if track is None and len(with_notes) > 1:
        others = ", ".join(str(number) for number in with_notes if number != chosen)
        notices.append(f"track {chosen} was taken, with the most notes; others are {others}")
    if shortened:
        notices.append(f"{shortened} notes were shortened to the start of the next")
    tempo = (header.tempo or _DEFAULT_TEMPO) * meter[1] / 4.0
    return Melody(
        path.stem,
        (header.title or path.stem)[:MAX_TITLE_CHARACTERS],
        drop_leading_bars(line, meter),
        min(max(round(tempo, 2), TEMPO_RANGE[0]), TEMPO_RANGE[1]),
        meter,
        tonic=header.tonic,
        notices=tuple(notices),
    )


def _choose_track(path: Path, tracks: dict[int, list[TimedNote]], track: int | None) -> int:
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
        for message in track:
            match message.type:
                case "set_tempo" if header.tempo is None and message.tempo:
                    header.tempo = 60e6 / message.tempo
                case "time_signature" if header.meter is None:
                    header.meter = (message.numerator, message.denominator)
                case "key_signature" if header.tonic is None:
                    header.tonic = _parse_tonic(message.key)
                case "track_name" if header.title is None and message.name.strip():
                    header.title = " ".join(message.name.split())
    return header


def _parse_tonic(key: str) -> int | None:
    try:
        return parse_pitch_class(key.removesuffix("m"))
    except MusicError:
        return None


def _read_notes(track: mido.MidiTrack, beat_ticks: Fraction) -> list[TimedNote]:
    """Return the notes of a track without drums."""
    notes: list[TimedNote] = []
    channels: dict[int, _Channel] = defaultdict(_Channel)
    now = 0
    for message in track:
        now += message.time
        if message.is_meta or not hasattr(message, "channel") or message.channel == DRUM_CHANNEL:
            continue
        channel = channels[message.channel]
        match message.type:
            case "note_on" if message.velocity:
                notes += _end_note(channel, message.note, now, beat_ticks)
                channel.sounding[message.note] = now
            case "note_on" | "note_off":
                notes += _end_note(channel, message.note, now, beat_ticks)
            case "pitchwheel":
                channel.bend = message.pitch / _BEND_UNITS * channel.bend_range
                channel.bends.append((now, channel.bend))
            case "control_change":
                _apply_control(channel, message.control, message.value)
    for channel in channels.values():
        for note in list(channel.sounding):
            notes += _end_note(channel, note, now, beat_ticks)
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


def _end_note(channel: _Channel, note: int, now: int, beat_ticks: Fraction) -> list[TimedNote]:
    """Return a note that ends now, if it has begun and has a length."""
    start = channel.sounding.pop(note, None)
    if start is None or now <= start:
        return []
    path, ladder = _pitch_path(channel, note, start, now)
    return [TimedNote(start / beat_ticks, now / beat_ticks, path, ladder)]


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
