"""Hodges–Lehmann estimate of the shift between two samples, with a rank-based interval.

The estimate is the median of all pairwise differences (Hodges and Lehmann 1963, "Estimates of
location based on rank tests", Annals of Mathematical Statistics 34). The confidence interval holds
the shifts that the test of Mann and Whitney (1947, Annals of Mathematical Statistics 18) does not
reject. No distribution is assumed, and a single outlier has little influence. With ties the
interval is conservative (Lehmann 1975, "Nonparametrics"). For small samples it is exact: with three
values against three, no difference is significant at 95 %.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from statistics import NormalDist

import numpy as np

CONFIDENCE_LEVEL = 0.95
"""Default coverage of the interval."""
_MAX_EXACT_SIZE = 30
"""Size of the larger sample up to which the null distribution is exact; a normal approximation is
used beyond."""
_ROUNDING_SLACK = 1e-9
"""Relative slack for a level such as 0.9, because 1 - 0.9 < 0.1 in floating point."""


@dataclass(frozen=True, slots=True)
class LocationShift:
    """Estimated shift of a later sample relative to an earlier one, in the unit of the values.

    Attributes:
        estimate: the Hodges–Lehmann estimate.
        low, high: ends of the confidence interval; infinite if the samples are too small.
    """

    estimate: float
    low: float
    high: float

    @property
    def excludes_zero(self) -> bool:
        """Whether the interval excludes zero, so that the sign of the shift is significant."""
        return self.low > 0.0 or self.high < 0.0


def hodges_lehmann(
    before: Sequence[float], after: Sequence[float], level: float = CONFIDENCE_LEVEL
) -> LocationShift:
    """Estimate the shift from `before` to `after`, with its confidence interval.

    Args:
        before: independent values, at least one.
        after: independent values, at least one.
        level: coverage of the interval, between 0 and 1.

    Raises:
        ValueError: a sample is empty.
    """
    if not len(before) or not len(after):
        raise ValueError("both samples need at least one value")
    differences = np.sort(np.subtract.outer(np.asarray(after), np.asarray(before)), axis=None)
    estimate = float(np.median(differences))
    rank = _interval_rank(*sorted((len(before), len(after))), 1.0 - level)
    if not rank:
        return LocationShift(estimate, -math.inf, math.inf)
    return LocationShift(estimate, float(differences[rank - 1]), float(differences[-rank]))


@cache
def _interval_rank(smaller: int, larger: int, error: float) -> int:
    """Return the rank of the interval's low end among the sorted differences, from 1.

    The high end has the same rank from the top.

    Args:
        smaller: size of the smaller sample.
        larger: size of the larger sample.
        error: probability that the interval misses the shift, both sides together.

    Returns:
        The rank; 0 if no interval has that coverage.
    """
    if larger > _MAX_EXACT_SIZE:
        mean = smaller * larger / 2.0
        sd = math.sqrt(smaller * larger * (smaller + larger + 1) / 12.0)
        return max(0, math.floor(mean + NormalDist().inv_cdf(error / 2.0) * sd))
    counts = _mann_whitney_counts(smaller, larger)
    allowed = error / 2.0 * sum(counts) * (1.0 + _ROUNDING_SLACK)
    rank = total = 0
    for count in counts:
        total += count
        if total > allowed:
            break
        rank += 1
    return rank


def _mann_whitney_counts(smaller: int, larger: int) -> list[int]:
    """Return the number of arrangements of two samples for each value of the U statistic.

    They are the coefficients of the Gaussian binomial, the product over i = 1 ... `smaller` of
    (1 - q^(larger + i)) / (1 - q^i).
    """
    counts = [1] + [0] * (smaller * larger)
    for i in range(1, smaller + 1):
        for u in range(len(counts) - 1, larger + i - 1, -1):
            counts[u] -= counts[u - larger - i]
        for u in range(i, len(counts)):
            counts[u] += counts[u - i]
    return counts
