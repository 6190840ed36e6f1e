"""Many steps as columns, and summaries of groups of them.

Summaries are medians, because one wrong note among twenty is little evidence about the others;
fractions and scores are means. A step that was not played has no pitch and is not in tune. A wrong
note counts with its distance from the right one: a bend that does not come down is as far off as
the bend is deep.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date

import numpy as np
from numpy.typing import NDArray

from trainer.coach.parameters import IN_TUNE_POINTS, TREND
from trainer.core.types import Floats, Ints
from trainer.drill import CRITERIA, CleannessRule
from trainer.store import Journal, TakeRecord


@dataclass(frozen=True, slots=True)
class Metric:
    """A quantity that progress is measured by.

    Attributes:
        name: field of :class:`StepSummary`, or one of `trainer.drill.CRITERIA`.
        title: name in words.
        unit: ``cents``, ``ms``, ``%`` (of a fraction from 0 to 1) or ``points`` (0 to 100).
        lower_is_better: whether a lower value is better.
        by_mean: whether steps are summarised by their mean instead of their median.
    """

    name: str
    title: str
    unit: str
    lower_is_better: bool = False
    by_mean: bool = False


METRICS: Mapping[str, Metric] = {
    metric.name: metric
    for metric in (
        Metric("cents", "how far off", "cents", lower_is_better=True),
        Metric("spread_cents", "spread", "cents", lower_is_better=True),
        Metric("in_tune", "in tune", "%", by_mean=True),
        Metric("clean", "clean", "%", by_mean=True),
        Metric("off_ms", "timing", "ms", lower_is_better=True),
        Metric("score", "mark", "points", by_mean=True),
        *(Metric(name, f"mark for {name}", "points", by_mean=True) for name in CRITERIA),
    )
}
"""The metrics by name."""


@dataclass(frozen=True, slots=True)
class StepSummary:
    """Summary of some steps; None for what none of them has. JSON output has these names.

    Attributes:
        notes, takes: number of steps, and of the takes that they are from.
        cents: median distance from the target, without sign.
        bias_cents: median deviation from the target; positive is sharp.
        spread_cents: median distance of each tab entry from its own median.
        wobble_cents: median wobble of held notes.
        in_tune: fraction within tolerance, 0 to 1.
        clean: fraction without a leak, 0 to 1, of the steps that should be clean.
        leak_db: median level of the leaks, of the steps that leak.
        off_ms: median distance from the beat, without sign.
        late_ms: median lateness; positive is late.
        late_spread_ms: median distance from that.
        score: mean score, 0 to 100.
        parts: mean points of each criterion that was judged, 0 to 100.
    """

    notes: int
    takes: int
    cents: float | None
    bias_cents: float | None
    spread_cents: float | None
    wobble_cents: float | None
    in_tune: float | None
    clean: float | None
    leak_db: float | None
    off_ms: float | None
    late_ms: float | None
    late_spread_ms: float | None
    score: float | None
    parts: Mapping[str, float]

    def value(self, metric: str) -> float | None:
        """Value of a metric, by its name."""
        if metric in CRITERIA:
            return self.parts.get(metric)
        known: float | None = getattr(self, metric)
        return known


@dataclass(frozen=True, slots=True)
class StepTable:
    """Steps as columns, one row each; NaN where nothing was measured.

    Attributes:
        day: ordinal of the player's day.
        take: index of the take.
        tab: index of what the step asks for.
        values: columns of figures by name; names as in :class:`StepSummary`.
    """

    day: Ints
    take: Ints
    tab: Ints
    values: Mapping[str, Floats]

    def __len__(self) -> int:
        return len(self.day)

    def only(self, wanted: NDArray[np.bool_]) -> StepTable:
        """The rows where a mask is true."""
        values = {name: column[wanted] for name, column in self.values.items()}
        return StepTable(self.day[wanted], self.take[wanted], self.tab[wanted], values)


StepKey = tuple[str, str | None, str]
"""Kind, entry and tab of what a step asks for, as in :class:`~trainer.store.records.StepRecord`."""


def read_step_table(
    journal: Journal, takes: Sequence[TakeRecord], player: str
) -> tuple[StepTable, tuple[StepKey, ...]]:
    """The steps of some takes of a player, and the keys that `StepTable.tab` indexes.

    Args:
        journal: holds the steps.
        takes: the takes, all of them the player's.
        player: name of the player.

    Raises:
        JournalError: the journal cannot be read.
    """
    since = min((take.day for take in takes), default=date.max)
    columns = journal.columns(*_COLUMNS, player=player, since=since)
    by_name = dict(zip(_COLUMNS, columns, strict=True))
    index_of = {take.id: i for i, take in enumerate(takes)}
    take = np.array([index_of.get(take_id, -1) for take_id in by_name["take"]], dtype=np.int64)
    days = np.array([*(take.day.toordinal() for take in takes), 0], dtype=np.int64)
    keys = list(zip(by_name["kind"], by_name["entry"], by_name["tab"], strict=True))
    key_index = {key: i for i, key in enumerate(dict.fromkeys(keys))}
    tab = np.array([key_index[key] for key in keys], dtype=np.int64)
    table = StepTable(days[take], take, tab, _values(by_name))
    return table.only(take >= 0), tuple(key_index)


_FIGURES = tuple(
    field.name for field in fields(StepSummary) if field.name not in ("notes", "takes", "parts")
)
_COLUMNS = (
    *("take", "kind", "entry", "tab", "care", "score", "parts"),
    *("cents", "wobble_cents", "leak_db", "late_ms"),
)


def _values(by_name: Mapping[str, Sequence[object]]) -> dict[str, Floats]:
    """Columns of figures, from columns of the journal."""
    judged = json.loads(f"[{','.join(map(str, by_name['parts']))}]")
    criteria = {
        name: np.array([points.get(name) for points in judged], dtype=float) for name in CRITERIA
    }
    cents, late = np.array(by_name["cents"], dtype=float), np.array(by_name["late_ms"], dtype=float)
    clean = _is_met(criteria["cleanness"])
    must_be_clean = (CleannessRule.PLAIN.value, CleannessRule.CLEAN.value)
    clean[~np.isin(np.array(by_name["care"], dtype=str), must_be_clean)] = np.nan
    in_tune = _is_met(criteria["pitch"])
    in_tune[[not points for points in judged]] = 0.0
    return {
        "cents": np.abs(cents),
        "bias_cents": cents,
        "wobble_cents": np.array(by_name["wobble_cents"], dtype=float),
        "in_tune": in_tune,
        "clean": clean,
        "leak_db": np.array(by_name["leak_db"], dtype=float),
        "off_ms": np.abs(late),
        "late_ms": late,
        "score": np.array(by_name["score"], dtype=float),
        **criteria,
    }


def _is_met(points: Floats) -> Floats:
    """1 where a criterion is met, 0 where it is not, NaN where it was not judged."""
    is_met = (points >= IN_TUNE_POINTS - 1e-9).astype(float)
    is_met[np.isnan(points)] = np.nan
    return is_met


def group_values(steps: StepTable, group: Ints, count: int, name: str) -> Floats:
    """One figure of each group of steps; NaN where nothing was measured.

    Args:
        steps: the steps.
        group: index of each step's group, shape (n,).
        count: number of groups.
        name: a field of :class:`StepSummary` from `cents` on, or one of `trainer.drill.CRITERIA`.
    """
    if name == "spread_cents":
        return _spread(group, steps.tab, steps.values["bias_cents"], count)
    if name == "late_spread_ms":
        return _spread(group, np.zeros_like(group), steps.values["late_ms"], count)
    summary = group_means if name in METRICS and METRICS[name].by_mean else group_medians
    return summary(group, steps.values[name], count)


def summarise_groups(steps: StepTable, group: Ints, count: int) -> list[StepSummary]:
    """Summary of each group of steps; arguments as in :func:`group_values`."""
    notes = np.bincount(group, minlength=count).tolist()
    takes = np.bincount(_pairs(group, steps.take)[0], minlength=count).tolist()
    columns = {name: group_values(steps, group, count, name).tolist() for name in _FIGURES}
    criteria = {name: group_values(steps, group, count, name).tolist() for name in CRITERIA}
    return [
        StepSummary(
            notes[i],
            takes[i],
            **{name: _none_if_nan(values[i]) for name, values in columns.items()},
            parts={name: values[i] for name, values in criteria.items() if values[i] == values[i]},
        )
        for i in range(count)
    ]


def _none_if_nan(value: float) -> float | None:
    return value if value == value else None


def group_medians(group: Ints, values: Floats, count: int) -> Floats:
    """Median of each group's values without NaN; NaN for an empty group.

    Args:
        group: index of each value's group, shape (n,).
        values: the values, shape (n,).
        count: number of groups.
    """
    is_known = ~np.isnan(values)
    group, values = group[is_known], values[is_known]
    order = np.argsort(values)
    # Short integers have a stable sort in linear time.
    key = group.astype(np.int16 if count < 2**15 else np.int64)
    values = values[order][np.argsort(key[order], kind="stable")]
    sizes = np.bincount(group, minlength=count)
    starts = np.cumsum(sizes) - sizes
    result = np.full(count, np.nan)
    has_any = sizes > 0
    low, high = (starts + (sizes - 1) // 2)[has_any], (starts + sizes // 2)[has_any]
    result[has_any] = (values[low] + values[high]) / 2.0
    return result


def group_means(group: Ints, values: Floats, count: int) -> Floats:
    """Mean of each group's values without NaN; arguments as in :func:`group_medians`."""
    is_known = ~np.isnan(values)
    sizes = np.bincount(group[is_known], minlength=count)
    sums = np.bincount(group[is_known], values[is_known], count)
    return np.divide(sums, sizes, out=np.full(count, np.nan), where=sizes > 0)


def distance_from_median(group: Ints, values: Floats, count: int) -> Floats:
    """Distance of each value from the median of its group.

    Arguments as in :func:`group_medians`.
    """
    return np.abs(values - group_medians(group, values, count)[group])


def _spread(group: Ints, subgroup: Ints, values: Floats, count: int) -> Floats:
    """Median distance of values from the median of their subgroup in each group.

    NaN for a group with too few values.
    """
    pairs, pair_of = _pairs(group, subgroup)
    distance = distance_from_median(pair_of, values, len(pairs))
    result = group_medians(group, distance, count)
    sizes = np.bincount(group[~np.isnan(distance)], minlength=count)
    result[sizes < TREND.min_notes_spread] = np.nan
    return result


def _pairs(group: Ints, subgroup: Ints) -> tuple[Ints, Ints]:
    """The group of each distinct pair of group and subgroup, and the index of each value's pair."""
    width = int(subgroup.max(initial=0)) + 1
    pairs, pair_of = np.unique(group * width + subgroup, return_inverse=True)
    return pairs // width, pair_of
