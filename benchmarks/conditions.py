"""Models of rooms, microphones and amplifiers, applied to items of the corpus.

Each is a simple model whose figures are in its docstring; none uses a recording. Levels are
relative to the item's own RMS level while it is held (`corpus.level`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import lru_cache

import numpy as np
from scipy import signal

from benchmarks.corpus import Item, Player, generator_of, level, noisy
from benchmarks.fonts import RATE, song
from trainer.core.types import Floats

A4_50_CENTS_SHARP_HZ = 440.0 * 2.0 ** (50.0 / 1200.0)


def reverberation(
    rt60_s: float, direct_db: float, rate: int, random: np.random.Generator
) -> Floats:
    """Return the impulse response of a room: the direct sound, which is 1, and decaying noise.

    The tail begins 3 ms after the direct sound, decays by 60 dB in `rt60_s`, is low-pass filtered
    (first order, 5 kHz) for absorption by air and walls, and has `direct_db` less energy than the
    direct sound.
    """
    t = np.arange(round(1.2 * rt60_s * rate)) / rate
    tail = random.standard_normal(len(t)) * 10.0 ** (-3.0 * t / rt60_s)
    tail = signal.lfilter(*signal.butter(1, 5_000.0, fs=rate), tail)
    tail[: round(0.003 * rate)] = 0.0
    tail *= 10.0 ** (-direct_db / 20.0) / np.sqrt(np.sum(tail**2))
    tail[0] = 1.0
    return tail


def room(item: Item, rt60_s: float, direct_db: float = 6.0) -> Item:
    """Add the reverberation of a room, see `reverberation`."""
    tail = reverberation(rt60_s, direct_db, item.rate, generator_of(item))
    return replace(item, samples=signal.fftconvolve(item.samples, tail)[: len(item.samples)])


def breath(item: Item, db: float = -20.0) -> Item:
    """Add breath noise, 500 Hz to 8 kHz, from 30 ms before the sound to its end."""
    edges = signal.butter(2, (500.0, 8_000.0), "bandpass", fs=item.rate, output="sos")
    noise = signal.sosfilt(edges, generator_of(item).standard_normal(len(item.samples)))
    start, end = item.onset - round(0.03 * item.rate), round(item.until * item.rate)
    noise[:start] = noise[end:] = 0.0
    return _beside(item, noise, db, slice(start, end))


def backing(item: Item, db: float = -25.0) -> Item:
    """Add a backing track of piano and bass from the same font, throughout."""
    music = _backing_track()
    start = int(generator_of(item).integers(0, len(music) - len(item.samples)))
    return _beside(item, music[start : start + len(item.samples)], db, slice(None))


@lru_cache(maxsize=1)
def _backing_track() -> Floats:
    """Return 16 s of four chords at 120 beats a minute: piano on each beat, bass twice a bar."""
    chords = [(60, 64, 67), (65, 69, 72), (67, 71, 74), (60, 64, 67)]
    notes = []
    for bar in range(8):
        chord = chords[bar % 4]
        at = 2.0 * bar
        notes += [(0, midi, at + 0.5 * beat, 0.45) for beat in range(4) for midi in chord]
        notes += [(33, chord[0] - 24, at, 0.9), (33, chord[2] - 36, at + 1.0, 0.9)]
    return song("FluidR3_GM.sf2", notes, 16.0)


def hum(item: Item, mains_hz: float = 50.0, db: float = -30.0) -> Item:
    """Add mains hum with harmonics up to the tenth, each 4 dB below the previous."""
    t = np.arange(len(item.samples)) / item.rate
    orders = np.arange(1, 11)
    phases = generator_of(item).uniform(0.0, 2.0 * np.pi, len(orders))
    waves = np.sin(2.0 * np.pi * mains_hz * np.outer(orders, t) + phases[:, None])
    return _beside(item, 10.0 ** (-4.0 * (orders - 1) / 20.0) @ waves, db, slice(None))


def offset(item: Item, fraction: float = 0.5) -> Item:
    """Add a DC offset, as a fraction of the sound's RMS level."""
    return replace(item, samples=item.samples + fraction * level(item))


def low_rate(item: Item, rate: int = 16_000) -> Item:
    """Resample to `rate` samples a second."""
    samples = signal.resample_poly(item.samples, rate, RATE)
    return replace(item, samples=samples, rate=rate, onset=round(item.onset * rate / RATE))


def telephone(item: Item) -> Item:
    """Filter to the telephone band, 300 to 3,400 Hz (causal Butterworth, order 4 a side)."""
    edges = signal.butter(4, (300.0, 3_400.0), "bandpass", fs=item.rate, output="sos")
    return replace(item, samples=signal.sosfilt(edges, item.samples))


def automatic_gain(item: Item) -> Item:
    """Apply a microphone's automatic gain, which also raises the room's noise.

    The level, averaged over 20 ms, is moved by 90 % of its distance in dB to -20 dB re full scale,
    by 40 dB at most. White noise is 50 dB below the sound.
    """
    noise = generator_of(item).standard_normal(len(item.samples))
    heard = _beside(item, noise, -50.0, slice(None)).samples
    keep = np.exp(-1.0 / (0.02 * item.rate))
    power = signal.lfilter([1.0 - keep], [1.0, -keep], heard**2)
    level_db = 10.0 * np.log10(power + 1e-12)
    gain_db = np.clip(0.9 * (-20.0 - level_db), -40.0, 40.0)
    return replace(item, samples=np.clip(heard * 10.0 ** (gain_db / 20.0), -1.0, 1.0))


def distortion(item: Item, drive_db: float = 12.0) -> Item:
    """Overdrive an amplifier by `drive_db` re RMS (tanh), with a loudspeaker to 5 kHz."""
    driven = np.tanh(item.samples / level(item) * 10.0 ** (drive_db / 20.0) / np.sqrt(2.0))
    speaker = signal.butter(2, 5_000.0, fs=item.rate, output="sos")
    return replace(item, samples=0.2 * signal.sosfilt(speaker, driven))


def _beside(item: Item, other: Floats, db: float, counted: slice) -> Item:
    """Add another sound at `db` relative to the item, by its RMS over the slice `counted`."""
    rms = float(np.sqrt(np.mean(other[counted] ** 2)))
    return replace(item, samples=item.samples + other * level(item) * 10.0 ** (db / 20.0) / rms)


CONDITIONS: dict[str, Callable[[Item], Item]] = {
    "as recorded": lambda item: item,
    "white noise, 20 dB under": lambda item: noisy(item, 20.0),
    "white noise, 10 dB under": lambda item: noisy(item, 10.0),
    "room, 0.3 s": lambda item: room(item, 0.3),
    "room, 0.6 s": lambda item: room(item, 0.6),
    "breath, 15 dB under": lambda item: breath(item, -15.0),
    "breath, 25 dB under": lambda item: breath(item, -25.0),
    "backing, 20 dB under": lambda item: backing(item, -20.0),
    "backing, 30 dB under": lambda item: backing(item, -30.0),
    "hum of 50 Hz, 30 dB under": lambda item: hum(item, 50.0),
    "hum of 60 Hz, 30 dB under": lambda item: hum(item, 60.0),
    "DC offset": offset,
    "16 kHz": low_rate,
    "telephone band": telephone,
    "automatic gain": automatic_gain,
    "distortion": distortion,
}
"""By name: what is applied to an item before the ear analyses it."""

HARPS: dict[str, tuple[float, float | None]] = {
    "50 cents sharp, known": (A4_50_CENTS_SHARP_HZ, None),
    "50 cents sharp, unknown": (A4_50_CENTS_SHARP_HZ, 440.0),
}
"""Harps tuned away from 440 Hz: A4 in Hz, and A4 as configured in the ear; None is the truth."""


def under(items: Iterator[Item], condition: str) -> Iterator[Item]:
    """Yield items under a condition."""
    for item in items:
        changed = CONDITIONS[condition](item)
        yield replace(changed, kind=f"{item.kind}, {condition},")


def harp_under(condition: str, voice: str, key: str, off: float, every: int) -> Player:
    """Return the player of a harp under a condition."""
    a4, told_a4 = HARPS.get(condition, (440.0, None))
    return Player(voice, key, off, every, a4, told_a4)
