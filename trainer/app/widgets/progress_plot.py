"""Progress: a line for each thing there is progress in, what is told of it, and its plot."""

from __future__ import annotations

from dataclasses import dataclass

from textual import events
from textual.color import Color
from textual.content import Content
from textual_plotext import PlotextPlot

from trainer.app.theme import CSS_PENS, pen_color
from trainer.coach import (
    METRICS,
    Comparison,
    ComparisonVerdict,
    Progress,
    SeriesPoint,
    StepSummary,
    SubjectKind,
)
from trainer.report.formatting import day_text, quantity_text
from trainer.report.progress_plots import PLOTTED_MEASURES, Palette, draw_progress
from trainer.report.progress_report import (
    change_text,
    change_verdict_text,
    subject_text,
    value_text,
)

KIND_HEADINGS = {
    SubjectKind.ALL: "All together",
    SubjectKind.NOTE: "Notes, the worst first",
    SubjectKind.SEVERAL: "Chords and ladders",
    SubjectKind.SKILL: "Skills, the worst first",
}
VERDICT_SIGNS = {
    ComparisonVerdict.BETTER: ("↗", "good"),
    ComparisonVerdict.WORSE: ("↘", "wrong"),
    ComparisonVerdict.UNCLEAR: ("·", "quiet"),
}
"""A shape and a pen for what is told of the last days."""
_NAME, _INDENT = 24, 4


@dataclass(frozen=True, slots=True)
class ProgressLine:
    """What a line says, reckoned beforehand: the screen does not wait for it.

    Attributes:
        progress: what it is about.
        usual: its usual figures.
        best: the best day, and
        changes: the last days against those before, by the measures that can be shown.
    """

    progress: Progress
    usual: StepSummary
    best: dict[str, SeriesPoint | None]
    changes: dict[str, Comparison]

    @classmethod
    def of(cls, progress: Progress) -> ProgressLine:
        """The line of one thing."""
        return cls(
            progress,
            progress.usual,
            {name: progress.best(name) for name in PLOTTED_MEASURES},
            {name: progress.compare(name) for name in PLOTTED_MEASURES},
        )


def column_heads(measure: str) -> str:
    """The names of the columns."""
    return f"  {'':<{_NAME}}{'off':>6}{'in tune':>9}   last days: {METRICS[measure].title}"


def progress_content(line: ProgressLine, measure: str, chosen: bool = False) -> Content:
    """A line, with a pointer if it is the chosen one."""
    usual, change = line.usual, line.changes[measure]
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    name = line.progress.name
    name = name if len(name) < _NAME else name[: _NAME - 2] + "…"
    sign, pen = VERDICT_SIGNS[change.verdict]
    return Content.assemble(
        pointer,
        (f"{name:<{_NAME}}", "bold"),
        f"{value_text(usual.cents, 'cents'):>6}{value_text(usual.in_tune, '%'):>9}   ",
        (f"{sign} {change_verdict_text(change, METRICS[measure].unit)}", CSS_PENS[pen].color),
    )


def detail_content(line: ProgressLine, measure: str, *, every: bool) -> Content:
    """Usual, best and the last days of a thing, by one measure, or by every one."""
    progress = line.progress
    parts: list[Content] = [
        Content.assemble(
            (subject_text(progress), "bold"),
            (f"   {quantity_text(progress.notes, 'note')}", CSS_PENS["quiet"].color),
        )
    ]
    for name in PLOTTED_MEASURES:
        if every or name == measure:
            parts += _told(line, name, "bold" if every and name == measure else "")
    return Content("\n").join(parts)


def _told(line: ProgressLine, name: str, style: str) -> tuple[Content, Content]:
    known = METRICS[name]
    best, change = line.best[name], line.changes[name]
    unit = "" if known.unit == "%" else f" {known.unit}"
    told = f"{known.title:<12} usual {value_text(line.usual.value(name), known.unit)}{unit}"
    if best is not None:
        day = day_text(best.first, line.progress.today)
        told += f", best {value_text(best.value, known.unit)} on {day}"
    sign, pen = VERDICT_SIGNS[change.verdict]
    verdict = f"{'':<{_INDENT}}{sign} {change_text(change, known.unit)}"
    return Content.styled(told, style), Content.styled(verdict, CSS_PENS[pen].color)


class ProgressPlot(PlotextPlot):
    """A plot of one thing over its days and weeks."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._shown: tuple[Progress, str] | None = None

    def on_mount(self) -> None:
        """Draw again in the colours of another theme."""
        self.watch(self.app, "theme", self._draw, init=False)

    def show(self, progress: Progress, measure: str) -> None:
        """Plot a measure of a thing."""
        self._shown = (progress, measure)
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Name as many days as there is room for."""
        self._draw()

    def _draw(self) -> None:
        if self._shown is not None and self.size.width:
            progress, measure = self._shown
            draw_progress(self.plt, progress, METRICS[measure], self._palette(), self.size.width)
            self.refresh()

    def _palette(self) -> Palette:
        days, weeks = (Color.parse(pen_color(self.app, pen)).rgb for pen in ("flat", "now"))
        return Palette(days, weeks)
