"""The trainer's own sound coming back from a loudspeaker: how much is left, and what it does.

Conventions. The way back is a model (`Room`), the player's notes are recorded reeds with their own
attack. Levels are dB. *Echo left* compares what is left of the echo, less what the ear hears
without one, with the echo (echo return loss enhancement, ITU-T G.168), after the count-in.
Onsets are compared with those the ear tells of the same sound without an echo, from the first bar
after the count-in on. ``python -m benchmarks.echo`` prints the table.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import signal

from benchmarks.conditions import reverberation
from benchmarks.corpus import Player, at_places, hard, natural
from benchmarks.fonts import RATE, Floats
from benchmarks.measure import blocks
from trainer.core.types import Samples
from trainer.ear import Reading, analyze_blocks, track_notes
from trainer.echo import EchoCanceller
from trainer.harp import Harp, Tab
from trainer.music import cents, midi_to_hz
from trainer.sound import REFERENCE_LEAD_S, tone
from trainer.sound.click import click, mix

BEAT_S = 60.0 / 96.0
COUNT_IN = 4
FIRST_S = 0.5
REED_RMS = 0.1
SAME_S = 0.02
"""Onsets within so long of each other are the same."""


@dataclass(frozen=True)
class Room:
    """From the loudspeaker to the microphone.

    A loudspeaker from 250 Hz to 9 kHz (Butterworth, order 2 a side) that compresses by tanh with
    some asymmetry; a delay; reverberation (`conditions.reverberation`).

    Attributes:
        name: for the table.
        delay_s: of the direct sound, beyond what the drivers say.
        rt60_s: in which the reverberation falls by 60 dB.
        direct_db: level of the direct sound over all the reverberation.
        gain_db: of the direct sound over what was played.
        drive: how far the loudspeaker compresses; 0 is not.
        ppm: by how much the output's clock is ahead, in millionths.
    """

    name: str
    delay_s: float
    rt60_s: float = 0.35
    direct_db: float = 3.0
    gain_db: float = 0.0
    drive: float = 0.5
    ppm: float = 0.0

    def echo(self, own: Samples) -> Floats:
        """What comes back of what is played, shape (n,)."""
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
    """A click on each beat, shape (count,)."""
    own = np.zeros(count, np.float32)
    for beat in range(int((count / RATE - FIRST_S) / BEAT_S)):
        mix(own, 0, click(RATE, accented=beat % 4 == 0), round((FIRST_S + beat * BEAT_S) * RATE))
    return own


def held_tone(seconds: float, hz: float) -> Samples:
    """The reference tone from half a second on, shape (n,)."""
    own = np.zeros(round(seconds * RATE), np.float32)
    mix(own, 0, tone(hz, seconds - FIRST_S - 0.2, RATE), round(FIRST_S * RATE))
    return own


def tune(seconds: float) -> Samples:
    """A tune without rests, two tones at a time, shape (n,)."""
    random = np.random.default_rng(0)
    own = np.zeros(round(seconds * RATE), np.float32)
    for at in np.arange(FIRST_S, seconds - 0.5, 0.3):
        for midi in random.integers(48, 76, 2):
            mix(own, 0, tone(midi_to_hz(int(midi)), 0.3, RATE, -26.0), round(at * RATE))
    return own


def ahead(own: Samples) -> Samples:
    """As a block carries it."""
    early = round(REFERENCE_LEAD_S * RATE)
    return np.concatenate([own[early:], np.zeros(early, np.float32)])


def hear(samples: Floats, own: Samples | None, harp: Harp) -> list[Reading]:
    """All readings; `own` as it was played, None where nothing is to be taken out."""
    playing = None if own is None else ahead(own)
    return list(analyze_blocks(blocks(samples, RATE, playing), RATE, harp))


def cleaned(samples: Floats, own: Samples) -> Floats:
    """The sound that the ear hears, `own` as it was played."""
    echo = EchoCanceller(RATE)
    return np.concatenate(
        [echo.cancel(b.samples, b.reference) for b in blocks(samples, RATE, ahead(own))]
    )


def noise(count: int, db: float = -66.0) -> Floats:
    """The room itself, white."""
    return 10.0 ** (db / 20.0) * np.random.default_rng(5).standard_normal(count)


@dataclass(frozen=True)
class Phrase:
    """Recorded reeds on the beat, some early, some late, with rests.

    Attributes:
        samples: shape (n,).
        onsets: where notes begin, seconds.
        harp: in hand.
    """

    samples: Floats
    onsets: Floats
    harp: Harp


def phrase(voice: str, key: str, seed: int, beats: int = 14) -> Phrase:
    """A phrase behind a bar of count-in; the seed decides everything."""
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


def echo_left(room: Room, own: Samples, near: Floats) -> float:
    """What is left of the echo over the echo, dB, after the count-in."""
    echo = room.echo(own)
    left = cleaned(near + echo, own) - near
    late = slice(round((FIRST_S + COUNT_IN * BEAT_S) * RATE), -RATE // 4)
    return float(10.0 * np.log10(np.sum(left[late] ** 2) / np.sum(echo[late] ** 2)))


@dataclass(frozen=True)
class Timing:
    """What an echo does to onsets.

    Attributes:
        shifts: by how much each note's onset moved, seconds; NaN for a note that was lost.
        wrong: onsets where there is none without the echo.
    """

    shifts: Floats
    wrong: int


def timing(alone: list[Reading], heard: list[Reading], song: Phrase) -> Timing:
    """Of the same phrase without and with the echo."""
    true, found = _onsets(alone), _onsets(heard)
    late = found[found > FIRST_S + (COUNT_IN - 0.3) * BEAT_S]
    wrong = sum(not np.any(np.abs(true - at) < SAME_S) for at in late)
    before, after = (_starts(readings, song.harp) for readings in (alone, heard))
    shifts = [_nearest(after, at) - _nearest(before, at) for at in song.onsets]
    return Timing(np.array(shifts), wrong)


def _onsets(readings: list[Reading]) -> Floats:
    return np.array([one.onset / RATE for one in readings if one.onset is not None])


def _starts(readings: list[Reading], harp: Harp) -> Floats:
    return np.array([note.start / RATE for note in track_notes(readings, harp) if note.hz])


def _nearest(times: Floats, at: float) -> float:
    off = np.abs(times - at)
    return float(times[off.argmin()]) if len(times) and off.min() < 0.1 else float("nan")


def over_tone(room: Room, tab: str, off: float, db: float) -> tuple[Floats, Floats]:
    """Cents by which readings of a held reed are off while its own pitch is played, as a
    reference tone, without cancelling and with it; the reed `off` cents from the tone and so much
    louder than its echo."""
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
    truth = [one for one in hear(near, None, player.harp) if one.hz and _held(one, at)]
    stamps, wanted = ([one.sample for one in truth], [one.hz for one in truth])
    errors = []
    for playing in (None, own):
        held = [one for one in hear(near + echo, playing, player.harp) if _held(one, at)]
        right = np.interp([one.sample for one in held], stamps, np.array(wanted, float))
        pairs = zip(held, right, strict=True)
        errors.append(np.array([cents(one.hz, hz) if one.hz else np.nan for one, hz in pairs]))
    return errors[0], errors[1]


def _held(one: Reading, start: int) -> bool:
    return start + 0.1 * RATE < one.sample < start + 1.4 * RATE


def table(seeds: int = 6) -> Iterator[str]:
    """The lines of all tables."""
    yield "| what comes back | of clicks | beside a phrase | of a tone | of a tune |"
    yield "| --- | --- | --- | --- | --- |"
    song = phrase("harmonica 2", "A", 0)
    for room in ROOMS:
        quiet = noise(round(12.0 * RATE))
        left = (
            echo_left(room, clicks(len(quiet)), quiet),
            echo_left(room, clicks(len(song.samples)), song.samples),
            echo_left(room, held_tone(12.0, 440.0), quiet),
            echo_left(room, tune(12.0), quiet),
        )
        yield f"| {room.name} | {' | '.join(f'{db:.1f} dB' for db in left)} |"
    yield ""
    yield "| clicks beside a phrase | onsets moved, 50 / 90 / 100 %, ms | lost | wrong | of |"
    yield "| --- | --- | --- | --- | --- |"
    phrases = [
        phrase(voice, key, seed)
        for voice, key in (("harmonica 1", "C"), ("harmonica 2", "A"))
        for seed in range(seeds // 2)
    ]
    alone = [hear(one.samples, None, one.harp) for one in phrases]
    for room in ROOMS:
        heard = [one.samples + room.echo(clicks(len(one.samples))) for one in phrases]
        for label, cancelled in (("as heard", False), ("cancelled", True)):
            yield f"| {room.name}, {label} | {_timing_cells(phrases, alone, heard, cancelled)} |"
    yield ""
    yield "| a reed over its own tone | within 5 cents, as heard | cancelled | median, cents | of |"
    yield "| --- | --- | --- | --- | --- |"
    for db in (0.0, 10.0, 20.0):
        yield _tone_row(ROOMS[0], db)


def _timing_cells(
    phrases: list[Phrase], alone: list[list[Reading]], heard: list[Floats], cancelled: bool
) -> str:
    told = []
    for one, without, samples in zip(phrases, alone, heard, strict=True):
        own = clicks(len(samples)) if cancelled else None
        told.append(timing(without, hear(samples, own, one.harp), one))
    shifts = 1e3 * np.abs(np.concatenate([one.shifts for one in told]))
    moved = " / ".join(f"{np.nanpercentile(shifts, q):.1f}" for q in (50, 90, 100))
    wrong = sum(one.wrong for one in told)
    return f"{moved} | {int(np.isnan(shifts).sum())} | {wrong} | {len(shifts)}"


def _tone_row(room: Room, db: float) -> str:
    both: tuple[list[Floats], list[Floats]] = ([], [])
    for tab in ("4", "-4", "6", "-6", "7", "-3"):
        for off in (-30.0, 12.0, 0.0):
            for errors, one in zip(both, over_tone(room, tab, off, db), strict=True):
                errors.append(one)
    plain, clean = (np.concatenate(errors) for errors in both)
    shares = [np.mean(np.abs(one) < 5.0) for one in (plain, clean)]
    median = np.nanmedian(np.abs(clean))
    return (
        f"| {db:.0f} dB louder | {shares[0]:.3f} | {shares[1]:.3f} | {median:.2f} | {len(clean)} |"
    )


if __name__ == "__main__":
    for line in table(*map(int, sys.argv[1:])):
        print(line, flush=True)
