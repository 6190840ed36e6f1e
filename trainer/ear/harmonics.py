"""Harmonic least squares: the pitch of one or more reeds in a short window, to the limit.

The sound is modelled as reeds, each a sum of partials at whole multiples of its f0, with free
amplitudes and phases. Given first guesses of the f0s, one Gauss-Newton step of the weighted
least-squares fit gives all of them at once; fitting the reeds jointly keeps a loud neighbour from
pulling the wanted one's pitch. What white noise allows at best is the Cramer-Rao bound of Nehorai
and Porat 1986 (IEEE Trans. ASSP 34(5)).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trainer.ear.frontend import Floats
from trainer.music import cents

MOST_PARTIALS = 6
HIGHEST_HZ = 9_500.0
MOST_STEPS = 3
NEAR_CENTS, FARTHEST_CENTS = 3.0, 80.0
"""A step under the first is the last; one over the second has lost its way."""
RIDGE = 1.0 + 1e-9
"""Keeps the equations soluble where a partial has next to no energy."""


@dataclass(frozen=True, slots=True)
class Fit:
    """What a fit found.

    Attributes:
        hz: f0 of each reed, in the order of the guesses.
        levels: amplitude of each reed, the root of its partials' summed squares.
        unexplained: share of the window's energy that the model leaves, 0 to 1.
        fundamental: amplitude of the first reed's fundamental over its strongest partial's.
    """

    hz: tuple[float, ...]
    levels: tuple[float, ...]
    unexplained: float
    fundamental: float


@lru_cache(maxsize=64)
def hann(length: int) -> Floats:
    """A Hann window without zeros at its ends, shape (length,)."""
    return np.hanning(length + 2)[1:-1]


@lru_cache(maxsize=64)
def _centred(length: int) -> Floats:
    return np.arange(length) - (length - 1) / 2.0


def partial_count(hz: float, rate: float) -> int:
    """How many partials of a reed are worth fitting."""
    return max(1, min(MOST_PARTIALS, int(min(HIGHEST_HZ, 0.45 * rate) / hz)))


def fit(window: Floats, rate: float, guesses: tuple[float, ...]) -> Fit:
    """One Gauss-Newton step from the guesses.

    Args:
        window: samples, shape (n,), at least two periods of the lowest guess.
        rate: samples a second.
        guesses: f0 of each reed in Hz, within a few per cent of the truth.

    Returns:
        The fit, its f0s those at the window's centre.
    """
    n = len(window)
    time = _centred(n)
    weight = np.sqrt(hann(n))
    columns = [weight]
    slopes = []
    spans = []
    for hz in guesses:
        count = partial_count(hz, rate)
        turn = np.exp(1j * (2.0 * np.pi * hz / rate) * time)
        powers = np.empty((count, n), dtype=np.complex128)
        powers[0] = turn
        for k in range(1, count):
            np.multiply(powers[k - 1], turn, out=powers[k])
        powers *= weight
        spans.append((len(columns), count))
        columns.extend(powers.real)
        columns.extend(powers.imag)
        slopes.append(powers)
    basis = np.asarray(columns)
    target = window * weight
    gram = basis @ basis.T
    gram.flat[:: len(gram) + 1] *= RIDGE
    right = basis @ target
    amplitudes = np.linalg.solve(gram, right)
    residual = target - amplitudes @ basis

    derivatives = []
    strengths = []
    for (at, count), powers in zip(spans, slopes, strict=True):
        real = amplitudes[at : at + count]
        imag = amplitudes[at + count : at + 2 * count]
        orders = np.arange(1, count + 1)
        # d/dw of a cos(kwt) + b sin(kwt) = kt (b cos - a sin)
        derivatives.append(time * ((orders * imag) @ powers.real - (orders * real) @ powers.imag))
        strengths.append(np.sqrt(real**2 + imag**2))
    slope = np.asarray(derivatives)
    across = basis @ slope.T
    inner = slope @ slope.T - across.T @ np.linalg.solve(gram, across)
    inner.flat[:: len(inner) + 1] *= RIDGE
    try:
        steps = np.linalg.solve(inner, slope @ residual)
    except np.linalg.LinAlgError:
        steps = np.zeros(len(guesses))
    found = tuple(
        float(hz + step * rate / (2.0 * np.pi)) for hz, step in zip(guesses, steps, strict=True)
    )
    energy = float(target @ target)
    left = float(residual @ residual) / energy if energy > 0.0 else 1.0
    return Fit(
        found,
        tuple(float(np.linalg.norm(one)) for one in strengths),
        min(1.0, left),
        float(strengths[0][0] / max(float(strengths[0].max()), 1e-12)),
    )


def fit_closely(window: Floats, rate: float, guesses: tuple[float, ...]) -> Fit | None:
    """Gauss-Newton steps until they are small.

    Arguments as in :func:`fit`.

    Returns:
        The last fit; None if a step lost its way.
    """
    for _ in range(MOST_STEPS):
        found = fit(window, rate, guesses)
        if min(found.hz) <= 0.0:
            return None
        step = max(abs(cents(new, old)) for new, old in zip(found.hz, guesses, strict=True))
        if step > FARTHEST_CENTS:
            return None
        if step < NEAR_CENTS:
            break
        guesses = found.hz
    return found
