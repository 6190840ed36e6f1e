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
LENGTH_STEP = 256
"""Step of the length of cached partials, in samples: while the window of a note grows, most of its
pitches are new."""
CACHED_PARTIALS = 128
"""Number of grid points whose partials are cached, 0.1 MB each: some of each note of a tune."""
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
def _half_weight(length: int) -> Floats:
    """Weights of the later half of a window.

    The weights are a sine window. In white noise the error is 1.22 times that without weights;
    in return the edges, where a glide has moved furthest, count little.
    """
    return np.sqrt(hann(length)[length // 2 :])


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
    # The step itself explains more; what, follows from the linear model that it comes from.
    residual -= float(np.dot(steps, gradient))
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
    length = LENGTH_STEP * -(-half // LENGTH_STEP)
    reeds = [_partials(length, rate, guess) for guess in guesses]
    layout = _layout(tuple(reed.shape[2] for reed in reeds))
    weight = _half_weight(2 * half)
    rows = layout.spans[-1].stop
    both = np.empty((2, 2, rows, half))  # the partials, then their derivatives over amplitude
    both[:, :, 0] = 0.0
    both[0, 0, 0] = 1.0
    for reed, span in zip(reeds, layout.spans, strict=True):
        both[:, :, span] = reed[..., :half]
    both = both.reshape(2, 2 * rows, half)
    analysis = both * weight
    products = np.empty((2, 2 * rows, 2 * rows))
    for part in (0, 1):  # quicker than a stacked product
        np.dot(analysis[part], both[part].T, out=products[part])
    gram = products[:, :rows, :rows] * layout.twice
    gram[1, 0, 0] = 1.0  # the odd part has no constant
    blocks = np.empty((3, 2, rows, rows))
    inverse, cross, slopes = blocks
    inverse[:] = np.linalg.inv(gram)
    np.multiply(products[:, rows:, :rows], 2.0, out=cross)
    np.multiply(products[:, rows:, rows:], 2.0, out=slopes)
    slopes -= cross @ inverse @ cross.transpose(0, 2, 1)
    diagonal = np.zeros((3, 2 * rows, 2 * rows))
    diagonal[:, :rows, :rows], diagonal[:, rows:, rows:] = blocks[:, 0], blocks[:, 1]
    hz = tuple([2.0 ** (guess / GRID_PER_OCTAVE) for guess in guesses])
    return _Model(hz, layout, np.concatenate([weight[::-1], weight]), analysis, *diagonal)


@lru_cache(maxsize=CACHED_PARTIALS)
def _partials(length: int, rate: float, guess: int) -> Floats:
    """Cosines and sines of a reed's partials at a grid point, and their derivatives.

    Those of a shorter window are the first ones. So while a window grows with its note, they are
    computed once.

    Args:
        length: number of samples from the window's centre on.
        rate: samples per second.
        guess: index of the grid point.

    Returns:
        Shape (2, 2, partials, length): of the even and the odd part of a window, the partials, and
        their derivatives (without amplitude and order).
    """
    hz = 2.0 ** (guess / GRID_PER_OCTAVE)
    time = np.arange(length) + 0.5
    phasors = np.empty((partial_count(hz, rate), length), dtype=complex)
    np.exp((2j * np.pi * hz / rate) * time, out=phasors[0])
    done = 1
    while done < len(phasors):  # each step doubles the number of orders
        more = min(done, len(phasors) - done)
        np.multiply(phasors[:more], phasors[done - 1], out=phasors[done : done + more])
        done += more
    partials = np.empty((2, 2, len(phasors), length))
    partials[0, 0], partials[1, 0] = phasors.real, phasors.imag
    np.multiply(partials[::-1, 0], time, out=partials[:, 1])
    return partials


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
