"""A melody from a Standard MIDI file.

One track is taken: the one that is asked for, or that with the most notes that are no drums.
Times that were played by hand are brought to the nearest part of a beat that can be written. Pitch
bend is read over the range that the file sets, or two half steps: a note that ends a half step
or more from where it began is a glide.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import mido

from trainer.drill.melody import Melody
from trainer.exchange.errors import ExchangeError
from trainer.exchange.time_grid import TimedNote, drop_leading_bars, merge_into_line
from trainer.music import MusicError, parse_pitch_class

DRUM_CHANNEL = 9
TEMPO_RANGE = (20.0, 300.0)
_MIDDLE = 8192
_RANGE = 2.0
MIN_PLATEAU_FRACTION, MIN_LADDER_FRACTION = 0.08, 0.6
"""A pitch stands where it does not change for so much of the note; over that share of it in all, it
rests on each and does not glide."""


@dataclass
class _Channel:
    """What a channel has been told."""

    bend: float = 0.0
    reach: float = _RANGE
    parameter: tuple[int, int] = (127, 127)
    bends: list[tuple[int, float]] = field(default_factory=list)
    on: dict[int, int] = field(default_factory=dict)


def read_midi(path: Path, track: int | None = None) -> Melody:
    """Read a melody.

    Args:
        path: a Standard MIDI file.
        track: which track, counted from 1 as in the file; None takes the one with most notes.

    Raises:
        ExchangeError: it is no such file, has no such track, or no notes.
    """
    try:
        file = mido.MidiFile(path)
    except FileNotFoundError:
        raise ExchangeError(f"there is no file {path}") from None
    except (OSError, EOFError, ValueError, KeyError, IndexError) as error:
        raise ExchangeError(f"{path} is no MIDI file that can be read: {error}") from None
    if file.ticks_per_beat <= 0 or file.ticks_per_beat >= 0x8000:
        raise ExchangeError(f"{path} counts time in film frames, not in beats; save it with beats")
    tempo, meter, tonic, title = _head(file)
    meter = meter or (4, 4)
    beat = Fraction(file.ticks_per_beat * 4, meter[1])
    tracks = {i: _notes(one, beat) for i, one in enumerate(file.tracks, 1)}
    chosen = _chosen(path, tracks, track)
    line, cut = merge_into_line(tracks[chosen])
    notices = []
    filled = [i for i, notes in tracks.items() if notes]
    if track is None and len(filled) > 1:
        others = ", ".join(str(i) for i in filled if i != chosen)
        notices.append(f"track {chosen} is taken, which has most notes; there are also {others}")
    if cut:
        notices.append(f"{cut} notes end sooner, where the next one begins: a line is one voice")
    quarters = tempo or 120.0
    return Melody(
        path.stem,
        (title or path.stem)[:80],
        drop_leading_bars(line, meter),
        min(max(round(quarters * meter[1] / 4.0, 2), TEMPO_RANGE[0]), TEMPO_RANGE[1]),
        meter,
        tonic=tonic,
        notices=tuple(notices),
    )


def _chosen(path: Path, tracks: dict[int, list[TimedNote]], track: int | None) -> int:
    if track is not None and track not in tracks:
        raise ExchangeError(f"{path} has no track {track}; it has {len(tracks)}")
    chosen = track or max(tracks, key=lambda i: len(tracks[i]), default=0)
    if not tracks.get(chosen):
        which = f"track {chosen} of {path}" if track else str(path)
        raise ExchangeError(f"{which} has no notes to play; is it the right one?")
    return chosen


def _head(
    file: mido.MidiFile,
) -> tuple[float | None, tuple[int, int] | None, int | None, str | None]:
    """Tempo in quarters a minute, meter, tonic and title, each the first that is told."""
    tempo = meter = tonic = title = None
    for track in file.tracks:
        for message in track:
            match message.type:
                case "set_tempo" if tempo is None and message.tempo:
                    tempo = 60e6 / message.tempo
                case "time_signature" if meter is None:
                    meter = (message.numerator, message.denominator)
                case "key_signature" if tonic is None:
                    tonic = _tonic(message.key)
                case "track_name" if title is None and message.name.strip():
                    title = " ".join(message.name.split())
    return tempo, meter, tonic, title


def _tonic(key: str) -> int | None:
    try:
        return parse_pitch_class(key.removesuffix("m"))
    except MusicError:
        return None


def _notes(track: mido.MidiTrack, beat: Fraction) -> list[TimedNote]:
    """The notes of a track, drums left out."""
    found: list[TimedNote] = []
    channels: dict[int, _Channel] = defaultdict(_Channel)
    now = 0
    for message in track:
        now += message.time
        if message.is_meta or not hasattr(message, "channel") or message.channel == DRUM_CHANNEL:
            continue
        channel = channels[message.channel]
        match message.type:
            case "note_on" if message.velocity:
                found += _end(channel, message.note, now, beat)
                channel.on[message.note] = now
            case "note_on" | "note_off":
                found += _end(channel, message.note, now, beat)
            case "pitchwheel":
                channel.bend = message.pitch / _MIDDLE * channel.reach
                channel.bends.append((now, channel.bend))
            case "control_change":
                _control(channel, message.control, message.value)
    for channel in channels.values():
        for note in list(channel.on):
            found += _end(channel, note, now, beat)
    return found


def _control(channel: _Channel, control: int, value: int) -> None:
    """Registered parameter 0 is the range of pitch bend: half steps, and cents."""
    coarse, fine = channel.parameter
    if control == 101:
        channel.parameter = (value, fine)
    elif control == 100:
        channel.parameter = (coarse, value)
    elif control == 6 and channel.parameter == (0, 0):
        channel.reach = float(value) or _RANGE
    elif control == 38 and channel.parameter == (0, 0):
        channel.reach = float(int(channel.reach)) + value / 100.0


def _end(channel: _Channel, note: int, now: int, beat: Fraction) -> list[TimedNote]:
    start = channel.on.pop(note, None)
    if start is None or now <= start:
        return []
    path, ladder = _path(channel, note, start, now)
    return [TimedNote(start / beat, now / beat, path, ladder)]


def _path(channel: _Channel, note: int, start: int, end: int) -> tuple[tuple[float, ...], bool]:
    """The note numbers that a note goes through, and whether it rests on each: by where its pitch
    turns, or, where it mostly stands still, by where it stands."""
    before = [bend for at, bend in channel.bends if at <= start][-1:] or [0.0]
    inside = [(at, bend) for at, bend in channel.bends if start < at < end]
    places = [start, *(at for at, _ in inside), end]
    heights = [note + before[0], *(note + bend for _, bend in inside)]
    lasts = [(after - at) / (end - start) for at, after in pairwise(places)]
    if len({round(one) for one in heights}) == 1:
        return (_middle(heights, lasts),), False
    stands = [
        round(one) for one, last in zip(heights, lasts, strict=True) if last >= MIN_PLATEAU_FRACTION
    ]
    levels = [one for i, one in enumerate(stands) if i == 0 or one != stands[i - 1]]
    still = sum(last for last in lasts if last >= MIN_PLATEAU_FRACTION)
    if still > MIN_LADDER_FRACTION and len(levels) > 1:
        return tuple(map(float, levels)), True
    return tuple(_turns(heights)), False


def _middle(heights: list[float], lasts: list[float]) -> float:
    """The median height, by how long each lasts."""
    past = 0.0
    for height, last in sorted(zip(heights, lasts, strict=True)):
        past += last
        if past >= 0.5:
            return height
    return heights[-1]


def _turns(heights: list[float]) -> list[float]:
    """The heights where a pitch begins, turns by more than half a half step, and ends."""
    found, reached, way = [heights[0]], heights[0], 0
    for height in heights[1:]:
        if way * (height - reached) >= 0.0 and way:
            reached = height
        elif abs(height - reached) > 0.5:
            if way:
                found.append(reached)
            way = 1 if height > reached else -1
            reached = height
    found.append(heights[-1] if abs(heights[-1] - reached) < 0.5 else reached)
    return [one for i, one in enumerate(found) if i == 0 or round(one) != round(found[i - 1])]
