"""Harmonic least squares: the pitch of one or more reeds in a short window.

The model is a sum of reeds, each a sum of partials at whole multiples of its f0 with free
amplitudes and phases. From first guesses of the f0s, one Gauss-Newton step of the weighted
least-squares fit improves all of them at once. The joint fit keeps a loud neighbour from biasing
the pitch of the wanted reed. The lower bound in white noise is the Cramer-Rao bound of Nehorai
and Porat 1986 (IEEE Trans. ASSP 34(5)).

About its centre a window splits into an even and an odd part. Cosines are correlated with the
even part only and sines with the odd part only, so the normal equations separate into two sets of
half the size. Their coefficients are values of the weights' Fourier transform and its derivatives,
which have a closed form. The projections on the partials are computed in two stages: a few samples
to a block, then the blocks. So a model is a few small arrays, and everything that depends on the
guesses but not on the sound is cached from hop to hop.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate, pairwise
from operator import mul
from typing import NamedTuple

import numpy as np

from trainer.core.types import Bools, Complexes, Floats
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

CACHED_MODELS = 512
"""Size of the cache of models, 40 kB each for two reeds. An attack needs about twenty, for window
lengths that nothing else has; the models of held notes must outlast a few attacks."""
BLOCK = 32
"""Samples in a block. About as many as there are blocks in a usual window, which keeps the phasors
of a model few."""
NEAR_POLE = 0.01
"""Relative distance from the frequency of the weights under which their transform is summed: the
closed form divides by that distance, up to three times."""
GRID_PER_OCTAVE = 600.0
"""Grid of the guesses, points per octave: two cents. The error of a Gauss-Newton step falls with
the square of its length; from a cent away it is 0.002 cents or less in windows of 27 ms, up to
1 kHz, and 0.006 cents in windows of 43 ms. Levels are those at the grid point, within 0.004 dB of
the true ones in windows of 27 ms. A grid of four cents needs a quarter fewer models, but made two
of 127 steps, in six takes of benchmarks/class_takes.py, wobble that do not."""


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

    def partials_apart(self, least_hz: float) -> list[list[int]]:
        """Return the indices of each reed's partials that lie apart from those of the other reeds.

        Args:
            least_hz: least distance from all of these. Where no partial of a reed has it, all of
                that reed's are returned.
        """
        partials = [
            [order * hz for order in range(1, len(powers) + 1)]
            for hz, powers in zip(self.hz, self.powers, strict=True)
        ]
        apart = []
        for own in partials:
            foreign = [hz for reed in partials if reed is not own for hz in reed]
            far = [all(abs(hz - other) >= least_hz for other in foreign) for hz in own]
            apart.append([k for k, is_far in enumerate(far) if is_far] or list(range(len(own))))
        return apart

    def powers_in(self, partials: list[list[int]]) -> list[float]:
        """Return the power of each reed, above 0, in those of its partials that are in the fit."""
        return [
            sum([powers[k] for k in indices if k < len(powers)]) + 1e-24
            for powers, indices in zip(self.powers, partials, strict=True)
        ]

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


class _Taper(NamedTuple):
    """Weights of a window of one length, and its blocks.

    The weights are a sine window, w(t) = cos(pi t / period). In white noise the error is 1.22 times
    that without weights; in return the edges, where a glide has moved furthest, count little.

    Attributes:
        weight: shape (n,).
        period: half a period of the sine in samples, n + 1.
        first: index of the first sample in the blocks, which contain zeros at both ends.
        grid: times from the middle of a block, shape (BLOCK,), then those of the blocks' middles
            from that of the window, shape (blocks,), in samples.
        sums: ones and the latter, shape (2, blocks).
    """

    weight: Floats
    period: int
    first: int
    grid: Floats
    sums: Floats


@lru_cache(maxsize=256)
def _taper(length: int) -> _Taper:
    blocks = -(-length // BLOCK)
    inside, middles = _centred(BLOCK), BLOCK * _centred(blocks)
    return _Taper(
        np.sqrt(hann(length)),
        length + 1,
        (blocks * BLOCK - length) // 2,
        np.concatenate([inside, middles]),
        np.stack([np.ones(blocks), middles]),
    )


def _centred(count: int) -> Floats:
    """Indices from the middle, in steps of one, shape (count,)."""
    return np.arange(count) - 0.5 * (count - 1)


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
    model = _model(len(window), rate, tuple(map(_grid_index, guesses)))
    layout, taper, rows = model.layout, model.taper, model.layout.spans[-1].stop
    padded = np.zeros(taper.sums.shape[1] * BLOCK)
    weighted = padded[taper.first : taper.first + len(window)]
    np.multiply(window, taper.weight, out=weighted)
    energy = float(window.dot(weighted))
    blocks = padded.reshape(-1, BLOCK).dot(model.inside).view(complex)
    blocks *= model.middles
    total, first_moment = taper.sums.dot(blocks.view(float)).view(complex)
    # Vectors and `dot`: at this size the overhead of a call, above all of stacked matrix
    # products, exceeds its arithmetic.
    right = total[:rows].view(float)
    amplitudes = model.inverse.dot(right)
    residual = energy - float(right.dot(amplitudes))

    turned = (layout.turning * amplitudes.view(complex)).view(float)
    hessian = turned.dot(model.slopes).dot(turned.T)
    slope = (first_moment[:rows] + total[rows:]).view(float)
    slope -= model.cross.dot(amplitudes)
    gradient = turned.dot(slope)
    steps = _solve(hessian, gradient)
    # The step itself explains more; what, follows from the linear model that it comes from.
    residual -= sum(map(mul, steps, gradient.tolist()))
    to_hz = rate / (2.0 * np.pi)
    pairs = amplitudes.reshape(-1, 2)
    squares = np.vecdot(pairs, pairs).tolist()
    return HarmonicFit(
        tuple([hz + to_hz * step for hz, step in zip(model.hz, steps, strict=True)]),
        tuple([squares[span] for span in layout.spans]),
        min(1.0, max(0.0, residual / energy)) if energy > 0.0 else 1.0,
    )


class _Model(NamedTuple):
    """The part of a fit that depends only on its guesses and its window's length.

    Each partial has two rows: a cosine, of the window's even part, and a sine, of its odd part. So
    have the derivatives of the partials by frequency: t cos, of the odd part, and t sin, of the
    even part, where amplitude and order are left out.

    Attributes:
        hz: f0s of the grid points.
        layout: rows of each reed's partials.
        taper: weights and blocks of the window.
        inside: phasors of the partials in a block, then these times time, as pairs of real and
            imaginary parts, shape (BLOCK, 4 rows).
        middles: phasors of the blocks' middles, twice, shape (blocks, 2 rows).
        inverse: inverse of the partials' Gram matrix, shape (2 rows, 2 rows).
        cross: products of derivatives with partials, same shape.
        slopes: products of derivatives with each other, less the part that the partials explain,
            same shape.
    """

    hz: tuple[float, ...]
    layout: _Layout
    taper: _Taper
    inside: Floats
    middles: Complexes
    inverse: Floats
    cross: Floats
    slopes: Floats


def _grid_index(hz: float) -> int:
    """Index of the grid point nearest to a guess; 0 is 1 Hz."""
    return round(GRID_PER_OCTAVE * math.log2(hz))


@lru_cache(maxsize=CACHED_MODELS)
def _model(length: int, rate: float, guesses: tuple[int, ...]) -> _Model:
    """The model at grid points, for windows of `length` samples.

    A held reed stays at one grid point, so that half of the work of its fits is done once.
    """
    hz = tuple([2.0 ** (guess / GRID_PER_OCTAVE) for guess in guesses])
    layout = _layout(tuple([partial_count(f0, rate) for f0 in hz]))
    taper, rows = _taper(length), layout.spans[-1].stop
    angles = (2.0 * np.pi / rate) * np.dot(hz, layout.orders)
    phasors = np.exp(np.multiply.outer(1j * taper.grid, angles))
    inside = np.empty((BLOCK, 2, rows), dtype=complex)
    inside[:, 0] = phasors[:BLOCK]
    np.multiply(phasors[:BLOCK], taper.grid[:BLOCK, None], out=inside[:, 1])
    middles = np.concatenate((phasors[BLOCK:], phasors[BLOCK:]), axis=1)

    summed, difference = _transforms(angles, taper)
    plus, minus = summed + difference, difference - summed
    blocks = np.empty((3, 2, rows, rows))
    inverse, cross, slopes = blocks
    gram = np.stack((plus[0], minus[0]))
    gram.reshape(2, -1)[:, :: rows + 1] *= 1.0 + HARMONIC_FIT.ridge
    gram[1, 0, 0] = 1.0  # the odd part has no constant
    inverse[:] = np.linalg.inv(gram)
    cross[0] = plus[1]
    np.negative(minus[1], out=cross[1])
    slopes[0], slopes[1] = minus[2], plus[2]
    slopes -= cross @ inverse @ cross.transpose(0, 2, 1)
    matrices = np.zeros((3, rows, 2, rows, 2))
    matrices[0, :, 0, :, 0], matrices[0, :, 1, :, 1] = inverse
    matrices[1, :, 1, :, 0], matrices[1, :, 0, :, 1] = cross
    matrices[2, :, 1, :, 1], matrices[2, :, 0, :, 0] = slopes
    return _Model(
        hz,
        layout,
        taper,
        inside.reshape(BLOCK, -1).view(float),
        middles,
        *matrices.reshape(3, 2 * rows, 2 * rows),
    )


def _transforms(angles: Floats, taper: _Taper) -> tuple[Floats, Floats]:
    """Half the Fourier transform V of a window's weights w, and its derivatives.

    With P the period of the weights and q = pi / P,

        V(a) = sum of w(t) cos(a t) = sin(q) cos(P a / 2) / (cos(a) - cos(q)),

    the sum of a geometric series. The derivatives follow from that of V (cos(a) - cos(q)).

    Args:
        angles: of the partials, radians per sample, shape (rows,).
        taper: the weights.

    Returns:
        At the sums of each two angles, and at their differences: half of V, and of the sums of
        w(t) t sin(a t) and w(t) t^2 cos(a t), shape (3, rows, rows) each.
    """
    period, pole = taper.period, math.pi / taper.period
    half_turns = np.exp(np.multiply.outer([0.5j, 0.5j * period], angles))
    both = np.stack((half_turns, half_turns.conj()))
    # First index: sums or differences. Second: of a / 2, of P a / 2.
    pairs = half_turns[:, :, None] * both[:, :, None, :]
    sine, cosine = pairs[:, 0].imag, pairs[:, 0].real
    square = sine * sine
    distance = 2.0 * (math.sin(0.5 * pole) ** 2 - square)
    values = np.empty((3, *square.shape))
    scale = 0.5 * math.sin(pole)
    is_near = np.abs(distance) < NEAR_POLE * pole**2
    near = is_near.any()
    if near:
        distance[is_near] = 1.0
    turned = sine * cosine
    turned *= 2.0 / distance
    np.divide(scale * pairs[:, 1].real, distance, out=values[0])
    values[1] = (0.5 * period * scale) * pairs[:, 1].imag / distance - turned * values[0]
    curvature = 0.25 * period**2 - (1.0 - 2.0 * square) / distance
    values[2] = curvature * values[0] + 2.0 * turned * values[1]
    if near:
        _sum_near_pole(values, is_near, angles, taper)
    return values[:, 0], values[:, 1]


def _sum_near_pole(values: Floats, is_near: Bools, angles: Floats, taper: _Taper) -> None:
    """Sum what has no closed form in floating point; arguments as in :func:`_transforms`."""
    time, weight = _centred(len(taper.weight)), 0.5 * taper.weight
    for sign, first, second in np.argwhere(is_near).tolist():
        turns = time * (angles[first] + (-angles[second] if sign else angles[second]))
        cosines = weight * np.cos(turns)
        values[0, sign, first, second] = cosines.sum()
        values[1, sign, first, second] = (weight * time).dot(np.sin(turns))
        values[2, sign, first, second] = (cosines * time).dot(time)


class _Layout(NamedTuple):
    """Rows of the partials of one or more reeds.

    Attributes:
        spans: rows of each reed; row 0 is the constant.
        turning: -jk for the partials of order k of each reed, else zero, shape (reeds, rows). The
            derivative of a cos(kwt) + b sin(kwt) by w is kt (b cos - a sin), so a + jb times
            `turning` has the amplitudes of t cos and t sin.
        orders: k for the same, shape (reeds, rows).
    """

    spans: tuple[slice, ...]
    turning: Complexes
    orders: Floats


@lru_cache(maxsize=256)
def _layout(counts: tuple[int, ...]) -> _Layout:
    rows = 1 + sum(counts)
    ends = list(accumulate(counts, initial=1))
    spans = tuple(slice(a, b) for a, b in pairwise(ends))
    orders = np.zeros((len(counts), rows))
    for reed, span in enumerate(spans):
        orders[reed, span] = np.arange(1.0, counts[reed] + 1.0)
    return _Layout(spans, -1j * orders, orders)


def _solve(matrix: Floats, right: Floats) -> list[float]:
    """Solve symmetric equations, shapes (n, n) and (n,); return zeros if they are singular."""
    count, ridge = len(matrix), 1.0 + HARMONIC_FIT.ridge
    if count == 1:
        scalar = float(matrix[0, 0])
        return [float(right[0]) / scalar if scalar > 0.0 else 0.0]
    if count == 2:  # a tenth of the time of the call below
        (a, b), (_, d) = matrix.tolist()
        first, second = right.tolist()
        a, d = a * ridge, d * ridge
        determinant = a * d - b * b
        if determinant <= 0.0:
            return [0.0, 0.0]
        return [(d * first - b * second) / determinant, (a * second - b * first) / determinant]
    matrix.flat[:: count + 1] *= ridge
    try:
        return list(np.linalg.solve(matrix, right).tolist())
    except np.linalg.LinAlgError:
        return [0.0] * count


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
        step = max([abs(cents(new, old)) for new, old in zip(fit.hz, guesses, strict=True)])
        if step > p.diverged_cents:
            return None
        if step < p.converged_cents:
            break
        guesses = fit.hz
    return fit
