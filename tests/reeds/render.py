"""Render the excerpts anew from the FluidR3 sound font with fluidsynth.

    python tests/reeds/render.py [SOUND_FONT]

Every sounding note gets a MIDI channel of its own in turn, so that one note's bend does not pull
the dying sound of the note before. Files are Standard MIDI Files 1.0; the range of the pitch
wheel is set by registered parameter 0 (MIDI 1.0).
"""

from __future__ import annotations

import struct
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import soundfile as sf

from tests.reeds.excerpts import EXCERPTS, RATE, Excerpt, Note, Samples, midi, path_of

FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
HARMONICA = 22
"""Program number, counted from 0 as it is sent (General MIDI 1)."""
CHANNELS = [channel for channel in range(16) if channel != 9]
TICKS_PER_BEAT, TICKS_PER_S = 1000, 2000  # at the 120 beats a minute of a file that says nothing
WHEEL_HALF_STEPS = 12
WHEEL_EVERY_S = 0.002
VELOCITY = 100
HELD_S = (0.15, 0.05)
"""What is left out at a note's start and end when its level is measured."""

Message = tuple[float, bytes]
"""A time in seconds, and what is sent then."""


def variable(number: int) -> bytes:
    """Return a number as a variable-length quantity."""
    sent = [number & 0x7F]
    while number := number >> 7:
        sent.append(number & 0x7F | 0x80)
    return bytes(reversed(sent))


def file_of(messages: Iterable[Message], end: float) -> bytes:
    """Return a MIDI file with one track."""
    track, now = b"", 0
    for at, message in [*sorted(messages, key=lambda event: event[0]), (end, b"\xff\x2f\x00")]:
        tick = round(at * TICKS_PER_S)
        track += variable(tick - now) + message
        now = tick
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, TICKS_PER_BEAT)
    return head + b"MTrk" + struct.pack(">I", len(track)) + track


def set_up(channel: int) -> Iterable[Message]:
    yield 0.0, bytes([0xC0 | channel, HARMONICA])
    for control, value in ((101, 0), (100, 0), (6, WHEEL_HALF_STEPS), (38, 0)):
        yield 0.0, bytes([0xB0 | channel, control, value])


def wheel(channel: int, cents: float) -> bytes:
    value = 8192 + round(cents / (100.0 * WHEEL_HALF_STEPS) * 8192)
    return bytes([0xE0 | channel, value & 0x7F, value >> 7])


def sounding(note: Note, key: int, channel: int) -> Iterable[Message]:
    """The note on, its bend and the note off; the wheel stays put while the note dies away."""
    points = note.path or ((0.0, 0.0),)
    times = np.arange(0.0, note.length, WHEEL_EVERY_S)
    last = b""
    for t, cents in zip(times, np.interp(times, *zip(*points, strict=True)), strict=True):
        if (message := wheel(channel, cents)) != last:
            yield note.at + t, message
            last = message
        if t == 0.0:
            yield note.at, bytes([0x90 | channel, key, VELOCITY])
    yield note.end, bytes([0x80 | channel, key, 0])


def play(excerpt: Excerpt, notes: Iterable[Note], font: Path) -> Samples:
    """The sound of some of the notes, without reverberation and chorus; mono, float64."""
    messages = [message for channel in CHANNELS for message in set_up(channel)]
    for i, note in enumerate(notes):
        messages += sounding(note, midi(note, excerpt.harp), CHANNELS[i % len(CHANNELS)])
    with tempfile.TemporaryDirectory() as folder:
        song, sound = Path(folder, "song.mid"), Path(folder, "sound.wav")
        song.write_bytes(file_of(messages, excerpt.length))
        command = ["fluidsynth", "-niq", "-R0", "-C0", "-g1.0", f"-r{RATE}", "-Ofloat", "-Twav"]
        subprocess.run([*command, "-F", sound, font, song], check=True, capture_output=True)
        stereo, _ = sf.read(sound)
    return stereo.mean(axis=1)[: round(excerpt.length * RATE)]


def rms(samples: Samples, note: Note) -> float:
    first, last = note.at + HELD_S[0], note.end - HELD_S[1]
    return float(np.sqrt(np.mean(samples[round(first * RATE) : round(last * RATE)] ** 2)))


def render(excerpt: Excerpt, font: Path) -> Samples:
    """An excerpt, leaks mixed in at their levels."""
    wanted = play(excerpt, [note for note in excerpt.notes if note.leak_db is None], font)
    mixed = wanted.copy()
    for note in excerpt.notes:
        if note.leak_db is not None:
            leak = play(excerpt, [note], font)
            gain = 10.0 ** (note.leak_db / 20.0) * rms(wanted, note) / rms(leak, note)
            mixed[: len(leak)] += gain * leak[: len(mixed)]
    return mixed


def main() -> None:
    font = Path(sys.argv[1]) if len(sys.argv) > 1 else FONT
    for name, excerpt in EXCERPTS.items():
        sf.write(path_of(name), render(excerpt, font), RATE, subtype="PCM_16")


if __name__ == "__main__":
    main()
