"""The natural voice: a reed that answers to pressure, attack and bend as a reed does.

What it does is read from a table, `reeds.json`, which `devtools/voice_table.py` makes from recorded
reeds of one sound font and from a simulation of two reeds in their chamber
(`devtools/reed_model.py`); docs/dev/voice.md has the model, its sources, and what was chosen by
hand. A sounding reed is a wavetable: one period for each level and each fraction of a bend, between
which the voice moves. All periods of a reed have the same phases, so that its pitch stays exact
while its colour changes.

Attack and pressure pull its pitch: it speaks flat, and is blown flat. What a step or a fault asks
for is the pitch of an ordinary note that has spoken: there, nothing is pulled.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache, cached_property, lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.sound.performer.voice import BREATH_DB, HANDS, Blowing


@dataclass(frozen=True, slots=True)
class NaturalParameters:
    """Constants of the natural voice. Chosen by hand unless stated otherwise."""

    top: float = 0.45
    """Highest partial as a fraction of the sample rate."""
    spread_db: float = 1.5
    """Largest deviation of a reed's partials from the table, in dB: no two reeds sound alike."""
    period: int = 4096
    """Samples of a stored period. Linear interpolation errs by -70 dB of the 32nd partial,
    and -90 dB of the tenth."""
    gusts: float = 0.6
    """Depth to which the breath's noise follows the opening of the slot, 0 to 1."""
    rush: float = 5.0
    """How much more breath is heard before a reed has taken it up, relative to the held note."""
    onset_softness: float = 0.4
    """How much of the colour of a soft note an attack has at the same level: its pressure is that
    of the held note, though its reed has yet to swing. Fitted on harmonica 1, where 0.3 to 0.5 are
    nearest to the partials of recorded attacks."""


PARAMETERS = NaturalParameters()


@dataclass(frozen=True)
class ReedTable:
    """What reeds do, by pitch.

    Attributes:
        hz: the pitches, shape (m,).
        level_db: levels relative to an ordinary note, rising, shape (a,).
        bend: fractions of the way from a reed's own pitch to that of the other reed of its hole,
            rising from 0, shape (b,).
        partials_db: levels of the partials, shape (m, a, k).
        bent_db: change of these levels by the bend, shape (m, b, k).
        cycles: phases of the partials, shape (m, k).
        rise_ms: time until a reed sounds in full, shape (m, a).
        glide_cents: how flat it speaks, shape (m,).
        glide_ms: time until it has reached its pitch, shape (m,).
        sag_cents: change of its pitch by the level, shape (m, a); 0 for an ordinary note.
        breath_db: level of the breath's noise relative to the reed, shape (m,).
    """

    hz: Floats
    level_db: Floats
    bend: Floats
    partials_db: Floats
    bent_db: Floats
    cycles: Floats
    rise_ms: Floats
    glide_cents: Floats
    glide_ms: Floats
    sag_cents: Floats
    breath_db: Floats

    def at(self, values: Floats, hz: float) -> Floats:
        """Return some of the table's values at a pitch, interpolated over its logarithm.

        Args:
            values: shape (m, ...).
            hz: the pitch; beyond the ends of the table, its ends count.
        """
        place = float(np.interp(np.log(hz), np.log(self.hz), np.arange(len(self.hz))))
        low = min(int(place), len(self.hz) - 2)
        return np.asarray(values[low] + (place - low) * (values[low + 1] - values[low]))


@cache
def load_table() -> ReedTable:
    """Return the table of the package."""
    text = resources.files("trainer.sound.performer").joinpath("reeds.json").read_text("utf-8")
    return ReedTable(**{name: np.array(values) for name, values in json.loads(text).items()})


class _Timbre:
    """The periods of one reed.

    Args:
        own_hz: its own pitch.
        count: number of partials.
        key: seed of its peculiarities.
    """

    def __init__(self, own_hz: float, count: int, key: tuple[int, ...]) -> None:
        table, rng = load_table(), np.random.default_rng(key)
        self._table = table
        spread = rng.uniform(-PARAMETERS.spread_db, PARAMETERS.spread_db, table.cycles.shape[1])
        levels = table.at(table.partials_db, own_hz)[:, None] + table.at(table.bent_db, own_hz)
        amplitudes = 10.0 ** ((levels + spread)[..., :count] / 20.0)
        amplitudes *= np.sqrt(2.0 / np.sum(amplitudes**2, axis=-1, keepdims=True))
        self._partials = amplitudes * np.exp(2j * np.pi * table.at(table.cycles, own_hz)[:count])

    @cached_property
    def open(self) -> NDArray[np.float32]:
        """Periods for open hands, shape (a, b, period + 1)."""
        return self._periods(self._partials)

    @cached_property
    def closed(self) -> NDArray[np.float32]:
        """Periods for closed hands."""
        dulled = self._partials * (1.0 - HANDS.closed_dulling) ** np.arange(
            self._partials.shape[-1]
        )
        power = np.sum(np.abs(dulled) ** 2, axis=-1, keepdims=True)
        return self._periods(HANDS.closed_level * np.sqrt(2.0 / power) * dulled)

    def _periods(self, partials: NDArray[np.complex128]) -> NDArray[np.float32]:
        size = PARAMETERS.period
        bins = np.zeros((*partials.shape[:2], size // 2 + 1), complex)
        bins[..., 1 : partials.shape[-1] + 1] = partials
        periods = np.fft.irfft(bins, axis=-1) * (size / 2.0)
        return np.concatenate([periods, periods[..., :1]], axis=-1).astype(np.float32)


@lru_cache(maxsize=64)
def _timbre(own_hz: float, count: int, key: tuple[int, ...]) -> _Timbre:
    return _Timbre(own_hz, count, key)


@dataclass(frozen=True, slots=True)
class NaturalReed:
    """A reed of the natural voice.

    Attributes:
        hz: its reference pitch.
        own_hz: its pitch when it is not bent.
        other_hz: pitch of the other reed of its hole.
        release: samples until it is silent.
        rate: samples per second.
        timbre: its periods.
    """

    hz: float
    own_hz: float
    other_hz: float
    release: int
    rate: int
    timbre: _Timbre

    @classmethod
    def of(
        cls,
        hz: float,
        hole_hz: tuple[float, float],
        rate: int,
        key: tuple[int, ...],
        *,
        highest: float,
    ) -> NaturalReed:
        """Return a reed.

        Args:
            hz: its reference pitch.
            hole_hz: pitch of the reed, and of the other one of its hole.
            rate: samples per second.
            key: seed of its peculiarities; the same for the same reed.
            highest: highest f0 in hertz that it will have; none of its partials is above 0.45 of
                the sample rate, so that there is no aliasing.
        """
        most = load_table().cycles.shape[1]
        count = max(1, min(most, int(PARAMETERS.top * rate / highest)))
        own_hz, other_hz = hole_hz
        slow = np.clip((200.0 / own_hz) ** 0.6, 0.0, 1.0)
        release = round(max(30.0, 60.0 * slow) * rate / 1000.0)
        return cls(hz, own_hz, other_hz, release, rate, _timbre(own_hz, count, key))

    def attack(self, loudness_db: float) -> int:
        """Return samples until it sounds in full: the harder it is blown, the sooner."""
        table = load_table()
        ms = np.interp(loudness_db, table.level_db, table.at(table.rise_ms, self.own_hz))
        return max(1, round(float(ms) * self.rate / 1000.0))

    def pull(self, age: Floats, loudness_db: Floats | None) -> Floats | None:
        """Return by how many cents attack and pressure pull its pitch."""
        table = load_table()
        length = 1e-3 * float(table.at(table.glide_ms, self.own_hz)) * self.rate
        if loudness_db is None and age[0] > length:
            return None
        depth = float(table.at(table.glide_cents, self.own_hz))
        glide = depth * np.maximum(0.0, 1.0 - age / length) ** 2
        if loudness_db is None:
            return np.asarray(-glide)
        sag = np.interp(loudness_db, table.level_db, table.at(table.sag_cents, self.own_hz))
        return np.asarray(sag - glide)

    def wave(self, blowing: Blowing) -> Floats:
        """Return its sound, from the periods of its level and bend."""
        table = load_table()
        softness = 20.0 * np.log10(np.maximum(blowing.envelope, 1e-3)) * PARAMETERS.onset_softness
        loudness = softness if blowing.loudness_db is None else softness + blowing.loudness_db
        level = np.interp(loudness, table.level_db, np.arange(len(table.level_db)))
        bend = np.interp(self._bend(blowing.cents), table.bend, np.arange(len(table.bend)))
        sound = _read(self.timbre.open, level, bend, blowing.cycles)
        if blowing.closure is None:
            return sound
        closed = _read(self.timbre.closed, level, bend, blowing.cycles)
        return np.asarray(sound + blowing.closure * (closed - sound))

    def air(self, blowing: Blowing) -> Floats:
        """Return the level of its breath, which rises before it speaks and swings with its slot."""
        table = load_table()
        level = 10.0 ** ((float(table.at(table.breath_db, self.own_hz)) - BREATH_DB) / 20.0)
        swing = 1.0 + PARAMETERS.gusts * np.cos(2.0 * np.pi * blowing.cycles)
        rush = 1.0 + PARAMETERS.rush * (1.0 - blowing.envelope)
        return np.asarray(level * np.sqrt(blowing.envelope) * rush * swing)

    def _bend(self, cents: Floats) -> Floats:
        """Return how far the other reed has taken over, 0 to 1, shape (n,)."""
        above = cents + 1200.0 * np.log2(self.hz / self.own_hz)
        interval = 1200.0 * np.log2(self.own_hz / self.other_hz)
        if abs(interval) < 1.0:
            return np.zeros(len(cents))
        if interval > 0.0:
            return np.asarray(np.clip(-above / interval, 0.0, 1.0))
        # The other reed is the higher one: it alone sounds an overblow, above both.
        return np.asarray(np.clip(above / -interval, 0.0, 1.0))


def _read(periods: NDArray[np.float32], level: Floats, bend: Floats, cycles: Floats) -> Floats:
    """Read periods by linear interpolation over level, bend and phase.

    Args:
        periods: shape (a, b, period + 1).
        level: places on the first axis, shape (n,).
        bend: places on the second axis, shape (n,).
        cycles: phases, shape (n,).
    """
    place = (cycles % 1.0) * (periods.shape[-1] - 1)
    at = place.astype(np.intp)
    part = place - at
    total = np.zeros(len(cycles))
    for row, weight in _corners(level, periods.shape[0]):
        for column, share in _corners(bend, periods.shape[1]):
            total += weight * share * _between(periods, row, column, at, part)
    return total


def _corners(places: Floats, count: int) -> list[tuple[NDArray[np.intp] | int, Floats | float]]:
    """Return the rows around places and their weights; single numbers where all places are one."""
    if places[0] == places[-1] and np.all(places == places[0]):
        low = int(places[0])
        part = float(places[0]) - low
        return [(low, 1.0 - part), (low + 1, part)] if part else [(low, 1.0)]
    lows = np.minimum(places.astype(np.intp), count - 2)
    parts = places - lows
    return [(lows, 1.0 - parts), (lows + 1, parts)]


def _between(
    periods: NDArray[np.float32],
    row: NDArray[np.intp] | int,
    column: NDArray[np.intp] | int,
    at: NDArray[np.intp],
    part: Floats,
) -> Floats:
    """Read one period for each sample, by linear interpolation over the phase."""
    here = periods[row, column, at]
    return np.asarray(here + part * (periods[row, column, at + 1] - here))
