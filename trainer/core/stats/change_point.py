"""Whether a series of figures has fallen, since when, and how far.

Page (1954, Biometrika 41) adds up what a series falls short of its known level, and raises an alarm
when the sum grows too high. Here neither the level before nor the one after is known; then the
likelihood ratio of a change, at the moment where it is largest, takes the sum's place (the
change-point model of Hawkins, Qiu and Kang 2003, J. Quality Technology 35; both cited from memory).
Two ways of falling are tried from every moment on: at once, and evenly ever since.

Conventions. Times are days, in ascending order; values have any unit. A value of weight w has the
standard deviation of noise over the root of w.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Bools, Floats

BEFORE, AFTER = 4, 5
"""Values on either side of a fall at once, at least."""
LONG, LONG_DAYS = 8, 28.0
"""What fell within fewer values or days fell at once."""
CHI2_95 = 3.84
"""Where twice the log-likelihood is so much less, a moment is out of the 95 % interval (one degree
of freedom)."""


@dataclass(frozen=True, slots=True)
class ChangePoint:
    """A fall of a series.

    Attributes:
        index: index of the first value after it began.
        earliest, latest: the same, at the ends of the 95 % interval.
        is_gradual: whether it goes on evenly since then, and did not happen at once.
        size: how far it has fallen by the last value; positive is down.
        standard_error: standard error of that.
    """

    index: int
    earliest: int
    latest: int
    is_gradual: bool
    size: float
    standard_error: float

    @property
    def z_score(self) -> float:
        """How many standard errors it has fallen."""
        return self.size / self.standard_error


def find_change_point(
    days: Floats, values: Floats, weights: Floats, noise: float
) -> ChangePoint | None:
    """The fall that explains a series best.

    Args:
        days: shape (n,), ascending.
        values, weights: shape (n,).
        noise: standard deviation of a value of weight 1.

    Returns:
        The strongest fall, however weak; None where there is none at all, or too few values.
    """
    count = len(days)
    if count < BEFORE + AFTER:
        return None
    t = days - days[0]
    slope, spread = _fits(_sums(weights, weights * values, t), t)
    index = np.arange(count)
    at_once = (index >= BEFORE) & (count - index >= AFTER)
    evenly = (count - index >= LONG) & (t[-1] - t >= LONG_DAYS)
    strength = np.where([at_once, evenly], -slope * np.sqrt(spread) / noise, -np.inf)
    kind, at = np.unravel_index(int(np.argmax(strength)), strength.shape)
    best = float(strength[kind, at])
    if not best > 0.0:
        return None
    likely = np.flatnonzero((strength > 0.0).any(axis=0) & _near(strength, best))
    grown = float(t[-1] - t[at]) if kind else 1.0
    return ChangePoint(
        index=int(at),
        earliest=int(likely[0]),
        latest=int(likely[-1]),
        is_gradual=bool(kind),
        size=-float(slope[kind, at]) * grown,
        standard_error=noise / float(np.sqrt(spread[kind, at])) * grown,
    )


def _near(strength: Floats, best: float) -> Bools:
    top = np.maximum(strength, 0.0).max(axis=0)
    return np.asarray(best**2 - top**2 <= CHI2_95)


def _sums(w: Floats, wz: Floats, t: Floats) -> tuple[Floats, ...]:
    """Sums from each value to the last: of weights, of their first and second moments in time, of
    weighted values and of these times time."""
    return tuple(np.cumsum(part[::-1])[::-1] for part in (w, w * t, w * t * t, wz, wz * t))


def _fits(sums: tuple[Floats, ...], t: Floats) -> tuple[Floats, Floats]:
    """Least squares of a level and a change from each moment on, at once and evenly.

    Returns:
        By way of falling and moment, shape (2, n): the change, or its slope a day, and the
        spread of its regressor, which is the inverse of the change's variance.
    """
    w, wt, wtt, wz, wzt = sums
    g = np.stack([w, wt - t * w])
    gg = np.stack([w, wtt - 2.0 * t * wt + t * t * w])
    gz = np.stack([wz, wzt - t * wz])
    spread = np.maximum(gg - g * g / w[0], 1e-12)
    return (gz - g * wz[0] / w[0]) / spread, spread
