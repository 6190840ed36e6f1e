"""Progress as text for people, as plain data for JSON, and as CSV for spreadsheets.

All lines of the text fit 80 columns.
"""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Iterator
from datetime import date

from trainer.coach import (
    METRICS,
    TREND,
    WEEK,
    Comparison,
    ComparisonVerdict,
    Metric,
    Overview,
    Period,
    PracticeSummary,
    PracticeTime,
    Progress,
    SeriesPoint,
    StepSummary,
    SubjectKind,
)
from trainer.core.stats.location_shift import CONFIDENCE_LEVEL
from trainer.drill import CRITERIA
from trainer.harp import Tab
from trainer.report.formatting import day_text, quantity_text
from trainer.report.schemas.progress import (
    BestDayData,
    ComparisonData,
    OverviewData,
    PeriodData,
    PracticeTimeData,
    ProgressData,
    StepSummaryData,
    SubjectData,
)

_NAME = 24
_HEADINGS = {
    SubjectKind.NOTE: "note",
    SubjectKind.SEVERAL: "together",
    SubjectKind.SKILL: "skill",
    SubjectKind.ALL: "all of it",
}
_NO_FIGURE = "-"


def value_text(value: float | None, unit: str) -> str:
    """A figure: cents to a tenth below 100, the rest whole, shares as percent."""
    if value is None:
        return _NO_FIGURE
    if unit == "%":
        return f"{_figures(100.0 * value, 0)} %"
    return _figures(value, 1 if unit == "cents" and abs(value) < 99.95 else 0)


def _figures(value: float, digits: int) -> str:
    """Digits without a sign before a zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def change_verdict_text(change: Comparison, unit: str) -> str:
    """What can be told of a difference, and by how much."""
    if change.verdict is ComparisonVerdict.UNCLEAR or change.gain is None:
        return change.verdict.value
    return f"{change.verdict.value} by {value_text(abs(change.gain), unit)}"


def change_text(change: Comparison, unit: str) -> str:
    """The same with its interval, or with the days that are too few for one."""
    told = change_verdict_text(change, unit)
    if change.low is None or change.high is None:
        return f"{told} ({change.after} and {change.before} days)"
    if change.low == change.high == 0.0:
        return "no difference"
    low, high = change.low, change.high
    if change.verdict is ComparisonVerdict.WORSE:
        low, high = -high, -low
    ends = [value_text(end, unit).removesuffix(" %") for end in (low, high)]
    return f"{told} ({ends[0]} to {ends[1]})"


def compared_days_text(weeks: int) -> str:
    """What is set against what."""
    return f"the last {WEEK * weeks} days against the {WEEK * weeks} before"


def subject_text(progress: Progress) -> str:
    """What the progress is about, in words."""
    if progress.kind is SubjectKind.NOTE:
        tab = Tab.parse(progress.name)
        return f"{progress.name}, {tab.kind} on hole {tab.hole}"
    return f"skill: {progress.name}" if progress.kind is SubjectKind.SKILL else progress.name


def empty_progress_text(overview: Overview) -> str:
    """What to do where there is nothing yet."""
    text = (
        f"There is nothing of {overview.player}'s in the journal yet.\n"
        "Every take that you play is kept by itself: play a drill, such as\n"
        "'trainer play harbour-bell', and look again."
    )
    if overview.others:
        names = ", ".join(overview.others)
        text += f"\nIt has takes of other players: --player shows theirs ({names})."
    return text


def practice_text(practice: PracticeSummary, weeks: int, today: date) -> list[str]:
    """How much was practised, soberly."""
    if practice.first is None:
        return []
    length, total = WEEK * weeks, practice.total
    row = f"; the last {practice.days_in_a_row} days in a row" if practice.days_in_a_row > 1 else ""
    return [
        f"The last {length} days: practised on {practice.recent.days}, "
        f"{_minutes(practice.recent)}. The {length} before: on {practice.before.days}, "
        f"{_minutes(practice.before)}.",
        f"Since {day_text(practice.first, today)}: {quantity_text(total.days, 'day')}, "
        f"{quantity_text(total.takes, 'take')}, {_minutes(total)}{row}.",
    ]


def _minutes(span: PracticeTime) -> str:
    if span.minutes < 120.0:
        return f"{span.minutes:.0f} minutes"
    return f"{span.minutes / 60.0:.0f} hours"


def overview_text(overview: Overview) -> str:
    """All progress as a table, each kind with the worst first."""
    if not overview.subjects:
        return empty_progress_text(overview)
    lines = [f"Progress of {overview.player}, {day_text(overview.today, overview.today)}"]
    lines += practice_text(overview.practice, overview.weeks, overview.today)
    for kind in (SubjectKind.NOTE, SubjectKind.SEVERAL, SubjectKind.SKILL, SubjectKind.ALL):
        rows = overview.of(kind)
        if rows:
            lines += ["", *_head(kind, overview.weeks), *map(_row, rows)]
    lines += ["", *_parts(overview), "", *_notes(overview)]
    return "\n".join(lines)


def _head(kind: SubjectKind, weeks: int) -> Iterator[str]:
    length = WEEK * weeks
    yield (
        f"{'':<{_NAME}}{'off':>6}{'mostly':>7}{'in':>6}{'':>6}{'off':>6}{'best':>6} "
        f"last {length} days"
    )
    yield (
        f"{_HEADINGS[kind]:<{_NAME}}{'cents':>6}{'cents':>7}{'tune':>6}{'clean':>6}{'ms':>6}"
        f"{'day':>6} against {length} before"
    )


def _row(progress: Progress) -> str:
    usual, best = progress.usual, progress.best("cents")
    name = progress.name if len(progress.name) < _NAME else progress.name[: _NAME - 2] + "…"
    return (
        f"{name:<{_NAME}}{value_text(usual.cents, 'cents'):>6}{bias_text(usual.bias_cents):>7}"
        f"{value_text(usual.in_tune, '%'):>6}{value_text(usual.clean, '%'):>6}"
        f"{value_text(usual.off_ms, 'ms'):>6}"
        f"{value_text(best.value if best else None, 'cents'):>6} "
        f"{change_verdict_text(progress.compare('cents'), 'cents')}"
    )


def bias_text(cents: float | None) -> str:
    """Cents with their sign."""
    if cents is None:
        return _NO_FIGURE
    return f"{cents:+.1f}" if abs(cents) < 99.95 else f"{cents:+.0f}"


def _parts(overview: Overview) -> Iterator[str]:
    everything = overview.of(SubjectKind.ALL)[0]
    yield f"{'part of the mark':<{_NAME}}{'usual':>6}{'best day':>20}  {_short(overview.weeks)}"
    for part in CRITERIA:
        if part in everything.usual.parts:
            best = _best(everything, METRICS[part])
            change = change_verdict_text(everything.compare(part), "points")
            yield (
                f"{part:<{_NAME}}{value_text(everything.usual.parts[part], 'points'):>6}{best:>20}"
                f"  {change}"
            )


def _short(weeks: int) -> str:
    return f"last {WEEK * weeks} days against {WEEK * weeks} before"


def _best(progress: Progress, measure: Metric) -> str:
    best = progress.best(measure.name)
    if best is None:
        return _NO_FIGURE
    day = best.first
    told = day_text(day, day) if day.year == progress.today.year else f"{day:%b %Y}"
    return f"{value_text(best.value, measure.unit)} ({told})"


def _notes(overview: Overview) -> list[str]:
    odds = round(1.0 / (1.0 - CONFIDENCE_LEVEL))
    text = (
        f"Figures are of all notes of the last {TREND.usual_days} days on which a thing was played"
        ": medians, and shares of the notes. Mostly has the sign: + is sharp. The best day has the "
        "fewest cents off. The last days are told better or worse by how far off the notes are, "
        f"where chance alone does as much in fewer than 1 of {odds} rows; so of {odds} rows in "
        "which nothing changed, about one is still told wrong. 'trainer progress NOTE' or SKILL "
        "shows one thing with its intervals and its history."
    )
    return textwrap.wrap(text, 80)


def progress_text(progress: Progress, player: str, *, history: bool = True) -> str:
    """One thing: usual, best, the last days against those before, and, if asked for, its weeks."""
    days = progress.by_day("score")
    first, last = (day_text(day.first, progress.today) for day in (days[0], days[-1]))
    lines = [
        f"{player}: {subject_text(progress)}",
        f"{quantity_text(progress.notes, 'note')} on {quantity_text(len(days), 'day')}, "
        f"{first} to {last}",
        "",
        f"{'':<19}{'usual':>7}{'best day':>19} {_short(progress.span)}",
    ]
    lines += [line for one in METRICS.values() for line in _figure(progress, one)]
    lines += ["", *_beside(progress.usual)]
    if history:
        lines += ["", *_weeks(progress.weeks)]
    return "\n".join(lines)


def _figure(progress: Progress, measure: Metric) -> Iterator[str]:
    usual = progress.usual.value(measure.name)
    if usual is None:
        return
    title = measure.title
    if measure.unit in ("cents", "ms"):
        title += f", {measure.unit}"
    yield (
        f"{title:<19}{value_text(usual, measure.unit):>7}{_best(progress, measure):>19} "
        f"{change_text(progress.compare(measure.name), measure.unit)}"
    )


def _beside(usual: StepSummary) -> Iterator[str]:
    """What is neither better nor worse by itself."""
    if usual.bias_cents is not None:
        side = "sharp" if usual.bias_cents > 0.0 else "flat"
        wobble = "" if usual.wobble_cents is None else f"; wobble {usual.wobble_cents:.1f} cents"
        yield f"mostly {abs(usual.bias_cents):.1f} cents {side}{wobble}"
    if usual.late_ms is not None:
        side = "late" if usual.late_ms > 0.0 else "early"
        spread = usual.late_spread_ms
        around = "" if spread is None else f", half of them within {spread:.0f} ms of that"
        yield f"mostly {abs(usual.late_ms):.0f} ms {side}{around}"
    if usual.leak_db is not None:
        yield f"where a neighbour leaks: {-usual.leak_db:.0f} dB down"


def _weeks(weeks: Iterable[Period]) -> Iterator[str]:
    yield (
        f"{'week of':<11}{'notes':>6}{'off':>7}{'mostly':>8}{'spread':>7}{'wobble':>7}"
        f"{'tune':>6}{'clean':>6}{'ms':>6}{'mark':>6}"
    )
    for week in weeks:
        one = week.figures
        yield (
            f"{week.first.isoformat():<11}{one.notes:>6}{value_text(one.cents, 'cents'):>7}"
            f"{bias_text(one.bias_cents):>8}{value_text(one.spread_cents, 'cents'):>7}"
            f"{value_text(one.wobble_cents, 'cents'):>7}{value_text(one.in_tune, '%'):>6}"
            f"{value_text(one.clean, '%'):>6}{value_text(one.off_ms, 'ms'):>6}"
            f"{value_text(one.score, 'points'):>6}"
        )


# Data


def overview_data(overview: Overview) -> OverviewData:
    """All progress as data that JSON can hold. Shares are 0 to 1, gains positive where better, in
    the unit of their measure, and what is not known is null."""
    practice = overview.practice
    return {
        "player": overview.player,
        "today": overview.today.isoformat(),
        "weeks_compared": overview.weeks,
        "interval_level": CONFIDENCE_LEVEL,
        "least_notes_of_a_day_compared": TREND.min_notes_compared,
        "practice": {
            "first": None if practice.first is None else practice.first.isoformat(),
            "last": None if practice.last is None else practice.last.isoformat(),
            "days_in_a_row": practice.days_in_a_row,
            "total": _time_data(practice.total),
            "recent": _time_data(practice.recent),
            "before": _time_data(practice.before),
        },
        "subjects": [_subject_data(one) for one in overview.subjects],
    }


def progress_data(progress: Progress, player: str) -> ProgressData:
    """One thing with all of its days and weeks, in the same way."""
    return {
        "player": player,
        "today": progress.today.isoformat(),
        "weeks_compared": progress.span,
        "interval_level": CONFIDENCE_LEVEL,
        **_subject_data(progress),
        "days": [_period_data(day) for day in progress.days],
        "weeks": [_period_data(week) for week in progress.weeks],
    }


def _time_data(time: PracticeTime) -> PracticeTimeData:
    return {"days": time.days, "takes": time.takes, "minutes": time.minutes}


def _subject_data(progress: Progress) -> SubjectData:
    return {
        "name": progress.name,
        "kind": progress.kind.value,
        "notes": progress.notes,
        "usual": _summary_data(progress.usual),
        "best": {name: _best_data(progress.best(name)) for name in METRICS},
        "change": {name: _comparison_data(progress.compare(name)) for name in METRICS},
    }


def _best_data(point: SeriesPoint | None) -> BestDayData | None:
    if point is None:
        return None
    return {"day": point.first.isoformat(), "value": point.value, "notes": point.notes}


def _comparison_data(change: Comparison) -> ComparisonData:
    return {
        "verdict": change.verdict.value,
        "gain": change.gain,
        "low": change.low,
        "high": change.high,
        "before": change.before,
        "after": change.after,
    }


def _period_data(period: Period) -> PeriodData:
    return {"first": period.first.isoformat(), **_summary_data(period.figures)}


def _summary_data(summary: StepSummary) -> StepSummaryData:
    return {
        "notes": summary.notes,
        "takes": summary.takes,
        "cents": summary.cents,
        "bias_cents": summary.bias_cents,
        "spread_cents": summary.spread_cents,
        "wobble_cents": summary.wobble_cents,
        "in_tune": summary.in_tune,
        "clean": summary.clean,
        "leak_db": summary.leak_db,
        "off_ms": summary.off_ms,
        "late_ms": summary.late_ms,
        "late_spread_ms": summary.late_spread_ms,
        "score": summary.score,
        "parts": dict(summary.parts),
    }


_CSV_FIGURES = tuple(
    name for name in StepSummary.__dataclass_fields__ if name not in ("notes", "takes", "parts")
)


def overview_csv(overview: Overview) -> str:
    """A line for each thing in each week."""
    return _csv("week", overview.player, overview.subjects)


def progress_csv(progress: Progress, player: str) -> str:
    """A line for each day of one thing."""
    return _csv("day", player, (progress,))


def _csv(step: str, player: str, subjects: Iterable[Progress]) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    parts = [f"{part}_points" for part in CRITERIA]
    writer.writerow(["player", "kind", "name", step, "notes", "takes", *_CSV_FIGURES, *parts])
    for one in subjects:
        for period in one.days if step == "day" else one.weeks:
            figures = period.figures
            values = [getattr(figures, name) for name in _CSV_FIGURES]
            writer.writerow(
                [
                    *(
                        _cell(player),
                        one.kind.value,
                        _cell(one.name, one.kind),
                        period.first.isoformat(),
                    ),
                    *(figures.notes, figures.takes),
                    *(_round(value) for value in values),
                    *(_round(figures.parts.get(part)) for part in CRITERIA),
                ]
            )
    return out.getvalue()


def _round(value: float | None) -> float | str:
    return "" if value is None else round(value, 4)


def _cell(text: str, kind: SubjectKind | None = None) -> str:
    """Text that no spreadsheet takes for a formula. Tab is none: -4 comes out as it is."""
    return f"'{text}" if kind is not SubjectKind.NOTE and text[:1] in ("=", "+", "-", "@") else text
