"""The voice of one free reed, by additive synthesis.

The levels of the partials were measured for this project on the recorded reeds of two freely
licensed General MIDI sound fonts (program 22, every third half step from 87 Hz to 2 kHz), and the
two were averaged. Above that the sound is nearly a sine, its second partial 15 to 30 dB down. The
fundamental is not always the strongest, and low notes have partials to the eighth and beyond. Low
reeds speak more slowly than high ones (measured: 40 ms at 200 Hz, about 15 ms at 1 kHz).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats

Curve = Callable[[Floats], Floats]
"""Maps sample numbers, shape (n,), to cents from a reed's reference pitch or to dB, shape (n,)."""

_TABLE_HZ = np.array([200.0, 400.0, 550.0, 780.0, 1100.0, 1600.0, 2100.0, 3000.0])
_TABLE_DB = np.array(
    [
        [0, -13, -6, -15, -7, -10, -17, -17, -19, -16, -23, -28, -30, -32, -26, -32],
        [-1, -4, -3, -20, -9, -14, -24, -31, -25, -28, -16, -18, -33, -32, -32, -30],
        [-6, -6, -9, -18, -9, -25, -16, -26, -28, -33, -33, -32, -47, -37, -46, -52],
        [-5, 0, -11, -20, -10, -22, -17, -27, -28, -38, -35, -41, -43, -43, -57, -60],
        [-1, -6, -13, -12, -6, -28, -26, -41, -42, -52, -58, -62, -66, -68, -72, -75],
        [0, -8, -13, -19, -26, -44, -50, -60, -64, -70, -75, -80, -80, -80, -80, -80],
        [0, -15, -22, -30, -38, -50, -56, -64, -70, -75, -80, -80, -80, -80, -80, -80],
        [0, -24, -34, -44, -52, -60, -66, -72, -80, -80, -80, -80, -80, -80, -80, -80],
    ],
    dtype=np.float64,
)
"""Levels in dB of the partials from the fundamental up, one row for each pitch of `_TABLE_HZ`.
Measured, see above."""


@dataclass(frozen=True, slots=True)
class VoiceParameters:
    """Constants of a voice. Chosen unless stated otherwise."""

    max_partials: int = 32
    """Largest number of partials."""
    rolloff_db: float = 1.0
    """Fall in level from partial to partial above the table, in dB."""
    top: float = 0.45
    """Highest partial as a fraction of the sample rate."""
    spread_db: float = 1.5
    """Largest deviation of a reed's partials from the table, in dB: no two reeds sound alike."""
    onset_dulling: float = 0.25
    """Relative loss of amplitude from partial to partial at a note's onset."""
    closed_level: float = 0.5
    """RMS level that closed hands leave, relative to open hands: -6 dB. Common practice."""
    closed_dulling: float = 0.3
    """Relative loss of amplitude from partial to partial under closed hands: about 12 dB at the
    fifth partial. Common practice."""


PARAMETERS = VoiceParameters()


@dataclass(frozen=True, slots=True)
class ReedTimbre:
    """The timbre of one reed.

    Attributes:
        hz: its reference pitch.
        partials: complex amplitudes from the fundamental up, shape (k,), of unit RMS together.
        attack: samples until it sounds in full.
        release: samples until it is silent.
    """

    hz: float
    partials: NDArray[np.complex128]
    attack: int
    release: int

    @classmethod
    def of(cls, hz: float, rate: int, rng: np.random.Generator, *, highest: float) -> ReedTimbre:
        """Return the timbre of a reed.

        Args:
            hz: its reference pitch.
            rate: samples per second.
            rng: draws its peculiarities: phases and small differences in level.
            highest: highest f0 in hertz that it will have; none of its partials is above 0.45 of
                the sample rate, so that there is no aliasing.
        """
        most, spread_db = PARAMETERS.max_partials, PARAMETERS.spread_db
        count = max(1, min(most, int(PARAMETERS.top * rate / highest)))
        levels_db = _levels_db(hz) + rng.uniform(-spread_db, spread_db, most)
        cycles = rng.uniform(0.0, 1.0, most)
        partials = (10.0 ** (levels_db / 20.0) * np.exp(2j * np.pi * cycles))[:count]
        partials *= np.sqrt(2.0 / np.sum(np.abs(partials) ** 2))
        slow = np.clip((200.0 / hz) ** 0.6, 0.0, 1.0)
        attack_ms, release_ms = max(15.0, 40.0 * slow), max(30.0, 60.0 * slow)
        return cls(
            hz, partials, round(attack_ms * rate / 1000.0), round(release_ms * rate / 1000.0)
        )


def _levels_db(hz: float) -> Floats:
    """Levels of the partials at a pitch, in dB, shape (32,): the table, interpolated over log f."""
    tabled = [np.interp(np.log(hz), np.log(_TABLE_HZ), column) for column in _TABLE_DB.T]
    above = np.arange(1, PARAMETERS.max_partials - len(tabled) + 1)
    return np.concatenate([tabled, tabled[-1] - PARAMETERS.rolloff_db * above])


def closure_of_db(db: float) -> float:
    """Return how far hands close to take some dB off a reed; 1 is `closed_level`."""
    return (1.0 - 10.0 ** (-db / 20.0)) / (1.0 - PARAMETERS.closed_level)


class ReedVoice:
    """A reed sounding once.

    Its phase is the running sum of its instantaneous f0, so that its pitch is exact however it
    moves.
    """

    def __init__(
        self,
        reed: ReedTimbre,
        start: int,
        stop: int,
        cents: Curve,
        rms: float,
        rate: int,
        hands: Curve | None = None,
        loudness: Curve | None = None,
    ) -> None:
        """Prepare it.

        Args:
            reed: what sounds.
            start: sample on which it starts to sound.
            stop: sample on which the release begins.
            cents: its pitch relative to `reed.hz`.
            rms: RMS level once it sounds in full, relative to full scale.
            rate: samples per second.
            hands: how far hands close over it, 0 to 1, as a function of sample numbers; None for
                no hands.
            loudness: its level in dB relative to `rms`, as a function of sample numbers; None for
                an even one.
        """
        self.reed, self.start, self.stop = reed, start, stop
        self.end = stop + reed.release
        self._cents, self._rms, self._rate = cents, rms, rate
        self._hands, self._loudness = hands, loudness
        self._cycles = 0.0

    def add_to(self, out: Floats, air: Floats, first: int) -> None:
        """Add its next stretch.

        Args:
            out: samples, shape (n,), of which the first has the number `first`; changed.
            air: level of the breath that drives the reeds, shape (n,); changed.
            first: that number; each stretch follows on the one before.
        """
        a, b = max(self.start, first), min(self.end, first + len(out))
        if a >= b:
            return
        n = np.arange(a, b, dtype=np.float64)
        envelope = self._envelope(n)
        here = slice(a - first, b - first)
        rms = self._rms * (1.0 if self._loudness is None else 10.0 ** (self._loudness(n) / 20.0))
        out[here] += rms * envelope * self._wave(n, envelope)
        air[here] += rms * np.sqrt(envelope)

    def release_at(self, frame: int) -> None:
        """Begin its release on a sample, unless it began earlier."""
        self.stop = min(self.stop, frame)
        self.end = self.stop + self.reed.release

    def _envelope(self, n: Floats) -> Floats:
        if n[0] >= self.start + self.reed.attack and n[-1] <= self.stop:
            return np.ones(len(n))
        rise = np.sin(np.pi / 2 * np.minimum(1.0, (n - self.start + 1) / self.reed.attack))
        fall = np.cos(np.pi / 2 * np.clip((n - self.stop) / self.reed.release, 0.0, 1.0))
        return np.asarray(rise * fall**2)

    def _wave(self, n: Floats, envelope: Floats) -> Floats:
        """Sum of the partials, unit RMS, by Horner's rule in e^(i phase)."""
        steps = self.reed.hz / self._rate * np.exp2(self._cents(n) / 1200.0)
        cycles = self._cycles + np.cumsum(steps)
        self._cycles = float(cycles[-1] % 1.0)
        fundamental = np.exp(2j * np.pi * (cycles - steps))
        ratio = fundamental * (1.0 - PARAMETERS.onset_dulling * (1.0 - envelope))
        if self._hands is not None:
            closure = self._hands(n)
            ratio *= 1.0 - PARAMETERS.closed_dulling * closure
            level = PARAMETERS.closed_level / self._dulled_rms()
            fundamental *= 1.0 - closure * (1.0 - level)
        total = np.full(len(n), self.reed.partials[-1])
        for partial in self.reed.partials[-2::-1]:
            total *= ratio
            total += partial
        return np.asarray((total * fundamental).real)

    def _dulled_rms(self) -> float:
        """RMS of the partials under closed hands."""
        partials = self.reed.partials
        dulling = (1.0 - PARAMETERS.closed_dulling) ** np.arange(len(partials))
        return float(np.sqrt(np.sum((np.abs(partials) * dulling) ** 2) / 2.0))
