"""Cumulative distribution function of the beta distribution."""

from __future__ import annotations

import math

_TINY = 1e-300
"""Replaces a zero denominator in Lentz's method."""
_RELATIVE_TOLERANCE = 1e-12
"""Relative change of the continued fraction at which it counts as converged."""
_MAX_TERMS = 10_000


def beta_cdf(x: float, a: float, b: float) -> float:
    """Regularised incomplete beta function I_x(a, b): P(X <= x) for X ~ Beta(a, b).

    Evaluated as a continued fraction (DLMF 8.17.22) with Lentz's method, on the side of the mean
    where it converges fast.

    Args:
        x: quantile; 0 or less gives 0, 1 or more gives 1.
        a: first shape parameter, above 0.
        b: second shape parameter, above 0.
    """
    if not 0.0 < x < 1.0:
        return 0.0 if x <= 0.0 else 1.0
    if x > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_cdf(1.0 - x, b, a)
    log_factor = (
        math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    )
    return math.exp(log_factor) / a * _continued_fraction(x, a, b)


def _continued_fraction(x: float, a: float, b: float) -> float:
    """Evaluate 1 / (1 + d1 / (1 + d2 / (1 + ...))) with Lentz's method."""
    value, lower, upper = 1.0, 1.0, math.inf
    for n in range(1, _MAX_TERMS):
        m, odd = divmod(n, 2)
        if odd:
            d = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            d = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        lower = 1.0 / (1.0 + d * lower or _TINY)
        upper = 1.0 + d / upper or _TINY
        value *= lower * upper
        if abs(lower * upper - 1.0) < _RELATIVE_TOLERANCE:
            break
    return value
