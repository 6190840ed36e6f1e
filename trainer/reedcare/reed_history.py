"""Reed watch: how each reed of a harp stands against its neighbours, over weeks of practice.

What a step of a take says of a reed is muddied by how it was played: it may be bent without
intent, which is always flat; hard breath pulls the blow reeds flat; a cold room makes all of them
sharp alike. So

- only natural notes are taken that were held steady, alone and without a slow start;
- what one day says of a reed is the median of its notes, of two the sharper;
- that counts against the median of the other reeds on the same day, those of the same breath
  where there are enough of them, each from its own usual place;
- days that lie far under the days around them are pulled up to these;
- the noise is read off the figures themselves: from day to day for each reed, and from handful
  to handful of days for all of them, because how one plays stays alike for some days.

Then :mod:`trainer.core.stats.change_point` looks for a fall. `SURE` is set by simulated months
(`benchmarks/reed_watch.py` prints how often it is wrong and how long it takes).

A harp that goes flat as a whole cannot be told from a warm room, and is not.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np

from trainer.core.stats.change_point import ChangePoint, find_change_point
from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.harp import Breath, Tab

SURE = 5.0
"""Standard errors from which a fall is told as such."""
PERHAPS = 4.2
"""From which one is told as possible."""
LEAST_CENTS = 3.0
"""A smaller fall is not worth a word."""
RAISED_CENTS = 5.0
"""A reed that has gone sharp by so much, for sure, was tuned; what was before does not count."""
FEWEST_DAYS = 12
"""days on which a reed is heard, from which anything is said of it."""
SAME_BREATH, OTHERS = 4, 3
"""So many other reeds are needed on a day: of the same breath, or else of any."""
NOTES, SHARED = 2.0, 3.0
"""What a reed's figure of a day is uncertain by, over what its days differ by: for one note, and
for one other reed (in variance; more of them divide it)."""
ROUNDS = 4
SPAN, FAR = 7, 2.5
"""days whose median a day is held against, and standard deviations to which it is pulled in."""
SHOWS, MOST_DAYS = 0.25, 0.6
"""A reed that has gone flat is so on most days: by so much of its fall, on such a share of them."""
HANDFUL = 5
POOL = 25.0
"""How many differences of a reed's own outweigh those of all reeds."""
UNSURE = 10.0
"""The noise itself is known from few days only; this many of them double its variance."""
LEAST_NOISE = 0.5
LEVEL = 1.96
"""Standard errors to either side of a 95 % interval."""


class ReedState(StrEnum):
    """What can be said of a reed."""

    FEW = "too few days"
    STEADY = "steady"
    PERHAPS = "perhaps flat"
    FLAT = "gone flat"


@dataclass(frozen=True, slots=True)
class ReedNote:
    """What one played note says of a reed.

    Attributes:
        day: the player's own.
        tab: its natural entry.
        cents: its pitch from any fixed pitch of that reed.
    """

    day: date
    tab: Tab
    cents: float


@dataclass(frozen=True, slots=True)
class Detuning:
    """A fall of a reed against its neighbours.

    Attributes:
        since: the first day on which it shows.
        earliest, latest: ends of the 95 % interval of that.
        cents: how far it has fallen by now; positive is flat.
        low, high: ends of the 95 % interval of that.
        cents_per_month: cents that it falls in 30 days; None if it fell at once.
        strength: standard errors that it has fallen.
    """

    since: date
    earliest: date
    latest: date
    cents: float
    low: float
    high: float
    cents_per_month: float | None
    strength: float


@dataclass(frozen=True, slots=True)
class ReedHistory:
    """A reed over time.

    Attributes:
        tab: its natural entry.
        days: on which it could be told, in order.
        cents: on each, from its neighbours, counted from where it stood at first.
        notes: how many notes each rests on.
        noise: standard deviation of a day with many notes, in cents.
        state: what can be said.
        change: the fall; None where none is likely.
    """

    tab: Tab
    days: tuple[date, ...]
    cents: tuple[float, ...]
    notes: tuple[int, ...]
    noise: float
    state: ReedState
    change: Detuning | None


@dataclass(frozen=True, slots=True)
class DailyPitches:
    """What the days of a harp say of its reeds.

    Attributes:
        days: as ordinals, shape (n,), ascending.
        tabs: the reeds.
        cents: medians, shape (n, reeds); NaN where a reed was not played.
        notes: how many notes each rests on, same shape.
    """

    days: Floats
    tabs: tuple[Tab, ...]
    cents: Floats
    notes: Floats

    @classmethod
    def of(cls, notes: Iterable[ReedNote]) -> DailyPitches:
        """The days of some notes."""
        played: dict[tuple[int, Tab], list[float]] = {}
        for note in notes:
            played.setdefault((note.day.toordinal(), note.tab), []).append(note.cents)
        days = sorted({day for day, _ in played})
        tabs = tuple(sorted({tab for _, tab in played}))
        cents = np.full((len(days), len(tabs)), np.nan)
        counts = np.zeros((len(days), len(tabs)))
        rows = {day: i for i, day in enumerate(days)}
        columns = {tab: i for i, tab in enumerate(tabs)}
        for (day, tab), values in played.items():
            cents[rows[day], columns[tab]] = upper_median(values)
            counts[rows[day], columns[tab]] = len(values)
        return cls(np.array(days, dtype=float), tabs, cents, counts)

    def until(self, count: int) -> DailyPitches:
        """The first `count` days alone."""
        return DailyPitches(self.days[:count], self.tabs, self.cents[:count], self.notes[:count])


def upper_median(values: Sequence[float]) -> float:
    """The median, the sharper of the middle two: what is played wrong is flat."""
    return sorted(values)[len(values) // 2]


@dataclass(frozen=True, slots=True)
class _Series:
    """One reed against the others: ordinals of days, cents, weights and numbers of notes."""

    days: Floats
    cents: Floats
    weights: Floats
    notes: Floats

    def since(self, at: int) -> _Series:
        return _Series(self.days[at:], self.cents[at:], self.weights[at:], self.notes[at:])


def reed_histories(days: DailyPitches) -> tuple[ReedHistory, ...]:
    """The history of each reed, by hole."""
    series = _against_others(days)
    noises = _noises(series)
    return tuple(
        _history(tab, one, noise) for tab, one, noise in zip(days.tabs, series, noises, strict=True)
    )


def _against_others(days: DailyPitches) -> list[_Series]:
    """Each reed against the others, from where these usually stand."""
    cents = days.cents
    usual = np.zeros(len(days.tabs))
    shift, others = np.zeros_like(cents), np.zeros_like(cents)
    for _ in range(ROUNDS):
        shift, others = _shifts(cents - usual, days.tabs)
        usual = np.where(np.isnan(found := _medians((cents - shift).T)), usual, found)
    series = []
    for i in range(len(days.tabs)):
        told = ~np.isnan(cents[:, i] - shift[:, i])
        notes = days.notes[told, i]
        weights = 1.0 / (1.0 + NOTES / notes + SHARED / others[told, i])
        off = (cents[:, i] - shift[:, i] - usual[i])[told]
        series.append(_Series(days.days[told], off, weights, notes))
    return series


def _shifts(off: Floats, tabs: Sequence[Tab]) -> tuple[Floats, Floats]:
    """For each day and reed, where the other reeds lie, and how many they are; NaN where they are
    too few to say."""
    blow = np.array([tab.breath is Breath.BLOW for tab in tabs])
    shift, others = np.full_like(off, np.nan), np.zeros_like(off)
    for i in range(len(tabs)):
        mine = np.arange(len(tabs)) == i
        for group, fewest in ((~mine, OTHERS), ((blow == blow[i]) & ~mine, SAME_BREATH)):
            there = off[:, group]
            count = np.sum(~np.isnan(there), axis=1)
            enough = count >= fewest
            if enough.any():
                shift[enough, i] = _medians(there[enough])
                others[enough, i] = count[enough]
    return shift, others


def _medians(rows: Floats) -> Floats:
    """The median of each row's numbers; NaN where a row has none."""
    in_order = np.sort(rows, axis=1)  # NaN comes last
    count = np.sum(~np.isnan(rows), axis=1)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    at = np.arange(len(rows))
    return np.asarray(0.5 * (in_order[at, low] + in_order[at, np.minimum(high, rows.shape[1] - 1)]))


def _noises(series: Sequence[_Series]) -> list[float]:
    """For each reed, the standard deviation of a day of weight 1.

    From differences, which a slow or single fall hardly changes. Where handfuls of days differ by
    more than single days let expect, what one day says is not independent of the next, and the
    noise is that much larger for what is told from many days.
    """
    steps = [_steps(one.cents, one.weights) for one in series]
    pool = _deviation(np.concatenate(steps)) if steps else 0.0
    handfuls = [_steps(*_handfuls(one)) for one in series]
    long = _deviation(np.concatenate(handfuls)) if handfuls else 0.0
    alike = max(1.0, long / pool) if pool > 0.0 else 1.0
    return [
        max(LEAST_NOISE, _together(pool, mine))
        * alike
        * float(np.sqrt(1.0 + UNSURE / max(1, len(mine))))
        for mine in steps
    ]


def _together(pool: float, mine: Floats) -> float:
    """The deviation of a reed's own steps and of all, by how many of its own there are."""
    own = len(mine)
    return float(np.sqrt((POOL * pool**2 + own * _deviation(mine) ** 2) / (POOL + own)))


def _steps(cents: Floats, weights: Floats) -> Floats:
    """Differences from one figure to the next, each over what its weights let expect."""
    return np.asarray(np.diff(cents) / np.sqrt(1.0 / weights[:-1] + 1.0 / weights[1:]))


def _handfuls(one: _Series) -> tuple[Floats, Floats]:
    """Means of so many days in a row, and their weights."""
    count = len(one.days) // HANDFUL
    weights = one.weights[: count * HANDFUL].reshape(count, HANDFUL)
    cents = one.cents[: count * HANDFUL].reshape(count, HANDFUL)
    total = weights.sum(axis=1)
    return np.sum(weights * cents, axis=1) / total, total


def _deviation(values: Floats) -> float:
    """Standard deviation about 0, taken robustly."""
    return SD_PER_MAD * median_absolute_deviation(values, 0.0) if len(values) else 0.0


def _history(tab: Tab, one: _Series, noise: float) -> ReedHistory:
    one = _since_tuned(one, noise)
    drop = None
    if len(one.days) >= FEWEST_DAYS:
        drop = find_change_point(one.days, _pulled_in(one, noise), one.weights, noise)
    if drop is not None and not _most_days_show(drop, one):
        drop = None
    state = ReedState.STEADY if len(one.days) >= FEWEST_DAYS else ReedState.FEW
    if drop is not None and drop.size >= LEAST_CENTS and drop.z_score >= PERHAPS:
        state = ReedState.FLAT if drop.z_score >= SURE else ReedState.PERHAPS
    told = drop if state in (ReedState.PERHAPS, ReedState.FLAT) else None
    first = one.cents[: told.index] if told and told.index else one.cents[:FEWEST_DAYS]
    level = float(np.median(first)) if len(first) else 0.0
    return ReedHistory(
        tab=tab,
        days=tuple(date.fromordinal(int(day)) for day in one.days),
        cents=tuple(float(off) - level for off in one.cents),
        notes=tuple(int(count) for count in one.notes),
        noise=noise,
        state=state,
        change=None if told is None else _change(told, one.days),
    )


def _most_days_show(drop: ChangePoint, one: _Series) -> bool:
    """Whether a fall shows on most days, by a quarter of it at least; bends come and go."""
    level = (
        np.average(one.cents[: drop.index], weights=one.weights[: drop.index])
        if drop.index
        else 0.0
    )
    days, cents = one.days[drop.index :], one.cents[drop.index :]
    fallen = np.full(len(days), drop.size)
    if drop.is_gradual:
        fallen *= (days - days[0]) / (days[-1] - days[0])
    clear = fallen >= 0.5 * drop.size
    return float(np.mean((level - cents)[clear] >= SHOWS * fallen[clear])) >= MOST_DAYS


def _since_tuned(one: _Series, noise: float) -> _Series:
    """The days since the reed was last put right, if ever: none goes sharp by itself."""
    if len(one.days) < FEWEST_DAYS:
        return one
    rise = find_change_point(one.days, -_pulled_in(one, noise), one.weights, noise)
    if rise is None or rise.is_gradual or rise.size < RAISED_CENTS or rise.z_score < SURE:
        return one
    return _since_tuned(one.since(rise.index), noise)


def _pulled_in(one: _Series, noise: float) -> Floats:
    """Figures that lie no flatter than noise puts them under the days around them."""
    windows = np.lib.stride_tricks.sliding_window_view(one.cents, SPAN)
    around = np.median(windows, axis=1)
    half = SPAN // 2
    around = around[np.clip(np.arange(len(one.cents)) - half, 0, len(around) - 1)]
    return np.asarray(np.maximum(one.cents, around - FAR * noise / np.sqrt(one.weights)))


def _change(drop: ChangePoint, days: Floats) -> Detuning:
    since, earliest, latest = (
        date.fromordinal(int(days[at])) for at in (drop.index, drop.earliest, drop.latest)
    )
    grown = float(days[-1] - days[drop.index])
    return Detuning(
        since=since,
        earliest=earliest,
        latest=latest,
        cents=drop.size,
        low=drop.size - LEVEL * drop.standard_error,
        high=drop.size + LEVEL * drop.standard_error,
        cents_per_month=30.0 * drop.size / grown if drop.is_gradual else None,
        strength=drop.z_score,
    )
