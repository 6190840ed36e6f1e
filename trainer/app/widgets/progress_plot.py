"""Progress of a subject: its line in the list, its figures, and its plot."""

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
"""Shape and pen of the verdict on the last days."""
_NAME, _INDENT = 24, 4
"""Width of a name, and indentation of a verdict, in cells."""


@dataclass(frozen=True, slots=True)
class ProgressLine:
    """Figures of one subject, computed in advance so that the screen need not wait.

    Attributes:
        progress: progress of the subject.
        usual: its usual figures.
        best: its best day by measure; None for too few notes.
        changes: the last days compared with those before, by measure.
    """

    progress: Progress
    usual: StepSummary
    best: dict[str, SeriesPoint | None]
    changes: dict[str, Comparison]

    @classmethod
    def of(cls, progress: Progress) -> ProgressLine:
        """Compute the line of a subject."""
        return cls(
            progress,
            progress.usual,
            {name: progress.best(name) for name in PLOTTED_MEASURES},
            {name: progress.compare(name) for name in PLOTTED_MEASURES},
        )


def column_heads(measure: str) -> str:
    """Return the column headings."""
    return f"  {'':<{_NAME}}{'off':>6}{'in tune':>9}   last days: {METRICS[measure].title}"


def progress_content(line: ProgressLine, measure: str, chosen: bool = False) -> Content:
    """Return a line of the list, with a pointer if it is chosen."""
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
    """Return usual, best and recent figures by one measure, or by every one."""
    progress = line.progress
    parts: list[Content] = [
        Content.assemble(
            (subject_text(progress), "bold"),
            (f"   {quantity_text(progress.notes, 'note')}", CSS_PENS["quiet"].color),
        )
    ]
    for name in PLOTTED_MEASURES:
        if every or name == measure:
            parts += _measure_content(line, name, "bold" if every and name == measure else "")
    return Content("\n").join(parts)


def _measure_content(line: ProgressLine, name: str, style: str) -> tuple[Content, Content]:
    known = METRICS[name]
    best, change = line.best[name], line.changes[name]
    unit = "" if known.unit == "%" else f" {known.unit}"
    text = f"{known.title:<12} usual {value_text(line.usual.value(name), known.unit)}{unit}"
    if best is not None:
        day = day_text(best.first, line.progress.today)
        text += f", best {value_text(best.value, known.unit)} on {day}"
    sign, pen = VERDICT_SIGNS[change.verdict]
    verdict = f"{'':<{_INDENT}}{sign} {change_text(change, known.unit)}"
    return Content.styled(text, style), Content.styled(verdict, CSS_PENS[pen].color)


class ProgressPlot(PlotextPlot):
    """A plot of one subject by day and week."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._shown: tuple[Progress, str] | None = None

    def on_mount(self) -> None:
        """Draw again when the theme changes."""
        self.watch(self.app, "theme", self._draw, init=False)

    def show(self, progress: Progress, measure: str) -> None:
        """Plot a measure of a subject."""
        self._shown = (progress, measure)
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw again with the dates that fit."""
        self._draw()

    def _draw(self) -> None:
        if self._shown is not None and self.size.width:
            progress, measure = self._shown
            draw_progress(self.plt, progress, METRICS[measure], self._palette(), self.size.width)
            self.refresh()

    def _palette(self) -> Palette:
        days, line = (Color.parse(pen_color(self.app, pen)).rgb for pen in ("flat", "now"))
        return Palette(days, line)
