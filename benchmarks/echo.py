"""Cancellation of the trainer's own sound from a loudspeaker, and the effect on onsets.

    python -m benchmarks.echo [--phrases 6]

Conventions. The echo path is a model (`Room`); the player's notes are recorded reeds with their own
attacks. Levels are in dB. The residual echo is the cancelled sound less the sound without echo, re
the echo (echo return loss enhancement, ITU-T G.168), after the count-in. Onsets are compared with
those that the ear detects in the same sound without echo, from the first bar after the count-in.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import signal

from benchmarks import results
from benchmarks.conditions import reverberation
from benchmarks.corpus import Player, at_places, hard, natural
from benchmarks.fonts import RATE
from benchmarks.measure import blocks
from trainer.core.types import Floats, Samples
from trainer.ear import Reading, analyze_blocks, track_notes
from trainer.echo import EchoCanceller
from trainer.harp import Harp, Tab
from trainer.music import cents, midi_to_hz
from trainer.sound import REFERENCE_LEAD_S, tone
from trainer.sound.click import click, mix

BEAT_S = 60.0 / 96.0
COUNT_IN = 4
TONE_TABS = ("4", "-4", "6", "-6", "7", "-3")
FIRST_S = 0.5
REED_RMS = 0.1
SAME_S = 0.02
"""Onsets within this time are the same."""


@dataclass(frozen=True)
class Room:
    """The path from the loudspeaker to the microphone.

    A band-pass from 250 Hz to 9 kHz (Butterworth, order 2 a side), asymmetric compression by tanh,
    a delay, and reverberation (`conditions.reverberation`).

    Attributes:
        name: in the table.
        delay_s: of the direct sound, in excess of the drivers' latency.
        rt60_s: time in which the reverberation decays by 60 dB.
        direct_db: level of the direct sound re the reverberation.
        gain_db: of the direct sound re the output.
        drive: compression of the loudspeaker; 0 is none.
        ppm: deviation of the output's clock in parts per million.
    """

    name: str
    delay_s: float
    rt60_s: float = 0.35
    direct_db: float = 3.0
    gain_db: float = 0.0
    drive: float = 0.5
    ppm: float = 0.0

    def echo(self, own: Samples) -> Floats:
        """Return the echo of what is played, shape (n,)."""
        band = signal.butter(2, (250.0, 9_000.0), "bandpass", fs=RATE, output="sos")
        sound = signal.sosfilt(band, own)
        if self.drive:
            most = 3.0 * self.drive
            sound = (np.tanh(most * sound + 0.1) - np.tanh(0.1)) / most
        before = np.zeros(round(self.delay_s * RATE))
        at = np.arange(len(own)) * (1.0 + 1e-6 * self.ppm)
        sound = at_places(np.concatenate([before, sound]), at)
        random = np.random.default_rng(1)
        response = reverberation(self.rt60_s, self.direct_db, RATE, random)
        return 10.0 ** (self.gain_db / 20.0) * signal.fftconvolve(sound, response)[: len(own)]


ROOMS = (
    Room("laptop, near", 0.008, 0.3, 10.0),
    Room("across a room", 0.060, 0.4, -3.0),
    Room("laptop, softer", 0.008, 0.3, 10.0, gain_db=-15.0),
    Room("clocks 50 ppm apart", 0.020, ppm=50.0),
    Room("late driver", 0.115),
)


def clicks(count: int) -> Samples:
    """Return a click on each beat, shape (count,)."""
    own = np.zeros(count, np.float32)
    for beat in range(int((count / RATE - FIRST_S) / BEAT_S)):
        mix(own, 0, click(RATE, accented=beat % 4 == 0), round((FIRST_S + beat * BEAT_S) * RATE))
    return own


def held_tone(seconds: float, hz: float) -> Samples:
    """Return the reference tone from `FIRST_S` on, shape (n,)."""
    own = np.zeros(round(seconds * RATE), np.float32)
    mix(own, 0, tone(hz, seconds - FIRST_S - 0.2, RATE), round(FIRST_S * RATE))
    return own


def tune(seconds: float) -> Samples:
    """Return a tune without rests, two tones at a time, shape (n,)."""
    random = np.random.default_rng(0)
    own = np.zeros(round(seconds * RATE), np.float32)
    for at in np.arange(FIRST_S, seconds - 0.5, 0.3):
        for midi in random.integers(48, 76, 2):
            mix(own, 0, tone(midi_to_hz(int(midi)), 0.3, RATE, -26.0), round(at * RATE))
    return own


def advance(own: Samples) -> Samples:
    """Return the output early by the lead that `Block.reference` has."""
    early = round(REFERENCE_LEAD_S * RATE)
    return np.concatenate([own[early:], np.zeros(early, np.float32)])


def hear(samples: Floats, own: Samples | None, harp: Harp) -> list[Reading]:
    """Return all readings; `own` is the output to cancel, None for none."""
    playing = None if own is None else advance(own)
    return list(analyze_blocks(blocks(samples, RATE, playing), RATE, harp))


def cleaned(samples: Floats, own: Samples) -> Floats:
    """Return the sound after cancellation of the output `own`."""
    echo = EchoCanceller(RATE)
    return np.concatenate(
        [echo.cancel(b.samples, b.reference) for b in blocks(samples, RATE, advance(own))]
    )


def noise(count: int, db: float = -66.0) -> Floats:
    """Return white noise of a room."""
    return 10.0 ** (db / 20.0) * np.random.default_rng(5).standard_normal(count)


@dataclass(frozen=True)
class Phrase:
    """Recorded reeds near the beat, with rests.

    Attributes:
        samples: shape (n,).
        onsets: of the notes, seconds.
        harp: the harp that is played.
    """

    samples: Floats
    onsets: Floats
    harp: Harp


def phrase(voice: str, key: str, seed: int, beats: int = 14) -> Phrase:
    """Make a phrase after a bar of count-in; the seed decides everything."""
    random = np.random.default_rng(seed)
    player = Player(voice, key, 20.0)
    first = FIRST_S + COUNT_IN * BEAT_S
    samples = noise(round((first + (beats + 2) * BEAT_S) * RATE))
    onsets = []
    for beat in range(beats):
        if random.random() < 0.25:
            continue
        tab = player.naturals[random.integers(2, len(player.naturals) - 2)]
        length = BEAT_S * (0.45 if random.random() < 0.6 else 0.8)
        sound = natural(player.reed(tab), length, player.cents(tab))
        at = round((first + beat * BEAT_S + random.uniform(-0.06, 0.1)) * RATE)
        samples[at : at + len(sound.samples)] += REED_RMS / sound.rms * sound.samples
        onsets.append(at / RATE)
    return Phrase(samples, np.array(onsets), player.harp)


def residual_echo_db(room: Room, own: Samples, near: Floats) -> float:
    """Return the residual echo re the echo in dB, after the count-in."""
    echo = room.echo(own)
    left = cleaned(near + echo, own) - near
    late = slice(round((FIRST_S + COUNT_IN * BEAT_S) * RATE), -RATE // 4)
    return float(10.0 * np.log10(np.sum(left[late] ** 2) / np.sum(echo[late] ** 2)))


@dataclass(frozen=True)
class Timing:
    """The effect of an echo on onsets.

    Attributes:
        shifts: shift of each note's onset, seconds; NaN for a lost note.
        wrong: number of onsets that are not detected without the echo.
    """

    shifts: Floats
    wrong: int


def timing(alone: list[Reading], heard: list[Reading], song: Phrase) -> Timing:
    """Compare the readings of a phrase without and with the echo."""
    true, after_onsets = _onsets(alone), _onsets(heard)
    late = after_onsets[after_onsets > FIRST_S + (COUNT_IN - 0.3) * BEAT_S]
    wrong = sum(not np.any(np.abs(true - at) < SAME_S) for at in late)
    before, after = (_starts(readings, song.harp) for readings in (alone, heard))
    shifts = [_nearest(after, at) - _nearest(before, at) for at in song.onsets]
    return Timing(np.array(shifts), wrong)


def _onsets(readings: list[Reading]) -> Floats:
    return np.array([reading.onset / RATE for reading in readings if reading.onset is not None])


def _starts(readings: list[Reading], harp: Harp) -> Floats:
    return np.array([note.start / RATE for note in track_notes(readings, harp) if note.hz])


def _nearest(times: Floats, at: float) -> float:
    off = np.abs(times - at)
    return float(times[off.argmin()]) if len(times) and off.min() < 0.1 else float("nan")


def over_tone(room: Room, tab: str, off: float, db: float) -> tuple[Floats, Floats]:
    """Return pitch errors of a held reed while the reference tone of its pitch is played.

    Args:
        room: the echo path.
        tab: the reed.
        off: cents between reed and tone.
        db: level of the reed re the echo.

    Returns:
        Errors in cents without and with cancellation.
    """
    player = Player("harmonica 1", "C", 0.0)
    hz = player.harp.hz(Tab.parse(tab))
    own = held_tone(6.0, hz)
    echo = room.echo(own)
    rms = float(np.sqrt(np.mean(echo[2 * RATE : 4 * RATE] ** 2)))
    sound = hard(player.reed(tab), 2.0, cents=off)
    near = noise(len(own))
    at = 2 * RATE
    gain = rms * 10.0 ** (db / 20.0) / sound.rms
    near[at : at + len(sound.samples)] += gain * sound.samples
    truth = [
        reading for reading in hear(near, None, player.harp) if reading.hz and _held(reading, at)
    ]
    stamps, wanted = ([reading.sample for reading in truth], [reading.hz for reading in truth])
    errors = []
    for playing in (None, own):
        held = [
            reading for reading in hear(near + echo, playing, player.harp) if _held(reading, at)
        ]
        right = np.interp([reading.sample for reading in held], stamps, np.array(wanted, float))
        pairs = zip(held, right, strict=True)
        errors.append(
            np.array([cents(reading.hz, hz) if reading.hz else np.nan for reading, hz in pairs])
        )
    return errors[0], errors[1]


def _held(reading: Reading, start: int) -> bool:
    return start + 0.1 * RATE < reading.sample < start + 1.4 * RATE


def table(phrases_count: int = 6, *, smoke: bool = False) -> Iterator[str]:
    """Yield the lines of all tables.

    Args:
        phrases_count: number of phrases.
        smoke: only the first room, and one level.
    """
    rooms, seconds = (ROOMS[:1], 5.0) if smoke else (ROOMS, 12.0)
    beats = 4 if smoke else 14
    yield "| residual echo | clicks | clicks with a phrase | tone | tune |"
    yield "| --- | --- | --- | --- | --- |"
    song = phrase("harmonica 2", "A", 0, beats)
    for room in rooms:
        quiet = noise(round(seconds * RATE))
        left = (
            residual_echo_db(room, clicks(len(quiet)), quiet),
            residual_echo_db(room, clicks(len(song.samples)), song.samples),
            residual_echo_db(room, held_tone(seconds, 440.0), quiet),
            residual_echo_db(room, tune(seconds), quiet),
        )
        yield f"| {room.name} | {' | '.join(f'{db:.1f} dB' for db in left)} |"
    yield ""
    yield "| clicks with a phrase | shift of onsets, 50 / 90 / 100 %, ms | lost | wrong | n |"
    yield "| --- | --- | --- | --- | --- |"
    phrases = [
        phrase(voice, key, seed, beats)
        for voice, key in (("harmonica 1", "C"), ("harmonica 2", "A"))[: 1 if smoke else 2]
        for seed in range(max(1, phrases_count // 2))
    ]
    alone = [hear(song.samples, None, song.harp) for song in phrases]
    for room in rooms:
        heard = [song.samples + room.echo(clicks(len(song.samples))) for song in phrases]
        for label, cancelled in (("uncancelled", False), ("cancelled", True)):
            yield f"| {room.name}, {label} | {_timing_cells(phrases, alone, heard, cancelled)} |"
    yield ""
    yield "| reed with its own tone | within 5 cents, uncancelled | cancelled | median | n |"
    yield "| --- | --- | --- | --- | --- |"
    for db in (10.0,) if smoke else (0.0, 10.0, 20.0):
        yield _tone_row(ROOMS[0], db, ("4",) if smoke else TONE_TABS)


def _timing_cells(
    phrases: list[Phrase], alone: list[list[Reading]], heard: Sequence[Floats], cancelled: bool
) -> str:
    timings = []
    for song, without, samples in zip(phrases, alone, heard, strict=True):
        own = clicks(len(samples)) if cancelled else None
        timings.append(timing(without, hear(samples, own, song.harp), song))
    shifts = 1e3 * np.abs(np.concatenate([each.shifts for each in timings]))
    moved = " / ".join(f"{np.nanpercentile(shifts, q):.1f}" for q in (50, 90, 100))
    wrong = sum(each.wrong for each in timings)
    return f"{moved} | {int(np.isnan(shifts).sum())} | {wrong} | {len(shifts)}"


def _tone_row(room: Room, db: float, tabs: tuple[str, ...]) -> str:
    both: tuple[list[Floats], list[Floats]] = ([], [])
    for tab in tabs:
        for off in (-30.0, 12.0, 0.0)[: len(tabs)]:
            for errors, cents_off in zip(both, over_tone(room, tab, off, db), strict=True):
                errors.append(cents_off)
    plain, clean = (np.concatenate(errors) for errors in both)
    shares = [np.mean(np.abs(errors) < 5.0) for errors in (plain, clean)]
    median = np.nanmedian(np.abs(clean))
    return (
        f"| {db:.0f} dB louder | {shares[0]:.3f} | {shares[1]:.3f} | {median:.2f} | {len(clean)} |"
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.echo")
    parser.add_argument("--phrases", type=int, default=6, help="number of phrases")
    results.add_options(parser)
    options = parser.parse_args()
    phrases = 1 if options.smoke else options.phrases
    output = results.Results(
        "benchmarks.echo",
        f"modelled rooms and loudspeakers, {phrases} phrases of recorded reeds",
        "some constants of the canceller were measured on these rooms",
    )
    for line in table(phrases, smoke=options.smoke):
        output.print(line)
    output.finish(options)


if __name__ == "__main__":
    main()
