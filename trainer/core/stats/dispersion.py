"""Median absolute deviation, a measure of spread that outliers hardly change."""

from __future__ import annotations

import numpy as np

from trainer.core.types import Floats

SD_PER_MAD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation.

1 / Phi^-1(3/4) = 1.48260, rounded to four decimals."""


def median_absolute_deviation(values: Floats, center: float | None = None) -> float:
    """Median of the absolute deviations from a center, in the unit of the values.

    Args:
        values: shape (n,), n of at least 1.
        center: reference of the deviations; None takes the median of the values.
    """
    center = float(np.median(values)) if center is None else center
    return float(np.median(np.abs(values - center)))
