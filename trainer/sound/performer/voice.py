"""A reed sounding once: its phase, its level, its breath.

What it sounds like is the business of its :class:`Reed`, of which there are two kinds:
:class:`~trainer.sound.performer.laboratory_reed.LaboratoryReed`, an instrument of measurement whose
sound depends on nothing but its pitch, and
:class:`~trainer.sound.performer.natural_reed.NaturalReed`, which answers to pressure and bends as a
reed does, for whoever listens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

import numpy as np

from trainer.core.types import Floats

Curve = Callable[[Floats], Floats]
"""Maps sample numbers, shape (n,), to cents from a reed's reference pitch or to dB, shape (n,)."""


BREATH_DB = -45.0
"""Level of the noise of a breath of level 1, relative to a reed of unit RMS, in dB. Chosen."""


class VoiceKind(Enum):
    """Which reeds the built-in player plays on."""

    LABORATORY = "laboratory"
    """Nothing but what a drill or a fault asks for: for tests and proofs."""
    NATURAL = "natural"
    """As a reed answers to a player: for examples that are listened to."""


@dataclass(frozen=True, slots=True)
class HandParameters:
    """Constants of hands that close over a harp. Common practice."""

    closed_level: float = 0.5
    """RMS level that closed hands leave, relative to open hands: -6 dB."""
    closed_dulling: float = 0.3
    """Relative loss of amplitude from partial to partial under closed hands: about 12 dB at the
    fifth partial."""


HANDS = HandParameters()


def closure_of_db(db: float) -> float:
    """Return how far hands close to take some dB off a reed; 1 is `closed_level`."""
    return (1.0 - 10.0 ** (-db / 20.0)) / (1.0 - HANDS.closed_level)


@dataclass(frozen=True, slots=True)
class Blowing:
    """How a reed is blown over a stretch of n samples.

    Attributes:
        cycles: phase of the fundamental in cycles, shape (n,).
        cents: pitch relative to the reed's reference, shape (n,).
        envelope: amplitude relative to that of the held note, shape (n,).
        loudness_db: level relative to an ordinary note, shape (n,); None for an ordinary one.
        closure: how far hands close over it, 0 to 1, shape (n,); None for no hands.
    """

    cycles: Floats
    cents: Floats
    envelope: Floats
    loudness_db: Floats | None
    closure: Floats | None


class Reed(Protocol):
    """What a voice sounds."""

    @property
    def hz(self) -> float:
        """Reference pitch in hertz."""

    @property
    def release(self) -> int:
        """Samples until it is silent."""

    def attack(self, loudness_db: float) -> int:
        """Return samples until it sounds in full, by its level re an ordinary note."""

    def pull(self, age: Floats, loudness_db: Floats | None) -> Floats | None:
        """Return by how many cents attack and pressure pull its pitch; None for not at all.

        Args:
            age: samples since its attack, shape (n,).
            loudness_db: level relative to an ordinary note, shape (n,); None for an ordinary one.
        """

    def wave(self, blowing: Blowing) -> Floats:
        """Return its sound of unit RMS for open hands, its envelope not applied, shape (n,)."""

    def air(self, blowing: Blowing) -> Floats:
        """Return the level of its breath, of which 1 is `BREATH_DB`, shape (n,)."""


class ReedVoice:
    """A reed sounding once.

    Its phase is the running sum of its instantaneous f0, so that its pitch is exact however it
    moves.
    """

    def __init__(
        self,
        reed: Reed,
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
        at_start = 0.0 if loudness is None else float(loudness(np.array([start]))[0])
        self._attack = reed.attack(at_start)
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
        blowing = self._blowing(n)
        loudness_db = blowing.loudness_db
        rms = self._rms * (1.0 if loudness_db is None else 10.0 ** (loudness_db / 20.0))
        here = slice(a - first, b - first)
        out[here] += rms * blowing.envelope * self.reed.wave(blowing)
        air[here] += rms * self.reed.air(blowing)

    def release_at(self, frame: int) -> None:
        """Begin its release on a sample, unless it began earlier."""
        self.stop = min(self.stop, frame)
        self.end = self.stop + self.reed.release

    def _blowing(self, n: Floats) -> Blowing:
        loudness_db = None if self._loudness is None else self._loudness(n)
        cents = self._cents(n)
        pull = self.reed.pull(n - self.start, loudness_db)
        sounding = cents if pull is None else cents + pull
        steps = self.reed.hz / self._rate * np.exp2(sounding / 1200.0)
        cycles = self._cycles + np.cumsum(steps)
        self._cycles = float(cycles[-1] % 1.0)
        closure = None if self._hands is None else self._hands(n)
        return Blowing(cycles - steps, cents, self._envelope(n), loudness_db, closure)

    def _envelope(self, n: Floats) -> Floats:
        if n[0] >= self.start + self._attack and n[-1] <= self.stop:
            return np.ones(len(n))
        rise = np.sin(np.pi / 2 * np.minimum(1.0, (n - self.start + 1) / self._attack))
        fall = np.cos(np.pi / 2 * np.clip((n - self.stop) / self.reed.release, 0.0, 1.0))
        return np.asarray(rise * fall**2)
