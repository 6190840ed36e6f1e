"""Statistics against scipy, published tables and brute force."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from trainer.core.stats.beta import beta_cdf
from trainer.core.stats.change_point import (
    PARAMETERS,
    ChangePointParameters,
    find_change_point,
)
from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.stats.location_shift import LocationShift, hodges_lehmann

samples = st.lists(st.integers(-1000, 1000).map(float), min_size=1, max_size=12)


class TestBeta:
    @given(st.floats(0.0, 1.0), st.floats(0.05, 2000.0), st.floats(0.05, 2000.0))
    def test_agrees_with_scipy(self, x: float, a: float, b: float) -> None:
        assert beta_cdf(x, a, b) == pytest.approx(scipy.stats.beta.cdf(x, a, b), abs=1e-9)

    @pytest.mark.parametrize(("x", "expected"), [(-0.5, 0.0), (0.0, 0.0), (1.0, 1.0), (1.5, 1.0)])
    def test_outside_the_unit_interval(self, x: float, expected: float) -> None:
        assert beta_cdf(x, 2.0, 3.0) == expected

    @pytest.mark.parametrize("x", [0.01, 0.25, 0.5, 0.99])
    def test_uniform(self, x: float) -> None:
        assert beta_cdf(x, 1.0, 1.0) == pytest.approx(x, abs=1e-12)


class TestMedianAbsoluteDeviation:
    @given(samples)
    def test_agrees_with_scipy(self, values: list[float]) -> None:
        expected = scipy.stats.median_abs_deviation(values)
        assert median_absolute_deviation(np.array(values)) == pytest.approx(expected)

    @given(samples, st.integers(-50, 50))
    def test_about_a_given_center(self, values: list[float], center: int) -> None:
        expected = scipy.stats.median_abs_deviation(values, center=lambda _, axis: center)
        deviation = median_absolute_deviation(np.array(values), float(center))
        assert deviation == pytest.approx(expected)

    def test_scale_to_the_standard_deviation_of_a_normal(self) -> None:
        assert pytest.approx(1.0 / scipy.stats.norm.ppf(0.75), abs=5e-5) == SD_PER_MAD


class TestHodgesLehmann:
    def test_worked_by_hand(self) -> None:
        # The sixteen differences: 1 2 3 3 4 4 4 5 5 6 6 6 7 7 8 9
        assert hodges_lehmann([1, 2, 3, 4], [5, 7, 8, 10]) == LocationShift(5.0, 1.0, 9.0)

    def test_three_against_three_are_too_few(self) -> None:
        # 1 of 20 arrangements is as extreme, on each side.
        shift = hodges_lehmann([1, 2, 3], [10, 11, 12])
        assert (shift.estimate, shift.low, shift.high) == (9.0, -np.inf, np.inf)
        assert not shift.excludes_zero
        assert hodges_lehmann([1, 2, 3], [10, 11, 12], level=0.9).excludes_zero

    def test_an_empty_sample(self) -> None:
        for before, after in (([], [1.0]), ([1.0], [])):
            with pytest.raises(ValueError, match="both samples"):
                hodges_lehmann(before, after)

    @given(samples, samples)
    def test_estimate_is_the_median_difference(
        self, before: list[float], after: list[float]
    ) -> None:
        differences = [late - early for late in after for early in before]
        assert hodges_lehmann(before, after).estimate == np.median(differences)

    @pytest.mark.parametrize(
        ("smaller", "larger", "critical"),
        [
            *[(4, 4, 0), (4, 5, 1), (5, 5, 2), (4, 8, 4), (6, 6, 5), (7, 7, 8)],
            *[(5, 10, 8), (8, 8, 13), (10, 10, 23), (12, 15, 49), (20, 20, 127)],
        ],
    )
    def test_interval_against_the_table_of_u(
        self, smaller: int, larger: int, critical: int
    ) -> None:
        before = [float(value) for value in range(smaller)]
        after = [1000.0 * value for value in range(1, larger + 1)]
        differences = sorted(late - early for late in after for early in before)
        shift = hodges_lehmann(before, after)
        assert (shift.low, shift.high) == (differences[critical], differences[-critical - 1])

    @pytest.mark.parametrize("sizes", [(4, 4), (3, 9), (6, 8), (11, 5), (9, 9)])
    @pytest.mark.parametrize("level", [0.8, 0.9, 0.95, 0.99])
    def test_interval_against_the_exact_test(self, sizes: tuple[int, int], level: float) -> None:
        """The interval holds the shifts that scipy's exact Mann-Whitney test does not reject."""
        rng = np.random.default_rng(sum(sizes) + round(100 * level))
        before, after = rng.normal(0.0, 1.0, sizes[0]), rng.normal(0.5, 1.0, sizes[1])
        shift = hodges_lehmann(before.tolist(), after.tolist(), level)
        differences = np.sort(np.subtract.outer(after, before), axis=None)
        between = (differences[:-1] + differences[1:]) / 2.0
        shifts = [differences[0] - 1.0, *between, differences[-1] + 1.0]
        for tested in shifts:
            test = scipy.stats.mannwhitneyu(after - tested, before, method="exact")
            accepted = test.pvalue > (1.0 - level) * (1.0 + 1e-9)
            assert accepted == (shift.low < tested < shift.high)

    def test_the_approximation_continues_the_exact_interval(self) -> None:
        rng = np.random.default_rng(5)
        before, after = rng.normal(0, 1, 30), rng.normal(0.4, 1, 31)
        exact = hodges_lehmann(before.tolist(), after[:30].tolist())
        approximate = hodges_lehmann(before.tolist(), after.tolist())
        assert exact.low == pytest.approx(approximate.low, abs=0.08)
        assert exact.high == pytest.approx(approximate.high, abs=0.08)

    @given(samples, samples, st.integers(-500, 500))
    def test_equivariance(self, before: list[float], after: list[float], more: int) -> None:
        shift = hodges_lehmann(before, after)
        moved = hodges_lehmann(before, [value + more for value in after])
        reverse = hodges_lehmann(after, before)
        assert shift.low <= shift.estimate <= shift.high
        assert (moved.estimate, moved.low, moved.high) == (
            shift.estimate + more,
            shift.low + more,
            shift.high + more,
        )
        assert (reverse.estimate, reverse.low, reverse.high) == (
            -shift.estimate,
            -shift.high,
            -shift.low,
        )

    @pytest.mark.parametrize("sizes", [(4, 4), (4, 7), (7, 7), (14, 14), (28, 35)])
    def test_coverage(self, sizes: tuple[int, int]) -> None:
        """Skewed values (exponential), 4,000 pairs of samples: 95 % at least, within chance."""
        smaller, larger = sizes
        rng = np.random.default_rng(smaller * 100 + larger)
        runs, covered = 4000, 0
        for _ in range(runs):
            before, after = rng.exponential(5.0, smaller), rng.exponential(5.0, larger) + 2.0
            shift = hodges_lehmann(before.tolist(), after.tolist())
            covered += shift.low <= 2.0 <= shift.high
        assert 0.95 - 3 * (0.95 * 0.05 / runs) ** 0.5 <= covered / runs < 0.99


class TestChangePoint:
    @given(st.integers(0, 10_000), st.integers(15, 60))
    def test_against_brute_force(self, seed: int, count: int) -> None:
        """Every step and decline is fitted by least squares; the strongest must be found."""
        rng = np.random.default_rng(seed)
        days = np.cumsum(rng.integers(1, 5, count)).astype(float)
        weights = rng.uniform(0.2, 1.0, count)
        values = rng.normal(0.0, 1.0, count) - 3.0 * (days > days[count // 2])
        detected = find_change_point(days, values, weights, noise=1.5)
        assert detected is not None

        def fit(regressor: np.ndarray) -> tuple[float, float]:
            """Return the change and its standard error."""
            design = np.stack([np.ones(count), regressor], axis=1) * np.sqrt(weights)[:, None]
            solution = np.linalg.lstsq(design, values * np.sqrt(weights), rcond=None)[0]
            variance = np.linalg.inv(design.T @ design)[1, 1]
            return float(solution[1]), 1.5 * float(np.sqrt(variance))

        def step(i: int) -> np.ndarray:
            return (days >= days[i]).astype(float)

        def decline(i: int) -> np.ndarray:
            return np.maximum(days - days[i], 0.0)

        candidates = [(i, False, step(i)) for i in range(4, count - 5 + 1)]
        candidates += [
            (i, True, decline(i)) for i in range(count - 8 + 1) if days[-1] - days[i] >= 28
        ]
        z_scores = {}
        for i, gradual, regressor in candidates:
            change, error = fit(regressor)
            z_scores[i, gradual] = -change / error
        best = max(z_scores.values())
        assert detected.z_score == pytest.approx(best)
        assert z_scores[detected.index, detected.is_gradual] == pytest.approx(best)
        regressor = decline(detected.index) if detected.is_gradual else step(detected.index)
        change, error = fit(regressor)
        assert detected.size == pytest.approx(-change * regressor[-1], rel=1e-6)
        assert detected.standard_error == pytest.approx(error * regressor[-1], rel=1e-6)
        likely = [i for (i, _), z in z_scores.items() if z > 0.0 and best**2 - z**2 <= 3.84]
        assert (detected.earliest, detected.latest) == (min(likely), max(likely))

    def test_a_rise_is_no_downward_change(self) -> None:
        days = np.arange(40.0)
        assert find_change_point(days, days / 10.0, np.ones(40), 1.0) is None

    @pytest.mark.parametrize("count", [0, 1, 8])
    def test_too_few_values(self, count: int) -> None:
        days = np.arange(float(count))
        assert find_change_point(days, -days, np.ones(count), 0.1) is None

    def test_minimum_sizes_are_parameters(self) -> None:
        days = np.arange(8.0)
        parameters = ChangePointParameters(min_before=3, min_after=3)
        detected = find_change_point(days, -days, np.ones(8), 0.1, parameters)
        assert detected is not None
        assert 3 <= detected.index <= 5

    def test_interval_deviance_is_the_quantile_of_chi_squared(self) -> None:
        quantile = scipy.stats.chi2.ppf(0.95, df=1)
        assert pytest.approx(quantile, abs=5e-3) == PARAMETERS.interval_deviance
