"""Figures of many steps at once: what is measured, and how steps are summed up.

Medians throughout, because one wrong note among twenty says little about how a player hears
twenty notes; shares and marks are means. A step that was not played has no pitch and is not in
tune. A wrong note counts with how far it lies from the right one: a bend that does not come down
is as far off as the bend is deep.
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
from trainer.store.journal import Journal
from trainer.store.records import TakeRecord


@dataclass(frozen=True, slots=True)
class Metric:
    """One thing that can get better.

    Attributes:
        name: field of :class:`StepSummary`, or one of `trainer.drill.PARTS`.
        title: in words.
        unit: ``cents``, ``ms``, ``%`` (from a share of 0 to 1) or ``points`` (0 to 100).
        falls: whether less is better.
        by_mean: whether steps are summed up by their mean, not their median.
    """

    name: str
    title: str
    unit: str
    falls: bool = False
    by_mean: bool = False


METRICS: Mapping[str, Metric] = {
    one.name: one
    for one in (
        Metric("cents", "how far off", "cents", falls=True),
        Metric("spread_cents", "spread", "cents", falls=True),
        Metric("in_tune", "in tune", "%", by_mean=True),
        Metric("clean", "clean", "%", by_mean=True),
        Metric("off_ms", "timing", "ms", falls=True),
        Metric("score", "mark", "points", by_mean=True),
        *(Metric(part, f"mark for {part}", "points", by_mean=True) for part in CRITERIA),
    )
}
"""What can get better, by name."""


@dataclass(frozen=True, slots=True)
class StepSummary:
    """What a number of steps come to; None where none of them was measured.

    Attributes:
        notes, takes: how many there are.
        cents: median distance from the target, to either side.
        bias_cents: median with its sign; positive is sharp.
        spread_cents: median distance of each tab entry from its own median.
        wobble_cents: median wobble while a note is held.
        in_tune: share within the tolerance.
        clean: share without a leak that matters, of those that are to be clean.
        leak_db: median leak, of those that leak at all.
        off_ms: median distance from the beat, to either side.
        late_ms: median with its sign; positive is late.
        late_spread_ms: median distance from that.
        score: mean mark, 0 to 100.
        parts: mean of each part of the mark that was judged, 0 to 100.
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

    def value(self, measure: str) -> float | None:
        """The figure of a measure, by its name."""
        if measure in CRITERIA:
            return self.parts.get(measure)
        known: float | None = getattr(self, measure)
        return known


@dataclass(frozen=True, slots=True)
class StepTable:
    """Steps as columns, NaN where nothing was measured.

    Attributes:
        day: ordinal of the player's day.
        take: number of the take.
        what: number of the tab that was asked for.
        values: columns of figures; names as in :class:`StepSummary`, one value a step.
    """

    day: Ints
    take: Ints
    what: Ints
    values: Mapping[str, Floats]

    def __len__(self) -> int:
        return len(self.day)

    def only(self, wanted: NDArray[np.bool_]) -> StepTable:
        """Some of them."""
        values = {name: column[wanted] for name, column in self.values.items()}
        return StepTable(self.day[wanted], self.take[wanted], self.what[wanted], values)


Name = tuple[str, str | None, str]
"""Kind, entry and tab of what was asked for, as in :class:`StepRecord`."""


def read_step_table(
    journal: Journal, takes: Sequence[TakeRecord], player: str
) -> tuple[StepTable, tuple[Name, ...]]:
    """The steps of a player's takes, and what each number in `StepTable.what` stands for.

    Args:
        journal: where they are.
        takes: whose steps are wanted, all of them the player's.
        player: whose they are.

    Raises:
        JournalError: the journal cannot be read.
    """
    since = min((take.day for take in takes), default=date.max)
    columns = journal.columns(*_COLUMNS, player=player, since=since)
    of = dict(zip(_COLUMNS, columns, strict=True))
    number = {take.id: at for at, take in enumerate(takes)}
    take = np.array([number.get(one, -1) for one in of["take"]], dtype=np.int64)
    days = np.array([*(one.day.toordinal() for one in takes), 0], dtype=np.int64)
    asked = list(zip(of["kind"], of["entry"], of["tab"], strict=True))
    names = {name: at for at, name in enumerate(dict.fromkeys(asked))}
    what = np.array([names[name] for name in asked], dtype=np.int64)
    return StepTable(days[take], take, what, _values(of)).only(take >= 0), tuple(names)


_FIGURES = tuple(
    one.name for one in fields(StepSummary) if one.name not in ("notes", "takes", "parts")
)
_COLUMNS = (
    *("take", "kind", "entry", "tab", "care", "score", "parts"),
    *("cents", "wobble_cents", "leak_db", "late_ms"),
)


def _values(of: Mapping[str, Sequence[object]]) -> dict[str, Floats]:
    judged = json.loads(f"[{','.join(map(str, of['parts']))}]")
    parts = {part: np.array([one.get(part) for one in judged], dtype=float) for part in CRITERIA}
    cents, late = np.array(of["cents"], dtype=float), np.array(of["late_ms"], dtype=float)
    clean = _share(parts["cleanness"])
    clean[
        ~np.isin(
            np.array(of["care"], dtype=str), (CleannessRule.PLAIN.value, CleannessRule.CLEAN.value)
        )
    ] = np.nan
    in_tune = _share(parts["pitch"])
    in_tune[[not one for one in judged]] = 0.0
    return {
        "cents": np.abs(cents),
        "bias_cents": cents,
        "wobble_cents": np.array(of["wobble_cents"], dtype=float),
        "in_tune": in_tune,
        "clean": clean,
        "leak_db": np.array(of["leak_db"], dtype=float),
        "off_ms": np.abs(late),
        "late_ms": late,
        "score": np.array(of["score"], dtype=float),
        **parts,
    }


def _share(part: Floats) -> Floats:
    share = (part >= IN_TUNE_POINTS - 1e-9).astype(float)
    share[np.isnan(part)] = np.nan
    return share


def column(steps: StepTable, group: Ints, count: int, name: str) -> Floats:
    """One figure of each group of steps; NaN where nothing was measured.

    Args:
        steps: the steps.
        group: the group of each, from 0.
        count: how many groups there are.
        name: a field of :class:`StepSummary` from `cents` on, or one of `trainer.drill.PARTS`.
    """
    if name == "spread_cents":
        return _spread(group, steps.what, steps.values["bias_cents"], count)
    if name == "late_spread_ms":
        return _spread(group, np.zeros_like(group), steps.values["late_ms"], count)
    summary = group_means if name in METRICS and METRICS[name].by_mean else group_medians
    return summary(group, steps.values[name], count)


def summarise_groups(steps: StepTable, group: Ints, count: int) -> list[StepSummary]:
    """All figures of each group of steps; arguments as in :func:`column`."""
    notes = np.bincount(group, minlength=count).tolist()
    takes = np.bincount(_pairs(group, steps.take)[0], minlength=count).tolist()
    columns = {name: column(steps, group, count, name).tolist() for name in _FIGURES}
    parts = {part: column(steps, group, count, part).tolist() for part in CRITERIA}
    return [
        StepSummary(
            notes[at],
            takes[at],
            **{name: _known(values[at]) for name, values in columns.items()},
            parts={part: each[at] for part, each in parts.items() if each[at] == each[at]},
        )
        for at in range(count)
    ]


def _known(value: float) -> float | None:
    return value if value == value else None


def group_medians(group: Ints, values: Floats, count: int) -> Floats:
    """The median of each group's values; NaN of none."""
    known = ~np.isnan(values)
    group, values = group[known], values[known]
    order = np.argsort(values)
    key = group.astype(np.int16 if count < 2**15 else np.int64)  # short ones are sorted at once
    values = values[order][np.argsort(key[order], kind="stable")]
    sizes = np.bincount(group, minlength=count)
    starts = np.cumsum(sizes) - sizes
    found = np.full(count, np.nan)
    some = sizes > 0
    low, high = (starts + (sizes - 1) // 2)[some], (starts + sizes // 2)[some]
    found[some] = (values[low] + values[high]) / 2.0
    return found


def group_means(group: Ints, values: Floats, count: int) -> Floats:
    """The mean of each group's values; NaN of none."""
    known = ~np.isnan(values)
    sizes = np.bincount(group[known], minlength=count)
    sums = np.bincount(group[known], values[known], count)
    return np.divide(sums, sizes, out=np.full(count, np.nan), where=sizes > 0)


def distance_from_median(group: Ints, values: Floats, count: int) -> Floats:
    """How far each value lies from the median of its group, to either side."""
    return np.abs(values - group_medians(group, values, count)[group])


def _spread(group: Ints, inside: Ints, values: Floats, count: int) -> Floats:
    """The median distance of values from the median of their like in their group; NaN of few."""
    pairs, place = _pairs(group, inside)
    off = distance_from_median(place, values, len(pairs))
    found = group_medians(group, off, count)
    found[np.bincount(group[~np.isnan(off)], minlength=count) < TREND.min_notes_spread] = np.nan
    return found


def _pairs(group: Ints, inside: Ints) -> tuple[Ints, Ints]:
    """The group of each different pair, and the number of the pair that each one is."""
    width = int(inside.max(initial=0)) + 1
    pairs, place = np.unique(group * width + inside, return_inverse=True)
    return pairs // width, place
