"""The laboratory voice: a reed whose sound depends on its pitch alone, by additive synthesis.

The levels of the partials were measured for this project on the recorded reeds of two freely
licensed General MIDI sound fonts (program 22, every third half step from 87 Hz to 2 kHz), and the
two were averaged. Above that the sound is nearly a sine, its second partial 15 to 30 dB down. The
fundamental is not always the strongest, and low notes have partials to the eighth and beyond. Low
reeds speak more slowly than high ones (measured: 40 ms at 200 Hz, about 15 ms at 1 kHz).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.sound.performer.voice import HANDS, Blowing

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
class LaboratoryParameters:
    """Constants of the laboratory voice. Chosen unless stated otherwise."""

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


PARAMETERS = LaboratoryParameters()


@dataclass(frozen=True, slots=True)
class LaboratoryReed:
    """A reed of the laboratory voice.

    Attributes:
        hz: its reference pitch.
        partials: complex amplitudes from the fundamental up, shape (k,), of unit RMS together.
        rise: samples until it sounds in full.
        release: samples until it is silent.
    """

    hz: float
    partials: NDArray[np.complex128]
    rise: int
    release: int

    @classmethod
    def of(
        cls, hz: float, rate: int, rng: np.random.Generator, *, highest: float
    ) -> LaboratoryReed:
        """Return a reed.

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

    def attack(self, loudness_db: float) -> int:
        """Return samples until it sounds in full, at any level."""
        return self.rise

    def pull(self, age: Floats, loudness_db: Floats | None) -> None:
        """Return None: nothing pulls its pitch."""

    def wave(self, blowing: Blowing) -> Floats:
        """Return the sum of the partials, by Horner's rule in e^(i phase)."""
        fundamental = np.exp(2j * np.pi * blowing.cycles)
        ratio = fundamental * (1.0 - PARAMETERS.onset_dulling * (1.0 - blowing.envelope))
        if blowing.closure is not None:
            ratio *= 1.0 - HANDS.closed_dulling * blowing.closure
            level = HANDS.closed_level / self._dulled_rms()
            fundamental *= 1.0 - blowing.closure * (1.0 - level)
        total = np.full(len(ratio), self.partials[-1])
        for partial in self.partials[-2::-1]:
            total *= ratio
            total += partial
        return np.asarray((total * fundamental).real)

    def air(self, blowing: Blowing) -> Floats:
        """Return the level of the breath, which rises before the reed speaks."""
        return np.sqrt(blowing.envelope)

    def _dulled_rms(self) -> float:
        """RMS of the partials under closed hands."""
        dulling = (1.0 - HANDS.closed_dulling) ** np.arange(len(self.partials))
        return float(np.sqrt(np.sum((np.abs(self.partials) * dulling) ** 2) / 2.0))


def _levels_db(hz: float) -> Floats:
    """Levels of the partials at a pitch, in dB, shape (32,): the table, interpolated over log f."""
    tabled = [np.interp(np.log(hz), np.log(_TABLE_HZ), column) for column in _TABLE_DB.T]
    above = np.arange(1, PARAMETERS.max_partials - len(tabled) + 1)
    return np.concatenate([tabled, tabled[-1] - PARAMETERS.rolloff_db * above])
