"""Progress: what gets better, and what does not.

The subjects are each tab entry, chords and ladders, each skill, and everything together, from a
player's own takes. A glide counts for the entry it ends on.

- *Usual* figures summarise all notes of the last ten days on which the subject was played.
- The *best* day is among those with ten notes or more.
- A *comparison* sets the last weeks against as many before, by days. Each day with three notes or
  more gives one value; the difference of the two sides has a confidence interval by ranks
  (:mod:`trainer.core.stats.location_shift`).

Days are compared, not notes, because notes of one take or one day are not independent: same harp,
same room, same lips. Taking them for independent would take luck for progress;
``tests/coach/test_progress.py`` measures how often. Where a subject has several tab entries, each
is first compared with its own median over both sides, and entries that were not played on both are
left out: else a harder tune would look like a loss. Where the interval includes 0, or there are too
few days for an interval, the comparison has no verdict.
"""

from __future__ import annotations

import difflib
import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property
from pathlib import Path
from statistics import mean

import numpy as np
from numpy.typing import NDArray

from trainer.coach.parameters import TREND
from trainer.coach.step_table import (
    METRICS,
    Metric,
    StepKey,
    StepSummary,
    StepTable,
    distance_from_median,
    group_means,
    group_medians,
    group_values,
    read_step_table,
    summarise_groups,
)
from trainer.coach.trend_model import SeriesPoint, Trend, TrendModel, TrendWindow
from trainer.core.stats.location_shift import hodges_lehmann
from trainer.core.types import Floats, Ints
from trainer.drill import SOLO_CRITERIA
from trainer.harp import HarpError, Tab
from trainer.store import PLAYER_SOURCES, Journal, JournalError, TakeRecord

WEEK = 7
"""Days in a week."""
RECENT_SOLOS = 8
"""Number of the last solos among which a habit is looked for (chosen by hand)."""


class SubjectKind(StrEnum):
    """What a subject is."""

    ALL = "all"
    NOTE = "note"
    """A tab entry."""
    SEVERAL = "several"
    """Chords and splits, or ladders."""
    SKILL = "skill"


class ComparisonVerdict(StrEnum):
    """What a comparison shows."""

    BETTER = "better"
    WORSE = "worse"
    UNCLEAR = "too little to tell"


@dataclass(frozen=True, slots=True)
class Comparison:
    """A metric in the last weeks, compared with the weeks before.

    Attributes:
        verdict: what the comparison shows.
        gain: estimated improvement in the metric's unit; negative is a loss. None where one side
            has no day.
        low, high: ends of the confidence interval of the gain; None for an open end.
        before, after: number of days on each side.
    """

    verdict: ComparisonVerdict
    gain: float | None
    low: float | None
    high: float | None
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class SoloTrend:
    """Progress on one criterion of solos.

    Attributes:
        criterion: a name of `trainer.drill.SOLO_CRITERIA`.
        usual: mean points of the last ten days on which it was judged, 0 to 100.
        change: the last weeks against as many before, by days.
    """

    criterion: str
    usual: float
    change: Comparison


@dataclass(frozen=True, slots=True)
class SoloProgress:
    """Progress in passages that are left to the player.

    Attributes:
        count: number of solos.
        trends: by criterion, in their usual order.
        weakest: criterion that most often had the fewest points in the recent solos.
        weakest_count: number of the recent solos in which it had.
        recent: number of the recent solos, at most `RECENT_SOLOS`.
    """

    count: int
    trends: tuple[SoloTrend, ...]
    weakest: str
    weakest_count: int
    recent: int


@dataclass(frozen=True, slots=True)
class Period:
    """Summary of a day or a week.

    Attributes:
        first: its first day; weeks begin on Monday.
        figures: summary of its steps.
    """

    first: date
    figures: StepSummary


@dataclass(frozen=True)
class Progress:
    """Progress of one subject. Summaries are computed when they are first read.

    Attributes:
        name: a tab entry, a skill, ``chords``, ``ladders`` or ``everything``.
        kind: which of these.
        steps: its steps, at least one.
        today: last day of a comparison.
        span: number of weeks on each side of a comparison.
        model, rows: all steps of the player, and which of them are the subject's; None for a
            subject that stands alone.
    """

    name: str
    kind: SubjectKind
    steps: StepTable = field(repr=False, compare=False)
    today: date
    span: int = 1
    model: TrendModel | None = field(default=None, repr=False, compare=False)
    rows: NDArray[np.bool_] | None = field(default=None, repr=False, compare=False)

    @property
    def notes(self) -> int:
        """Number of notes played."""
        return len(self.steps)

    @cached_property
    def usual(self) -> StepSummary:
        """Summary of the last ten days on which the subject was played."""
        days = np.unique(self.steps.day)
        recent = self.steps.only(self.steps.day >= days[-TREND.usual_days :][0])
        return summarise_groups(recent, np.zeros(len(recent), dtype=np.int64), 1)[0]

    @cached_property
    def days(self) -> tuple[Period, ...]:
        """Each day on which the subject was played, in order."""
        return _periods(self.steps, self.steps.day)

    @cached_property
    def weeks(self) -> tuple[Period, ...]:
        """Each week in which the subject was played, in order."""
        return _periods(self.steps, _mondays(self.steps.day))

    def by_day(self, metric: str) -> list[SeriesPoint]:
        """A metric on each day that has it, in order."""
        return _series(self.steps, self.steps.day, metric)

    def by_week(self, metric: str) -> list[SeriesPoint]:
        """A metric in each week that has it, in order."""
        return _series(self.steps, _mondays(self.steps.day), metric)

    def best(self, metric: str) -> SeriesPoint | None:
        """The best day by a metric, the first of equals; None where no day has enough notes."""
        sign = 1.0 if METRICS[metric].lower_is_better else -1.0
        enough = [day for day in self.by_day(metric) if day.notes >= TREND.min_notes_ranked]
        return min(enough, key=lambda day: sign * day.value, default=None)

    def compare(self, metric: str) -> Comparison:
        """A metric in the last weeks, today included, compared with as many weeks before."""
        last, length = self.today.toordinal(), WEEK * self.span
        day = self.steps.day
        both = self.steps.only((day > last - 2 * length) & (day <= last))
        return _compare(both, both.day > last - length, METRICS[metric])

    def trend(self, metric: str, window: TrendWindow) -> Trend:
        """Trend of a metric over a window, adjusted for what was played."""
        if self.model is None or self.rows is None:
            rows = np.ones(len(self.steps), dtype=bool)
            return TrendModel.alone(self.steps, self.today).trend(rows, metric, window)
        return self.model.trend(self.rows, metric, window)


@dataclass(frozen=True, slots=True)
class PracticeTime:
    """Amount of practice in some days.

    Attributes:
        days: number of days with a take.
        takes: number of takes.
        minutes: their length together, in minutes.
    """

    days: int
    takes: int
    minutes: float


@dataclass(frozen=True, slots=True)
class PracticeSummary:
    """How much was practised.

    Attributes:
        first, last: first and last day with a take; None without any.
        total: all days.
        recent, before: the last weeks, and as many before them.
        days_in_a_row: consecutive days with a take up to today, or up to yesterday if today has
            none yet.
    """

    first: date | None
    last: date | None
    total: PracticeTime
    recent: PracticeTime
    before: PracticeTime
    days_in_a_row: int


@dataclass(frozen=True, slots=True)
class Overview:
    """Progress of a player, as far as the journal shows it.

    Attributes:
        player: name of the player.
        today: last day of all comparisons.
        weeks: number of weeks on each side of a comparison.
        practice: how much was practised.
        subjects: everything together first, then tab entries, chords and ladders, and skills, the
            worst of each kind first. Empty where nothing was played.
        others: names of the other players in the journal.
        solos: progress in solos; None if none was played.
    """

    player: str
    today: date
    weeks: int
    practice: PracticeSummary
    subjects: tuple[Progress, ...]
    others: tuple[str, ...] = ()
    solos: SoloProgress | None = None

    def of(self, kind: SubjectKind) -> list[Progress]:
        """The subjects of a kind, the worst first."""
        return [subject for subject in self.subjects if subject.kind is kind]

    def find(self, name: str) -> Progress:
        """The subject with a name.

        Raises:
            JournalError: there is none.
        """
        subjects = {subject.name.casefold(): subject for subject in self.subjects}
        wanted = name.strip().casefold()
        try:
            wanted = str(Tab.parse(wanted))
        except HarpError:
            wanted = _OTHER_NAMES.get(wanted, wanted)
        if wanted in subjects:
            return subjects[wanted]
        similar = difflib.get_close_matches(wanted, subjects, 3, 0.5)
        suggestion = " or ".join(f"'{subjects[match].name}'" for match in similar)
        raise JournalError(
            f"the journal has nothing of {self.player}'s called '{name}'; "
            + (
                f"did you mean {suggestion}?"
                if suggestion
                else "'trainer progress' shows what it has"
            )
        )


_OTHER_NAMES = {"all": "everything", "splits": "chords", "chord": "chords", "ladder": "ladders"}


def overview(
    journal: Journal,
    player: str,
    today: date,
    *,
    since: date | None = None,
    weeks: int = 1,
) -> Overview:
    """Progress of a player.

    Args:
        journal: holds the takes.
        player: name of the player.
        today: last day of all comparisons.
        since: first day that counts; None takes all.
        weeks: number of weeks on each side of a comparison, from 1.

    Raises:
        JournalError: the journal cannot be read.
    """
    known = journal.takes(player=player, since=since, steps=False)
    takes = [take for take in known if take.source in PLAYER_SOURCES]
    steps, keys = read_step_table(journal, takes, player)
    model = TrendModel.of(steps, keys, takes, today)
    subjects = [
        Progress(name, kind, steps.only(wanted), today, weeks, model, wanted)
        for name, kind, wanted in _subjects(steps, keys, takes)
    ]
    order = list(SubjectKind)
    subjects.sort(key=lambda subject: (order.index(subject.kind), *_worst_first(subject)))
    others = tuple(other for other in journal.players() if other != player)
    practice = _practice(takes, today, weeks)
    solos = solo_progress(takes, today, weeks)
    return Overview(player, today, weeks, practice, tuple(subjects), others, solos)


def overview_at(
    path: Path, player: str, today: date, *, since: date | None = None, weeks: int = 1
) -> Overview:
    """The same from a journal's file, which is not created if it is missing.

    Raises:
        JournalError: the journal cannot be read.
    """
    if not path.exists():
        return Overview(player, today, weeks, _practice((), today, weeks), ())
    with Journal(path) as journal:
        return overview(journal, player, today, since=since, weeks=weeks)


def _subjects(
    steps: StepTable, keys: Sequence[StepKey], takes: Sequence[TakeRecord]
) -> Iterable[tuple[str, SubjectKind, NDArray[np.bool_]]]:
    """Name and kind of each subject, and a mask of its steps."""
    if not len(steps):
        return
    yield "everything", SubjectKind.ALL, np.ones(len(steps), dtype=bool)
    tabs: dict[tuple[str, SubjectKind], list[int]] = {}
    for tab, (kind, entry, _) in enumerate(keys):
        subject = (entry, SubjectKind.NOTE) if entry else (f"{kind}s", SubjectKind.SEVERAL)
        tabs.setdefault(subject, []).append(tab)
    for (name, subject_kind), its_tabs in tabs.items():
        yield name, subject_kind, np.isin(steps.tab, its_tabs)
    for skill in dict.fromkeys(skill for take in takes for skill in take.skills):
        trains = np.array([skill in take.skills for take in takes])[steps.take]
        if trains.any():
            yield skill, SubjectKind.SKILL, trains


def _worst_first(progress: Progress) -> tuple[bool, float, float, str]:
    """Sort key: subjects with enough notes first, then by notes in tune and by distance."""
    usual = progress.usual
    in_tune = 1.0 if usual.in_tune is None else usual.in_tune
    has_few = progress.notes < TREND.min_notes_ranked
    return has_few, in_tune, -(usual.cents or 0.0), progress.name


def _mondays(day: Ints) -> Ints:
    """The Monday of each day's week, as ordinals."""
    return day - (day - 1) % WEEK


def _periods(steps: StepTable, first: Ints) -> tuple[Period, ...]:
    firsts, group = np.unique(first, return_inverse=True)
    summaries = summarise_groups(steps, group, len(firsts))
    return tuple(
        Period(date.fromordinal(day), summary)
        for day, summary in zip(firsts.tolist(), summaries, strict=True)
    )


def _series(steps: StepTable, first: Ints, metric: str) -> list[SeriesPoint]:
    firsts, group = np.unique(first, return_inverse=True)
    values = group_values(steps, group, len(firsts), metric).tolist()
    notes = np.bincount(group).tolist()
    return [
        SeriesPoint(date.fromordinal(day), value, count)
        for day, value, count in zip(firsts.tolist(), values, notes, strict=True)
        if not math.isnan(value)
    ]


def _compare(steps: StepTable, is_after: NDArray[np.bool_], metric: Metric) -> Comparison:
    """Comparison of the steps of one side, by a mask, with those of the other."""
    values = _centred_values(steps, is_after, metric)
    days, day_of = np.unique(steps.day, return_inverse=True)
    counts = np.bincount(day_of[~np.isnan(values)], minlength=len(days))
    has_enough = counts >= TREND.min_notes_compared
    by_day = _summary_of(metric)(day_of, values, len(days))
    is_late_day = np.zeros(len(days), dtype=bool)
    is_late_day[day_of] = is_after
    before, after = by_day[has_enough & ~is_late_day], by_day[has_enough & is_late_day]
    if not len(before) or not len(after):
        return Comparison(ComparisonVerdict.UNCLEAR, None, None, None, len(before), len(after))
    if metric.lower_is_better:
        before, after = -before, -after
    return compare_days(before.tolist(), after.tolist())


def compare_days(before: Sequence[float], after: Sequence[float]) -> Comparison:
    """Compare the values of days, of which higher ones are better.

    Args:
        before: values of the days before, at least one.
        after: values of the last days, at least one.
    """
    shift = hodges_lehmann(list(before), list(after))
    verdict = ComparisonVerdict.UNCLEAR
    if shift.excludes_zero:
        verdict = ComparisonVerdict.BETTER if shift.low > 0.0 else ComparisonVerdict.WORSE
    low, high = (end if math.isfinite(end) else None for end in (shift.low, shift.high))
    return Comparison(verdict, shift.estimate, low, high, len(before), len(after))


def _summary_of(metric: Metric) -> Callable[[Ints, Floats, int], Floats]:
    return group_means if metric.by_mean else group_medians


def _centred_values(steps: StepTable, is_after: NDArray[np.bool_], metric: Metric) -> Floats:
    """A metric of each step, less its summary over both sides for the step's tab.

    NaN where one of the two sides has no value for the tab.
    """
    count = int(steps.tab.max(initial=-1)) + 1
    tab_and_side = steps.tab + count * is_after
    is_spread = metric.name == "spread_cents"
    if is_spread:
        values = distance_from_median(tab_and_side, steps.values["bias_cents"], 2 * count)
    else:
        values = steps.values[metric.name].copy()
    sizes = np.bincount(tab_and_side[~np.isnan(values)], minlength=2 * count)
    least = TREND.min_notes_spread if is_spread else 1
    on_both = (sizes[:count] >= least) & (sizes[count:] >= least)
    values[~on_both[steps.tab]] = np.nan
    return values - _summary_of(metric)(steps.tab, values, count)[steps.tab]


def solo_progress(takes: Sequence[TakeRecord], today: date, weeks: int) -> SoloProgress | None:
    """Return the progress in solos.

    Args:
        takes: a player's takes, in order.
        today: last day of the comparison.
        weeks: number of weeks on each side of it.

    Returns:
        The progress; None if no solo was judged.
    """
    solos = [(take.day, solo) for take in takes for solo in take.solos if solo.criteria]
    if not solos:
        return None
    middle = today - timedelta(days=WEEK * weeks)
    earliest = middle - timedelta(days=WEEK * weeks)
    trends = []
    for criterion in SOLO_CRITERIA:
        points: dict[date, list[float]] = {}
        for day, solo in solos:
            if criterion in solo.criteria:
                points.setdefault(day, []).append(solo.criteria[criterion])
        means = {day: mean(points[day]) for day in sorted(points)}
        if not means:
            continue
        before = [value for day, value in means.items() if earliest < day <= middle]
        after = [value for day, value in means.items() if middle < day <= today]
        no_verdict = Comparison(
            ComparisonVerdict.UNCLEAR, None, None, None, len(before), len(after)
        )
        usual = mean(list(means.values())[-TREND.usual_days :])
        change = compare_days(before, after) if before and after else no_verdict
        trends.append(SoloTrend(criterion, usual, change))
    recent = [solo for _, solo in solos[-RECENT_SOLOS:]]
    weakest = Counter(min(solo.criteria, key=solo.criteria.__getitem__) for solo in recent)
    (name, count), *_ = weakest.most_common(1)
    return SoloProgress(len(solos), tuple(trends), name, count, len(recent))


def _practice(takes: Sequence[TakeRecord], today: date, weeks: int) -> PracticeSummary:
    length = timedelta(days=WEEK * weeks)
    days = {take.day for take in takes}
    last = today if today in days else today - timedelta(days=1)
    in_a_row = 0
    while last - timedelta(days=in_a_row) in days:
        in_a_row += 1
    return PracticeSummary(
        min(days, default=None),
        max(days, default=None),
        _practice_time(takes, date.min, date.max),
        _practice_time(takes, today - length + timedelta(days=1), today),
        _practice_time(takes, today - 2 * length + timedelta(days=1), today - length),
        in_a_row,
    )


def _practice_time(takes: Iterable[TakeRecord], first: date, last: date) -> PracticeTime:
    inside = [take for take in takes if first <= take.day <= last]
    seconds = sum(take.seconds for take in inside)
    return PracticeTime(len({take.day for take in inside}), len(inside), seconds / 60.0)
