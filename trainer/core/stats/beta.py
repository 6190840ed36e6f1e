"""The beta distribution: what a share is likely to be, after some trials."""

from __future__ import annotations

import math

_TINY = 1e-300
_CLOSE = 1e-12
_MOST = 10_000


def beta_cdf(share: float, hits: float, misses: float) -> float:
    """The probability that a beta distribution lies below a share.

    The regularised incomplete beta function, by its continued fraction (DLMF 8.17.22) in
    Lentz's way, from the side on which that converges fast.

    Args:
        share: 0 to 1.
        hits, misses: the parameters of the distribution, each over 0.
    """
    if not 0.0 < share < 1.0:
        return 0.0 if share <= 0.0 else 1.0
    if share > (hits + 1.0) / (hits + misses + 2.0):
        return 1.0 - beta_cdf(1.0 - share, misses, hits)
    log = (
        math.lgamma(hits + misses)
        - math.lgamma(hits)
        - math.lgamma(misses)
        + hits * math.log(share)
        + misses * math.log1p(-share)
    )
    return math.exp(log) / hits * _fraction(share, hits, misses)


def _fraction(x: float, a: float, b: float) -> float:
    """1 / (1 + d1 / (1 + d2 / (1 + ...))), by the products of its upper and lower parts."""
    value, lower, upper = 1.0, 1.0, math.inf
    for n in range(1, _MOST):
        m, odd = divmod(n, 2)
        if odd:
            d = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            d = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        lower = 1.0 / (1.0 + d * lower or _TINY)
        upper = 1.0 + d / upper or _TINY
        value *= lower * upper
        if abs(lower * upper - 1.0) < _CLOSE:
            break
    return value
