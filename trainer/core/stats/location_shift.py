"""How far one handful of figures lies from another, and how sure that is.

The estimate is that of Hodges and Lehmann (1963, Annals of Mathematical Statistics 34, "Estimates
of location based on rank tests"): the median of all differences between the two. Its interval
holds the differences that the rank test of Mann and Whitney (1947, Annals of Mathematical
Statistics 18) would not reject. It assumes no shape and one wild figure cannot upset it; with ties
it is wider than it need be, never narrower (Lehmann 1975, "Nonparametrics"). For small handfuls it
is exact, so that it says by itself when there are too few: with three against three, no
difference, however large, is beyond chance 19 times in 20.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np

CONFIDENCE_LEVEL = 0.95
"""How often the interval holds the true difference, at least."""
_EXACT = 30
"""Up to so many figures on each side the chances are counted; beyond, they are a normal's."""


@dataclass(frozen=True, slots=True)
class LocationShift:
    """How far the later figures lie above the earlier ones.

    Attributes:
        estimate: the estimate.
        low, high: ends of the interval; infinite where there are too few figures for one.
    """

    estimate: float
    low: float
    high: float

    @property
    def excludes_zero(self) -> bool:
        """Whether the interval leaves no doubt about the direction."""
        return self.low > 0.0 or self.high < 0.0


def hodges_lehmann(
    before: Sequence[float], after: Sequence[float], level: float = CONFIDENCE_LEVEL
) -> LocationShift:
    """How far `after` lies above `before`, each with at least one figure.

    Args:
        before, after: independent figures.
        level: of the interval, between 0 and 1.

    Raises:
        ValueError: one of them is empty.
    """
    if not len(before) or not len(after):
        raise ValueError("a difference needs a figure on both sides")
    gaps = np.sort(np.subtract.outer(np.asarray(after), np.asarray(before)), axis=None)
    outside = _outside(*sorted((len(before), len(after))), 1.0 - level)
    if not outside:
        return LocationShift(float(np.median(gaps)), -math.inf, math.inf)
    return LocationShift(float(np.median(gaps)), float(gaps[outside - 1]), float(gaps[-outside]))


@cache
def _outside(few: int, many: int, error: float) -> int:
    """How many of the sorted differences lie outside at each end, and the ends count as one."""
    if many > _EXACT:
        mean = few * many / 2.0
        spread = math.sqrt(few * many * (few + many + 1) / 12.0)
        return max(0, math.floor(mean + NormalDist().inv_cdf(error / 2.0) * spread))
    ways = _ways(few, many)
    allowed = error / 2.0 * sum(ways) * (1.0 + 1e-9)  # 1 - 0.9 is a hair under 0.1
    outside = total = 0
    for count in ways:
        total += count
        if total > allowed:
            break
        outside += 1
    return outside


def _ways(few: int, many: int) -> list[int]:
    """How many orders of `few` among `many` have each number of inversions: the coefficients of
    the Gaussian binomial, product of (1 - q^(many + i)) / (1 - q^i)."""
    ways = [1] + [0] * (few * many)
    for i in range(1, few + 1):
        for at in range(len(ways) - 1, many + i - 1, -1):
            ways[at] -= ways[at - many - i]
        for at in range(i, len(ways)):
            ways[at] += ways[at - i]
    return ways
