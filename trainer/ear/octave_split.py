"""Octave splits: two reeds an octave apart, which share every partial of the upper one.

In one frame nothing tells them from a single reed. But two reeds are never tuned exactly alike:
over time the lower one's second, fourth, sixth partial beat and turn against its odd ones, at 1, 2,
3 times |f2 - 2 f1|, while the partials of one reed keep their phases to each other (the sum of two
phasors; in acoustics: mistuned consonances, Helmholtz 1863). So the partials' phases, less what the
fundamental's own phase makes of them, are remembered for a second; for one reed they stand still.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trainer.core.types import Complexes, Floats
from trainer.ear.partial_fit import hann_lobe
from trainer.music import cents

MEMORY_S = 1.0
LEAST_S = 0.2
"""For so long a note must have been held."""
STEP_S = 0.0175
"""Looks nearer to the last one kept are left out."""
STEADY_CENTS = 30.0
"""A pitch that moves further begins anew: two reeds do not bend alike."""
RATE_STEP_HZ, FASTEST_HZ = 0.1, 22.0
RATES = np.arange(-round(FASTEST_HZ / RATE_STEP_HZ), round(FASTEST_HZ / RATE_STEP_HZ) + 1)
"""Rates at which a partial may turn, in steps."""
DELTAS = np.arange(0.5, FASTEST_HZ / RATE_STEP_HZ, 0.5)
DELTAS = np.concatenate([DELTAS, -DELTAS])
"""Differences f2 - 2 f1 that are tried, in steps."""
TURN = -2j * np.pi * RATES * RATE_STEP_HZ
WIDE = 0.25
"""Share of a turning phasor that must not look like a standing one."""
LEAST_RESTLESS, LEAST_RATIO, QUIET = 0.015, 30.0, 2e-4
"""Share of the even partials' energy that moves, at least; that over the odd partials' share; and
what is added to the latter. (Measured on recorded single reeds, hands and vibrato included: ratio
up to 10; splits 0.5 cents apart and more: from 100.)"""
LEAST_BEAT = 0.8
"""Share of that movement that one beat rate must explain (single reeds: up to 0.6 in hands)."""


@dataclass(frozen=True, slots=True)
class UpperOctave:
    """An upper reed that beats with a lower one.

    Attributes:
        hz: its f0.
        level_db: its level beside the lower one; too low until it has turned once or so.
    """

    hz: float
    level_db: float


class _Look(NamedTuple):
    """One look: when, f0 in Hz, partials, and a phasor of each of `RATES`."""

    at: float
    hz: float
    partials: Complexes
    turns: Complexes


class OctaveDetector:
    """Remembers the partials of one reed and tells whether another beats with them."""

    def __init__(self) -> None:
        self._kept: deque[_Look] = deque()

    def forget(self) -> None:
        """A new note."""
        self._kept.clear()

    def observe(
        self, at: float, length: float, hz: float, partials: Complexes
    ) -> UpperOctave | None:
        """Take in one look.

        Args:
            at: middle of the frame, seconds.
            length: of the frame, seconds.
            hz: f0 of the reed.
            partials: complex amplitudes at its multiples, referred to the middle, shape (k,).

        Returns:
            The upper reed, or None where none is known.
        """
        kept = self._kept
        if kept and (abs(cents(hz, kept[0].hz)) > STEADY_CENTS or at < kept[-1].at):
            kept.clear()
        if not kept or at - kept[-1].at > STEP_S:
            kept.append(_Look(at, hz, partials, np.exp(TURN * at)))
        while at - kept[0].at > MEMORY_S:
            kept.popleft()
        count = min(len(one.partials) for one in kept)
        if kept[-1].at - kept[0].at < LEAST_S or count < 2:
            return None
        history = np.array([one.partials[:count] for one in kept])
        turned = history * np.exp(-1j * np.angle(history[:, :1]) * np.arange(1, count + 1))
        odd, even = turned[:, 0::2], turned[:, 1::2]
        level = np.sqrt(np.sum(np.abs(odd) ** 2, axis=1, keepdims=True))
        odd, even = odd / level, even / level
        restless = _restlessness(even)
        if restless < max(LEAST_RESTLESS, LEAST_RATIO * (_restlessness(odd) + QUIET)):
            return None
        return _beat(np.array([one.turns for one in kept]), length, hz, even)


def _restlessness(partials: Complexes) -> float:
    """Share of the energy of partials over time, shape (n, k), that does not stand still."""
    still = np.abs(partials.mean(axis=0)) ** 2
    return float(1.0 - still.sum() / np.mean(np.sum(np.abs(partials) ** 2, axis=1)))


def _beat(turns: Complexes, length: float, hz: float, even: Complexes) -> UpperOctave | None:
    """The upper reed that makes even partials move, shape (n, k), the odd ones' energy being 1.

    For each rate, whose phasor over time `turns` has in shape (n, rates), the least-squares fit of
    a standing and a turning phasor to each partial.
    """
    n, count = even.shape
    mean = even.mean(axis=0)
    standing = turns.sum(axis=0)[:, None]
    free = n - np.abs(standing) ** 2 / n
    strength = (turns.T @ even - standing * mean) / np.maximum(free, WIDE * n)
    strength[free[:, 0] < WIDE * n] = 0.0
    explained = np.abs(strength) ** 2 * free / n
    orders = np.arange(1, count + 1)
    rates = np.round(DELTAS[:, None] * orders).astype(int)
    index = np.clip(rates + len(RATES) // 2, 0, len(RATES) - 1)
    in_range = np.abs(rates) <= RATES[-1]
    energy = np.sum(np.where(in_range, explained[index, orders - 1], 0.0), axis=1)
    best = int(np.argmax(energy))
    if energy[best] < LEAST_BEAT * np.sum(np.abs(even - mean) ** 2) / n:
        return None
    row = index[best]
    upper = np.where(in_range[best], strength[row, orders - 1], 0.0)
    lower = mean - upper * np.conj(standing[row, 0]) / n
    weakened = np.maximum(hann_lobe(rates[best] * RATE_STEP_HZ * length), 0.2)
    power: Floats = np.abs(upper / weakened) ** 2
    level = 10.0 * np.log10(power.sum() / (1.0 + np.sum(np.abs(lower) ** 2)))
    return UpperOctave(2.0 * hz + float(DELTAS[best]) * RATE_STEP_HZ, float(level))
