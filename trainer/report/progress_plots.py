"""Plots of progress: in the terminal with plotext, as PNG or SVG with matplotlib.

Both show each day as a dot and the trend as a line, adjusted to what is played now: the drop of the
line is the gain of the verdict. Where there are too few days for a trend, they show the days and
weeks as they were played. matplotlib is an optional extra; without it,
an error message says how to install it.
"""

from __future__ import annotations

import itertools
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import plotext  # type: ignore[import-untyped]

from trainer.coach import (
    METRICS,
    WEEK,
    Metric,
    Overview,
    Progress,
    SeriesPoint,
    SubjectKind,
    TrendWindow,
)
from trainer.core import TrainerError
from trainer.core.printable import printable
from trainer.report.formatting import day_text
from trainer.report.progress_report import subject_text, trend_text, trend_verdict_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PLOTTED_MEASURES = ("cents", "in_tune", "clean", "off_ms")
"""Metrics that the picture of one subject shows."""
SUFFIXES = (".png", ".svg")
"""Supported formats of pictures."""
_DAY_MARKER = "•"
_LINE_MARKER = "braille"
_TICK_CELLS = 16
"""Minimum cells between two dates on an axis."""
# Blue and orange of Okabe and Ito's colour-blind-safe set, https://jfly.uni-koeln.de/color/
_BLUE, _ORANGE = "#0072b2", "#d55e00"

Color = tuple[int, int, int]


class PlotError(TrainerError):
    """A picture cannot be drawn or written."""


@dataclass(frozen=True, slots=True)
class Palette:
    """Colours of a plot in the terminal: red, green and blue, 0 to 255.

    Attributes:
        days: colour of the dots.
        line: colour of the line.
    """

    days: Color
    line: Color


TERMINAL_PALETTE = Palette(days=(86, 180, 233), line=(230, 159, 0))


def plotted_value(value: float, measure: Metric) -> float:
    """Return a value as it is plotted: fractions as percent."""
    return 100.0 * value if measure.unit == "%" else value


def draw_progress(
    figure: Any,
    progress: Progress,
    measure: Metric,
    palette: Palette,
    width: int,
    window: TrendWindow = TrendWindow.START,
) -> None:
    """Draw a plot on an empty figure.

    Args:
        figure: plotext's module, or one of its figures.
        progress: the subject.
        measure: the plotted metric.
        palette: its colours.
        width: width of the plot in cells.
        window: the days of the trend.
    """
    figure.clear_figure()
    curve = plotted_curve(progress, measure, window)
    figure.title(f"{printable(progress.name)}: {measure.title}, {measure.unit}")
    figure.xlabel(f"{_DAY_MARKER} a day   ⠒ {curve.line_name}")
    if not curve.days:
        figure.title(f"{printable(progress.name)}: {measure.title}, not measured yet")
        return
    figure.scatter(*_xy(curve.days, measure), marker=_DAY_MARKER, color=palette.days)
    line = figure.plot if len(curve.at) > 1 else figure.scatter
    line(
        curve.at,
        [plotted_value(value, measure) for value in curve.values],
        marker=_LINE_MARKER,
        color=palette.line,
    )
    ticks, labels, ends = _dates(curve.days, max(1, (width - 8) // _TICK_CELLS), progress.today)
    figure.xticks(ticks, labels)
    figure.xlim(*ends)
    scale = _scale(curve, measure)
    figure.ylim(scale[0], scale[-1])
    figure.yticks(scale, [str(at) for at in scale])


@dataclass(frozen=True, slots=True)
class PlottedCurve:
    """What a plot shows of a subject.

    Attributes:
        days: the dots.
        at, values: days, as ordinals, and values of the line.
        line_name: what the line is.
    """

    days: Sequence[SeriesPoint]
    at: Sequence[float]
    values: Sequence[float]
    line_name: str


def plotted_curve(
    progress: Progress, measure: Metric, window: TrendWindow = TrendWindow.START
) -> PlottedCurve:
    """Return the trend of a measure, or its days and weeks where there are too few days."""
    trend = progress.trend(measure.name, window)
    if trend.start is not None and trend.end is not None and trend.points:
        assert trend.first is not None
        assert trend.last is not None
        ends = (trend.first.toordinal(), trend.last.toordinal())
        return PlottedCurve(trend.points, ends, (trend.start, trend.end), "the trend")
    days, weeks = progress.by_day(measure.name), progress.by_week(measure.name)
    return PlottedCurve(
        days, _middles(weeks, days) if days else (), [week.value for week in weeks], "a week"
    )


def _xy(points: Sequence[SeriesPoint], measure: Metric) -> tuple[list[int], list[float]]:
    days = [point.first.toordinal() for point in points]
    return days, [plotted_value(point.value, measure) for point in points]


def _middles(weeks: Sequence[SeriesPoint], days: Sequence[SeriesPoint]) -> list[float]:
    """Return the positions of weeks: their middle, limited to the first and the last day."""
    first, last = days[0].first.toordinal(), days[-1].first.toordinal()
    return [min(max(week.first.toordinal() + (WEEK - 1) / 2.0, first), last) for week in weeks]


def _dates(
    days: Sequence[SeriesPoint], most: int, today: date
) -> tuple[list[int], list[str], tuple[float, float]]:
    """Return evenly spaced ticks, their labels, and the ends of the axis.

    Args:
        days: the plotted days.
        most: maximum number of intervals between ticks.
        today: the present day.
    """
    first, last = days[0].first.toordinal(), days[-1].first.toordinal()
    count = min(most, last - first)
    ticks = [first + round(at * (last - first) / max(count, 1)) for at in range(count + 1)]
    margin = max(0.02 * (last - first), 0.5)
    names = [day_text(date.fromordinal(day), today) for day in ticks]
    return ticks, names, (first - margin, last + margin)


def _scale(curve: PlottedCurve, measure: Metric) -> list[int]:
    """Return round values from 0 to above the curve, in at most five intervals."""
    if measure.unit in ("%", "points"):
        return list(range(0, 101, 25))
    values = [*(day.value for day in curve.days), *curve.values]
    top = max(plotted_value(value, measure) for value in values)
    step = next(
        step * 10**power
        for power in itertools.count()
        for step in (1, 2, 5)
        if 5 * step * 10**power > top
    )
    return list(range(0, int(top // step + 1) * step + 1, step))


def progress_plot_text(
    progress: Progress, measure: Metric, width: int, height: int, *, color: bool
) -> str:
    """Return a plot as lines for a terminal.

    Args:
        progress: the subject.
        measure: the plotted metric.
        width: in cells.
        height: in cells.
        color: whether colours are allowed; dots and line differ in shape, too.
    """
    draw_progress(plotext, progress, measure, TERMINAL_PALETTE, width)
    return render_plot(width, height, color=color)


def render_plot(width: int, height: int, *, color: bool) -> str:
    """Return what was drawn with plotext as lines; arguments as for :func:`progress_plot_text`."""
    plotext.limit_size(False, False)
    plotext.plotsize(width, height)
    plotext.theme("clear")
    text: str = plotext.build()
    plotext.clear_figure()
    plain: str = plotext.uncolorize(text)
    return text if color else "\n".join(line.rstrip() for line in plain.splitlines())


def color_allowed() -> bool:
    """Return whether the terminal may have colours: NO_COLOR and a dumb terminal forbid them."""
    return not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def save_progress_plot(path: Path, overview: Overview, progress: Progress | None) -> None:
    """Save a picture of one subject's days and weeks, or of all subjects.

    Args:
        path: a file name that ends in .png or .svg.
        overview: progress on one or more subjects.
        progress: the subject; None draws all of them.

    Raises:
        PlotError: the suffix is unknown, the file cannot be written, or matplotlib is missing.
    """
    if path.suffix.lower() not in SUFFIXES:
        raise PlotError(f"'{path}' is not a picture file; end it in .png or .svg")
    try:
        import matplotlib
        from matplotlib.figure import Figure
    except ImportError as error:
        raise PlotError(
            "pictures need matplotlib, which is not installed: python -m pip install matplotlib, "
            "or leave out --plot"
        ) from error
    settings: dict[Any, Any] = {
        "svg.fonttype": "none",
        "svg.hashsalt": "trainer",
        "font.size": 9.0,
        "text.parse_math": False,
    }
    with matplotlib.rc_context(settings):
        figure = Figure(figsize=(10.0, 6.5), layout="constrained")
        if progress is None:
            _draw_all(figure, overview)
        else:
            _draw_one(figure, progress, overview.player)
        try:
            figure.savefig(path, dpi=120, metadata={"Date": None} if _is_svg(path) else None)
        except OSError as error:
            raise PlotError(f"{path} cannot be written: {error.strerror or error}") from error


def _is_svg(path: Path) -> bool:
    return path.suffix.lower() == ".svg"


def _draw_one(figure: Figure, progress: Progress, player: str) -> None:
    figure.suptitle(f"{player}: {subject_text(progress)}")
    for axes, name in zip(figure.subplots(2, 2).flat, PLOTTED_MEASURES, strict=True):
        _draw_panel(axes, progress, METRICS[name])


def _draw_panel(axes: Axes, progress: Progress, measure: Metric) -> None:
    curve = plotted_curve(progress, measure)
    trends = "; ".join(
        f"{window} {trend_text(progress.trend(measure.name, window), measure.unit)}"
        for window in TrendWindow
    )
    axes.set_title(f"{measure.title}: {trends}", fontsize=7)
    axes.set_ylabel(measure.unit)
    axes.grid(alpha=0.3)
    if not curve.days:
        axes.text(0.5, 0.5, "nothing measured", transform=axes.transAxes, ha="center")
        return
    axes.scatter(*_xy(curve.days, measure), s=14, color=_BLUE, label="a day")
    axes.plot(
        curve.at,
        [plotted_value(value, measure) for value in curve.values],
        color=_ORANGE,
        marker="s",
        markersize=4,
        label=curve.line_name,
    )
    ticks, labels, ends = _dates(curve.days, 4, progress.today)
    axes.set_xticks(ticks, labels)
    axes.set_xlim(*ends)
    scale = _scale(curve, measure)
    axes.set_ylim(scale[0] - 0.03 * scale[-1], 1.03 * scale[-1])
    axes.set_yticks(scale)
    axes.legend(fontsize=8, loc="best")


def _draw_all(figure: Figure, overview: Overview) -> None:
    rows = [
        progress
        for kind in (SubjectKind.NOTE, SubjectKind.SEVERAL, SubjectKind.SKILL)
        for progress in overview.of(kind)
    ] + overview.of(SubjectKind.ALL)
    rows = [progress for progress in rows if progress.usual.cents is not None]
    figure.set_size_inches(10.0, 1.5 + 0.26 * len(rows))
    axes = figure.subplots()
    for y, progress in enumerate(rows):
        best, usual = progress.best("cents"), progress.usual.cents or 0.0
        if best is not None:
            axes.plot([best.value, usual], [y, y], color="0.75", linewidth=1.0)
            axes.plot(best.value, y, "D", color=_ORANGE, markersize=5)
        axes.plot(usual, y, "o", color=_BLUE)
    axes.plot([], [], "o", color=_BLUE, label="usual")
    axes.plot([], [], "D", color=_ORANGE, markersize=5, label="best day")
    axes.set_yticks(range(len(rows)), [progress.name for progress in rows])
    axes.invert_yaxis()
    axes.set_xlim(left=0.0)
    axes.set_xlabel("how far off, cents (median)")
    axes.grid(axis="x", alpha=0.3)
    right = axes.secondary_yaxis("right")
    right.set_yticks(
        range(len(rows)),
        [
            trend_verdict_text(progress.trend("cents", TrendWindow.FOUR_WEEKS), "cents")
            for progress in rows
        ],
    )
    right.tick_params(length=0)
    axes.legend(loc="lower right", fontsize=8)
    axes.set_title(f"{overview.player}: worst first, and the trend of four weeks")
