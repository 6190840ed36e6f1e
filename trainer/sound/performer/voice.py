"""The voice of one free reed, built up from partials.

The levels of the partials were measured for this project on the recorded reeds of two freely
licensed General MIDI sound fonts (program 22, every third half step from 87 Hz to 2 kHz), the
two averaged; above that the sound is nearly a sine, its second partial 15 to 30 dB down. The
fundamental is not always the strongest, and low notes carry to the eighth partial and beyond.
Low reeds speak more slowly than high ones (measured: 40 ms at 200 Hz, about 15 at 1 kHz).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats

Curve = Callable[[Floats], Floats]
"""Cents off a reed's reference pitch at each of an array of sample numbers."""

_HZ = np.array([200.0, 400.0, 550.0, 780.0, 1100.0, 1600.0, 2100.0, 3000.0])
_LEVELS_DB = np.array(
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
_MOST_PARTIALS = 32
_FALL_DB = 1.0
"""How much weaker each partial above the table's last is than the one before it."""
_TOP = 0.45
"""Highest partial, as a share of the sample rate."""
_SPREAD_DB = 1.5
"""How far the partials of one reed lie off the table: no two reeds sound quite alike."""
_DULLING = 0.25
"""How much duller a reed is as it starts: each partial is this much weaker than the one below."""
_SHUT, _MUFFLED = 0.5, 0.3
"""What closed hands leave of the level, and how much duller they make a reed, likewise: 6 dB in
all, the fifth partial some 12 dB weaker beside the first (common practice)."""


@dataclass(frozen=True, slots=True)
class ReedTimbre:
    """How one reed sounds.

    Attributes:
        hz: its reference pitch.
        partials: complex amplitudes from the fundamental up, shape (k,), unit RMS together.
        attack: samples until it sounds in full.
        release: samples that it takes to fall silent.
    """

    hz: float
    partials: NDArray[np.complex128]
    attack: int
    release: int

    @classmethod
    def of(cls, hz: float, rate: int, rng: np.random.Generator, *, highest: float) -> ReedTimbre:
        """A reed of a pitch.

        Args:
            hz: its reference pitch.
            rate: samples a second.
            rng: draws what is its own: phases and small differences in level.
            highest: the highest f0 in Hz it will be taken to; no partial of it is above 0.45 of
                the sample rate, so that nothing folds back.
        """
        count = max(1, min(_MOST_PARTIALS, int(_TOP * rate / highest)))
        levels = _levels_db(hz) + rng.uniform(-_SPREAD_DB, _SPREAD_DB, _MOST_PARTIALS)
        turns = rng.uniform(0.0, 1.0, _MOST_PARTIALS)
        partials = (10.0 ** (levels / 20.0) * np.exp(2j * np.pi * turns))[:count]
        partials *= np.sqrt(2.0 / np.sum(np.abs(partials) ** 2))
        slow = np.clip((200.0 / hz) ** 0.6, 0.0, 1.0)
        attack_ms, release_ms = max(15.0, 40.0 * slow), max(30.0, 60.0 * slow)
        return cls(
            hz, partials, round(attack_ms * rate / 1000.0), round(release_ms * rate / 1000.0)
        )


def _levels_db(hz: float) -> Floats:
    """Level of each partial at a pitch, in dB, shape (32,): the table, read between its rows."""
    rows = [np.interp(np.log(hz), np.log(_HZ), column) for column in _LEVELS_DB.T]
    beyond = rows[-1] - _FALL_DB * np.arange(1, _MOST_PARTIALS - len(rows) + 1)
    return np.concatenate([rows, beyond])


class ReedVoice:
    """A reed sounding once.

    Its phase is the running sum of its momentary f0, so that it is at the asked pitch exactly,
    however the pitch moves.
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
    ) -> None:
        """Plan it.

        Args:
            reed: what sounds.
            start: sample on which it starts to sound.
            stop: sample on which it is let go; the release follows.
            cents: its pitch, off `reed.hz`.
            rms: RMS level once it sounds in full, re full scale.
            rate: samples a second.
            hands: how far hands are closed over it, 0 to 1, at each of an array of sample
                numbers; None for none.
        """
        self.reed, self.start, self.stop = reed, start, stop
        self.end = stop + reed.release
        self._cents, self._rms, self._rate = cents, rms, rate
        self._hands = hands
        self._turns = 0.0

    def add_to(self, out: Floats, air: Floats, first: int) -> None:
        """Add a stretch of it, following on from the one before.

        Args:
            out: samples, shape (n,), of which the first has the number `first`; changed.
            air: level of the breath that drives it, shape (n,); changed.
        """
        a, b = max(self.start, first), min(self.end, first + len(out))
        if a >= b:
            return
        n = np.arange(a, b, dtype=np.float64)
        envelope = self._envelope(n)
        here = slice(a - first, b - first)
        out[here] += self._rms * envelope * self._wave(n, envelope)
        air[here] += self._rms * np.sqrt(envelope)

    def release_at(self, frame: int) -> None:
        """Stop it by a sample, if it still sounds then; its release follows."""
        self.stop = min(self.stop, frame)
        self.end = self.stop + self.reed.release

    def _envelope(self, n: Floats) -> Floats:
        if n[0] >= self.start + self.reed.attack and n[-1] <= self.stop:
            return np.ones(len(n))
        rise = np.sin(np.pi / 2 * np.minimum(1.0, (n - self.start + 1) / self.reed.attack))
        fall = np.cos(np.pi / 2 * np.clip((n - self.stop) / self.reed.release, 0.0, 1.0))
        return np.asarray(rise * fall**2)

    def _wave(self, n: Floats, envelope: Floats) -> Floats:
        """The partials together, unit RMS, by Horner's rule in e^(i phase)."""
        steps = self.reed.hz / self._rate * np.exp2(self._cents(n) / 1200.0)
        turns = self._turns + np.cumsum(steps)
        self._turns = float(turns[-1] % 1.0)
        fundamental = np.exp(2j * np.pi * (turns - steps))
        above = fundamental * (1.0 - _DULLING * (1.0 - envelope))
        if self._hands is not None:
            closed = self._hands(n)
            above *= 1.0 - _MUFFLED * closed
            fundamental *= 1.0 - closed * (1.0 - _SHUT / self._muffled())
        total = np.full(len(n), self.reed.partials[-1])
        for partial in self.reed.partials[-2::-1]:
            total *= above
            total += partial
        return np.asarray((total * fundamental).real)

    def _muffled(self) -> float:
        """RMS of the partials as closed hands dull them."""
        partials = self.reed.partials
        left = np.abs(partials) * (1.0 - _MUFFLED) ** np.arange(len(partials))
        return float(np.sqrt(np.sum(left**2) / 2.0))
