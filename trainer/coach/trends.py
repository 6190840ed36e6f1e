"""What is getting better and what is not.

Whose: one player's own takes, from a microphone or a recording; what the built-in player plays is
no practice. Each tab entry has its progress, so have chords and ladders, each skill of the drills,
and everything together. A glide counts for the entry it ends on.

*Usual* is what all notes of the last ten days come to on which the entry was played; *best* is the
best day of ten notes or more.

The last week is set against the one before by days: each day with three notes or more gives one
figure, and the difference of the two weeks' days has an interval by ranks
(:mod:`trainer.core.stats.location_shift`). Notes of
one take are no independent witnesses, nor are takes of one day: the same harp, the same room, the
same lips. Counting them as such would take luck for progress (`tests/test_progress.py` shows how
often). Where several tab entries come together, each is first set against its own median
over both weeks, and those that were not played in both are left out: otherwise a harder tune would
look like getting worse. An interval that holds 0 is too little to tell, and so are days too few
for an interval, such as three in one week and four in the other.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trainer.coach.parameters import TREND
from trainer.coach.sources import PLAYER_SOURCES
from trainer.coach.step_table import (
    METRICS,
    Metric,
    Name,
    StepSummary,
    StepTable,
    column,
    distance_from_median,
    group_means,
    group_medians,
    read_step_table,
    summarise_groups,
)
from trainer.core.stats.location_shift import hodges_lehmann
from trainer.core.types import Floats, Ints
from trainer.harp import HarpError, Tab
from trainer.store.errors import JournalError
from trainer.store.journal import Journal
from trainer.store.records import TakeRecord

WEEK = 7


class SubjectKind(StrEnum):
    """What progress is about."""

    ALL = "all"
    NOTE = "note"
    """One tab entry."""
    SEVERAL = "several"
    """Chords and splits, or ladders."""
    SKILL = "skill"


class ComparisonVerdict(StrEnum):
    """What can be told of a difference."""

    BETTER = "better"
    WORSE = "worse"
    UNCLEAR = "too little to tell"


@dataclass(frozen=True, slots=True)
class Comparison:
    """The last days against those before.

    Attributes:
        verdict: what can be told.
        gain: by how much it is better, in the unit of the measure; negative is worse. None where
            one side has no day.
        low, high: the 95 % interval of the gain; None where there are too few days for one.
        before, after: days on each side.
    """

    verdict: ComparisonVerdict
    gain: float | None
    low: float | None
    high: float | None
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Period:
    """A day or a week.

    Attributes:
        first: its first day; weeks begin on Monday.
        figures: what was played in it.
    """

    first: date
    figures: StepSummary


@dataclass(frozen=True, slots=True)
class SeriesPoint:
    """One figure of a day or a week.

    Attributes:
        first: the day, or the Monday.
        value: the figure.
        notes: how many notes were played.
    """

    first: date
    value: float
    notes: int


@dataclass(frozen=True)
class Progress:
    """How one thing has gone. What is asked for is reckoned when it is asked for.

    Attributes:
        name: a tab entry, a skill, ``chords``, ``ladders`` or ``everything``.
        kind: which of them.
        steps: what was played of it, at least one.
        today: the last of the days that are set against those before.
        span: how many weeks are set against as many before.
    """

    name: str
    kind: SubjectKind
    steps: StepTable = field(repr=False, compare=False)
    today: date
    span: int = 1

    @property
    def notes(self) -> int:
        """How many notes were played."""
        return len(self.steps)

    @cached_property
    def usual(self) -> StepSummary:
        """What the notes of the last ten days come to on which it was played."""
        days = np.unique(self.steps.day)
        recent = self.steps.only(self.steps.day >= days[-TREND.usual_days :][0])
        return summarise_groups(recent, np.zeros(len(recent), dtype=np.int64), 1)[0]

    @cached_property
    def days(self) -> tuple[Period, ...]:
        """Each day on which it was played, in order."""
        return _periods(self.steps, self.steps.day)

    @cached_property
    def weeks(self) -> tuple[Period, ...]:
        """Each week in which it was played, in order."""
        return _periods(self.steps, _mondays(self.steps.day))

    def by_day(self, measure: str) -> list[SeriesPoint]:
        """One figure of each day that has it, in order."""
        return _series(self.steps, self.steps.day, measure)

    def by_week(self, measure: str) -> list[SeriesPoint]:
        """One figure of each week that has it, in order."""
        return _series(self.steps, _mondays(self.steps.day), measure)

    def best(self, measure: str) -> SeriesPoint | None:
        """The best day by a measure, the first of those that are; None where no day has enough
        notes."""
        sign = 1.0 if METRICS[measure].falls else -1.0
        enough = [day for day in self.by_day(measure) if day.notes >= TREND.min_notes_ranked]
        return min(enough, key=lambda day: sign * day.value, default=None)

    def change(self, measure: str) -> Comparison:
        """The last weeks, today's among them, against as many before."""
        last, length = self.today.toordinal(), WEEK * self.span
        day = self.steps.day
        recent = self.steps.only((day > last - 2 * length) & (day <= last))
        return _change(recent, recent.day > last - length, METRICS[measure])


@dataclass(frozen=True, slots=True)
class PracticeTime:
    """Some days.

    Attributes:
        days: on which something was played.
        takes: how many.
        minutes: how long they lasted, all in all.
    """

    days: int
    takes: int
    minutes: float


@dataclass(frozen=True, slots=True)
class PracticeSummary:
    """How much was practised.

    Attributes:
        first, last: first and last day; None for nothing.
        total, recent, before: all of it, the last days, and as many before them.
        row: days in a row up to today, or up to yesterday if today has nothing yet.
    """

    first: date | None
    last: date | None
    total: PracticeTime
    recent: PracticeTime
    before: PracticeTime
    row: int


@dataclass(frozen=True, slots=True)
class Overview:
    """All that the journal tells of a player's progress.

    Attributes:
        player: whose.
        today: the day that the last days end with.
        weeks: how many weeks are set against as many before.
        practice: how much was practised.
        subjects: everything together first, then the tab entries, chords and ladders, and the
            skills, each kind with the worst first; none where nothing was played.
        others: the other players in the journal.
    """

    player: str
    today: date
    weeks: int
    practice: PracticeSummary
    subjects: tuple[Progress, ...]
    others: tuple[str, ...] = ()

    def of(self, kind: SubjectKind) -> list[Progress]:
        """The subjects of a kind, the worst first."""
        return [one for one in self.subjects if one.kind is kind]

    def find(self, name: str) -> Progress:
        """The subject that is called so.

        Raises:
            JournalError: there is none.
        """
        names = {one.name.casefold(): one for one in self.subjects}
        wanted = name.strip().casefold()
        try:
            wanted = str(Tab.parse(wanted))
        except HarpError:
            wanted = _OTHER_NAMES.get(wanted, wanted)
        if wanted in names:
            return names[wanted]
        near = difflib.get_close_matches(wanted, names, 3, 0.5)
        meant = " or ".join(f"'{names[one].name}'" for one in near)
        raise JournalError(
            f"the journal has nothing of {self.player}'s called '{name}'; "
            + (f"did you mean {meant}?" if meant else "'trainer progress' shows what it has")
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
    """A player's progress.

    Args:
        journal: where the takes are.
        player: whose.
        today: the last of the days that are set against those before.
        since: the first day that is looked at; None looks at all.
        weeks: how many weeks are set against as many before, from 1.

    Raises:
        JournalError: the journal cannot be read.
    """
    known = journal.takes(player=player, since=since, steps=False)
    takes = [take for take in known if take.source in PLAYER_SOURCES]
    steps, names = read_step_table(journal, takes, player)
    subjects = [
        Progress(name, kind, steps.only(wanted), today, weeks)
        for name, kind, wanted in _subjects(steps, names, takes)
    ]
    order = list(SubjectKind)
    subjects.sort(key=lambda one: (order.index(one.kind), *_worst_first(one)))
    others = tuple(other for other in journal.players() if other != player)
    practice = _practice(takes, today, weeks)
    return Overview(player, today, weeks, practice, tuple(subjects), others)


def overview_at(
    path: Path, player: str, today: date, *, since: date | None = None, weeks: int = 1
) -> Overview:
    """The same of a journal's file, which is not made if it is not there.

    Raises:
        JournalError: the journal cannot be read.
    """
    if not path.exists():
        return Overview(player, today, weeks, _practice((), today, weeks), ())
    with Journal(path) as journal:
        return overview(journal, player, today, since=since, weeks=weeks)


def _subjects(
    steps: StepTable, names: Sequence[Name], takes: Sequence[TakeRecord]
) -> Iterable[tuple[str, SubjectKind, NDArray[np.bool_]]]:
    """What there is progress in, and which steps it is about."""
    if not len(steps):
        return
    yield "everything", SubjectKind.ALL, np.ones(len(steps), dtype=bool)
    inside: dict[tuple[str, SubjectKind], list[int]] = {}
    for what, (kind, entry, _) in enumerate(names):
        subject = (entry, SubjectKind.NOTE) if entry else (f"{kind}s", SubjectKind.SEVERAL)
        inside.setdefault(subject, []).append(what)
    for (name, kind), whats in inside.items():
        yield name, kind, np.isin(steps.what, whats)
    skills = dict.fromkeys(skill for take in takes for skill in take.skills)
    for skill in skills:
        trained = np.array([skill in take.skills for take in takes])[steps.take]
        if trained.any():
            yield skill, SubjectKind.SKILL, trained


def _worst_first(progress: Progress) -> tuple[bool, float, float, str]:
    usual = progress.usual
    in_tune = 1.0 if usual.in_tune is None else usual.in_tune
    return progress.notes < TREND.min_notes_ranked, in_tune, -(usual.cents or 0.0), progress.name


def _mondays(day: Ints) -> Ints:
    """The Monday of each day's week."""
    return day - (day - 1) % WEEK


def _periods(steps: StepTable, first: Ints) -> tuple[Period, ...]:
    firsts, group = np.unique(first, return_inverse=True)
    figures = summarise_groups(steps, group, len(firsts))
    return tuple(
        Period(date.fromordinal(day), one)
        for day, one in zip(firsts.tolist(), figures, strict=True)
    )


def _series(steps: StepTable, first: Ints, measure: str) -> list[SeriesPoint]:
    firsts, group = np.unique(first, return_inverse=True)
    values = column(steps, group, len(firsts), measure).tolist()
    notes = np.bincount(group).tolist()
    return [
        SeriesPoint(date.fromordinal(day), value, count)
        for day, value, count in zip(firsts.tolist(), values, notes, strict=True)
        if not math.isnan(value)
    ]


def _change(steps: StepTable, is_after: NDArray[np.bool_], measure: Metric) -> Comparison:
    values = _levelled(steps, is_after, measure)
    days, on_day = np.unique(steps.day, return_inverse=True)
    enough = np.bincount(on_day[~np.isnan(values)], minlength=len(days)) >= TREND.min_notes_compared
    figures = _summary(measure)(on_day, values, len(days))
    side = np.zeros(len(days), dtype=bool)
    side[on_day] = is_after
    before, after = figures[enough & ~side], figures[enough & side]
    if not len(before) or not len(after):
        return Comparison(ComparisonVerdict.UNCLEAR, None, None, None, len(before), len(after))
    if measure.falls:
        before, after = -before, -after
    found = hodges_lehmann(before.tolist(), after.tolist())
    verdict = ComparisonVerdict.UNCLEAR
    if found.excludes_zero:
        verdict = ComparisonVerdict.BETTER if found.low > 0.0 else ComparisonVerdict.WORSE
    low, high = (end if math.isfinite(end) else None for end in (found.low, found.high))
    return Comparison(verdict, found.estimate, low, high, len(before), len(after))


def _summary(measure: Metric) -> Callable[[Ints, Floats, int], Floats]:
    return group_means if measure.by_mean else group_medians


def _levelled(steps: StepTable, is_after: NDArray[np.bool_], measure: Metric) -> Floats:
    """What is measured of each step, less what is usual for its tab; NaN where one of the two
    sides does not have it."""
    count = int(steps.what.max(initial=-1)) + 1
    side = steps.what + count * is_after
    if measure.name == "spread_cents":
        values = distance_from_median(side, steps.values["bias_cents"], 2 * count)
    else:
        values = steps.values[measure.name].copy()
    sizes = np.bincount(side[~np.isnan(values)], minlength=2 * count)
    least = TREND.min_notes_spread if measure.name == "spread_cents" else 1
    both = (sizes[:count] >= least) & (sizes[count:] >= least)
    values[~both[steps.what]] = np.nan
    return values - _summary(measure)(steps.what, values, count)[steps.what]


def _practice(takes: Sequence[TakeRecord], today: date, weeks: int) -> PracticeSummary:
    length = timedelta(days=WEEK * weeks)
    days = {take.day for take in takes}
    last = today if today in days else today - timedelta(days=1)
    row = 0
    while last - timedelta(days=row) in days:
        row += 1
    return PracticeSummary(
        min(days, default=None),
        max(days, default=None),
        _span(takes, date.min, date.max),
        _span(takes, today - length + timedelta(days=1), today),
        _span(takes, today - 2 * length + timedelta(days=1), today - length),
        row,
    )


def _span(takes: Iterable[TakeRecord], first: date, last: date) -> PracticeTime:
    inside = [take for take in takes if first <= take.day <= last]
    seconds = sum(take.seconds for take in inside)
    return PracticeTime(len({take.day for take in inside}), len(inside), seconds / 60.0)
