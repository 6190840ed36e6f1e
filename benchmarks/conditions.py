"""What rooms, microphones and amplifiers do to a sound: from one item to another.

Each is a plain model with its figures in its docstring; none is a recording of the real thing.
Levels are relative to the item's own RMS level while it is held (`corpus.level`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy import signal

from benchmarks.corpus import Item, Player, level, noisy, randomly
from benchmarks.fonts import RATE, Floats, song

HALF_A_HALF_STEP = 440.0 * 2.0 ** (50.0 / 1200.0)
"""Hz of an A4 that lies 50 cents over 440 Hz."""


def reverberation(
    rt60_s: float, direct_db: float, rate: int, random: np.random.Generator
) -> Floats:
    """Response of a room: exponentially dying noise behind the direct sound, which is 1.

    The tail begins 3 ms after the direct sound, falls by 60 dB in `rt60_s`, loses treble as air
    and walls take it (a first-order low-pass at 5 kHz), and holds `direct_db` less energy than
    the direct sound.
    """
    t = np.arange(round(1.2 * rt60_s * rate)) / rate
    tail = random.standard_normal(len(t)) * 10.0 ** (-3.0 * t / rt60_s)
    tail = signal.lfilter(*signal.butter(1, 5_000.0, fs=rate), tail)
    tail[: round(0.003 * rate)] = 0.0
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return tail


def room(one: Item, rt60_s: float, direct_db: float = 6.0) -> Item:
    """In a room, as `reverberation` has it."""
    tail = reverberation(rt60_s, direct_db, one.rate, randomly(one))
    return replace(one, samples=signal.fftconvolve(one.samples, tail)[: len(one.samples)])


def breath(one: Item, db: float = -20.0) -> Item:
    """Breath noise: from 500 Hz to 8 kHz, from 30 ms before the sound to its end."""
    edges = signal.butter(2, (500.0, 8_000.0), "bandpass", fs=one.rate, output="sos")
    noise = signal.sosfilt(edges, randomly(one).standard_normal(len(one.samples)))
    start, end = one.onset - round(0.03 * one.rate), round(one.until * one.rate)
    noise[:start] = noise[end:] = 0.0
    return _beside(one, noise, db, slice(start, end))


def backing(one: Item, db: float = -25.0) -> Item:
    """A quiet backing track of piano and bass from the same font, all the time."""
    music = _backing_track()
    start = int(randomly(one).integers(0, len(music) - len(one.samples)))
    return _beside(one, music[start : start + len(one.samples)], db, slice(None))


@lru_cache(maxsize=1)
def _backing_track() -> Floats:
    """16 s of four chords at 120 beats a minute: piano on each beat, bass on each bar."""
    chords = [(60, 64, 67), (65, 69, 72), (67, 71, 74), (60, 64, 67)]
    notes = []
    for bar in range(8):
        chord = chords[bar % 4]
        at = 2.0 * bar
        notes += [(0, midi, at + 0.5 * beat, 0.45) for beat in range(4) for midi in chord]
        notes += [(33, chord[0] - 24, at, 0.9), (33, chord[2] - 36, at + 1.0, 0.9)]
    return song("FluidR3_GM.sf2", notes, 16.0)


def hum(one: Item, mains_hz: float = 50.0, db: float = -30.0) -> Item:
    """Mains hum with its harmonics up to the tenth, each 4 dB under the one before."""
    t = np.arange(len(one.samples)) / one.rate
    orders = np.arange(1, 11)
    phases = randomly(one).uniform(0.0, 2.0 * np.pi, len(orders))
    waves = np.sin(2.0 * np.pi * mains_hz * np.outer(orders, t) + phases[:, None])
    return _beside(one, 10.0 ** (-4.0 * (orders - 1) / 20.0) @ waves, db, slice(None))


def offset(one: Item, share: float = 0.5) -> Item:
    """A sound card's DC offset, as a share of the sound's RMS level."""
    return replace(one, samples=one.samples + share * level(one))


def low_rate(one: Item, rate: int = 16_000) -> Item:
    """Sampled so many times a second."""
    samples = signal.resample_poly(one.samples, rate, RATE)
    return replace(one, samples=samples, rate=rate, onset=round(one.onset * rate / RATE))


def telephone(one: Item) -> Item:
    """The telephone's band, 300 to 3,400 Hz, by a causal Butterworth filter of order 4 a side."""
    edges = signal.butter(4, (300.0, 3_400.0), "bandpass", fs=one.rate, output="sos")
    return replace(one, samples=signal.sosfilt(edges, one.samples))


def automatic_gain(one: Item) -> Item:
    """A microphone's automatic gain, and the room's noise that it pulls up.

    The level over some 20 ms is brought nine tenths of the way, in dB, to -20 dB re full scale,
    by 40 dB at most; white noise lies 50 dB under the sound.
    """
    noise = randomly(one).standard_normal(len(one.samples))
    heard = _beside(one, noise, -50.0, slice(None)).samples
    keep = np.exp(-1.0 / (0.02 * one.rate))
    power = signal.lfilter([1.0 - keep], [1.0, -keep], heard**2)
    told_db = 10.0 * np.log10(power + 1e-12)
    gain_db = np.clip(0.9 * (-20.0 - told_db), -40.0, 40.0)
    return replace(one, samples=np.clip(heard * 10.0 ** (gain_db / 20.0), -1.0, 1.0))


def distortion(one: Item, drive_db: float = 12.0) -> Item:
    """An amplifier driven so far over its RMS level: tanh, then a loudspeaker's 5 kHz."""
    driven = np.tanh(one.samples / level(one) * 10.0 ** (drive_db / 20.0) / np.sqrt(2.0))
    speaker = signal.butter(2, 5_000.0, fs=one.rate, output="sos")
    return replace(one, samples=0.2 * signal.sosfilt(speaker, driven))


def _beside(one: Item, other: Floats, db: float, counted: slice) -> Item:
    """With another sound, so far relative to the item's level over the counted part."""
    rms = float(np.sqrt(np.mean(other[counted] ** 2)))
    return replace(one, samples=one.samples + other * level(one) * 10.0 ** (db / 20.0) / rms)


CONDITIONS: dict[str, Callable[[Item], Item]] = {
    "as recorded": lambda one: one,
    "white noise, 20 dB under": lambda one: noisy(one, 20.0),
    "white noise, 10 dB under": lambda one: noisy(one, 10.0),
    "room, 0.3 s": lambda one: room(one, 0.3),
    "room, 0.6 s": lambda one: room(one, 0.6),
    "breath, 15 dB under": lambda one: breath(one, -15.0),
    "breath, 25 dB under": lambda one: breath(one, -25.0),
    "backing, 20 dB under": lambda one: backing(one, -20.0),
    "backing, 30 dB under": lambda one: backing(one, -30.0),
    "hum of 50 Hz, 30 dB under": lambda one: hum(one, 50.0),
    "hum of 60 Hz, 30 dB under": lambda one: hum(one, 60.0),
    "DC offset": offset,
    "16 kHz": low_rate,
    "telephone band": telephone,
    "automatic gain": automatic_gain,
    "distortion": distortion,
}
"""What happens to an item on its way to the ear."""

HARPS: dict[str, tuple[float, float | None]] = {
    "50 cents sharp, told": (HALF_A_HALF_STEP, None),
    "50 cents sharp, not told": (HALF_A_HALF_STEP, 440.0),
}
"""Harps as they are tuned and as the ear is told: Hz of A4, and of A4 as told."""


def under(items: Iterator[Item], condition: str) -> Iterator[Item]:
    """Items under a condition."""
    for one in items:
        changed = CONDITIONS[condition](one)
        yield replace(changed, kind=f"{one.kind}, {condition},")


def harp_under(condition: str, voice: str, key: str, off: float, every: int) -> Player:
    """The player of a harp as a condition has it."""
    a4, told = HARPS.get(condition, (440.0, None))
    return Player(voice, key, off, every, a4, told)
