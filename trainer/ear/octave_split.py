"""Octave splits: two reeds an octave apart, which share every partial of the upper one.

One frame does not distinguish them from a single reed. But two reeds are never tuned exactly
alike: over time the second, fourth and sixth partial of the lower reed beat, and their phases turn
against the odd partials at 1, 2 and 3 times |f2 - 2 f1|, while the partials of a single reed keep
their relative phases (the sum of two phasors; in acoustics: mistuned consonances, Helmholtz 1863).
The detector therefore keeps one second of the partials' phases relative to the fundamental's.
For one reed they are constant.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trainer.core.types import Complexes, Floats
from trainer.ear.partial_fit import hann_lobe
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class OctaveParameters:
    """Constants of the octave detector, chosen on recorded single reeds and splits of them."""

    memory_s: float = 1.0
    """Length of the history, seconds."""
    min_history_s: float = 0.2
    """Minimum length of the history for a detection, seconds."""
    min_step_s: float = 0.0175
    """Minimum time between two frames of the history, seconds; a closer frame is not kept."""
    steady_cents: float = 12.0
    """Change of pitch that restarts the history, cents: two reeds do not bend alike, nor rise to
    their pitches. Splits of recorded reeds are found as well with 8 to 14."""
    min_free: float = 0.25
    """Minimum fraction of a turning phasor that is orthogonal to a constant one; a slower rate is
    not resolved."""
    min_movement: float = 0.015
    """Minimum fraction of the even partials' energy that is not constant."""
    min_movement_ratio: float = 30.0
    """Minimum ratio of that fraction to the odd partials'. Measured on recorded single reeds,
    with moving hands and vibrato: up to 10; on splits 0.5 cents apart or more: from 100."""
    movement_floor: float = 2e-4
    """Added to the odd partials' fraction."""
    min_beat: float = 0.8
    """Minimum fraction of the movement that one beat rate must explain. Single reeds: up to 0.6,
    with moving hands."""
    min_lobe: float = 0.2
    """Lower bound of the attenuation, by the frame's window, that the level is corrected for."""


DEFAULT_OCTAVE = OctaveParameters()

RATE_STEP_HZ, MAX_RATE_HZ = 0.1, 22.0
"""Resolution and maximum of the rates at which a partial may turn, Hz."""
RATES = np.arange(-round(MAX_RATE_HZ / RATE_STEP_HZ), round(MAX_RATE_HZ / RATE_STEP_HZ) + 1)
"""These rates, in steps."""
DELTAS = np.arange(0.5, MAX_RATE_HZ / RATE_STEP_HZ, 0.5)
DELTAS = np.concatenate([DELTAS, -DELTAS])
"""Differences f2 - 2 f1 that are tried, in steps."""
TURN = -2j * np.pi * RATES * RATE_STEP_HZ


@dataclass(frozen=True, slots=True)
class UpperOctave:
    """An upper reed that beats with a lower one.

    Attributes:
        hz: its f0.
        level_db: its level relative to the lower reed, dB; too low until about one beat has
            passed.
    """

    hz: float
    level_db: float


class _Frame(NamedTuple):
    """One frame of the history: seconds, f0 in Hz, partials, and a phasor per rate."""

    at: float
    hz: float
    partials: Complexes
    turns: Complexes


class OctaveDetector:
    """Keeps the partials of one reed and detects another that beats with them."""

    def __init__(self, parameters: OctaveParameters = DEFAULT_OCTAVE) -> None:
        self._parameters = parameters
        self._history: deque[_Frame] = deque()

    def restart(self) -> None:
        """Forget the history, for a new note."""
        self._history.clear()

    def observe(
        self, at: float, length: float, hz: float, partials: Complexes
    ) -> UpperOctave | None:
        """Add one frame.

        Args:
            at: centre of the frame, seconds.
            length: length of the frame, seconds.
            hz: f0 of the reed.
            partials: complex amplitudes at its multiples, referred to the centre, shape (k,).

        Returns:
            The upper reed; None if none is detected.
        """
        p, history = self._parameters, self._history
        if history and (abs(cents(hz, history[0].hz)) > p.steady_cents or at < history[-1].at):
            history.clear()
        if not history or at - history[-1].at > p.min_step_s:
            history.append(_Frame(at, hz, partials, np.exp(TURN * at)))
        while at - history[0].at > p.memory_s:
            history.popleft()
        count = min(len(frame.partials) for frame in history)
        if history[-1].at - history[0].at < p.min_history_s or count < 2:
            return None
        amplitudes = np.array([frame.partials[:count] for frame in history])
        turned = amplitudes * np.exp(-1j * np.angle(amplitudes[:, :1]) * np.arange(1, count + 1))
        odd, even = turned[:, 0::2], turned[:, 1::2]
        level = np.sqrt(np.sum(np.abs(odd) ** 2, axis=1, keepdims=True))
        odd, even = odd / level, even / level
        movement = _movement(even)
        if movement < max(
            p.min_movement, p.min_movement_ratio * (_movement(odd) + p.movement_floor)
        ):
            return None
        return self._fit_beat(np.array([frame.turns for frame in history]), length, hz, even)

    def _fit_beat(
        self, turns: Complexes, length: float, hz: float, even: Complexes
    ) -> UpperOctave | None:
        """Fit an upper reed to the movement of the even partials.

        For each rate, a constant and a turning phasor are fitted to each partial by least squares.

        Args:
            turns: the phasor of each rate over time, shape (n, rates).
            length: of a frame, seconds.
            hz: f0 of the lower reed.
            even: even partials over time, shape (n, k), relative to the odd ones' level.
        """
        p = self._parameters
        n, count = even.shape
        mean = even.mean(axis=0)
        constant = turns.sum(axis=0)[:, None]
        free = n - np.abs(constant) ** 2 / n
        strength = (turns.T @ even - constant * mean) / np.maximum(free, p.min_free * n)
        strength[free[:, 0] < p.min_free * n] = 0.0
        explained = np.abs(strength) ** 2 * free / n
        orders = np.arange(1, count + 1)
        rates = np.round(DELTAS[:, None] * orders).astype(int)
        index = np.clip(rates + len(RATES) // 2, 0, len(RATES) - 1)
        in_range = np.abs(rates) <= RATES[-1]
        energy = np.sum(np.where(in_range, explained[index, orders - 1], 0.0), axis=1)
        best = int(np.argmax(energy))
        if energy[best] < p.min_beat * np.sum(np.abs(even - mean) ** 2) / n:
            return None
        row = index[best]
        upper = np.where(in_range[best], strength[row, orders - 1], 0.0)
        lower = mean - upper * np.conj(constant[row, 0]) / n
        attenuation = np.maximum(hann_lobe(rates[best] * RATE_STEP_HZ * length), p.min_lobe)
        power: Floats = np.abs(upper / attenuation) ** 2
        level = 10.0 * np.log10(power.sum() / (1.0 + np.sum(np.abs(lower) ** 2)))
        return UpperOctave(2.0 * hz + float(DELTAS[best]) * RATE_STEP_HZ, float(level))


def _movement(partials: Complexes) -> float:
    """Fraction of the energy of partials over time, shape (n, k), that is not constant."""
    constant = np.abs(partials.mean(axis=0)) ** 2
    return float(1.0 - constant.sum() / np.mean(np.sum(np.abs(partials) ** 2, axis=1)))
