"""The corpus: sounds whose pitch is known to a fraction of a cent.

Conventions. Times are seconds from the start of an item. All sound is recorded reeds
(`benchmarks/fonts.py`). A bend or a cut uses the held part of a recording, resampled along a known
path in cents with a windowed sinc: the true pitch is that of the recording (by Praat) times the
path. A hard onset begins at full level in the middle of a period.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import pairwise
from typing import TypeVar

import numpy as np

from benchmarks.fonts import LENGTH_S, RATE, VOICES, Reed, Voice
from trainer.core.types import Floats
from trainer.harp import Breath, Harp, Tab

LEAD_S = 0.3
"""Silence at the start of every item, in seconds."""
HARD_FROM_S = 0.4
"""Position in a recording from which a hard onset is cut, in seconds."""
TAPS, PHASES = 24, 1024
LOWEST_MIDI, HIGHEST_MIDI = 43, 96
"""Beyond these a font stretches its last sample, or has none (MIDI note numbers)."""

T = TypeVar("T")
PitchPath = Callable[[Floats], Floats]
"""Cents at given times after an item's onset."""


@dataclass(frozen=True)
class Item:
    """A sound and the truth about it.

    Attributes:
        kind: what it tests, such as ``steady`` or ``pair``.
        voice: name of the voice.
        harp: the harp that is played.
        tab: the wanted entry; of several reeds the main one.
        holes: the holes that sound.
        samples: float64, shape (n,), at `RATE`.
        onset: the first sample of the sound.
        hz: f0 of the wanted reed at given times; only while it is held.
        until: when the note is released, seconds.
        db: level of the leak re the wanted reed, if there is one.
        rate: samples a second.
        partials: amplitudes of the wanted reed's partials from the first on, where they are known
            exactly, in the unit of `samples`.
        noise: standard deviation of the white noise that was added, in the same unit.
    """

    kind: str
    voice: str
    harp: Harp
    tab: str
    holes: frozenset[int]
    samples: Floats
    onset: int
    hz: Callable[[Floats], Floats]
    until: float
    db: float | None = None
    rate: int = RATE
    partials: Floats | None = None
    noise: float = 0.0

    @property
    def begins(self) -> float:
        """Start of its sound, seconds."""
        return self.onset / self.rate

    @property
    def name(self) -> str:
        """Name in a list of misses."""
        holes = "+".join(str(hole) for hole in sorted(self.holes))
        leak = "" if self.db is None else f" {self.db:g} dB"
        return f"{self.voice}, {self.harp.name} harp, {self.kind} {self.tab} ({holes}){leak}"


def _constant(hz: float, times: Floats) -> Floats:
    return np.full_like(times, hz)


def still(times: Floats) -> Floats:
    """PitchPath without motion."""
    return np.zeros_like(times)


def bend(cents: float, seconds: float, after: float = 0.3) -> PitchPath:
    """Return a path that falls linearly by `cents` in `seconds`, and stays."""
    return lambda t: -cents * np.clip((t - after) / seconds, 0.0, 1.0)


def vibrato(cents: float, rate: float, after: float = 0.2) -> PitchPath:
    """Return a path that swings by ± `cents`, `rate` times a second, from `after` on."""
    return lambda t: np.where(t > after, cents * np.sin(2 * np.pi * rate * (t - after)), 0.0)


def hand(samples: Floats, onset: int, rate: float = 4.0, depth_db: float = 6.0) -> Floats:
    """Apply a hand wah: level and brightness swing together, the pitch does not."""
    t = np.arange(len(samples)) / RATE - onset / RATE
    swing = 0.5 - 0.5 * np.cos(2 * np.pi * rate * np.maximum(t, 0.0))
    dark = np.convolve(samples, np.hanning(21) / np.hanning(21).sum(), "same")
    return (dark + (samples - dark) * (1.0 - 0.7 * swing)) * 10.0 ** (-depth_db * swing / 20.0)


@dataclass(frozen=True)
class Sound:
    """A played reed: samples from the onset on, f0 at times after it, and RMS level."""

    samples: Floats
    hz: Callable[[Floats], Floats]
    rms: float


def natural(reed: Reed, length: float, cents: float = 0.0) -> Sound:
    """Return a reed with its own attack, moved by `cents` and released by a fade of 20 ms."""
    return _along(reed, reed.speaks / RATE, length, lambda t: np.full_like(t, cents))


def hard(reed: Reed, length: float, path: PitchPath = still, cents: float = 0.0) -> Sound:
    """Return a reed with a hard onset, along a path, moved by `cents`."""
    start = HARD_FROM_S + 0.1 * (zlib.crc32(reed.samples.tobytes()) % 1000) / 1000.0
    return _along(reed, start, length, lambda t: path(t) + cents)


def _along(reed: Reed, start: float, length: float, path: PitchPath) -> Sound:
    t = np.arange(round(length * RATE)) / RATE
    speed = 2.0 ** (path(t) / 1200.0)
    at = start + np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]))]) / RATE
    samples = at_places(reed.samples, np.minimum(at, LENGTH_S - 0.01) * RATE)
    fade = round(0.02 * RATE)
    samples[-fade:] *= np.linspace(1.0, 0.0, fade)

    def hz(times: Floats) -> Floats:
        return reed.hz_at(np.interp(times, t, at)) * 2.0 ** (path(times) / 1200.0)

    return Sound(samples, hz, reed.rms)


def at_places(samples: Floats, at: Floats) -> Floats:
    """Interpolate samples at fractional positions by a Kaiser-windowed sinc from a table.

    Linear interpolation between the rows of the table leaves errors of about -115 dB.
    """
    base = np.floor(at).astype(int)
    row, part = np.divmod((at - base) * PHASES, 1.0)
    row = row.astype(int)
    padded = np.pad(samples, TAPS + 1)
    table = _sincs()
    result = np.zeros(len(at))
    for tap in range(2 * TAPS):
        column = table[tap]
        here = column[row]
        result += padded[base + tap + 2] * (here + part * (column[row + 1] - here))
    return result


@lru_cache(maxsize=1)
def _sincs() -> Floats:
    """Return the windowed sinc, shape (2 TAPS, PHASES + 1), at fractions of a sample."""
    offsets = np.arange(-TAPS + 1, TAPS + 1)[:, None]
    x = np.arange(PHASES + 1) / PHASES - offsets
    window = np.i0(9.0 * np.sqrt(np.maximum(0.0, 1.0 - (x / TAPS) ** 2))) / np.i0(9.0)
    return np.sinc(x) * window


def item(kind: str, voice: Voice, harp: Harp, tabs: list[str], sounds: list[Sound]) -> Item:
    """Return an item of sounds that begin together; the first is the wanted one."""
    lead = round(LEAD_S * RATE)
    length = max(len(sound.samples) for sound in sounds)
    samples = np.zeros(lead + length + round(0.1 * RATE))
    for sound in sounds:
        samples[lead : lead + len(sound.samples)] += sound.samples
    holes = frozenset(Tab.parse(tab).hole for tab in tabs)
    wanted = sounds[0]
    return Item(
        kind,
        voice.name,
        harp,
        tabs[0],
        holes,
        samples,
        lead,
        lambda times: wanted.hz(times - LEAD_S),
        LEAD_S + len(wanted.samples) / RATE - 0.02,
    )


def scaled(sound: Sound, db: float, beside: Sound) -> Sound:
    """Scale a sound to a level relative to another's."""
    gain = 10.0 ** (db / 20.0) * beside.rms / sound.rms
    return replace(sound, samples=gain * sound.samples, rms=gain * sound.rms)


class Player:
    """A harp of one voice, with reeds up to `off` cents away from theory.

    Attributes:
        voice: the recorded reeds.
        harp: the harp as configured in the ear.
    """

    def __init__(
        self,
        voice: str,
        key: str,
        off: float = 0.0,
        every: int = 1,
        a4: float = 440.0,
        told_a4: float | None = None,
    ) -> None:
        """Choose a harp.

        Args:
            voice: name of a voice.
            key: the harp's key.
            off: greatest deviation of a reed, cents.
            every: 1 in how many notes or pairs is played; which ones depends on harp and material.
            a4: true frequency of A4, Hz.
            told_a4: frequency of A4 as configured in the ear, Hz; None is the truth.
        """
        self.voice, self._off, self._every = VOICES[voice], off, every
        self.harp = Harp.of(key, a4=told_a4 or a4)
        self._tuned_cents = 1200.0 * float(np.log2(a4 / 440.0))

    def midi(self, tab: str) -> int:
        """Return the MIDI note number of a tab entry."""
        return self.harp.midi(Tab.parse(tab))

    def has(self, tab: str) -> bool:
        """Return whether the fonts have a recording near a tab entry's pitch."""
        return LOWEST_MIDI <= self.midi(tab) <= HIGHEST_MIDI

    def reed(self, tab: str) -> Reed:
        """Return the recorded reed of a tab entry."""
        return self.voice.reed(self.midi(tab))

    def cents(self, tab: str) -> float:
        """Return the deviation of this harp's reed in cents, the same at every call."""
        seed = zlib.crc32(f"{self.harp.name} {tab}".encode())
        off = float(np.random.default_rng(seed).uniform(-self._off, self._off))
        return off + self._tuned_cents

    def _sample(self, entries: list[T], material: str) -> list[T]:
        """Return 1 in `every` entries, from a start that depends on harp and material."""
        text = f"{self.voice.name} {self.harp.name} {material}"
        return entries[zlib.crc32(text.encode()) % self._every :: self._every]

    def item(self, kind: str, tabs: list[str], sounds: list[Sound]) -> Item:
        """Return an item of sounds that begin together on this harp, the wanted one first."""
        return item(kind, self.voice, self.harp, tabs, sounds)

    @property
    def naturals(self) -> list[str]:
        """Natural entries in the range of the recordings."""
        tabs = [str(Tab(hole, breath)) for breath in Breath for hole in range(1, 11)]
        return [tab for tab in tabs if self.has(tab)]

    @property
    def neighbours(self) -> list[tuple[str, str]]:
        """Pairs of wanted and leaking entries, in both directions."""
        rows = [[tab for tab in self.naturals if tab.startswith("-") == drawn] for drawn in (0, 1)]
        up = [pair for row in rows for pair in pairwise(row)]
        return [*up, *((high, low) for low, high in up)]

    def steady(self) -> Iterator[Item]:
        """Yield notes with the reeds' own attacks."""
        for tab in self._sample(self.naturals, "steady"):
            yield self.item("steady", [tab], [natural(self.reed(tab), 0.9, self.cents(tab))])

    def hard_onsets(self) -> Iterator[Item]:
        """Yield notes that begin at full level."""
        for tab in self._sample(self.naturals, "hard"):
            yield self.item("hard", [tab], [hard(self.reed(tab), 0.5, cents=self.cents(tab))])

    def bends(self, cents: float, seconds: float) -> Iterator[Item]:
        """Yield bends of every entry that bends by `cents`."""
        deep = "'" * round(cents / 100.0)
        bending = [tab for tab in self.naturals if self.harp.can_play(Tab.parse(tab + deep))]
        for tab in self._sample(bending, f"bend {cents}"):
            sound = hard(self.reed(tab), 0.75, bend(cents, seconds), self.cents(tab))
            yield self.item(f"bend {cents:g} in {1000 * seconds:g} ms", [tab], [sound])

    def vibratos(self, cents: float = 40.0, rate: float = 5.5) -> Iterator[Item]:
        """Yield notes with vibrato."""
        for tab in self._sample(self.naturals, "vibrato"):
            sound = hard(self.reed(tab), 0.9, vibrato(cents, rate), self.cents(tab))
            yield self.item("vibrato", [tab], [sound])

    def wahs(self) -> Iterator[Item]:
        """Yield notes with a hand wah."""
        for tab in self._sample(self.naturals, "wah"):
            played = self.item("wah", [tab], [hard(self.reed(tab), 0.9, cents=self.cents(tab))])
            yield replace(played, samples=hand(played.samples, played.onset))

    def pairs(self, db: float, soft: bool = False) -> Iterator[Item]:
        """Yield neighbours together, with a hard onset or (soft) with their own attacks."""
        play = natural if soft else hard
        for tabs in self._sample(self.neighbours, f"pair {db} {soft}"):
            wanted, leak = (play(self.reed(tab), 0.45, cents=self.cents(tab)) for tab in tabs)
            played = self.item("pair", list(tabs), [wanted, scaled(leak, db, wanted)])
            yield replace(played, db=db)

    def leaks_in_motion(self, kind: str, path: PitchPath, db: float = -12.0) -> Iterator[Item]:
        """Yield moving notes with an unbent leaking neighbour."""
        depth = {"bend": 1, "whole-step bend": 2}.get(kind, 0)
        pairs = [
            tabs
            for tabs in self.neighbours
            if self.harp.can_play(replace(Tab.parse(tabs[0]), bend=depth))
        ]
        for tabs in self._sample(pairs, kind):
            wanted = hard(self.reed(tabs[0]), 0.9, path, self.cents(tabs[0]))
            leak = hard(self.reed(tabs[1]), 0.9, cents=self.cents(tabs[1]))
            played = self.item(f"leak in {kind}", list(tabs), [wanted, scaled(leak, db, wanted)])
            yield replace(played, db=db)

    def leaks_in_wah(self, db: float = -12.0) -> Iterator[Item]:
        """Yield notes with a hand wah and a leaking neighbour."""
        for played in self.leaks_in_motion("wah", still, db):
            yield replace(played, kind="leak in wah", samples=hand(played.samples, played.onset))

    def chords(self, spread_db: float = 0.0) -> Iterator[Item]:
        """Yield three adjacent holes, the outer ones `spread_db` softer."""
        for low, middle, high in self._sample(self._rows(3), f"chord {spread_db}"):
            sounds = [
                hard(self.reed(tab), 0.5, cents=self.cents(tab)) for tab in (middle, low, high)
            ]
            outer = [scaled(sound, -spread_db, sounds[0]) for sound in sounds[1:]]
            yield self.item("chord of three", [middle, low, high], [sounds[0], *outer])

    def splits(self, off: float = 3.0, db: float = 0.0) -> Iterator[Item]:
        """Yield octaves with blocked holes between, the upper reed `off` cents sharp."""
        for tabs in self._sample(self._octaves(), f"split {off} {db}"):
            low, high = (self.reed(tab) for tab in tabs)
            sharp = off + 1200.0 * np.log2(2.0 * low.held_hz / high.held_hz)
            below, above = hard(low, 0.9), hard(high, 0.9, cents=float(sharp))
            kind = f"octave split, {off:g} cents apart,"
            played = self.item(kind, list(tabs), [below, scaled(above, db, below)])
            yield replace(played, db=db)

    def frozen(self) -> Iterator[Item]:
        """Yield notes resynthesized from a recorded reed's partials: f0 is known exactly."""
        for tab in self._sample(self.naturals, "frozen"):
            reed = self.reed(tab)
            hz, partials = reed.held_hz, reed.partials()
            turns = np.outer(np.arange(1, len(partials) + 1), np.arange(round(0.5 * RATE)) * hz)
            samples = np.real(partials @ np.exp(2j * np.pi * turns / RATE))
            sound = Sound(samples, partial(_constant, hz), reed.rms)
            played = self.item("frozen", [tab], [sound])
            yield replace(played, partials=np.abs(partials))

    def _octaves(self) -> list[tuple[str, str]]:
        return [
            (low, high)
            for low in self.naturals
            for high in self.naturals
            if low.startswith("-") == high.startswith("-")
            and self.midi(high) - self.midi(low) == 12
        ]

    def _rows(self, count: int) -> list[list[str]]:
        """Return all runs of `count` adjacent holes of one breath."""
        rows = [[tab for tab in self.naturals if tab.startswith("-") == drawn] for drawn in (0, 1)]
        return [row[at : at + count] for row in rows for at in range(len(row) - count + 1)]


def noisy(played: Item, snr_db: float) -> Item:
    """Add white noise, `snr_db` below the sound's level while it is held."""
    noise = level(played) * 10.0 ** (-snr_db / 20.0)
    draw = np.random.default_rng([zlib.crc32(played.name.encode()), round(snr_db)])
    samples = played.samples + noise * draw.standard_normal(len(played.samples))
    return replace(played, samples=samples, noise=noise)


def level(played: Item) -> float:
    """Return the RMS level from the onset to the release, linear."""
    held = played.samples[played.onset : round(played.until * played.rate)]
    return float(np.sqrt(np.mean(held**2)))


def generator_of(played: Item) -> np.random.Generator:
    """Return a random generator seeded by the item's name."""
    return np.random.default_rng(zlib.crc32(played.name.encode()))
