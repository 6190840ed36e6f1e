"""Harmonic least squares: the pitch of one or more reeds in a short window, to the limit.

The sound is modelled as reeds, each a sum of partials at whole multiples of its f0, with free
amplitudes and phases. Given first guesses of the f0s, one Gauss-Newton step of the weighted
least-squares fit gives all of them at once; fitting the reeds jointly keeps a loud neighbour from
pulling the wanted one's pitch. What white noise allows at best is the Cramer-Rao bound of Nehorai
and Porat 1986 (IEEE Trans. ASSP 34(5)).

About its centre a window falls into an even and an odd part. Cosines see only the first and
sines only the second, so the equations fall apart into two sets of half the size over half the
samples. What depends on the guesses alone, and not on the sound, is kept from one hop to the next.
Both make a fit cheap enough for every hop.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import accumulate, pairwise
from typing import NamedTuple

import numpy as np

from trainer.core.types import Floats
from trainer.music import cents

MOST_PARTIALS = 6
HIGHEST_HZ = 9_500.0
MOST_STEPS = 3
NEAR_CENTS, FARTHEST_CENTS = 3.0, 80.0
"""A step under the first is the last; one over the second has lost its way."""
MODELS = 256
"""Models kept, of 0.1 MB for a reed each: every attack needs some twenty, for windows that nothing
else has, and what the same notes had before, in windows of the usual length, is to outlast a few of
them."""
RIDGE = 1e-9
"""Keeps the equations soluble where a partial has next to no energy."""
GRID = 1200.0
"""Places of a guess in an octave, a cent apart: what a step is short of the truth falls with the
square of its length, and half a cent leaves nothing. Levels and what is unexplained are those at
the place itself, at most 0.001 dB and 0.0002 from the truth in windows of 27 ms."""


class HarmonicFit(NamedTuple):
    """What a fit found.

    Attributes:
        hz: f0 of each reed, in the order of the guesses.
        powers: squared amplitude of each partial of each reed.
        unexplained: share of the window's energy that the model leaves, 0 to 1.
    """

    hz: tuple[float, ...]
    powers: tuple[list[float], ...]
    unexplained: float

    @property
    def levels(self) -> tuple[float, ...]:
        """Amplitude of each reed, the root of its partials' summed squares."""
        return tuple(math.sqrt(sum(powers)) for powers in self.powers)

    @property
    def root(self) -> float:
        """Amplitude of the first reed's fundamental over its strongest partial's.

        Where a room swallows the fundamental, the least of its second, third and fifth partials
        stands for it: the common period of two reeds, which nobody played, lacks one of them.
        """
        powers = self.powers[0]
        first = powers[0]
        if len(powers) >= 5:
            first = max(first, min(powers[1], powers[2], powers[4]))
        return math.sqrt(first / max(*powers, 1e-24))


@lru_cache(maxsize=256)
def hann(length: int) -> Floats:
    """A Hann window without zeros at its ends, shape (length,)."""
    return np.hanning(length + 2)[1:-1]


@lru_cache(maxsize=256)
def _later_half(length: int) -> tuple[Floats, Floats]:
    """Times from the centre and weights of the later half of a window.

    The weights are those of a sine window: in white noise the error is 1.22 of what no weights
    would leave, and the edges, where a glide has gone furthest, still count little.
    """
    half = length // 2
    return np.arange(half) + 0.5, np.sqrt(hann(length)[half:])


def partial_count(hz: float, rate: float) -> int:
    """How many partials of a reed are worth fitting."""
    return max(1, min(MOST_PARTIALS, int(min(HIGHEST_HZ, 0.45 * rate) / hz)))


def fit_harmonics_once(window: Floats, rate: float, guesses: tuple[float, ...]) -> HarmonicFit:
    """One Gauss-Newton step from the guesses.

    Args:
        window: samples, shape (n,), n even, at least two periods of the lowest guess.
        rate: samples a second.
        guesses: f0 of each reed in Hz, within a few per cent of the truth.

    Returns:
        The fit, its f0s those at the window's centre.
    """
    half = len(window) // 2
    model = _model(half, rate, tuple(map(_on_grid, guesses)))
    layout, rows = model.layout, model.layout.spans[-1].stop
    later, earlier = window[half:], window[half - 1 :: -1]
    # Vectors and `dot`: with so little in them a call costs more than its arithmetic, and that of
    # stacked matrices most.
    seen = np.empty((2, 2 * rows))
    model.seen[0].dot(later + earlier, seen[0])
    model.seen[1].dot(later - earlier, seen[1])
    right = seen[:, :rows].ravel()
    amplitudes = model.inverse.dot(right)
    energy = float((window * window).dot(model.weight))
    left = energy - float(right.dot(amplitudes))

    turned = layout.turning * amplitudes
    inner = turned.dot(model.slopes).dot(turned.T)
    downhill = turned.dot(seen[:, rows:].ravel() - model.hidden.dot(amplitudes))
    steps = _solved(inner, downhill)
    turn = rate / (2.0 * np.pi)
    squared = amplitudes * amplitudes
    squares = (squared[:rows] + squared[rows:]).tolist()
    return HarmonicFit(
        tuple([hz + turn * step for hz, step in zip(model.hz, steps, strict=True)]),
        tuple([squares[span] for span in layout.spans]),
        min(1.0, max(0.0, left / energy)) if energy > 0.0 else 1.0,
    )


class _Model(NamedTuple):
    """What a fit needs that depends on its guesses and its window's length alone.

    About the centre p is 0 for the even part, seen by cosines, and 1 for the odd one, by sines.

    Attributes:
        hz: the f0s it stands at.
        layout: where each reed's partials are.
        weight: of each sample of a window, shape (2 n,).
        seen: shape (2, 2 rows, n): times a part of the window, how much of each partial is in it,
            and then of each partial's slope (less its amplitude and order).
        inverse: of the partials' products with each other, as all the following of the even part,
            then of the odd one, shape (2 rows, 2 rows).
        hidden: products of slopes with partials, twice.
        slopes: products of slopes with each other, twice, less what the partials account for.
    """

    hz: tuple[float, ...]
    layout: _Layout
    weight: Floats
    seen: Floats
    inverse: Floats
    hidden: Floats
    slopes: Floats


def _on_grid(hz: float) -> int:
    """A guess, in steps of the grid from 1 Hz."""
    return round(GRID * math.log2(hz))


@lru_cache(maxsize=MODELS)
def _model(half: int, rate: float, guesses: tuple[int, ...]) -> _Model:
    """The model at guesses on the grid, for windows of twice `half` samples.

    A reed that is held stays at one place of the grid, and half of a fit's work is done once.
    """
    hz = tuple(2.0 ** (guess / GRID) for guess in guesses)
    layout = _layout(tuple(partial_count(one, rate) for one in hz))
    time, weight = _later_half(2 * half)
    basis = _basis(time, rate, hz, layout)
    across = basis.transpose(0, 2, 1)
    rows = layout.spans[-1].stop
    seen = np.empty((2, 2 * rows, half))
    np.multiply(basis, weight, seen[:, :rows])
    np.multiply(basis[::-1], time * weight, seen[:, rows:])
    products = seen @ across
    gram = products[:, :rows] * layout.twice
    gram[1, 0, 0] = 1.0  # the odd part has no constant
    inverse, hidden = np.linalg.inv(gram), 2.0 * products[:, rows:]
    slopes = 2.0 * (seen[:, rows:] * time) @ across[::-1]
    slopes -= hidden @ inverse @ hidden.transpose(0, 2, 1)
    return _Model(
        hz,
        layout,
        np.concatenate([weight[::-1], weight]),
        seen,
        _joined(inverse),
        _joined(hidden),
        _joined(slopes),
    )


def _joined(parts: Floats) -> Floats:
    """Two matrices, shape (2, n, n), as the blocks of one that has nothing else in it."""
    n = parts.shape[1]
    joined = np.zeros((2 * n, 2 * n))
    joined[:n, :n], joined[n:, n:] = parts
    return joined


class _Layout(NamedTuple):
    """Where the partials of some reeds lie among the rows of a fit.

    Attributes:
        spans: the rows of each reed; row 0 is the constant.
        turning: shape (reeds, 2 rows): d/dw of a cos(kwt) + b sin(kwt) is kt (b cos - a sin), so
            amplitudes times this are those of the slope over t, sines and cosines changed.
        twice: shape (rows, rows): products over half a window count twice.
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
    return _Layout(spans, turning.reshape(len(counts), 2 * rows), 2.0 + 2.0 * RIDGE * np.eye(rows))


def _basis(time: Floats, rate: float, guesses: tuple[float, ...], layout: _Layout) -> Floats:
    """Cosines and sines of all partials at `time`, shape (2, rows, n).

    The first of the cosines is the constant, the first of the sines nothing.
    """
    basis = np.empty((2, layout.spans[-1].stop, len(time)))
    basis[0, 0], basis[1, 0] = 1.0, 0.0
    for hz, span in zip(guesses, layout.spans, strict=True):
        turns = np.empty((span.stop - span.start, len(time)), dtype=complex)
        np.exp((2j * np.pi * hz / rate) * time, out=turns[0])
        known = 1
        while known < len(turns):  # twice as many at each step
            more = min(known, len(turns) - known)
            np.multiply(turns[:more], turns[known - 1], out=turns[known : known + more])
            known += more
        basis[0, span], basis[1, span] = turns.real, turns.imag
    return basis


def _solved(matrix: Floats, right: Floats) -> list[float]:
    """Solution of symmetric equations, shapes (n, n) and (n,); zeros where there is none."""
    if len(matrix) == 1:
        least = float(matrix[0, 0])
        return [float(right[0]) / least if least > 0.0 else 0.0]
    matrix.flat[:: len(matrix) + 1] *= 1.0 + RIDGE
    try:
        return list(np.linalg.solve(matrix, right).tolist())
    except np.linalg.LinAlgError:
        return [0.0] * len(matrix)


def fit_harmonics(window: Floats, rate: float, guesses: tuple[float, ...]) -> HarmonicFit | None:
    """Gauss-Newton steps until they are small.

    Arguments as in :func:`fit_harmonics_once`.

    Returns:
        The last fit; None if a step lost its way.
    """
    for _ in range(MOST_STEPS):
        found = fit_harmonics_once(window, rate, guesses)
        if min(found.hz) <= 0.0:
            return None
        step = max(abs(cents(new, old)) for new, old in zip(found.hz, guesses, strict=True))
        if step > FARTHEST_CENTS:
            return None
        if step < NEAR_CENTS:
            break
        guesses = found.hz
    return found
