"""Slopes of many short series, partially pooled: a linear mixed model.

A cell is the mean of `count` values of one item (a note of one drill) on one day. The model of cell
i, of item j on day d at time t, is

    y_i = a_j + g_d + (b + u_1 + u_2 + ...) t + e_i

with an intercept a_j for each item, a random effect g_d of the day, a common slope b, and random
deviations u_k of the slopes of the groups that the cell is in. The a_j and b have flat priors. The
effects of days that lie n days of playing apart have the correlation c^n, since a good spell lasts.
A cell's residual has the variance s^2 / w, w = count / (1 + (count - 1) r), where r is the assumed
correlation of the values within a cell.

For given ratios of the standard deviations of g and u to s, slopes and their covariance solve
Henderson's mixed model equations (Henderson 1975, Biometrics 31). s^2 is integrated out, and the
slopes are averaged over a grid of the ratios and of c, weighted by the restricted likelihood
(Harville 1974, Biometrika 61). So the intervals allow for what is not known about the ratios, which
those from the best ratio do not (Carlin and Gelfand 1990, JASA 85).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from trainer.core.types import Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopeParameters:
    """Grid of the model. Chosen by hand before any data were seen.

    Attributes:
        day_sds: standard deviations of a day's effect, relative to that of a value.
        day_correlations: correlations c of the effects of a day and the next.
        slope_sds: standard deviations of the slopes of a group per unit of time, relative to that
            of a value.
        correlation: assumed correlation of the values of one item on one day, 0 to 1.
    """

    day_sds: tuple[float, ...] = (0.03, 0.1, 0.2, 0.4, 0.8)
    day_correlations: tuple[float, ...] = (0.0, 0.6)
    slope_sds: tuple[float, ...] = (0.02, 0.05, 0.1, 0.2, 0.4)
    correlation: float = 0.1


@dataclass(frozen=True, slots=True)
class Cells:
    """Means of the values of one item on one day.

    Attributes:
        item: index of the item, shape (n,).
        day: index of the day, shape (n,).
        time: time of the day, in the unit of the slopes, shape (n,).
        groups: for each family of groups, the index of the cell's group, shape (n,).
        count: number of values, from 1, shape (n,).
        value: mean of the values, shape (n,).
    """

    item: Ints
    day: Ints
    time: Floats
    groups: Sequence[Ints]
    count: Ints
    value: Floats


@dataclass(frozen=True, slots=True)
class Slopes:
    """Posterior of the slopes.

    Attributes:
        mean: means of the common slope and of the groups' deviations from it, the families one
            after another, shape (p,).
        covariance: their covariance, shape (p, p).
        offsets: index of the first group of each family.
        intercept: mean of the intercept of each item; NaN for one without cells, shape (j,).
    """

    mean: Floats
    covariance: Floats
    offsets: tuple[int, ...]
    intercept: Floats

    def combine(self, weight: Floats) -> tuple[float, float]:
        """Mean and standard deviation of a weighted sum of the slopes.

        Args:
            weight: weights, shape (p,).
        """
        variance = float(weight @ self.covariance @ weight)
        return float(weight @ self.mean), max(variance, 0.0) ** 0.5


SLOPES = SlopeParameters()


def fit_slopes(cells: Cells, parameters: SlopeParameters = SLOPES) -> Slopes | None:
    """Fit the model; None where no item was played on two days.

    Args:
        cells: the cells, with one cell at most for an item and a day.
        parameters: the grid.
    """
    per_item = np.bincount(cells.item)
    is_linked = per_item[cells.item] > 1
    if len(np.unique(cells.day[is_linked])) < 2:
        return None
    linked = _only(cells, is_linked)
    sizes = [int(group.max()) + 1 for group in cells.groups]
    equations = _Equations.of(linked, _weights(linked, parameters), sizes)
    posterior = _average(equations, parameters)
    if posterior is None:
        return None
    mean, covariance, days = posterior
    offsets = equations.offsets
    rest = cells.value - cells.time * _slope_of(cells, mean, offsets)
    rest[is_linked] -= days[np.unique(linked.day, return_inverse=True)[1]]
    weights = _weights(cells, parameters)
    total = np.bincount(cells.item, weights)
    sums = np.bincount(cells.item, weights * rest)
    intercept = np.divide(sums, total, out=np.full(len(total), np.nan), where=total > 0.0)
    return Slopes(mean, covariance, offsets, intercept)


def _only(cells: Cells, wanted: np.ndarray) -> Cells:
    groups = [group[wanted] for group in cells.groups]
    return Cells(
        cells.item[wanted],
        cells.day[wanted],
        cells.time[wanted],
        groups,
        cells.count[wanted],
        cells.value[wanted],
    )


def _weights(cells: Cells, parameters: SlopeParameters) -> Floats:
    count: Floats = cells.count.astype(float)
    return count / (1.0 + (count - 1.0) * parameters.correlation)


def _slope_of(cells: Cells, mean: Floats, offsets: Sequence[int]) -> Floats:
    """Slope of each cell."""
    slope = np.full(len(cells.value), mean[0])
    for offset, group in zip(offsets, cells.groups, strict=True):
        slope += mean[offset + group]
    return slope


@dataclass(frozen=True, slots=True)
class _Equations:
    """Normal equations after the items' intercepts have been eliminated.

    Attributes:
        day, cross, slope: matrix of the days' effects, of days and slopes, and of the slopes.
        day_side, slope_side: right-hand sides.
        squares: weighted sum of squares of the values about their items' means.
        freedom: number of cells less that of items and of the common slope.
        family: family of each slope; -1 for the common one.
        offsets: index of the first slope of each family.
    """

    day: Floats
    cross: Floats
    slope: Floats
    day_side: Floats
    slope_side: Floats
    squares: float
    freedom: int
    family: Ints
    offsets: tuple[int, ...]

    @classmethod
    def of(cls, cells: Cells, weight: Floats, sizes: Sequence[int]) -> _Equations:
        """Equations of some cells; `sizes` are the numbers of groups of each family."""
        item, item_count = _dense(cells.item)
        day, day_count = _dense(cells.day)
        offsets = tuple(np.cumsum([1, *sizes])[:-1].tolist())
        columns = [np.zeros(len(item), dtype=np.int64)]
        columns += [at + group for at, group in zip(offsets, cells.groups, strict=True)]
        count = 1 + sum(sizes)
        family = np.repeat(np.arange(-1, len(sizes)), [1, *sizes])
        weighted_time = weight * cells.time

        def table(rows: Ints, shape: tuple[int, int], place: Ints, values: Floats) -> Floats:
            sums = np.bincount(rows * shape[1] + place, values, shape[0] * shape[1])
            return sums.astype(float).reshape(shape)

        total = np.bincount(item, weight, item_count)
        by_item = np.bincount(item, weight * cells.value, item_count)
        days = table(day, (day_count, item_count), item, weight)
        slopes, cross = np.zeros((count, item_count)), np.zeros((day_count, count))
        squares, side = np.zeros((count, count)), np.zeros(count)
        for column in columns:
            slopes += table(column, (count, item_count), item, weighted_time)
            cross += table(day, (day_count, count), column, weighted_time)
            side += np.bincount(column, weighted_time * cells.value, count)
            for other in columns:
                squares += table(column, (count, count), other, weighted_time * cells.time)
        day_side = np.bincount(day, weight * cells.value, day_count)
        return cls(
            day=np.diag(days.sum(axis=1)) - (days / total) @ days.T,
            cross=cross - (days / total) @ slopes.T,
            slope=squares - (slopes / total) @ slopes.T,
            day_side=day_side - days @ (by_item / total),
            slope_side=side - slopes @ (by_item / total),
            squares=float(weight @ cells.value**2 - np.sum(by_item**2 / total)),
            freedom=len(item) - item_count - 1,
            family=family,
            offsets=offsets,
        )


def _dense(index: Ints) -> tuple[Ints, int]:
    """Indices without gaps, and their number."""
    values, dense = np.unique(index, return_inverse=True)
    return dense, len(values)


def _average(
    equations: _Equations, parameters: SlopeParameters
) -> tuple[Floats, Floats, Floats] | None:
    """Mean and covariance of the slopes, and mean effects of the days, over the grid."""
    if equations.freedom < 1:
        return None
    least = max(1e-12 * equations.squares, 1e-12)  # of values that never vary
    families = int(equations.family.max(initial=-1)) + 1
    grid = np.array(list(product(parameters.slope_sds, repeat=families)))
    """Ratios of the families' slopes, shape (g, families)."""
    sizes = np.bincount(equations.family[1:], minlength=families)
    ridge = np.zeros((len(grid), len(equations.family)))
    ridge[:, 1:] = grid[:, equations.family[1:]] ** -2.0
    log_sizes = 2.0 * np.log(grid) @ sizes
    logs, means, covariances, days = [], [], [], []
    identity = np.eye(len(equations.family))
    apart = np.abs(np.subtract.outer(*2 * (np.arange(len(equations.day)),)))
    for sd, correlation in product(parameters.day_sds, parameters.day_correlations):
        prior = sd**2 * correlation**apart
        day = equations.day + np.linalg.inv(prior)
        sides = np.column_stack([equations.cross, equations.day_side])
        solved = np.linalg.solve(day, sides)
        schur = equations.slope - equations.cross.T @ solved[:, :-1]
        side = equations.slope_side - equations.cross.T @ solved[:, -1]
        squares = equations.squares - equations.day_side @ solved[:, -1]
        matrices = schur + ridge[:, :, None] * identity
        inverse = np.linalg.inv(matrices)
        mean = inverse @ side
        left = np.maximum(squares - mean @ side, least)
        log_determinants = np.linalg.slogdet(matrices)[1] + np.linalg.slogdet(day)[1]
        log_priors = log_sizes + np.linalg.slogdet(prior)[1]
        logs.append(-0.5 * (equations.freedom * np.log(left) + log_determinants + log_priors))
        means.append(mean)
        covariances.append(inverse * (left / equations.freedom)[:, None, None])
        days.append(solved[:, -1] - mean @ solved[:, :-1].T)
    log = np.concatenate(logs)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    each = np.concatenate(means)
    mean = weight @ each
    covariance = np.tensordot(weight, np.concatenate(covariances), 1)
    covariance += (each - mean).T @ (weight[:, None] * (each - mean))
    return mean, covariance, weight @ np.concatenate(days)
