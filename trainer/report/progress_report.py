"""Progress as text of 80 columns, as CSV and as JSON data."""

from __future__ import annotations

import csv
import io
import textwrap
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from typing import Any

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
    SoloProgress,
    StepSummary,
    SubjectKind,
    Trend,
    TrendVerdict,
    TrendWindow,
)
from trainer.core.quantities import quantity_text
from trainer.core.stats.location_shift import CONFIDENCE_LEVEL
from trainer.core.tables import safe_cell
from trainer.drill import CRITERIA
from trainer.harp import Tab
from trainer.report.formatting import WIDTH, day_text, signed_cents_text
from trainer.report.schemas.progress import (
    BestDayData,
    ComparisonData,
    OverviewData,
    PeriodData,
    PracticeTimeData,
    ProgressData,
    SoloProgressData,
    StepSummaryData,
    SubjectData,
    TrendData,
    TrendPointData,
)

_NAME_COLUMNS = 24
"""Width of the column of names."""
_HEADINGS = {
    SubjectKind.NOTE: "note",
    SubjectKind.SEVERAL: "together",
    SubjectKind.SKILL: "skill",
    SubjectKind.ALL: "all of it",
}
_TREND_COLUMNS = 12
"""Width of a column of trends in the tables."""
_WINDOWS = {TrendWindow.FOUR_WEEKS: "four_weeks", TrendWindow.START: "start"}
"""Windows of trends by their names in JSON."""
_UNKNOWN = "-"
"""Shown for a value that is unknown."""


def value_text(value: float | None, unit: str) -> str:
    """Return a value: cents below 100 to a tenth, others whole, fractions as percent."""
    if value is None:
        return _UNKNOWN
    if unit == "%":
        return f"{_decimal(100.0 * value, 0)} %"
    return _decimal(value, 1 if unit == "cents" and abs(value) < 99.95 else 0)


def _decimal(value: float, digits: int) -> str:
    """Return a value with `digits` decimals, and no sign before a zero."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def change_verdict_text(change: Comparison, unit: str) -> str:
    """Return the verdict of a comparison, and the gain or loss."""
    if change.verdict is ComparisonVerdict.UNCLEAR or change.gain is None:
        return change.verdict.value
    return f"{change.verdict.value} by {value_text(abs(change.gain), unit)}"


def change_text(change: Comparison, unit: str) -> str:
    """Return the verdict of a comparison with its interval, or with its too few days."""
    verdict = change_verdict_text(change, unit)
    if change.low is None or change.high is None:
        return f"{verdict} ({change.after} and {change.before} days)"
    if change.low == change.high == 0.0:
        return "no difference"
    low, high = change.low, change.high
    if change.verdict is ComparisonVerdict.WORSE:
        low, high = -high, -low
    ends = [value_text(end, unit).removesuffix(" %") for end in (low, high)]
    return f"{verdict} ({ends[0]} to {ends[1]})"


def trend_verdict_text(trend: Trend, unit: str) -> str:
    """Return the verdict of a trend, and the gain or loss."""
    if trend.gain is None:
        return _UNKNOWN
    if trend.verdict in (TrendVerdict.BETTER, TrendVerdict.WORSE):
        return f"{trend.verdict} {value_text(abs(trend.gain), unit)}"
    return str(trend.verdict)


def trend_text(trend: Trend, unit: str) -> str:
    """Return the verdict of a trend with its gain and half the width of its interval.

    The gain of a trend that is neither better nor worse has a sign: + is better.
    """
    if trend.gain is None or trend.low is None or trend.high is None:
        return str(trend.verdict)
    half = value_text((trend.high - trend.low) / 2.0, unit)
    if value_text(trend.gain, unit) == half == value_text(0.0, unit):
        return str(trend.verdict)
    is_plain = trend.verdict in (TrendVerdict.BETTER, TrendVerdict.WORSE)
    gain = value_text(abs(trend.gain), unit).removesuffix(" %")
    sign = "" if is_plain else "-" if trend.gain < 0.0 else "+"
    return f"{trend.verdict} {sign}{gain} ± {half}"


def compared_days_text(weeks: int) -> str:
    """Return which days are compared."""
    return f"the last {WEEK * weeks} days against the {WEEK * weeks} before"


def subject_text(progress: Progress) -> str:
    """Return the subject in words."""
    if progress.kind is SubjectKind.NOTE:
        tab = Tab.parse(progress.name)
        return f"{progress.name}, {tab.kind} on hole {tab.hole}"
    return f"skill: {progress.name}" if progress.kind is SubjectKind.SKILL else progress.name


def empty_progress_text(overview: Overview) -> str:
    """Return what to do if the journal has no takes."""
    text = (
        f"The journal has no takes of {overview.player} yet.\n"
        "Every take is saved automatically: play a drill, such as\n"
        "'trainer play harbour-bell', and look again."
    )
    if overview.others:
        names = ", ".join(overview.others)
        text += f"\nIt has takes of other players: --player shows theirs ({names})."
    return text


def practice_text(practice: PracticeSummary, weeks: int, today: date) -> list[str]:
    """Return how much was practised; no lines without takes."""
    if practice.first is None:
        return []
    length, total = WEEK * weeks, practice.total
    streak = practice.days_in_a_row
    row = f"; the last {streak} days in a row" if streak > 1 else ""
    return [
        f"The last {length} days: {_minutes(practice.recent)} on "
        f"{quantity_text(practice.recent.days, 'day')}. The {length} before: "
        f"{_minutes(practice.before)} on {practice.before.days}.",
        f"Since {day_text(practice.first, today)}: {quantity_text(total.days, 'day')}, "
        f"{quantity_text(total.takes, 'take')}, {_minutes(total)}{row}.",
    ]


def _minutes(time: PracticeTime) -> str:
    if time.minutes < 120.0:
        return quantity_text(round(time.minutes), "minute")
    return f"{time.minutes / 60.0:.0f} hours"


def overview_text(overview: Overview) -> str:
    """Return all progress as tables, each kind with the worst first."""
    if not overview.subjects:
        return empty_progress_text(overview)
    lines = [f"Progress of {overview.player}, {day_text(overview.today, overview.today)}"]
    lines += practice_text(overview.practice, overview.weeks, overview.today)
    for kind in (SubjectKind.NOTE, SubjectKind.SEVERAL, SubjectKind.SKILL, SubjectKind.ALL):
        rows = overview.of(kind)
        if rows:
            lines += ["", *_head(kind), *map(_row, rows)]
    lines += ["", *_parts(overview)]
    if overview.solos:
        lines += ["", *_solos(overview.solos, overview.weeks)]
    lines += ["", *_notes()]
    return "\n".join(lines)


def _head(kind: SubjectKind) -> Iterator[str]:
    yield (
        f"{'':<{_NAME_COLUMNS}}{'off':>6}{'mostly':>7}{'in':>6}{'':>6}{'off':>6}"
        f"{'four':>{_TREND_COLUMNS}}{'since the':>{_TREND_COLUMNS}}"
    )
    yield (
        f"{_HEADINGS[kind]:<{_NAME_COLUMNS}}{'cents':>6}{'cents':>7}{'tune':>6}{'clean':>6}{'ms':>6}"
        f"{'weeks':>{_TREND_COLUMNS}}{'start':>{_TREND_COLUMNS}}"
    )


def _row(progress: Progress) -> str:
    usual = progress.usual
    name = (
        progress.name
        if len(progress.name) < _NAME_COLUMNS
        else progress.name[: _NAME_COLUMNS - 2] + "…"
    )
    trends = "".join(
        f"{trend_verdict_text(progress.trend('cents', window), 'cents'):>{_TREND_COLUMNS}}"
        for window in TrendWindow
    )
    return (
        f"{name:<{_NAME_COLUMNS}}{value_text(usual.cents, 'cents'):>6}"
        f"{bias_text(usual.bias_cents):>7}"
        f"{value_text(usual.in_tune, '%'):>6}{value_text(usual.clean, '%'):>6}"
        f"{value_text(usual.off_ms, 'ms'):>6}{trends}"
    )


def bias_text(cents: float | None) -> str:
    """Return cents with their sign."""
    if cents is None:
        return _UNKNOWN
    return signed_cents_text(cents) if abs(cents) < 99.95 else f"{cents:+.0f}"


def _parts(overview: Overview) -> Iterator[str]:
    everything = overview.of(SubjectKind.ALL)[0]
    title = f"{'part of the mark':<{_NAME_COLUMNS}}"
    yield f"{title}{'usual':>6}{'best day':>20}{'four weeks':>14}{'since start':>14}"
    for name in CRITERIA:
        if name in everything.usual.parts:
            best = _best(everything, METRICS[name])
            usual = value_text(everything.usual.parts[name], "points")
            trends = "".join(
                f"{trend_verdict_text(everything.trend(name, window), 'points'):>14}"
                for window in TrendWindow
            )
            yield f"{name:<{_NAME_COLUMNS}}{usual:>6}{best:>20}{trends}"


def _solos(solos: SoloProgress, weeks: int) -> Iterator[str]:
    """Yield the points of solos by criterion, and which of them is lowest most often."""
    title = f"points of {quantity_text(solos.count, 'solo')}"
    yield f"{title:<{_NAME_COLUMNS}}{'usual':>6}  {compared_days_text(weeks)}"
    for trend in solos.trends:
        usual = value_text(trend.usual, "points")
        change = change_text(trend.change, "points")
        yield f"{trend.criterion:<{_NAME_COLUMNS}}{usual:>6}  {change}"
    if solos.weakest_count > 1:
        yield (
            f"{solos.weakest.capitalize()} had the fewest points in {solos.weakest_count} of the "
            f"last {solos.recent} solos."
        )


def _best(progress: Progress, metric: Metric) -> str:
    best = progress.best(metric.name)
    if best is None:
        return _UNKNOWN
    day = best.first
    date_ = day_text(day, day) if day.year == progress.today.year else f"{day:%b %Y}"
    return f"{value_text(best.value, metric.unit)} ({date_})"


def _notes() -> list[str]:
    odds = round(1.0 / (1.0 - CONFIDENCE_LEVEL))
    text = (
        f"Values are medians and fractions over all notes of the last {TREND.usual_days} days on "
        "which the subject was played. Mostly has a sign: + is sharp. Trends compare each note of "
        "a drill with itself only, so that harder drills are no loss: better and worse are in "
        f"cents, and among {odds} rows without a change about one is called so wrongly. Steady is "
        f"less than {TREND.matters['cents']:.0f} cents of change. 'trainer progress NOTE' or SKILL "
        "shows one subject with its intervals and its history."
    )
    return textwrap.wrap(text, WIDTH)


def progress_text(progress: Progress, player: str, *, history: bool = True) -> str:
    """Return progress on one subject: usual values, best days and changes.

    Args:
        progress: on the subject.
        player: name of the player.
        history: whether a table of weeks follows.
    """
    days = progress.by_day("score")
    first, last = (day_text(day.first, progress.today) for day in (days[0], days[-1]))
    lines = [
        f"{player}: {subject_text(progress)}",
        f"{quantity_text(progress.notes, 'note')} on {quantity_text(len(days), 'day')}, "
        f"{first} to {last}",
        "",
        f"{'':<19}{'usual':>7}{'best day':>17}{'four weeks':>18}{'since the start':>19}",
    ]
    lines += [line for metric in METRICS.values() for line in _metric_line(progress, metric)]
    change = change_text(progress.compare("cents"), "cents")
    lines += ["", f"off in {compared_days_text(progress.span)}: {change}"]
    lines += ["", *_bias_lines(progress.usual)]
    if history:
        lines += ["", *_weeks(progress.weeks)]
    return "\n".join(lines)


def _metric_line(progress: Progress, metric: Metric) -> Iterator[str]:
    usual = progress.usual.value(metric.name)
    if usual is None:
        return
    title = metric.title
    if metric.unit in ("cents", "ms"):
        title += f", {metric.unit}"
    yield (
        f"{title:<19}{value_text(usual, metric.unit):>7}{_best(progress, metric):>17}"
        f"{trend_text(progress.trend(metric.name, TrendWindow.FOUR_WEEKS), metric.unit):>18}"
        f"{trend_text(progress.trend(metric.name, TrendWindow.START), metric.unit):>19}"
    )


def _bias_lines(usual: StepSummary) -> Iterator[str]:
    """Yield the values that are neither better nor worse in themselves."""
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
        figures = week.figures
        yield (
            f"{week.first.isoformat():<11}{figures.notes:>6}{value_text(figures.cents, 'cents'):>7}"
            f"{bias_text(figures.bias_cents):>8}{value_text(figures.spread_cents, 'cents'):>7}"
            f"{value_text(figures.wobble_cents, 'cents'):>7}{value_text(figures.in_tune, '%'):>6}"
            f"{value_text(figures.clean, '%'):>6}{value_text(figures.off_ms, 'ms'):>6}"
            f"{value_text(figures.score, 'points'):>6}"
        )


def overview_data(overview: Overview) -> OverviewData:
    """Return all progress as JSON data; what is unknown is null."""
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
        "subjects": [_subject_data(progress) for progress in overview.subjects],
        "solos": _solo_data(overview.solos),
    }


def _solo_data(solos: SoloProgress | None) -> SoloProgressData | None:
    if solos is None:
        return None
    return {
        "count": solos.count,
        "criteria": {
            trend.criterion: {"usual": trend.usual, "change": _comparison_data(trend.change)}
            for trend in solos.trends
        },
        "weakest": solos.weakest,
        "weakest_count": solos.weakest_count,
        "recent": solos.recent,
    }


def progress_data(progress: Progress, player: str) -> ProgressData:
    """Return progress on one subject with its days and weeks as JSON data."""
    return {
        "player": player,
        "today": progress.today.isoformat(),
        "weeks_compared": progress.span,
        "interval_level": CONFIDENCE_LEVEL,
        **_subject_data(progress),
        "trend_points": {
            name: [_point_data(point) for point in progress.trend(name, TrendWindow.START).points]
            for name in METRICS
        },
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
        "trend": {
            name: {key: _trend_data(progress.trend(name, at)) for at, key in _WINDOWS.items()}
            for name in METRICS
        },
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


def _trend_data(trend: Trend) -> TrendData:
    return {
        "verdict": str(trend.verdict),
        "gain": trend.gain,
        "low": trend.low,
        "high": trend.high,
        "first": None if trend.first is None else trend.first.isoformat(),
        "last": None if trend.last is None else trend.last.isoformat(),
        "days": trend.days,
        "start": trend.start,
        "end": trend.end,
    }


def _point_data(point: SeriesPoint) -> TrendPointData:
    return {"day": point.first.isoformat(), "value": point.value, "notes": point.notes}


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
    name for name in StepSummaryData.__annotations__ if name not in ("notes", "takes", "parts")
)


def overview_csv(overview: Overview) -> str:
    """Return all progress as CSV, a row per subject and week."""
    return _csv("week", overview.player, overview.subjects)


def progress_csv(progress: Progress, player: str) -> str:
    """Return progress on one subject as CSV, a row per day."""
    return _csv("day", player, (progress,))


def _csv(period_name: str, player: str, subjects: Iterable[Progress]) -> str:
    """Return progress as CSV.

    Args:
        period_name: ``day`` or ``week``; names the column of dates, too.
        player: name of the player.
        subjects: the subjects.
    """
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    head = ["player", "kind", "name", period_name, "notes", "takes", *_CSV_FIGURES]
    writer.writerow([*head, *(f"{name}_points" for name in CRITERIA)])
    for progress in subjects:
        name = safe_cell(progress.name)
        for period in progress.days if period_name == "day" else progress.weeks:
            summary: Mapping[str, Any] = _summary_data(period.figures)
            values = [summary[figure] for figure in _CSV_FIGURES]
            values += [summary["parts"].get(criterion) for criterion in CRITERIA]
            head = [safe_cell(player), progress.kind.value, name, period.first.isoformat()]
            writer.writerow([*head, summary["notes"], summary["takes"], *map(_rounded, values)])
    return file.getvalue()


def _rounded(value: float | None) -> float | str:
    return "" if value is None else round(value, 4)
