"""Histories of reeds: the pitch of each reed relative to the others, over months of practice.

The pitch of a played note depends on the playing, too: an unintended bend is always flat, hard
breath lowers blow reeds, and a cold room raises all reeds together. The method therefore

1. takes only natural notes that were steady, clean and settled early (:mod:`.reed_watch`);
2. takes the upper median of a reed's notes on each day;
3. subtracts the median of the other reeds on that day, preferably of the same breath, each relative
   to its usual pitch;
4. raises days that lie far below the days around them;
5. estimates the noise from the differences between days, and from those between blocks of days,
   because playing is correlated over some days;
6. looks for a downward change (:mod:`trainer.core.stats.change_point`).

A harp whose reeds all go flat together cannot be distinguished from one in a warm room.
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

Z_95 = 1.96
"""Half width of a 95 % interval in standard errors (0.975 quantile of the normal distribution)."""


@dataclass(frozen=True, slots=True)
class ReedWatchParameters:
    """Constants of the reed watch.

    The two z-scores were chosen on simulated years of ``benchmarks/reed_watch.py``, which prints
    false alarms and delays. The others were chosen, not fitted.

    Attributes:
        certain_z: z-score from which a reed is reported as flat.
        possible_z: z-score from which a reed is reported as perhaps flat.
        min_change_cents: smallest change that is reported, in cents.
        retuned_cents: smallest upward step, in cents, that counts as a retuning if its z-score
            reaches `certain_z`; earlier days are then ignored.
        min_days: minimum number of days with a reed before it is judged.
        min_same_breath: minimum number of other reeds of the same breath on a day to compare with.
        min_others: minimum number of other reeds of any breath, where the former is not reached.
        note_variance: variance of a single note over the variance between days; n notes divide it.
        other_reed_variance: the same for one of the other reeds.
        iterations: rounds of estimating the shift of days and the usual pitch of reeds in turn.
        smoothing_days: length of the running median that a day is compared with; odd.
        clip_sd: standard deviations below the running median to which a day is raised.
        shown_fraction: fraction of the change that a day must show to confirm it.
        confirming_days: minimum fraction of days that must confirm a change.
        block_days: length of the blocks for the noise between blocks of days.
        pooled_differences: weight of the noise of all reeds, in differences of a reed of its own.
        noise_uncertainty: number of differences at which the uncertainty of the noise doubles its
            variance.
        min_noise_cents: lower limit of the noise in cents.
    """

    certain_z: float = 5.0
    possible_z: float = 4.2
    min_change_cents: float = 3.0
    retuned_cents: float = 5.0
    min_days: int = 12
    min_same_breath: int = 4
    min_others: int = 3
    note_variance: float = 2.0
    other_reed_variance: float = 3.0
    iterations: int = 4
    smoothing_days: int = 7
    clip_sd: float = 2.5
    shown_fraction: float = 0.25
    confirming_days: float = 0.6
    block_days: int = 5
    pooled_differences: float = 25.0
    noise_uncertainty: float = 10.0
    min_noise_cents: float = 0.5


REED_WATCH = ReedWatchParameters()


class ReedState(StrEnum):
    """Verdict on a reed."""

    TOO_FEW = "too few days"
    STEADY = "steady"
    PERHAPS_FLAT = "perhaps flat"
    FLAT = "gone flat"


@dataclass(frozen=True, slots=True)
class ReedNote:
    """A note that shows the pitch of its reed.

    Attributes:
        day: local date.
        tab: natural entry of the reed.
        cents: pitch relative to any fixed reference for that reed.
    """

    day: date
    tab: Tab
    cents: float


@dataclass(frozen=True, slots=True)
class Detuning:
    """A downward change of a reed relative to the others.

    Attributes:
        since: first day after the change began.
        earliest, latest: ends of the 95 % interval of `since`.
        cents: total change by the last day; positive is flat.
        low, high: ends of the 95 % interval of `cents`.
        cents_per_month: decline per 30 days; None for a step.
        z_score: `cents` in standard errors.
    """

    since: date
    earliest: date
    latest: date
    cents: float
    low: float
    high: float
    cents_per_month: float | None
    z_score: float


@dataclass(frozen=True, slots=True)
class ReedHistory:
    """The pitch of a reed over time.

    Attributes:
        tab: natural entry of the reed.
        days: days with a pitch relative to the others, in order.
        cents: that pitch on each day, relative to its level before the change.
        notes: number of notes on each day.
        noise: standard deviation of a day with many notes, in cents.
        state: the verdict.
        change: the detuning; None unless the verdict is flat or perhaps flat.
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
    """Pitch of each reed of a harp on each day.

    Attributes:
        days: ordinals of the days, shape (days,), ascending.
        tabs: the reeds.
        cents: upper medians, shape (days, reeds); NaN where a reed was not played.
        notes: number of notes, same shape.
    """

    days: Floats
    tabs: tuple[Tab, ...]
    cents: Floats
    notes: Floats

    @classmethod
    def of(cls, notes: Iterable[ReedNote]) -> DailyPitches:
        """Return the daily pitches of some notes."""
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
        """Return the first `count` days."""
        return DailyPitches(self.days[:count], self.tabs, self.cents[:count], self.notes[:count])


def upper_median(values: Sequence[float]) -> float:
    """Return the median, the higher of the middle two: playing errors are flat."""
    return sorted(values)[len(values) // 2]


@dataclass(frozen=True, slots=True)
class _Series:
    """Pitch of one reed relative to the others: ordinals of days, cents, weights, note counts."""

    days: Floats
    cents: Floats
    weights: Floats
    notes: Floats

    def since(self, index: int) -> _Series:
        return _Series(
            self.days[index:], self.cents[index:], self.weights[index:], self.notes[index:]
        )


def reed_histories(
    days: DailyPitches, parameters: ReedWatchParameters = REED_WATCH
) -> tuple[ReedHistory, ...]:
    """Return the history of each reed, in order of tab."""
    series = _relative_to_others(days, parameters)
    noises = _noises(series, parameters)
    return tuple(
        _history(tab, reed, noise, parameters)
        for tab, reed, noise in zip(days.tabs, series, noises, strict=True)
    )


def _relative_to_others(days: DailyPitches, parameters: ReedWatchParameters) -> list[_Series]:
    """Return the pitch of each reed relative to the others, from its usual value."""
    cents = days.cents
    usual = np.zeros(len(days.tabs))
    shift, others = np.zeros_like(cents), np.zeros_like(cents)
    for _ in range(parameters.iterations):
        shift, others = _shifts(cents - usual, days.tabs, parameters)
        medians = _row_medians((cents - shift).T)
        usual = np.where(np.isnan(medians), usual, medians)
    series = []
    for i in range(len(days.tabs)):
        valid = ~np.isnan(cents[:, i] - shift[:, i])
        notes = days.notes[valid, i]
        weights = 1.0 / (
            1.0
            + parameters.note_variance / notes
            + parameters.other_reed_variance / others[valid, i]
        )
        relative = (cents[:, i] - shift[:, i] - usual[i])[valid]
        series.append(_Series(days.days[valid], relative, weights, notes))
    return series


def _shifts(
    cents: Floats, tabs: Sequence[Tab], parameters: ReedWatchParameters
) -> tuple[Floats, Floats]:
    """Return the median of the other reeds, for each day and reed.

    Returns:
        The median and the number of other reeds, shape (days, reeds); NaN and 0 where they are too
        few.
    """
    blow = np.array([tab.breath is Breath.BLOW for tab in tabs])
    shift, others = np.full_like(cents, np.nan), np.zeros_like(cents)
    for i in range(len(tabs)):
        itself = np.arange(len(tabs)) == i
        groups = (
            (~itself, parameters.min_others),
            ((blow == blow[i]) & ~itself, parameters.min_same_breath),
        )
        for group, min_count in groups:
            values = cents[:, group]
            count = np.sum(~np.isnan(values), axis=1)
            enough = count >= min_count
            if enough.any():
                shift[enough, i] = _row_medians(values[enough])
                others[enough, i] = count[enough]
    return shift, others


def _row_medians(rows: Floats) -> Floats:
    """Return the median of each row without its NaNs; NaN for a row of NaNs."""
    in_order = np.sort(rows, axis=1)  # NaN is sorted to the end
    count = np.sum(~np.isnan(rows), axis=1)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    at = np.arange(len(rows))
    return np.asarray(0.5 * (in_order[at, low] + in_order[at, np.minimum(high, rows.shape[1] - 1)]))


def _noises(series: Sequence[_Series], parameters: ReedWatchParameters) -> list[float]:
    """Return the standard deviation of a day of weight 1, for each reed.

    It comes from differences, which a step or a slow decline hardly changes. Where blocks of days
    differ by more than independent days would, days are correlated, and the noise is raised by
    that ratio.
    """
    differences = [_normalized_differences(reed.cents, reed.weights) for reed in series]
    pooled = _robust_sd(np.concatenate(differences)) if differences else 0.0
    blocks = [_normalized_differences(*_block_means(reed, parameters)) for reed in series]
    of_blocks = _robust_sd(np.concatenate(blocks)) if blocks else 0.0
    correlation = max(1.0, of_blocks / pooled) if pooled > 0.0 else 1.0
    return [
        max(parameters.min_noise_cents, _shrunk_noise(pooled, own, parameters))
        * correlation
        * float(np.sqrt(1.0 + parameters.noise_uncertainty / max(1, len(own))))
        for own in differences
    ]


def _shrunk_noise(pooled: float, own: Floats, parameters: ReedWatchParameters) -> float:
    """Return the noise of a reed, shrunk towards that of all by the number of its differences."""
    count, prior = len(own), parameters.pooled_differences
    return float(np.sqrt((prior * pooled**2 + count * _robust_sd(own) ** 2) / (prior + count)))


def _normalized_differences(cents: Floats, weights: Floats) -> Floats:
    """Return the differences of successive values, scaled to the noise of weight 1."""
    return np.asarray(np.diff(cents) / np.sqrt(1.0 / weights[:-1] + 1.0 / weights[1:]))


def _block_means(reed: _Series, parameters: ReedWatchParameters) -> tuple[Floats, Floats]:
    """Return weighted means of blocks of days, and their weights."""
    length = parameters.block_days
    count = len(reed.days) // length
    weights = reed.weights[: count * length].reshape(count, length)
    cents = reed.cents[: count * length].reshape(count, length)
    total = weights.sum(axis=1)
    return np.sum(weights * cents, axis=1) / total, total


def _robust_sd(values: Floats) -> float:
    """Return the standard deviation about 0, from the median absolute deviation."""
    return SD_PER_MAD * median_absolute_deviation(values, 0.0) if len(values) else 0.0


def _history(tab: Tab, reed: _Series, noise: float, parameters: ReedWatchParameters) -> ReedHistory:
    reed = _since_retuned(reed, noise, parameters)
    min_days = parameters.min_days
    change = None
    if len(reed.days) >= min_days:
        clipped = _clipped(reed, noise, parameters)
        change = find_change_point(reed.days, clipped, reed.weights, noise)
    if change is not None and not _is_confirmed(change, reed, parameters):
        change = None
    state = ReedState.STEADY if len(reed.days) >= min_days else ReedState.TOO_FEW
    if (
        change is not None
        and change.size >= parameters.min_change_cents
        and change.z_score >= parameters.possible_z
    ):
        certain = change.z_score >= parameters.certain_z
        state = ReedState.FLAT if certain else ReedState.PERHAPS_FLAT
    reported = change if state in (ReedState.PERHAPS_FLAT, ReedState.FLAT) else None
    before = reed.cents[: reported.index] if reported and reported.index else reed.cents[:min_days]
    level = float(np.median(before)) if len(before) else 0.0
    return ReedHistory(
        tab=tab,
        days=tuple(date.fromordinal(int(day)) for day in reed.days),
        cents=tuple(float(cents) - level for cents in reed.cents),
        notes=tuple(int(count) for count in reed.notes),
        noise=noise,
        state=state,
        change=None if reported is None else _detuning(reported, reed.days),
    )


def _is_confirmed(change: ChangePoint, reed: _Series, parameters: ReedWatchParameters) -> bool:
    """Return whether most days show the change; unintended bends come and go."""
    level = (
        np.average(reed.cents[: change.index], weights=reed.weights[: change.index])
        if change.index
        else 0.0
    )
    days, cents = reed.days[change.index :], reed.cents[change.index :]
    expected = np.full(len(days), change.size)
    if change.is_gradual:
        expected *= (days - days[0]) / (days[-1] - days[0])
    tested = expected >= 0.5 * change.size
    shown = (level - cents)[tested] >= parameters.shown_fraction * expected[tested]
    return float(np.mean(shown)) >= parameters.confirming_days


def _since_retuned(reed: _Series, noise: float, parameters: ReedWatchParameters) -> _Series:
    """Return the days since the reed was last retuned: no reed goes sharp by itself."""
    if len(reed.days) < parameters.min_days:
        return reed
    rise = find_change_point(reed.days, -_clipped(reed, noise, parameters), reed.weights, noise)
    if (
        rise is None
        or rise.is_gradual
        or rise.size < parameters.retuned_cents
        or rise.z_score < parameters.certain_z
    ):
        return reed
    return _since_retuned(reed.since(rise.index), noise, parameters)


def _clipped(reed: _Series, noise: float, parameters: ReedWatchParameters) -> Floats:
    """Return the pitches, raised to at most `clip_sd` below the running median."""
    windows = np.lib.stride_tricks.sliding_window_view(reed.cents, parameters.smoothing_days)
    around = np.median(windows, axis=1)
    half = parameters.smoothing_days // 2
    around = around[np.clip(np.arange(len(reed.cents)) - half, 0, len(around) - 1)]
    lowest = around - parameters.clip_sd * noise / np.sqrt(reed.weights)
    return np.asarray(np.maximum(reed.cents, lowest))


def _detuning(change: ChangePoint, days: Floats) -> Detuning:
    since, earliest, latest = (
        date.fromordinal(int(days[index]))
        for index in (change.index, change.earliest, change.latest)
    )
    length = float(days[-1] - days[change.index])
    return Detuning(
        since=since,
        earliest=earliest,
        latest=latest,
        cents=change.size,
        low=change.size - Z_95 * change.standard_error,
        high=change.size + Z_95 * change.standard_error,
        cents_per_month=30.0 * change.size / length if change.is_gradual else None,
        z_score=change.z_score,
    )
