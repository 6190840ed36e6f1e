"""Other sound in the room and the echo of a loudspeaker, as `trainer sound check` reports them.

    python -m benchmarks.microphone [--known] [--takes 12]

Conventions. A take is what the check asks for: two seconds of quiet, a recorded reed held for
three, and two seconds of quiet, in a modelled room with its noise 65 dB below the note. Other sound
is talk of espeak-ng or music of a sound font, in this room or, low-pass filtered at 3 kHz, in the
next. The echo's path is that of `benchmarks.echo`; its true delay is that of the direct sound.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy import signal

from benchmarks import results
from benchmarks.conditions import reverberation
from benchmarks.echo import Room
from benchmarks.fonts import DRUMS, RATE, VOICES, FontError, song
from benchmarks.records import talk
from trainer.core.types import Floats
from trainer.sound.click import click, mix
from trainer.sound.loudspeaker_echo import PARAMETERS, estimate_echo
from trainer.sound.microphone_faults import (
    MicrophoneFault,
    find_faults,
    frame_levels_db,
    note_level_db,
)

QUIET_S, HELD_S, TAKE_S = 2.0, 3.0, 7.0
NOTE_RMS = 0.1
ROOM_DB = -65.0
"""Level of the room's noise below the note, in dB."""
LEVELS_DB = (-15.0, -25.0, -35.0)
"""Levels of other sound below the note, in dB."""
CLICK_S = 0.8
DELAYS_S = (0.012, 0.045, 0.12, 0.4)
GAINS_DB = (0.0, -15.0, -30.0)


@dataclass(frozen=True)
class Half:
    """A half of the material.

    Attributes:
        reed: voice of the held note.
        voices: of espeak-ng.
        font: of the music.
        programs: its melody instruments.
        seed: of rooms and noise.
    """

    reed: str
    voices: tuple[str, ...]
    font: str
    programs: tuple[int, ...]
    seed: int


KNOWN = Half("harmonica 1", ("en", "de", "en+f3"), "FluidR3_GM.sf2", (0, 24, 48, 19, 56), 0)
REPORTED = Half(
    "harmonica 2",
    ("fr-fr", "es", "pl", "sv+f2", "en-gb-scotland+m3", "it+f4"),
    "sf_GMbank.sf2",
    (1, 21, 26, 32, 40, 52, 65, 73),
    1_000,
)


def noise(count: int, slope: float, random: np.random.Generator) -> Floats:
    """Return noise whose power falls as 1 / f^slope, RMS 1."""
    spectrum = np.fft.rfft(random.standard_normal(count))
    hz = np.maximum(np.fft.rfftfreq(count, 1.0 / RATE), 20.0)
    sound = np.fft.irfft(spectrum * hz ** (-slope / 2.0), count)
    return np.asarray(sound / np.std(sound))


def hum(count: int, random: np.random.Generator) -> Floats:
    """Return mains hum up to the 20th harmonic, RMS 1."""
    t, mains_hz = np.arange(count) / RATE, random.choice((50.0, 60.0))
    waves = [
        random.uniform(0.2, 1.0) / k * np.sin(2.0 * np.pi * (k * mains_hz * t + random.random()))
        for k in range(1, 21)
    ]
    return _levelled(np.sum(waves, axis=0))


def fan(count: int, random: np.random.Generator) -> Floats:
    """Return a fan: noise that its blades modulate, and their tone, which wanders by 1 %."""
    t, blade_hz = np.arange(count) / RATE, random.uniform(60.0, 300.0)
    wander = 0.01 * np.sin(2.0 * np.pi * random.uniform(0.1, 0.5) * t + random.uniform(0.0, 6.0))
    phase = 2.0 * np.pi * np.cumsum(blade_hz * (1.0 + wander)) / RATE
    tone = sum(np.sin(k * phase) / k for k in range(1, 8))
    return _levelled(noise(count, 1.5, random) * (1.0 + 0.2 * np.sin(phase)) + 0.3 * tone)


def rain(count: int, random: np.random.Generator) -> Floats:
    """Return rain on a window: noise and 60 drops a second."""
    drops = np.zeros(count)
    at = random.integers(0, count, round(60.0 * count / RATE))
    drops[at] = random.standard_normal(len(at)) ** 3
    decay = np.exp(-np.arange(round(0.01 * RATE)) / (0.002 * RATE))
    heard = _levelled(signal.fftconvolve(drops, decay)[:count])
    return _levelled(noise(count, 0.5, random) + 0.3 * heard)


def ticks(count: int, random: np.random.Generator) -> Floats:
    """Return a clock that ticks each second, over noise 20 dB below a tick's peak."""
    sound = 0.1 * noise(count, 1.0, random)
    for at in range(int(random.integers(0, RATE)), count, RATE):
        length = min(round(0.02 * RATE), count - at)
        sound[at : at + length] += random.standard_normal(length) * np.exp(
            -np.arange(length) / (0.003 * RATE)
        )
    return _levelled(sound)


def swell(count: int, random: np.random.Generator) -> Floats:
    """Return a car that passes: low noise that rises and falls by 20 dB within two seconds."""
    middle = random.uniform(0.5, count / RATE - 0.5)
    gain_db = -20.0 * np.minimum(1.0, np.abs(np.arange(count) / RATE - middle))
    return _levelled(noise(count, 2.0, random) * 10.0 ** (gain_db / 20.0))


STEADY: dict[str, Callable[[int, np.random.Generator], Floats]] = {
    "white noise": lambda count, random: noise(count, 0.0, random),
    "pink noise": lambda count, random: noise(count, 1.0, random),
    "brown noise": lambda count, random: noise(count, 2.0, random),
    "mains hum": hum,
    "a fan": fan,
    "rain": rain,
    "a clock": ticks,
    "a car that passes": swell,
}


def _levelled(sound: Floats) -> Floats:
    return np.asarray(sound / np.sqrt(np.mean(sound**2)))


def music(half: Half, number: int) -> Floats:
    """Return `TAKE_S` of a tune with chords and, every other time, drums; RMS 1."""
    random = np.random.default_rng(half.seed + number)
    program = half.programs[number % len(half.programs)]
    beat_s = float(random.uniform(0.35, 0.8))
    notes: list[tuple[int, int, float, float]] = []
    at = 0.0
    while at < TAKE_S:
        root = int(random.choice((55, 57, 60, 62, 65)))
        notes += [(program, root + step, at, 1.8 * beat_s) for step in (0, 4, 7)]
        for half_beat in range(4):
            midi = root + 12 + int(random.choice((0, 2, 4, 7, 9)))
            notes.append((program, midi, at + 0.5 * half_beat * beat_s, 0.45 * beat_s))
        if number % 2:
            notes += [(DRUMS, 38 if beat else 36, at + beat * beat_s, 0.1) for beat in (0, 1)]
        at += 2.0 * beat_s
    return _levelled(song(half.font, notes, TAKE_S))


def take(half: Half, number: int) -> Floats:
    """Return the check's sound without noise: quiet, a held reed in a room, quiet."""
    random = np.random.default_rng(half.seed + number)
    reed = VOICES[half.reed].reed(int(random.integers(60, 92)))
    held = reed.samples[: round(1.9 * RATE)] / reed.rms * NOTE_RMS
    # A font holds a reed for two seconds: two of them here, one fading into the other.
    fade, end = round(0.3 * RATE), round(0.03 * RATE)
    ramp = np.sin(0.5 * np.pi * np.arange(fade) / fade)
    note = np.zeros(2 * len(held) - fade)
    note[: len(held)] = held
    note[len(held) - fade : len(held)] *= ramp[::-1]
    note[-len(held) :] += np.concatenate([held[:fade] * ramp, held[fade:]])
    note = note[: round(HELD_S * RATE)]
    note[-end:] *= np.linspace(1.0, 0.0, end)
    sound = np.zeros(round(TAKE_S * RATE))
    at = round((QUIET_S + random.uniform(-0.1, 0.4)) * RATE)
    sound[at : at + len(note)] = note
    response = reverberation(float(random.uniform(0.2, 0.7)), 6.0, RATE, random)
    return signal.fftconvolve(sound, response)[: len(sound)]


def other(half: Half, number: int, kind: str) -> Floats:
    """Return talk or music of a room, RMS 1."""
    random = np.random.default_rng(half.seed + 7 * number)
    sound = talk(number, TAKE_S, half.voices) if kind == "talk" else music(half, number)
    response = reverberation(float(random.uniform(0.3, 0.7)), 0.0, RATE, random)
    sound = signal.fftconvolve(sound, response)[: len(sound)]
    if number % 2:  # through a wall
        sound = signal.sosfilt(signal.butter(2, 3_000.0, fs=RATE, output="sos"), sound)
    return _levelled(sound)


def reported(samples: Floats) -> bool:
    """Whether other sound is reported."""
    return MicrophoneFault.OTHER_SOUND in find_faults(samples.astype(np.float32), RATE)


def other_sounds(half: Half, takes: int) -> Iterator[str]:
    """Yield the table of other sound and of steady noise."""
    yield "| sound while nobody plays | dB below the note | takes | reported |"
    yield "| --- | --- | --- | --- |"
    kinds = [("talk", db) for db in LEVELS_DB] + [("music", db) for db in LEVELS_DB]
    for kind, db in kinds:
        count = 0
        for number in range(takes):
            count += reported(_scene(half, number, db, other(half, number, kind)))
        yield f"| {kind} | {-db:.0f} | {takes} | {count} |"
    for name, make in STEADY.items():
        for db in LEVELS_DB[1:]:
            count = 0
            for number in range(takes):
                random = np.random.default_rng(half.seed + 31 * number)
                steady = make(round(TAKE_S * RATE), random)
                count += reported(_scene(half, number, db, steady))
            yield f"| {name} | {-db:.0f} | {takes} | {count} |"


def _scene(half: Half, number: int, db: float, besides: Floats) -> Floats:
    random = np.random.default_rng(half.seed + 13 * number)
    sound = take(half, number)
    room = noise(len(sound), float(random.uniform(0.5, 1.5)), random)
    gain, room_gain = 10.0 ** (db / 20.0), 10.0 ** (ROOM_DB / 20.0)
    return sound + NOTE_RMS * (gain * besides[: len(sound)] + room_gain * room)


def echoes(half: Half, takes: int) -> Iterator[str]:
    """Yield the table of echoes."""
    yield "| echo | takes | found | delay, worst error, ms | harmful |"
    yield "| --- | --- | --- | --- | --- |"
    note_db = note_level_db(frame_levels_db(take(half, 0), RATE))
    for delay_s in DELAYS_S:
        for gain_db in GAINS_DB:
            errors, harmful = [], 0
            for number in range(takes):
                heard, due = _clicks(half, number, Room("", delay_s, gain_db=gain_db))
                echo = estimate_echo(heard, due, RATE, note_db)
                if echo is not None:
                    errors.append(abs(echo.delay_ms - 1000.0 * delay_s))
                    harmful += echo.is_harmful
            worst = f"{max(errors):.1f}" if errors else "–"
            name = f"{1000 * delay_s:.0f} ms, {gain_db:+.0f} dB"
            yield f"| {name} | {takes} | {len(errors)} | {worst} | {harmful} |"
    for name in ("none: quiet", "none: talk", "none: music"):
        count = 0
        for number in range(takes):
            heard, due = _clicks(half, number, None)
            if name != "none: quiet":
                besides = other(half, number, name.split()[1])
                heard += NOTE_RMS * 10.0 ** (-25.0 / 20.0) * besides[: len(heard)]
            count += estimate_echo(heard, due, RATE, note_db) is not None
        yield f"| {name} | {takes} | {count} | – | – |"


def _clicks(half: Half, number: int, room: Room | None) -> tuple[Floats, list[int]]:
    random = np.random.default_rng(half.seed + 17 * number)
    first = round(random.uniform(0.3, 0.5) * RATE)
    due = [first + round(n * CLICK_S * RATE) for n in range(PARAMETERS.clicks)]
    own = np.zeros(due[-1] + round(0.9 * RATE), np.float32)
    for start in due:
        mix(own, 0, click(RATE, accented=True), start)
    quiet = NOTE_RMS * 10.0 ** (ROOM_DB / 20.0) * noise(len(own), 1.0, random)
    return quiet + (room.echo(own) if room else 0.0), due


def main() -> int:
    """Print the tables; return 0."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.microphone")
    parser.add_argument("--known", action="store_true", help="the half that constants know")
    parser.add_argument("--takes", type=int, default=12)
    results.add_options(parser)
    options = parser.parse_args()
    half, takes = KNOWN if options.known else REPORTED, 1 if options.smoke else options.takes
    table = results.Results(
        "benchmarks.microphone",
        f"a held reed ({half.reed}), talk of espeak-ng ({', '.join(half.voices)}), music of "
        f"{half.font} (programs {', '.join(map(str, half.programs))}), modelled rooms and noise",
        "none: the constants were chosen on other voices, another font, reed and rooms (`--known`)"
        if not options.known
        else "all constants of other sound were chosen on this half",
    )
    try:
        table.print(*other_sounds(half, takes), "", *echoes(half, takes))
    except FontError as error:
        print(error, file=sys.stderr)
        return 1
    table.finish(options)
    return 0


if __name__ == "__main__":
    sys.exit(main())
