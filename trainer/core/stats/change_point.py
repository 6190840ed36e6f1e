"""Detection of a downward change in a noisy series: when it began, and its size.

Page (1954, Biometrika 41) accumulates the deviations of a series below a known level and raises an
alarm when the sum grows too large. Here neither the level before nor the level after is known, so
the likelihood ratio of a change, maximised over its time, takes the place of the sum (the
change-point model of Hawkins, Qiu and Kang 2003, J. Quality Technology 35; both cited from
memory). Two shapes of change are fitted at each time: a step, and a linear decline from there on.

Conventions. Times are days in ascending order; values have any unit. A value of weight w has noise
of standard deviation sigma / sqrt(w).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Bools, Floats


@dataclass(frozen=True, slots=True)
class ChangePointParameters:
    """Constants of the change-point search.

    Attributes:
        min_before, min_after: minimum number of values on either side of a step.
        min_decline_values: minimum number of values in a decline; a shorter one is a step.
        min_decline_days: minimum length of a decline in days; a shorter one is a step.
        interval_deviance: twice the log-likelihood ratio up to which a time belongs to the 95 %
            interval: the 0.95 quantile of the chi-squared distribution with one degree of freedom.
    """

    min_before: int = 4
    min_after: int = 5
    min_decline_values: int = 8
    min_decline_days: float = 28.0
    interval_deviance: float = 3.84


PARAMETERS = ChangePointParameters()
"""Parameters in use."""


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """A downward change of a series.

    Attributes:
        index: index of the first value after it began.
        earliest, latest: ends of the 95 % interval of `index`.
        is_gradual: whether it is a linear decline up to the last value, not a step.
        size: total change by the last value; positive is down.
        standard_error: standard error of `size`.
    """

    index: int
    earliest: int
    latest: int
    is_gradual: bool
    size: float
    standard_error: float

    @property
    def z_score(self) -> float:
        """Size in standard errors."""
        return self.size / self.standard_error


def find_change_point(
    days: Floats,
    values: Floats,
    weights: Floats,
    noise: float,
    parameters: ChangePointParameters = PARAMETERS,
) -> ChangePoint | None:
    """Find the downward change with the largest z-score, however small.

    Args:
        days: times, shape (n,), ascending.
        values: shape (n,).
        weights: of the values, shape (n,).
        noise: standard deviation of a value of weight 1.
        parameters: constants of the search.

    Returns:
        The change; None if the series nowhere falls or has too few values.
    """
    count = len(days)
    if count < parameters.min_before + parameters.min_after:
        return None
    t = days - days[0]
    slopes, spread = _fit_changes(_reverse_cumulative_sums(weights, weights * values, t), t)
    index = np.arange(count)
    step_allowed = (index >= parameters.min_before) & (count - index >= parameters.min_after)
    decline_allowed = (count - index >= parameters.min_decline_values) & (
        t[-1] - t >= parameters.min_decline_days
    )
    z_scores = np.where([step_allowed, decline_allowed], -slopes * np.sqrt(spread) / noise, -np.inf)
    shape, at = np.unravel_index(int(np.argmax(z_scores)), z_scores.shape)
    best = float(z_scores[shape, at])
    if not best > 0.0:
        return None
    likely = np.flatnonzero(
        (z_scores > 0.0).any(axis=0)
        & _within_interval(z_scores, best, parameters.interval_deviance)
    )
    duration = float(t[-1] - t[at]) if shape else 1.0
    return ChangePoint(
        index=int(at),
        earliest=int(likely[0]),
        latest=int(likely[-1]),
        is_gradual=bool(shape),
        size=-float(slopes[shape, at]) * duration,
        standard_error=noise / float(np.sqrt(spread[shape, at])) * duration,
    )


def _within_interval(z_scores: Floats, best: float, deviance: float) -> Bools:
    best_by_time = np.maximum(z_scores, 0.0).max(axis=0)
    return np.asarray(best**2 - best_by_time**2 <= deviance)


def _reverse_cumulative_sums(w: Floats, wz: Floats, t: Floats) -> tuple[Floats, ...]:
    """Return sums from each value to the last of w, w t, w t^2, w z and w z t."""
    return tuple(np.cumsum(terms[::-1])[::-1] for terms in (w, w * t, w * t * t, wz, wz * t))


def _fit_changes(sums: tuple[Floats, ...], t: Floats) -> tuple[Floats, Floats]:
    """Fit a level and a change by least squares, for each shape and time of the change.

    Returns:
        Two arrays of shape (2, n), for the step and the decline: the change or its slope per day;
        and the weighted sum of squares of its centred regressor, the inverse of the slope's
        variance at unit noise.
    """
    w, wt, wtt, wz, wzt = sums
    g = np.stack([w, wt - t * w])
    gg = np.stack([w, wtt - 2.0 * t * wt + t * t * w])
    gz = np.stack([wz, wzt - t * wz])
    spread = np.maximum(gg - g * g / w[0], 1e-12)
    return (gz - g * wz[0] / w[0]) / spread, spread
