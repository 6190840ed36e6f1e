"""Trends: how a subject has changed over the last four weeks, and since the start.

A note of one drill at about one tempo is an *item*. Each item is compared with itself only, so that
harder drills, which come later, look like no loss. The slopes of all items over time are partially
pooled by a linear mixed model (:mod:`trainer.core.stats.slopes`): a few notes of a bend count for
little alone, but other bends, other drills of the skill, and the player's whole practice support
them. The families of slopes are techniques, skills and tab entries; days have effects of their own,
since a good evening is good for all notes.

Before the fit, figures are divided by their scale: the standard deviation within the items of their
tab entry. A bend may gain ten cents where a natural note can gain one. Cents and milliseconds are
limited from above for each entry, as one wrong note is as far off as fifty good ones.

A trend's *line* is the fitted figure of what is played now: at its end, it is what these notes are
now; at its beginning, what they would have been then. Its drop is the gain of the verdict. Its
*points* are the days, each set off by the difference between what was played then and now.

A trend is better or worse if its interval excludes no change, and steady if the interval holds no
change that matters.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from trainer.coach.parameters import TREND
from trainer.coach.step_table import (
    METRICS,
    Metric,
    StepKey,
    StepTable,
    distance_from_median,
    group_means,
    group_medians,
)
from trainer.core.stats.location_shift import CONFIDENCE_LEVEL
from trainer.core.stats.slopes import Cells, Slopes, fit_slopes
from trainer.core.types import Floats, Ints
from trainer.harp import Tab
from trainer.store import TakeRecord

_UNIT_DAYS = 28.0
"""Unit of time of the slopes in days."""


class TrendWindow(StrEnum):
    """Days that a trend is over."""

    FOUR_WEEKS = "four weeks"
    START = "since the start"


class TrendVerdict(StrEnum):
    """What a trend shows."""

    BETTER = "better"
    WORSE = "worse"
    STEADY = "steady"
    """No change that matters."""
    UNCLEAR = "unclear"
    """The interval holds both no change and one that matters."""
    TOO_FEW_DAYS = "too few days"


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """Value of a metric in a day or a week.

    Attributes:
        first: the day, or the week's Monday.
        value: the value.
        notes: number of notes played.
    """

    first: date
    value: float
    notes: int


@dataclass(frozen=True, slots=True)
class Trend:
    """Change of a metric of a subject over a window.

    Attributes:
        verdict: what it shows.
        gain: estimated improvement from the first to the last day in the metric's unit; negative is
            a loss. None for too few days.
        low, high: ends of its 95 % interval; None for too few days.
        first, last: first and last day of the window on which the subject was played; None for
            none.
        days: number of such days.
        start, end: the fitted line on these two days; None for too few days.
        points: the days, adjusted; those without a note that was played on other days have none.
    """

    verdict: TrendVerdict
    gain: float | None = None
    low: float | None = None
    high: float | None = None
    first: date | None = None
    last: date | None = None
    days: int = 0
    start: float | None = None
    end: float | None = None
    points: tuple[SeriesPoint, ...] = ()


@dataclass(frozen=True)
class TrendModel:
    """The steps of a player with what each belongs to; fits are kept.

    Attributes:
        steps: all steps.
        item: item of each step, shape (n,).
        entry, families: subject of each step (its tab entry, chords, ladders), and each further
            family that its slope is pooled in, shape (n,).
        today: last day of the windows.
    """

    steps: StepTable = field(repr=False)
    item: Ints = field(repr=False)
    entry: Ints = field(repr=False)
    families: Sequence[Ints] = field(repr=False)
    today: date
    _fits: dict[tuple[str, TrendWindow], _Fit | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    @classmethod
    def of(
        cls, steps: StepTable, keys: Sequence[StepKey], takes: Sequence[TakeRecord], today: date
    ) -> TrendModel:
        """Model of a player's steps; arguments as from :func:`read_step_table`."""
        entries = [entry or f"{kind}s" for kind, entry, _ in keys]
        techniques = [_technique(kind, entry) for kind, entry, _ in keys]
        tempos = [round(np.log(take.tempo) / np.log(TREND.tempo_ratio)) for take in takes]
        drills = [(take.drill, tempo) for take, tempo in zip(takes, tempos, strict=True)]
        skills = [next(iter(take.skills), "") for take in takes]
        drill = _numbers(drills)[steps.take]
        return cls(
            steps,
            item=drill * max(len(keys), 1) + steps.tab,
            entry=_numbers(entries)[steps.tab],
            families=(_numbers(techniques)[steps.tab], _numbers(skills)[steps.take]),
            today=today,
        )

    @classmethod
    def alone(cls, steps: StepTable, today: date) -> TrendModel:
        """Model of the steps of one subject, with nothing to pool it with."""
        return cls(steps, steps.tab, np.zeros_like(steps.tab), (), today)

    def trend(self, rows: NDArray[np.bool_], metric: str, window: TrendWindow) -> Trend:
        """Trend of a subject.

        Args:
            rows: the subject's steps, a mask of shape (n,).
            metric: name of the metric.
            window: the days.
        """
        if (metric, window) not in self._fits:
            self._fits[metric, window] = self._fit(metric, window)
        fit = self._fits[metric, window]
        return Trend(TrendVerdict.TOO_FEW_DAYS) if fit is None else fit.trend(rows)

    def _fit(self, metric: str, window: TrendWindow) -> _Fit | None:
        """Fit of a metric, or None where there is nothing to fit."""
        known = METRICS[metric]
        value = self._values(known)
        last = self.today.toordinal()
        is_in = ~np.isnan(value) & (self.steps.day <= last)
        if window is TrendWindow.FOUR_WEEKS:
            is_in &= self.steps.day > last - TREND.recent_days
        rows = np.flatnonzero(is_in)
        if not len(rows):
            return None
        item = _dense(self.item[rows])
        entry = self.entry[rows]
        value = value[rows] if known.by_mean else _limited(value[rows], entry)
        scale = _scales(value, item, entry)
        day = self.steps.day[rows]
        days, day_index = np.unique(day, return_inverse=True)
        cell_keys, first_row, cell_of = np.unique(
            item * len(days) + day_index, return_index=True, return_inverse=True
        )
        middle = (days[0] + days[-1]) / 2.0
        period = _periods(days)
        cells = Cells(
            item=item[first_row],
            day=period[day_index[first_row]],
            time=(day[first_row] - middle) / _UNIT_DAYS,
            groups=[_dense(group[rows])[first_row] for group in (self.entry, *self.families)],
            count=np.bincount(cell_of, minlength=len(cell_keys)),
            value=group_means(cell_of, value / scale[entry], len(cell_keys)),
        )
        slopes = fit_slopes(_merged(cells)) if len(days) >= TREND.min_trend_days else None
        if slopes is None:
            return None
        return _Fit(known, rows, len(self.steps), cells, cell_of, scale[entry], day, slopes, middle)

    def _values(self, metric: Metric) -> Floats:
        """A metric of each step; NaN where it has none."""
        if metric.name != "spread_cents":
            return self.steps.values[metric.name]
        # About the median of a week, as that of the whole time moves with the notes.
        week = (self.today.toordinal() - self.steps.day) // 7
        group = _dense(self.steps.tab * (int(week.max(initial=0)) + 1) + week)
        count = int(group.max(initial=-1)) + 1
        bias = self.steps.values["bias_cents"]
        sizes = np.bincount(group[~np.isnan(bias)], minlength=count)
        values = distance_from_median(group, bias, count)
        values[sizes[group] < TREND.min_notes_spread] = np.nan
        return values


@dataclass(frozen=True)
class _Fit:
    """A fitted metric.

    Attributes:
        metric: the metric.
        rows: the steps that it was fitted to, as indices of all steps.
        count: number of all steps.
        cells: the cells of items and days.
        cell_of: the cell of each row.
        scale: scale of each row in the unit of the metric.
        day: day of each row, as an ordinal.
        slopes: the posterior.
        middle: the day that times count from.
    """

    metric: Metric
    rows: Ints
    count: int
    cells: Cells
    cell_of: Ints
    scale: Floats
    day: Ints
    slopes: Slopes
    middle: float

    def trend(self, wanted: NDArray[np.bool_]) -> Trend:
        """Trend of the steps of a mask over all steps."""
        mine = np.flatnonzero(wanted[self.rows])
        days = np.unique(self.day[mine])
        ends = [date.fromordinal(int(day)) for day in days]
        first, last = (ends[0], ends[-1]) if ends else (None, None)
        if len(days) < TREND.min_trend_days:
            return Trend(TrendVerdict.TOO_FEW_DAYS, first=first, last=last, days=len(days))
        cell = self.cell_of[mine]
        item = self.cells.item[cell]
        is_linked = self._is_linked[item]
        now = self.day[mine] >= days[-TREND.usual_days :][0]
        reference = now & is_linked if (now & is_linked).any() else now
        weight = np.zeros(len(self.slopes.mean))
        scale = self.scale[mine]
        share = scale[reference] / reference.sum()
        weight[0] = share.sum()
        for offset, group in zip(self.slopes.offsets, self.cells.groups, strict=True):
            np.add.at(weight, offset + group[cell[reference]], share)
        sign = -1.0 if self.metric.lower_is_better else 1.0
        span = float(days[-1] - days[0]) / _UNIT_DAYS
        mean, sd = self.slopes.combine(weight)
        gain, half = sign * mean * span, _QUANTILE * sd * span
        level = float(np.mean(self.slopes.intercept[item[reference]] * scale[reference]))
        start, end = (level + mean * (day - self.middle) / _UNIT_DAYS for day in days[[0, -1]])
        return Trend(
            verdict=_verdict(gain - half, gain + half, self.metric),
            gain=gain,
            low=gain - half,
            high=gain + half,
            first=first,
            last=last,
            days=len(days),
            start=float(start),
            end=float(end),
            points=self._points(mine[is_linked], level),
        )

    @property
    def _is_linked(self) -> NDArray[np.bool_]:
        """Whether each item has more than one cell."""
        return np.bincount(self.cells.item) > 1

    def _points(self, mine: Ints, level: float) -> tuple[SeriesPoint, ...]:
        cell = self.cell_of[mine]
        excess = self.cells.value[cell] - self.slopes.intercept[self.cells.item[cell]]
        days, index = np.unique(self.day[mine], return_inverse=True)
        values = level + group_means(index, excess * self.scale[mine], len(days))
        return tuple(
            SeriesPoint(date.fromordinal(int(day)), float(value), int(notes))
            for day, value, notes in zip(days, values, np.bincount(index), strict=True)
        )


_QUANTILE = NormalDist().inv_cdf(0.5 + CONFIDENCE_LEVEL / 2.0)


def _verdict(low: float, high: float, metric: Metric) -> TrendVerdict:
    if low > 0.0:
        return TrendVerdict.BETTER
    if high < 0.0:
        return TrendVerdict.WORSE
    matters = TREND.matters[metric.unit]
    return TrendVerdict.STEADY if max(-low, high) < matters else TrendVerdict.UNCLEAR


def _technique(kind: str, entry: str | None) -> str:
    """Technique of a step: natural notes of each breath, bends, overblows, chords and so on."""
    return kind if entry is None else Tab.parse(entry).kind


def _numbers(names: Sequence[object]) -> Ints:
    """Index of each name among the distinct ones."""
    index = {name: i for i, name in enumerate(dict.fromkeys(names))}
    return np.array([index[name] for name in names], dtype=np.int64)


def _dense(index: Ints) -> Ints:
    return np.unique(index, return_inverse=True)[1]


def _periods(days: Ints) -> Ints:
    """Index of the day, or of the week where there are too many days."""
    if len(days) <= TREND.max_day_effects:
        return np.arange(len(days))
    return _dense((days - days[-1]) // 7)


def _merged(cells: Cells) -> Cells:
    """The cells with those of one item and one period merged into one."""
    count = int(cells.day.max(initial=0)) + 1
    keys, first, place = np.unique(
        cells.item * count + cells.day, return_index=True, return_inverse=True
    )
    if len(keys) == len(cells.item):
        return cells
    total = np.bincount(place, cells.count)
    return replace(
        cells,
        item=cells.item[first],
        day=cells.day[first],
        time=np.bincount(place, cells.count * cells.time) / total,
        groups=[group[first] for group in cells.groups],
        count=total.astype(np.int64),
        value=np.bincount(place, cells.count * cells.value) / total,
    )


def _limited(values: Floats, entry: Ints) -> Floats:
    """Values limited from above, for each entry."""
    count = int(entry.max()) + 1
    middle = group_medians(entry, values, count)
    spread = group_medians(entry, np.abs(values - middle[entry]), count)
    return np.minimum(values, (middle + TREND.limit_spreads * spread)[entry])


def _scales(values: Floats, item: Ints, entry: Ints) -> Floats:
    """Scale of each entry: standard deviation within its items, drawn to that of all entries."""
    count = int(entry.max()) + 1
    inside = values - group_means(item, values, int(item.max()) + 1)[item]
    squares = np.bincount(entry, inside**2, count)
    freedom = np.bincount(entry, minlength=count).astype(float)
    freedom -= np.bincount(entry[np.unique(item, return_index=True)[1]], minlength=count)
    freedom = np.maximum(freedom, 0.0)
    usual = squares.sum() / max(freedom.sum(), 1.0) or 1.0
    prior = TREND.scale_prior_notes
    return np.sqrt((squares + prior * usual) / (freedom + prior))
