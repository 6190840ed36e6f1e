"""A class's recordings of one drill as an HTML page; the template is ``class.html.j2``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trainer.drill import Drill
from trainer.report.class_report import (
    MAX_LOSSES,
    Student,
    class_summary,
    mark_text,
    median_scores,
    names_text,
    outcome_text,
    students_by_loss,
)
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import score_text
from trainer.report.rendering import render_page
from trainer.report.tab_layout import tab_page_text

TAB_COLUMNS = 76
"""Width of the page of tab in characters."""


@dataclass(frozen=True, slots=True)
class ChartParameters:
    """Sizes of the chart of median scores in pixels. All were chosen by eye.

    Attributes:
        height_px: of the chart.
        base_px: position of the foot of the bars.
        text_px: baseline of the numbers below the bars.
        bar_px: width of a bar.
        gap_px: space between two bars.
        px_per_point: height of a bar per point of the score.
    """

    height_px: int = 110
    base_px: int = 90
    text_px: int = 102
    bar_px: int = 18
    gap_px: int = 6
    px_per_point: float = 0.8


CHART = ChartParameters()


@dataclass(frozen=True, slots=True)
class ChartBar:
    """The median score of a step as a bar.

    Attributes:
        step: number of the step, from 1.
        x, y, width, height: the rectangle in pixels.
        label: description.
    """

    step: int
    x: int
    y: float
    width: int
    height: float
    label: str


@dataclass(frozen=True, slots=True)
class MedianChart:
    """The median score of every step: its size in pixels, and its bars."""

    width: int
    height: int
    text_y: int
    bars: tuple[ChartBar, ...]


def class_html(drill: Drill, students: Sequence[Student]) -> str:
    """Return the page."""
    return render_page(
        "class.html.j2",
        drill=drill,
        summary=class_summary(students),
        needs=[
            {"phrase": phrase, "students": names_text(entries)}
            for phrase, entries in students_by_loss(students)
        ],
        rows=[
            {
                "name": student.name,
                "score": mark_text(student),
                "verdict": outcome_text(student),
                "passes": student.passes,
                "needs": student.trouble
                or ", ".join(loss.phrase for loss in student.losses[:MAX_LOSSES]),
            }
            for student in students
        ],
        drill_summary=drill_summary(drill),
        tab_page=tab_page_text(drill, TAB_COLUMNS),
        chart=_median_chart(drill, median_scores(students)),
    )


def _median_chart(drill: Drill, scores: Mapping[int, float]) -> MedianChart:
    pitch = CHART.bar_px + CHART.gap_px
    bars = []
    for place, (index, score) in enumerate(scores.items()):
        height = score * CHART.px_per_point
        tab = drill.steps[index].tab if index < len(drill.steps) else ""
        label = f"step {index + 1}, {tab}: {score_text(score)}"
        bars.append(
            ChartBar(index + 1, place * pitch, CHART.base_px - height, CHART.bar_px, height, label)
        )
    return MedianChart(max(1, len(scores)) * pitch, CHART.height_px, CHART.text_px, tuple(bars))
