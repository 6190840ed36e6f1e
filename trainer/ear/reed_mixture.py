"""Several reeds in one frame, fitted jointly, and what they leave over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from trainer.core.types import Complexes, Floats
from trainer.ear.partial_fit import LOBE_POWER, FrameSpectrum

PARTIALS = 12
"""Partials of a reed that are fitted."""
LOOKED_AT = np.arange(1.0, 7.0)
"""Partials by which another reed is looked for."""
LEAST_FUNDAMENTAL = 0.01
"""Share of a reed's energy that its fundamental holds at least (recorded reeds: 0.05)."""
HIDDEN = 0.15
"""Overlap with another reed's partial from which a partial's amplitude is not its own to tell."""
HIDDEN_WEIGHT = 0.1
"""What such a partial has to say about its reed's f0, a clear one's being 1."""
DOUBT = 1e-4
"""Power of what the model cannot know, over a partial's: it keeps hidden partials small."""
CERTAIN = 1e-6
LEAST_UNSTEADY, MOST_UNSTEADY = 0.01, 1.0
"""What a partial may leave near its place when its lobe is taken away, over its amplitude."""
MARGIN = 1.5
"""How far what is left must stand over that."""
CLEAR_BINS = 4.0
"""Partials so far from each other do not disturb each other (side lobes under -50 dB)."""
APART_BINS = 1.5
"""Two reeds nearer than so many bins of the frame are one that is not steady."""
NEAR_SHARE, SHARE = 0.5, 0.3
"""Share that a reed must explain of what was left near a partial, and of all that was left: noise
leaves more."""
MOST_STEPS = 4
NEAR, FARTHEST = 0.3 * math.log(2.0) / 1200.0, 20.0 * math.log(2.0) / 1200.0
"""A step of an f0 under the first (0.3 cents) is the last; none is over the second (20 cents)."""


@lru_cache(maxsize=64)
def _orders(count: int) -> Floats:
    return np.arange(1.0, count + 1.0)


class ReedMixture:
    """Some reeds fitted jointly to a frame.

    Attributes:
        hz: f0 of each reed as fitted, Hz, in the order they were given.
        energies: sum of the squared amplitudes of each reed's partials, shape (reeds,).
        unexplained: energy of what is left, as far up as all reeds are fitted.
    """

    def __init__(self, spectrum: FrameSpectrum, hz: Sequence[float], doubt: float = DOUBT) -> None:
        """`hz` are first guesses of the f0s, within 3 % or so of the truth; `doubt` is the power
        of what a model of steady reeds cannot know, over a partial's."""
        self._spectrum = spectrum
        self._doubt = doubt
        self.hz = tuple(hz)
        self._amplitudes: Complexes = self._fit()
        for _ in range(MOST_STEPS):
            if not self._move():
                break
            self._amplitudes = self._fit()
        power = np.abs(self._amplitudes) ** 2
        self.energies: Floats = np.add.reduceat(power, self._first) + 1e-20
        rest, skirts = spectrum.rest(self._points, self._amplitudes)
        left = rest.real**2 + rest.imag**2
        self._unsteady = self._unsteadiness(left)
        self._left: Floats = np.maximum(left - (MARGIN * self._unsteady) ** 2 * skirts, 0.0)
        whole = (PARTIALS + 0.5) * min(self.hz) * spectrum.per_hz
        self.unexplained = float(self._left[: int(whole)].sum()) / (LOBE_POWER * spectrum.bin)

    @property
    def partials(self) -> Complexes:
        """Complex amplitudes of the first reed's partials, referred to the frame's middle."""
        return self._amplitudes[: self._count(self.hz[0])]

    def level_db(self, hz_index: int) -> float:
        """Level of a reed beside the first."""
        return power_db(float(self.energies[hz_index] / self.energies[0]))

    def has_fundamental(self, hz_index: int) -> bool:
        """Whether a reed holds enough of its energy in its fundamental to be one."""
        power = abs(self._amplitudes[self._first[hz_index]]) ** 2
        return bool(power >= LEAST_FUNDAMENTAL * self.energies[hz_index])

    def search(self, f0s: Floats) -> tuple[float, float] | None:
        """Look for another reed.

        Args:
            f0s: where it may be, Hz, ascending, shape (n,).

        Returns:
            The f0 whose partials hold most of what is left, and that energy. None where that is
            an end of the range, the flank of something outside.
        """
        return self.search_each(f0s[None, :])[0]

    def search_each(self, f0s: Floats) -> list[tuple[float, float] | None]:
        """Look in several places; what is found in each, as by :meth:`search`.

        Args:
            f0s: shape (places, n).
        """
        s = self._spectrum
        index = (f0s[:, :, None] * (LOOKED_AT * s.per_hz) + 0.5).astype(int)
        power = self._left.take(np.minimum(index, s.top - 1))
        energy = np.minimum(power, power[:, :, :1] / LEAST_FUNDAMENTAL).sum(axis=2)
        for hz in self.hz:
            energy[np.abs(f0s - hz) * s.per_hz < APART_BINS * s.bin] = 0.0
        found: list[tuple[float, float] | None] = []
        for best, hzs, held in zip(energy.argmax(axis=1).tolist(), f0s, energy, strict=True):
            seen = best not in (0, len(hzs) - 1) and held[best] > 0.0
            found.append((float(hzs[best]), float(held[best])) if seen else None)
        return found

    def explains(self, less: ReedMixture) -> bool:
        """Whether the last reed accounts for what was left without it: for most of what was left
        near its partials, at half of them or more, or for much of all that was left."""
        s = self._spectrum
        index = np.rint(LOOKED_AT * (self.hz[-1] * s.per_hz)).astype(int)
        index = index[index < s.top][:, None] + s.lobe
        np.minimum(index, s.top - 1, out=index)
        left = self._left[index].sum(axis=1)
        share = np.mean(left < (1.0 - NEAR_SHARE) * less._left[index].sum(axis=1))
        return bool(share >= 0.5) or self.unexplained < (1.0 - SHARE) * less.unexplained

    def beside(self, hz: float) -> ReedMixture:
        """With one more reed; all f0s are fitted anew."""
        return ReedMixture(self._spectrum, (*self.hz, hz), max(DOUBT, self._unsteady**2))

    @property
    def _is_clear(self) -> bool:
        """Whether no partial disturbs another."""
        s = self._spectrum
        return len(self.hz) == 1 and self.hz[0] * s.per_hz > CLEAR_BINS * s.bin

    def _count(self, hz: float) -> int:
        """How many partials of a reed are fitted."""
        return max(1, min(PARTIALS, int(self._spectrum.top / (hz * self._spectrum.per_hz))))

    def _fit(self) -> Complexes:
        """Amplitudes at the present f0s."""
        spectrum = self._spectrum
        if self._is_clear:
            self._orders = _orders(self._count(self.hz[0]))
            self._first = np.zeros(1, dtype=int)
            self._points = self._orders * (self.hz[0] * spectrum.per_hz)
            self._hidden = np.zeros(len(self._points), dtype=bool)
            return spectrum.at(self._points)
        counts = [self._count(hz) for hz in self.hz]
        self._orders = np.concatenate([_orders(count) for count in counts])
        self._first = np.cumsum([0, *counts[:-1]])
        self._points = self._orders * np.repeat(self.hz, counts) * spectrum.per_hz
        overlap = spectrum.overlap(self._points)
        amplitudes = spectrum.solve(self._points, overlap, DOUBT)
        owner = np.repeat(np.arange(len(counts)), counts)
        foreign = (np.abs(overlap) > HIDDEN) & (owner[:, None] != owner[None, :])
        self._hidden = foreign.any(axis=1)
        if not self._hidden.any():
            return amplitudes
        expected = self._expected(np.abs(amplitudes) ** 2)
        doubt = self._doubt * expected.mean()
        ridge = np.where(self._hidden, doubt / np.maximum(expected, 1e-3 * doubt), CERTAIN)
        return spectrum.solve(self._points, overlap, ridge)

    def _expected(self, power: Floats) -> Floats:
        """The power each partial is expected to have: its own where that is seen, otherwise what
        the reed's clear partials say, falling by 6 dB an octave (common practice for the sound
        of a pulse train)."""
        fall = self._orders**-2
        seen = np.add.reduceat(np.where(self._hidden, 0.0, power), self._first)
        clear = np.add.reduceat(np.where(self._hidden, 0.0, fall), self._first)
        counts = np.diff([*self._first, len(power)])
        scale = np.repeat(seen / np.maximum(clear, 1e-9), counts)
        return np.where(self._hidden & (scale > 0.0), scale * fall, power)

    def _move(self) -> bool:
        """Move each f0 to where most of its partials would have it; whether any moved far.

        Each partial says how far beside its place it lies (a Gauss-Newton step with all
        amplitudes given). The median of them, weighted by amplitude, is not misled by one strong
        partial that belongs to another reed.
        """
        slope = self._spectrum.slope(self._points, None if self._is_clear else self._amplitudes)
        power = np.abs(self._amplitudes) ** 2
        beside = (np.conj(self._amplitudes) * slope).real / np.maximum(power, 1e-20) / self._orders
        ends = [*self._first[1:], len(power)]
        weights = np.where(self._hidden, HIDDEN_WEIGHT, 1.0)
        steps = [
            _weighted_median(
                beside[first:end],
                weights[first:end] * np.sqrt(np.minimum(power[first:end], power[first])),
            )
            / (self._spectrum.per_hz * hz)
            if not self._hidden[first:end].all()
            else 0.0
            for hz, first, end in zip(self.hz, self._first, ends, strict=True)
        ]
        if max(abs(step) for step in steps) < NEAR:
            return False
        self.hz = tuple(
            hz * (1.0 + min(max(step, -FARTHEST), FARTHEST))
            for hz, step in zip(self.hz, steps, strict=True)
        )
        return True

    def _unsteadiness(self, left: Floats) -> float:
        """What the first reed's partials leave near their places over what they are: the median."""
        s = self._spectrum
        count = min(len(LOOKED_AT), self._count(self.hz[0]))
        index = np.rint(self._points[:count]).astype(int)[:, None] + s.lobe
        beside = left.take(np.minimum(index, s.top - 1)).max(axis=1)
        ratio = np.sqrt(beside) / np.maximum(np.abs(self._amplitudes[:count]), 1e-9)
        ratio.sort()
        return float(min(MOST_UNSTEADY, max(LEAST_UNSTEADY, ratio[len(ratio) // 2])))


def power_db(power: float) -> float:
    """A ratio of powers in dB, -120 at least."""
    return 10.0 * math.log10(power + 1e-12)


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = values.argsort()
    sums = weights[order].cumsum()
    return float(values[order[sums.searchsorted(0.5 * sums[-1])]])
