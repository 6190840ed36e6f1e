"""Harmonic least squares: the pitch of one or more reeds in a short window.

The model is a sum of reeds, each a sum of partials at whole multiples of its f0 with free
amplitudes and phases. From first guesses of the f0s, one Gauss-Newton step of the weighted
least-squares fit improves all of them at once. The joint fit keeps a loud neighbour from biasing
the pitch of the wanted reed. The lower bound in white noise is the Cramer-Rao bound of Nehorai
and Porat 1986 (IEEE Trans. ASSP 34(5)).

About its centre a window splits into an even and an odd part. Cosines are correlated with the
even part only and sines with the odd part only, so the equations separate into two sets of half
the size over half the samples. Everything that depends on the guesses but not on the sound is
cached from hop to hop. Both make a fit cheap enough for every hop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np

from trainer.core.types import Floats
from trainer.music import cents


@dataclass(frozen=True, slots=True)
class HarmonicFitParameters:
    """Constants of the fit, chosen on `harmonica 1`."""

    max_partials: int = 6
    """Maximum number of partials per reed."""
    highest_hz: float = 9_500.0
    """Highest frequency of a partial, Hz."""
    highest_of_rate: float = 0.45
    """The same as a fraction of the sampling rate; the lower of the two holds."""
    max_steps: int = 3
    """Maximum number of Gauss-Newton steps."""
    converged_cents: float = 3.0
    """A step smaller than this is the last, cents."""
    diverged_cents: float = 80.0
    """A step larger than this makes the fit fail, cents."""
    ridge: float = 1e-9
    """Ridge added to the normal equations, relative to their diagonal. Keeps them soluble if a
    partial has almost no energy."""


HARMONIC_FIT = HarmonicFitParameters()
"""The constants in use. Models are cached, so they are the same for all fits of a process."""

CACHED_MODELS = 256
"""Size of the cache of models, 0.1 MB each for one reed. An attack needs about twenty, for window
lengths that nothing else has; the models of held notes must outlast a few attacks."""
GRID_PER_OCTAVE = 1200.0
"""Grid of the guesses, points per octave: one cent. The error of a Gauss-Newton step falls with
the square of its length, so half a cent leaves none. Levels and the unexplained energy are those
at the grid point, within 0.001 dB and 0.0002 of the true ones in windows of 27 ms."""


class HarmonicFit(NamedTuple):
    """Result of a fit.

    Attributes:
        hz: f0 of each reed, in the order of the guesses.
        powers: squared amplitude of each partial of each reed.
        unexplained: fraction of the window's energy that the model leaves, 0 to 1.
    """

    hz: tuple[float, ...]
    powers: tuple[list[float], ...]
    unexplained: float

    @property
    def levels(self) -> tuple[float, ...]:
        """Amplitude of each reed: root of the sum of its partials' squares."""
        return tuple(math.sqrt(sum(powers)) for powers in self.powers)

    @property
    def fundamental_ratio(self) -> float:
        """Amplitude of the first reed's fundamental over that of its strongest partial.

        A room may cancel the fundamental. The weakest of the second, third and fifth partials
        then stands for it: the common sub-octave of two reeds lacks one of these.
        """
        powers = self.powers[0]
        first = powers[0]
        if len(powers) >= 5:
            first = max(first, min(powers[1], powers[2], powers[4]))
        return math.sqrt(first / max(*powers, 1e-24))


@lru_cache(maxsize=256)
def hann(length: int) -> Floats:
    """Return a Hann window without zeros at its ends, shape (length,)."""
    return np.hanning(length + 2)[1:-1]


@lru_cache(maxsize=256)
def _later_half(length: int) -> tuple[Floats, Floats]:
    """Times from the centre, in samples, and weights of the later half of a window.

    The weights are a sine window. In white noise the error is 1.22 times that without weights;
    in return the edges, where a glide has moved furthest, count little.
    """
    half = length // 2
    return np.arange(half) + 0.5, np.sqrt(hann(length)[half:])


def partial_count(hz: float, rate: float) -> int:
    """Return the number of partials of a reed to fit."""
    p = HARMONIC_FIT
    return max(1, min(p.max_partials, int(min(p.highest_hz, p.highest_of_rate * rate) / hz)))


def fit_harmonics_once(window: Floats, rate: float, guesses: tuple[float, ...]) -> HarmonicFit:
    """Make one Gauss-Newton step from the guesses.

    Args:
        window: samples, shape (n,), n even, at least two periods of the lowest guess.
        rate: samples per second.
        guesses: f0 of each reed in Hz, within a few per cent of the truth.

    Returns:
        The fit; its f0s are those at the window's centre.
    """
    half = len(window) // 2
    model = _model(half, rate, tuple(map(_grid_index, guesses)))
    layout, rows = model.layout, model.layout.spans[-1].stop
    later, earlier = window[half:], window[half - 1 :: -1]
    # Vectors and `dot`: at this size the overhead of a call, above all of stacked matrix
    # products, exceeds its arithmetic.
    projections = np.empty((2, 2 * rows))
    model.analysis[0].dot(later + earlier, projections[0])
    model.analysis[1].dot(later - earlier, projections[1])
    right = projections[:, :rows].ravel()
    amplitudes = model.inverse.dot(right)
    energy = float((window * window).dot(model.weight))
    residual = energy - float(right.dot(amplitudes))

    turned = layout.turning * amplitudes
    hessian = turned.dot(model.slopes).dot(turned.T)
    gradient = turned.dot(projections[:, rows:].ravel() - model.cross.dot(amplitudes))
    steps = _solve(hessian, gradient)
    to_hz = rate / (2.0 * np.pi)
    squared = amplitudes * amplitudes
    squares = (squared[:rows] + squared[rows:]).tolist()
    return HarmonicFit(
        tuple([hz + to_hz * step for hz, step in zip(model.hz, steps, strict=True)]),
        tuple([squares[span] for span in layout.spans]),
        min(1.0, max(0.0, residual / energy)) if energy > 0.0 else 1.0,
    )


class _Model(NamedTuple):
    """The part of a fit that depends only on its guesses and its window's length.

    Index p is 0 for the even part of the window (cosines) and 1 for the odd part (sines).

    Attributes:
        hz: f0s of the grid points.
        layout: rows of each reed's partials.
        weight: weight of each sample of a window, shape (2 n,).
        analysis: shape (2, 2 rows, n). Its product with part p of a window is the projection on
            each partial, then on each partial's derivative (without amplitude and order).
        inverse: inverse of the partials' Gram matrix, the even block before the odd one, shape
            (2 rows, 2 rows).
        cross: products of derivatives with partials, times two, same layout.
        slopes: products of derivatives with each other, times two, less the part that the
            partials explain, same layout.
    """

    hz: tuple[float, ...]
    layout: _Layout
    weight: Floats
    analysis: Floats
    inverse: Floats
    cross: Floats
    slopes: Floats


def _grid_index(hz: float) -> int:
    """Index of the grid point nearest to a guess; 0 is 1 Hz."""
    return round(GRID_PER_OCTAVE * math.log2(hz))


@lru_cache(maxsize=CACHED_MODELS)
def _model(half: int, rate: float, guesses: tuple[int, ...]) -> _Model:
    """The model at grid points, for windows of 2 * `half` samples.

    A held reed stays at one grid point, so that half of the work of its fits is done once.
    """
    hz = tuple(2.0 ** (guess / GRID_PER_OCTAVE) for guess in guesses)
    layout = _layout(tuple(partial_count(f0, rate) for f0 in hz))
    time, weight = _later_half(2 * half)
    basis = _basis(time, rate, hz, layout)
    transposed = basis.transpose(0, 2, 1)
    rows = layout.spans[-1].stop
    analysis = np.empty((2, 2 * rows, half))
    np.multiply(basis, weight, analysis[:, :rows])
    np.multiply(basis[::-1], time * weight, analysis[:, rows:])
    products = analysis @ transposed
    gram = products[:, :rows] * layout.twice
    gram[1, 0, 0] = 1.0  # the odd part has no constant
    inverse, cross = np.linalg.inv(gram), 2.0 * products[:, rows:]
    slopes = 2.0 * (analysis[:, rows:] * time) @ transposed[::-1]
    slopes -= cross @ inverse @ cross.transpose(0, 2, 1)
    return _Model(
        hz,
        layout,
        np.concatenate([weight[::-1], weight]),
        analysis,
        _block_diagonal(inverse),
        _block_diagonal(cross),
        _block_diagonal(slopes),
    )


def _block_diagonal(blocks: Floats) -> Floats:
    """Block-diagonal matrix of two matrices, shape (2, n, n)."""
    n = blocks.shape[1]
    joined = np.zeros((2 * n, 2 * n))
    joined[:n, :n], joined[n:, n:] = blocks
    return joined


class _Layout(NamedTuple):
    """Rows of the partials of one or more reeds.

    Attributes:
        spans: rows of each reed; row 0 is the constant.
        turning: shape (reeds, 2 rows). d/dw of a cos(kwt) + b sin(kwt) is kt (b cos - a sin), so
            amplitudes times `turning` are those of the derivative over t, with sines and cosines
            exchanged.
        twice: shape (rows, rows): 2, as products over half a window count twice, with the ridge
            on the diagonal.
    """

    spans: tuple[slice, ...]
    turning: Floats
    twice: Floats


@lru_cache(maxsize=256)
def _layout(counts: tuple[int, ...]) -> _Layout:
    rows = 1 + sum(counts)
    ends = list(accumulate(counts, initial=1))
    spans = tuple(slice(a, b) for a, b in pairwise(ends))
    turning = np.zeros((len(counts), 2, rows))
    for reed, span in enumerate(spans):
        orders = np.arange(1.0, counts[reed] + 1.0)
        turning[reed, :, span] = -orders, orders
    twice = 2.0 + 2.0 * HARMONIC_FIT.ridge * np.eye(rows)
    return _Layout(spans, turning.reshape(len(counts), 2 * rows), twice)


def _basis(time: Floats, rate: float, guesses: tuple[float, ...], layout: _Layout) -> Floats:
    """Cosines and sines of all partials at `time`, shape (2, rows, n).

    The first cosine is the constant; the first sine is zero.
    """
    basis = np.empty((2, layout.spans[-1].stop, len(time)))
    basis[0, 0], basis[1, 0] = 1.0, 0.0
    for hz, span in zip(guesses, layout.spans, strict=True):
        phasors = np.empty((span.stop - span.start, len(time)), dtype=complex)
        np.exp((2j * np.pi * hz / rate) * time, out=phasors[0])
        done = 1
        while done < len(phasors):  # each step doubles the number of orders
            more = min(done, len(phasors) - done)
            np.multiply(phasors[:more], phasors[done - 1], out=phasors[done : done + more])
            done += more
        basis[0, span], basis[1, span] = phasors.real, phasors.imag
    return basis


def _solve(matrix: Floats, right: Floats) -> list[float]:
    """Solve symmetric equations, shapes (n, n) and (n,); return zeros if they are singular."""
    if len(matrix) == 1:
        scalar = float(matrix[0, 0])
        return [float(right[0]) / scalar if scalar > 0.0 else 0.0]
    matrix.flat[:: len(matrix) + 1] *= 1.0 + HARMONIC_FIT.ridge
    try:
        return list(np.linalg.solve(matrix, right).tolist())
    except np.linalg.LinAlgError:
        return [0.0] * len(matrix)


def fit_harmonics(window: Floats, rate: float, guesses: tuple[float, ...]) -> HarmonicFit | None:
    """Make Gauss-Newton steps until they are small.

    The arguments are those of :func:`fit_harmonics_once`.

    Returns:
        The last fit; None if a step diverged.
    """
    p = HARMONIC_FIT
    for _ in range(p.max_steps):
        fit = fit_harmonics_once(window, rate, guesses)
        if min(fit.hz) <= 0.0:
            return None
        step = max(abs(cents(new, old)) for new, old in zip(fit.hz, guesses, strict=True))
        if step > p.diverged_cents:
            return None
        if step < p.converged_cents:
            break
        guesses = fit.hz
    return fit
