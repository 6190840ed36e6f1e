"""Several reeds in one frame, fitted jointly, and the residual."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np

from trainer.core.types import Bools, Complexes, Floats, Ints
from trainer.ear.partial_fit import LOBE_ENERGY, FrameSpectrum, Lobes

SEARCH_PARTIALS = np.arange(1.0, 7.0)
"""Orders of the partials by which another reed is searched."""


@dataclass(frozen=True, slots=True)
class MixtureParameters:
    """Constants of the joint fit, chosen on `harmonica 1`."""

    partials: int = 12
    """Maximum number of partials per reed."""
    min_fundamental: float = 0.01
    """Minimum fraction of a reed's energy in its fundamental. Recorded reeds: 0.05 or more."""
    max_overlap: float = 0.15
    """Overlap with another reed's partial over which a partial counts as masked."""
    masked_weight: float = 0.1
    """Weight of a masked partial in the estimate of its reed's f0; a clear one has 1."""
    noise: float = 1e-4
    """Power of the model error over a partial's power. Keeps masked partials small."""
    clear_ridge: float = 1e-6
    """Ridge of clear partials."""
    min_unsteadiness: float = 0.01
    """Lower bound of the residual near a partial, over its amplitude."""
    max_unsteadiness: float = 1.0
    """Upper bound of the same."""
    margin: float = 1.5
    """Factor by which the residual must exceed the unsteadiness."""
    clear_bins: float = 4.0
    """Distance in bins from which partials do not disturb each other (side lobes under -50 dB)."""
    min_distance_bins: float = 1.5
    """Distance in bins under which two reeds are one that is not steady."""
    min_explained_near: float = 0.5
    """Minimum fraction that a reed must explain of the residual near a partial. Noise leaves
    more."""
    min_explained: float = 0.3
    """Minimum fraction that it must explain of the whole residual."""
    max_steps: int = 4
    """Maximum number of steps of the f0s."""
    converged: float = 0.3 * math.log(2.0) / 1200.0
    """Relative step of an f0 under which the fit has converged: 0.3 cents."""
    max_step: float = 20.0 * math.log(2.0) / 1200.0
    """Maximum relative step of an f0: 20 cents."""


DEFAULT_MIXTURE = MixtureParameters()


class _Rows(NamedTuple):
    """The partials of some reeds, one reed after the other; a row is a partial.

    Attributes:
        orders: order of each, shape (k,).
        fall: expected power relative to its reed's fundamental, shape (k,): 6 dB per octave (common
            practice for the sound of a pulse train).
        reeds: index of its reed, shape (k,).
        members: one where a row belongs to a reed, else zero, shape (reeds, k).
        harmonics: order of each row in the column of its reed, else zero, shape (k, reeds).
        spans: first row of each reed, and first row after it.
        first: first row of each reed, shape (reeds,).
        fundamentals: first row of each row's reed, shape (k,).
        foreign: whether two rows belong to different reeds, shape (k, k).
    """

    orders: Floats
    fall: Floats
    reeds: Ints
    members: Floats
    harmonics: Floats
    spans: tuple[tuple[int, int], ...]
    first: Ints
    fundamentals: Ints
    foreign: Bools


@lru_cache(maxsize=512)
def _rows(counts: tuple[int, ...]) -> _Rows:
    """The rows of reeds with these numbers of partials."""
    orders = np.concatenate([np.arange(1.0, count + 1.0) for count in counts])
    reeds = np.repeat(np.arange(len(counts)), counts)
    ends = list(accumulate(counts, initial=0))
    first = np.array(ends[:-1])
    members = np.equal(np.arange(len(counts))[:, None], reeds).astype(float)
    return _Rows(
        orders,
        orders**-2,
        reeds,
        members,
        (members * orders).T.copy(),
        tuple(pairwise(ends)),
        first,
        first[reeds],
        reeds[:, None] != reeds,
    )


class ReedMixture:
    """Reeds fitted jointly to a frame.

    Attributes:
        spectrum: of the frame.
        hz: f0 of each reed, Hz, in the order of the guesses.
        energies: sum of the squared amplitudes of each reed's partials, shape (reeds,).
        unexplained: energy of the residual, up to the highest partial of the lowest reed.
    """

    def __init__(
        self,
        spectrum: FrameSpectrum,
        hz: Sequence[float],
        noise: float | None = None,
        parameters: MixtureParameters = DEFAULT_MIXTURE,
    ) -> None:
        """Fit reeds.

        Args:
            spectrum: of the frame.
            hz: first guesses of the f0s, within about 3 % of the truth.
            noise: power of the model error over a partial's power; None takes the parameters'.
            parameters: constants.
        """
        self.spectrum = spectrum
        self._parameters = parameters
        self._noise = parameters.noise if noise is None else noise
        self.hz = tuple(hz)
        self._fit()
        for _ in range(parameters.max_steps):
            if not self._move():
                break
            self._fit()
        self.energies: Floats = self._rows.members.dot(self._power) + 1e-20
        residual, skirts = spectrum.residual(self._points, self._amplitudes, self._power)
        self._unsteadiness = self._estimate_unsteadiness(residual)
        skirts *= (parameters.margin * self._unsteadiness) ** 2
        residual -= skirts
        self._residual: Floats = np.maximum(residual, 0.0, out=residual)
        reach = (parameters.partials + 0.5) * min(self.hz) * spectrum.per_hz
        near = self._residual[: int(reach)]
        self.unexplained = float(np.add.reduce(near)) / (LOBE_ENERGY * spectrum.bin)

    @property
    def partials(self) -> Complexes:
        """Complex amplitudes of the first reed's partials, referred to the frame's middle."""
        return self._amplitudes[: self._count(self.hz[0])]

    def level_db(self, reed: int) -> float:
        """Return the level of a reed relative to the first, dB."""
        return power_db(float(self.energies[reed] / self.energies[0]))

    def has_fundamental(self, reed: int) -> bool:
        """Return whether the fundamental of a reed has enough of its energy."""
        power = self._power[self._rows.first[reed]]
        return bool(power >= self._parameters.min_fundamental * self.energies[reed])

    def search(self, f0s: Floats) -> tuple[float, float] | None:
        """Search the residual for another reed.

        Args:
            f0s: candidates, Hz, ascending, shape (n,).

        Returns:
            The f0 whose partials have the most energy, and that energy. None if it is the first
            or the last candidate: the flank of a peak outside the range.
        """
        return self.search_each(f0s[None, :])[0]

    def search_each(self, f0s: Floats) -> list[tuple[float, float] | None]:
        """Search several ranges; each result is that of :meth:`search`.

        Args:
            f0s: shape (ranges, n).
        """
        p, s = self._parameters, self.spectrum
        index = (f0s[:, :, None] * (SEARCH_PARTIALS * s.per_hz) + 0.5).astype(int)
        power = self._residual.take(index, mode="clip")
        energy = np.add.reduce(np.minimum(power, power[:, :, :1] / p.min_fundamental), axis=2)
        for hz in self.hz:
            energy[np.abs(f0s - hz) * s.per_hz < p.min_distance_bins * s.bin] = 0.0
        results: list[tuple[float, float] | None] = []
        for best, candidates, held in zip(energy.argmax(axis=1).tolist(), f0s, energy, strict=True):
            inside = best not in (0, len(candidates) - 1) and held[best] > 0.0
            results.append((float(candidates[best]), float(held[best])) if inside else None)
        return results

    def explains(self, smaller: ReedMixture) -> bool:
        """Return whether the last reed explains the residual of a mixture without it.

        It must explain most of the residual near at least half of its partials, or enough of the
        whole residual.
        """
        p, s = self._parameters, self.spectrum
        index = np.rint(SEARCH_PARTIALS * (self.hz[-1] * s.per_hz)).astype(int)
        index = index[index < s.top][:, None] + s.lobe
        left = np.add.reduce(self._residual.take(index, mode="clip"), axis=1)
        before = np.add.reduce(smaller._residual.take(index, mode="clip"), axis=1)
        explained = int(np.count_nonzero(left < (1.0 - p.min_explained_near) * before))
        return (
            2 * explained >= len(index) > 0
            or self.unexplained < (1.0 - p.min_explained) * smaller.unexplained
        )

    def with_reed(self, hz: float) -> ReedMixture:
        """Return a mixture with one more reed; all f0s are fitted anew."""
        noise = max(self._parameters.noise, self._unsteadiness**2)
        return ReedMixture(self.spectrum, (*self.hz, hz), noise, self._parameters)

    def again(self, spectrum: FrameSpectrum, hz: float) -> ReedMixture:
        """Return the same reeds fitted to another frame, in which the first has an f0 of `hz`."""
        return ReedMixture(spectrum, (hz, *self.hz[1:]), self._noise, self._parameters)

    @property
    def _is_clear(self) -> bool:
        """Whether no partial disturbs another."""
        s = self.spectrum
        return len(self.hz) == 1 and self.hz[0] * s.per_hz > self._parameters.clear_bins * s.bin

    def _count(self, hz: float) -> int:
        """Number of partials of a reed to fit."""
        s = self.spectrum
        return max(1, min(self._parameters.partials, int(s.top / (hz * s.per_hz))))

    def _fit(self) -> None:
        """Fit the amplitudes at the current f0s."""
        self._rows = rows = _rows(tuple([self._count(hz) for hz in self.hz]))
        self._points = rows.harmonics.dot(self.hz)
        self._points *= self.spectrum.per_hz
        observed, self._rise = self.spectrum.at_and_beside(self._points)
        if self._is_clear:
            self._masked: Bools = np.zeros(len(self._points), dtype=bool)
            self._lobes: Lobes | None = None
            self._amplitudes: Complexes = observed
        else:
            self._lobes = self.spectrum.lobes(self._points)
            self._amplitudes = self._solve(observed, self._lobes.overlap)
        self._power: Floats = _products(self._amplitudes, self._amplitudes)

    def _solve(self, observed: Complexes, overlap: Floats) -> Complexes:
        """Amplitudes of partials of which some may be masked."""
        p, spectrum, rows = self._parameters, self.spectrum, self._rows
        masks = np.abs(overlap) > p.max_overlap
        masks &= rows.foreign  # partials of one reed do not mask each other
        # Reductions of ufuncs, because methods of arrays take a microsecond more.
        self._masked = np.logical_or.reduce(masks, axis=1)
        amplitudes = spectrum.solve(observed, overlap, p.noise)
        if True not in self._masked.tolist():
            return amplitudes
        expected = self._expected_power(_products(amplitudes, amplitudes))
        noise = self._noise * (float(np.add.reduce(expected)) / len(expected))
        ridge = np.where(self._masked, noise / np.maximum(expected, 1e-3 * noise), p.clear_ridge)
        return spectrum.solve(observed, overlap, ridge)

    def _expected_power(self, power: Floats) -> Floats:
        """Expected power of each partial.

        A clear partial has its own. A masked one has what the fall from partial to partial makes of
        the reed's clear partials.
        """
        rows = self._rows
        clear = ~self._masked
        in_reed, fall = rows.members.dot(power * clear), rows.members.dot(rows.fall * clear)
        scale = (in_reed / np.maximum(fall, 1e-9)).take(rows.reeds)
        return np.where(self._masked & (scale > 0.0), scale * rows.fall, power)

    def _move(self) -> bool:
        """Move each f0 toward its partials; return whether any moved far.

        Each partial gives an offset: a Gauss-Newton step with all amplitudes fixed. Their median,
        weighted by amplitude, is robust against one strong partial of another reed.
        """
        p, power, rows = self._parameters, self._power, self._rows
        slope = self.spectrum.slope(self._rise, self._amplitudes, self._lobes)
        along = _products(self._amplitudes, slope)
        offsets = (along / np.maximum(power, 1e-20) / rows.orders).tolist()
        loud = np.sqrt(np.minimum(power, power.take(rows.fundamentals)))
        loud *= np.where(self._masked, p.masked_weight, 1.0)
        weights, masked = loud.tolist(), self._masked.tolist()
        steps = []
        for hz, (first, end) in zip(self.hz, rows.spans, strict=True):
            step = 0.0
            if not all(masked[first:end]):
                step = _weighted_median(offsets[first:end], weights[first:end])
            steps.append(step / (self.spectrum.per_hz * hz))
        if max(map(abs, steps)) < p.converged:
            return False
        self.hz = tuple(
            [
                hz * (1.0 + min(max(step, -p.max_step), p.max_step))
                for hz, step in zip(self.hz, steps, strict=True)
            ]
        )
        return True

    def _estimate_unsteadiness(self, residual: Floats) -> float:
        """Median of the residual near the first reed's partials, over their amplitudes."""
        p, s = self._parameters, self.spectrum
        count = min(len(SEARCH_PARTIALS), self._count(self.hz[0]))
        index = np.rint(self._points[:count]).astype(int)[:, None] + s.lobe
        near = np.maximum.reduce(residual.take(index, mode="clip"), axis=1)
        ratio = np.sqrt(near / np.maximum(self._power[:count], 1e-18))
        ratio.sort()
        median = ratio[len(ratio) // 2]
        return float(min(p.max_unsteadiness, max(p.min_unsteadiness, median)))


def power_db(power: float) -> float:
    """Return a ratio of powers in dB, -120 at least."""
    return 10.0 * math.log10(power + 1e-12)


def _products(first: Complexes, second: Complexes) -> Floats:
    """Return the real part of each number's product with the conjugate of the other.

    That of a number with itself is its squared magnitude.

    Args:
        first: numbers, shape (k,), contiguous.
        second: the others, same shape, contiguous.
    """
    parts = first.view(float).reshape(-1, 2), second.view(float).reshape(-1, 2)
    return np.asarray(np.vecdot(*parts))


def _weighted_median(values: list[float], weights: list[float]) -> float:
    order = sorted(range(len(values)), key=values.__getitem__)
    sums = list(accumulate([weights[i] for i in order]))
    return values[order[bisect_left(sums, 0.5 * sums[-1])]]
