"""Trends against simulated seasons whose truth is known.

`benchmarks/trends.py` measures the same on other players, with more of them.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from tests.support.evenings import TODAY
from tests.support.seasons import Season, season
from trainer.coach import Progress, SubjectKind, Trend, TrendVerdict, TrendWindow
from trainer.coach.trend_model import TrendModel

DECIDED = (TrendVerdict.BETTER, TrendVerdict.WORSE)


def trends(seasons: list[Season], window: TrendWindow) -> list[tuple[Trend, float]]:
    """Trends in cents of each entry of each season, with the true gains over the same days."""
    pairs = []
    for each in seasons:
        for name, rate in zip(each.names, each.gain, strict=True):
            trend = each.model.trend(each.rows(name), "cents", window)
            assert trend.first is not None
            assert trend.last is not None
            pairs.append((trend, rate * (trend.last - trend.first).days / 28.0))
    return [(trend, truth) for trend, truth in pairs if trend.gain is not None]


def everything(each: Season, metric: str = "cents") -> Trend:
    rows = np.ones(len(each.model.steps), dtype=bool)
    return each.model.trend(rows, metric, TrendWindow.START)


@pytest.fixture(scope="module")
def unchanged() -> list[Season]:
    rng = np.random.default_rng(1)
    return [season(rng) for _ in range(20)]


@pytest.fixture(scope="module")
def gaining() -> list[Season]:
    rng = np.random.default_rng(2)
    return [season(rng, gain=3.0) for _ in range(20)]


@pytest.mark.parametrize("window", TrendWindow)
def test_where_nothing_changed_few_are_called_so(
    unchanged: list[Season], window: TrendWindow
) -> None:
    pairs = trends(unchanged, window)
    verdicts = Counter(trend.verdict for trend, _ in pairs)
    print(window, {str(verdict): count for verdict, count in verdicts.items()})
    assert sum(verdicts[verdict] for verdict in DECIDED) <= 0.05 * len(pairs)
    assert verdicts[TrendVerdict.STEADY] > 0.1 * len(pairs)


@pytest.mark.parametrize("window", TrendWindow)
def test_intervals_hold_the_truth(
    unchanged: list[Season], gaining: list[Season], window: TrendWindow
) -> None:
    pairs = trends(unchanged + gaining, window)
    held = sum(
        trend.low <= truth <= trend.high
        for trend, truth in pairs
        if trend.low is not None and trend.high is not None
    )
    print(f"{window}: {held} of {len(pairs)} intervals hold the truth")
    assert held >= 0.93 * len(pairs)


def test_three_cents_a_month_are_found_and_never_called_a_loss(gaining: list[Season]) -> None:
    notes = Counter(trend.verdict for trend, _ in trends(gaining, TrendWindow.START))
    whole = Counter(everything(each).verdict for each in gaining)
    print(notes, whole)
    assert notes[TrendVerdict.WORSE] == whole[TrendVerdict.WORSE] == 0
    assert notes[TrendVerdict.BETTER] > 0.35 * notes.total()
    assert whole[TrendVerdict.BETTER] > 0.4 * whole.total()
    assert sum(everything(each, "score").verdict is TrendVerdict.BETTER for each in gaining) > 10


def test_pooling_finds_more_than_each_note_alone(gaining: list[Season]) -> None:
    pooled = Counter(trend.verdict for trend, _ in trends(gaining, TrendWindow.START))
    alone = Counter(
        TrendModel(
            each.model.steps.only(each.rows(name)),
            each.model.item[each.rows(name)],
            each.model.entry[each.rows(name)] * 0,
            (),
            TODAY,
        )
        .trend(np.ones(each.rows(name).sum(), dtype=bool), "cents", TrendWindow.START)
        .verdict
        for each in gaining
        for name in each.names
    )
    print(f"better: {pooled[TrendVerdict.BETTER]} pooled, {alone[TrendVerdict.BETTER]} alone")
    assert pooled[TrendVerdict.BETTER] > 1.5 * alone[TrendVerdict.BETTER]


def test_harder_drills_are_no_loss_and_the_curve_falls_with_the_verdict() -> None:
    each = season(np.random.default_rng(3), gain=5.0, night=0.05)
    steps = each.model.steps
    raw = np.polyfit(steps.day, steps.values["cents"], 1)[0] * 28.0
    trend = everything(each)
    assert trend.verdict is TrendVerdict.BETTER
    assert trend.gain is not None
    assert trend.start is not None
    assert trend.end is not None
    assert trend.start - trend.end == pytest.approx(trend.gain)
    slope = np.polyfit(
        [point.first.toordinal() for point in trend.points],
        [point.value for point in trend.points],
        1,
        w=np.sqrt([point.notes for point in trend.points]),
    )[0]
    span = (trend.points[-1].first - trend.points[0].first).days
    print(f"raw {raw:+.1f} cents a month, curve {slope * span:+.1f}, gain {trend.gain:.1f}")
    assert -slope * span == pytest.approx(trend.gain, rel=0.25)
    assert raw > -0.5 * trend.gain  # the harder drills hide the gain from the raw figures
    now = steps.values["cents"][steps.day > TODAY.toordinal() - 10].mean()
    assert trend.end == pytest.approx(now, rel=0.15)


def test_a_scale_of_the_figures_scales_the_trend() -> None:
    each = season(np.random.default_rng(4), gain=3.0)
    once = everything(each)
    each.model.steps.values["cents"][:] *= 2.0
    fresh = TrendModel(
        each.model.steps, each.model.item, each.model.entry, each.model.families, TODAY
    )
    rows = np.ones(len(each.model.steps), dtype=bool)
    twice = fresh.trend(rows, "cents", TrendWindow.START)
    for name in ("gain", "low", "high", "start", "end"):
        assert getattr(twice, name) == pytest.approx(2.0 * getattr(once, name))


@pytest.mark.parametrize("metric", ["cents", "spread_cents", "in_tune", "off_ms"])
def test_few_days_or_none_have_no_verdict(metric: str) -> None:
    steps = season(np.random.default_rng(5), days=3).model.steps
    steps.values["off_ms"] = np.full(len(steps), np.nan)
    alone = Progress("everything", SubjectKind.ALL, steps, TODAY)
    trend = alone.trend(metric, TrendWindow.START)
    assert trend.verdict is TrendVerdict.TOO_FEW_DAYS
    assert (trend.gain, trend.points) == (None, ())


def test_what_never_varies_is_steady() -> None:
    steps = season(np.random.default_rng(6)).model.steps
    steps.values["in_tune"][:] = 1.0
    trend = Progress("everything", SubjectKind.ALL, steps, TODAY).trend(
        "in_tune", TrendWindow.START
    )
    assert trend.verdict is TrendVerdict.STEADY
    assert trend.gain == pytest.approx(0.0, abs=1e-6)
