"""Partially pooled slopes: against the same model as one dense normal distribution.

Reference: generalised least squares and the restricted likelihood of a linear mixed model, written
with all random effects in the covariance of the data (Harville 1974, 1977), by scipy.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy import linalg, stats

from trainer.core.stats.slopes import Cells, SlopeParameters, fit_slopes


def cells(rng: np.random.Generator, count: int = 120) -> Cells:
    """Cells of 8 items on 12 days, in 3 and 2 groups."""
    chosen = rng.choice(8 * 12, min(count, 8 * 12), replace=False)
    item, day = chosen // 12, chosen % 12
    value = rng.normal(size=len(chosen)) + 0.3 * item - 0.1 * day
    count_ = rng.integers(1, 9, len(chosen))
    return Cells(item, day, (day - 5.5) / 6.0, [item % 3, item // 4], count_, value)


def dense(
    data: Cells, day_sd: float, day_correlation: float, sds: tuple[float, float], correlation: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Mean and covariance of slopes, and the log of the restricted likelihood, for given ratios."""
    n = len(data.value)
    weight = data.count / (1.0 + (data.count - 1) * correlation)
    fixed = np.column_stack([np.eye(int(data.item.max()) + 1)[data.item], data.time])
    families = [np.eye(int(group.max()) + 1)[group] * data.time[:, None] for group in data.groups]
    random = np.hstack(families)
    prior = np.repeat(np.square(sds), [family.shape[1] for family in families])
    days = np.eye(12)[data.day]
    of_days = day_sd**2 * linalg.toeplitz(day_correlation ** np.arange(12.0))
    covariance = np.diag(1.0 / weight) + days @ of_days @ days.T + (random * prior) @ random.T
    inverse = linalg.inv(covariance)
    information = fixed.T @ inverse @ fixed
    fixed_mean = linalg.solve(information, fixed.T @ inverse @ data.value)
    rest = data.value - fixed @ fixed_mean
    freedom = n - fixed.shape[1]
    scale = float(rest @ inverse @ rest) / freedom
    # The joint posterior of the common slope and the groups' deviations.
    shift = prior[:, None] * random.T @ inverse
    project = inverse - inverse @ fixed @ linalg.solve(information, fixed.T @ inverse)
    mean = np.concatenate([fixed_mean[-1:], shift @ rest])
    deviations = np.diag(prior) - (prior[:, None] * random.T) @ project @ (random * prior)
    common = linalg.inv(information)[-1, -1]
    mixed = -(linalg.solve(information, fixed.T @ inverse @ random * prior))[-1]
    joint = scale * np.block([[np.array([[common]]), mixed[None]], [mixed[:, None], deviations]])
    null = linalg.null_space(fixed.T)
    contrasts = null.T @ covariance @ null
    log = stats.multivariate_normal(cov=scale * contrasts).logpdf(null.T @ data.value)
    return mean, joint, float(log)


@pytest.mark.parametrize("seed", range(3))
def test_one_point_of_the_grid_is_the_dense_model(seed: int) -> None:
    data = cells(np.random.default_rng(seed))
    parameters = SlopeParameters(
        day_sds=(0.4,), day_correlations=(0.7,), slope_sds=(0.3,), correlation=0.2
    )
    fit = fit_slopes(data, parameters)
    assert fit is not None
    mean, covariance, _ = dense(data, 0.4, 0.7, (0.3, 0.3), 0.2)
    assert fit.mean == pytest.approx(mean, abs=1e-9)
    assert fit.covariance == pytest.approx(covariance, abs=1e-9)


def test_the_grid_is_weighted_by_the_restricted_likelihood() -> None:
    data = cells(np.random.default_rng(7))
    ratios, spells = (0.1, 0.6), (0.0, 0.8)
    parameters = SlopeParameters(
        day_sds=ratios, day_correlations=spells, slope_sds=ratios, correlation=0.2
    )
    fit = fit_slopes(data, parameters)
    assert fit is not None
    means, logs = [], []
    for day_sd, spell, first, second in product(ratios, spells, ratios, ratios):
        mean, _, log = dense(data, day_sd, spell, (first, second), 0.2)
        means.append(mean)
        logs.append(log)
    weight = np.exp(np.array(logs) - max(logs))
    assert weight.min() < 0.8 * weight.max()
    assert fit.mean == pytest.approx(weight @ np.array(means) / weight.sum(), abs=1e-6)


def test_groups_without_data_are_drawn_to_the_common_slope() -> None:
    data = cells(np.random.default_rng(3))
    more = Cells(
        np.append(data.item, 8),
        np.append(data.day, 3),
        np.append(data.time, 0.0),
        [np.append(data.groups[0], 3), np.append(data.groups[1], 0)],
        np.append(data.count, 5),
        np.append(data.value, 40.0),
    )
    fit, without = fit_slopes(more), fit_slopes(data)
    assert fit is not None
    assert without is not None
    assert fit.mean[4] == pytest.approx(0.0, abs=1e-12)  # an item of one day says nothing
    assert np.delete(fit.mean, 4) == pytest.approx(without.mean)
    assert fit.covariance[4, 4] > without.covariance[1, 1]
    assert fit.intercept[8] == pytest.approx(40.0)


def test_one_day_has_no_slope() -> None:
    data = cells(np.random.default_rng(4))
    only = data.day == 2
    groups = [group[only] for group in data.groups]
    day = Cells(
        data.item[only], data.day[only], data.time[only], groups, data.count[only], data.value[only]
    )
    assert fit_slopes(day) is None
