"""Progress of a subject: its line in the list, its figures, and its plot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from textual import events
from textual.color import Color
from textual.content import Content
from textual_plotext import PlotextPlot

from trainer.app.theme import CSS_PENS, pen_color
from trainer.coach import (
    METRICS,
    Progress,
    SeriesPoint,
    StepSummary,
    SubjectKind,
    Trend,
    TrendVerdict,
    TrendWindow,
)
from trainer.core.quantities import quantity_text
from trainer.report.formatting import day_text
from trainer.report.progress_plots import PLOTTED_MEASURES, Palette, draw_progress
from trainer.report.progress_report import (
    subject_text,
    trend_text,
    trend_verdict_text,
    value_text,
)

KIND_HEADINGS = {
    SubjectKind.ALL: "All together",
    SubjectKind.NOTE: "Notes, the worst first",
    SubjectKind.SEVERAL: "Chords and ladders",
    SubjectKind.SKILL: "Skills, the worst first",
}
VERDICT_SIGNS = {
    TrendVerdict.BETTER: ("↗", "good"),
    TrendVerdict.WORSE: ("↘", "wrong"),
    TrendVerdict.STEADY: ("→", "text"),
    TrendVerdict.UNCLEAR: ("·", "quiet"),
    TrendVerdict.TOO_FEW_DAYS: ("○", "quiet"),
}
"""Shape and pen of a trend."""
MAX_NAMED = 4
"""Most subjects that the summary names on each side."""
_NAME, _TITLE, _USUAL = 24, 12, 9
"""Width of a name, of a measure, and of its usual figure, in cells."""


@dataclass(frozen=True, slots=True)
class ProgressLine:
    """Figures of one subject, computed in advance so that the screen need not wait.

    Attributes:
        progress: progress of the subject.
        usual: its usual figures.
        best: its best day by measure; None for too few notes.
        trends: its trends by measure and window.
    """

    progress: Progress
    usual: StepSummary
    best: dict[str, SeriesPoint | None]
    trends: dict[tuple[str, TrendWindow], Trend]

    @classmethod
    def of(cls, progress: Progress) -> ProgressLine:
        """Compute the line of a subject."""
        return cls(
            progress,
            progress.usual,
            {name: progress.best(name) for name in PLOTTED_MEASURES},
            {
                (name, window): progress.trend(name, window)
                for name in PLOTTED_MEASURES
                for window in TrendWindow
            },
        )


def column_heads(measure: str, window: TrendWindow) -> str:
    """Return the column headings."""
    return f"  {'':<{_NAME}}{'off':>6}{'in tune':>9}   {METRICS[measure].title}, {window}"


def progress_content(
    line: ProgressLine, measure: str, window: TrendWindow, chosen: bool = False
) -> Content:
    """Return a line of the list, with a pointer if it is chosen."""
    usual, trend = line.usual, line.trends[measure, window]
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    name = line.progress.name
    name = name if len(name) < _NAME else name[: _NAME - 2] + "…"
    is_known = trend.verdict is not TrendVerdict.TOO_FEW_DAYS
    unit = METRICS[measure].unit
    verdict = trend_verdict_text(trend, unit) if is_known else str(trend.verdict)
    return Content.assemble(
        pointer,
        (f"{name:<{_NAME}}", "bold"),
        f"{value_text(usual.cents, 'cents'):>6}{value_text(usual.in_tune, '%'):>9}   ",
        _signed(trend, verdict),
    )


def _signed(trend: Trend, words: str) -> tuple[str, str]:
    """Return words on a trend after its sign, and their colour."""
    sign, pen = VERDICT_SIGNS[trend.verdict]
    return f"{sign} {words}", CSS_PENS[pen].color


def summary_content(lines: Sequence[ProgressLine], measure: str, window: TrendWindow) -> Content:
    """Return what has become better and worse, the largest changes first."""
    unit = METRICS[measure].unit
    parts: list[str | tuple[str, str]] = []
    for verdict in (TrendVerdict.BETTER, TrendVerdict.WORSE):
        moved = [
            (line.progress.name, line.trends[measure, window])
            for line in lines
            if line.trends[measure, window].verdict is verdict
            and line.progress.kind is not SubjectKind.ALL
        ]
        moved.sort(key=lambda item: -abs(item[1].gain or 0.0))
        named = [f"{name} {value_text(abs(t.gain or 0.0), unit)}" for name, t in moved[:MAX_NAMED]]
        more = f" and {len(moved) - MAX_NAMED} more" if len(moved) > MAX_NAMED else ""
        if moved:
            sign, pen = VERDICT_SIGNS[verdict]
            words = f"{sign} {str(verdict).capitalize()}: {', '.join(named)}{more}"
            parts += ["   " if parts else "", (words, CSS_PENS[pen].color)]
    if not parts:
        words = f"{METRICS[measure].title.capitalize()}: no clear change."
        parts = [(words, CSS_PENS["quiet"].color)]
    return Content.assemble(*parts)


def detail_content(
    line: ProgressLine, measure: str, window: TrendWindow, *, every: bool
) -> Content:
    """Return usual and best figures and the trends by one measure, or by every one."""
    progress = line.progress
    parts: list[Content] = [
        Content.assemble(
            (subject_text(progress), "bold"),
            (f"   {quantity_text(progress.notes, 'note')}", CSS_PENS["quiet"].color),
        )
    ]
    parts += _measure_content(line, measure)
    if every:
        others = [name for name in PLOTTED_MEASURES if name != measure]
        parts += [_other_content(line, name, window) for name in others]
    return Content("\n").join(parts)


def _measure_content(line: ProgressLine, name: str) -> Iterator[Content]:
    """Yield the usual and best figure of a measure, and its trends."""
    best, unit = line.best[name], METRICS[name].unit
    text = f"{METRICS[name].title}: {_usual_text(line, name)}"
    if best is not None:
        day = day_text(best.first, line.progress.today)
        text += f", best {value_text(best.value, unit)} on {day}"
    yield Content.styled(text, "bold")
    for window in TrendWindow:
        trend = line.trends[name, window]
        yield Content.assemble(f"  {window:<16} ", _signed(trend, trend_text(trend, unit)))


def _other_content(line: ProgressLine, name: str, window: TrendWindow) -> Content:
    trend = line.trends[name, window]
    figure = f"{METRICS[name].title:<{_TITLE}}{_usual_text(line, name):>{_USUAL}}  "
    return Content.assemble(figure, _signed(trend, trend_text(trend, METRICS[name].unit)))


def _usual_text(line: ProgressLine, name: str) -> str:
    unit, value = METRICS[name].unit, line.usual.value(name)
    return value_text(value, unit) + ("" if unit == "%" or value is None else f" {unit}")


class ProgressPlot(PlotextPlot):
    """The days of one subject as dots, and its trend as a line."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._shown: tuple[Progress, str, TrendWindow] | None = None

    def on_mount(self) -> None:
        """Draw again when the theme changes."""
        self.watch(self.app, "theme", self._draw, init=False)

    def show(self, progress: Progress, measure: str, window: TrendWindow) -> None:
        """Plot a measure of a subject over a window."""
        self._shown = (progress, measure, window)
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw again with the dates that fit."""
        self._draw()

    def _draw(self) -> None:
        if self._shown is not None and self.size.width:
            progress, measure, window = self._shown
            draw_progress(
                self.plt, progress, METRICS[measure], self._palette(), self.size.width, window
            )
            self.refresh()

    def _palette(self) -> Palette:
        days, line = (Color.parse(pen_color(self.app, pen)).rgb for pen in ("flat", "now"))
        return Palette(days, line)
