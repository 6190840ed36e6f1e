"""A class's recordings of one drill as an HTML page; the template is ``class.html.j2``.

What the class should do comes first, then who has which habit, then everybody, then a map of all
marks: a row for each student and a column for each step.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from trainer.drill import Drill
from trainer.report.class_report import (
    Student,
    class_habits,
    class_summary,
    exercises,
    mark_text,
    median_scores,
    needs_text,
    outcome_text,
    part_text,
)
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import score_text, sentence_text
from trainer.report.grades import GRADES, MISSED, Grade, grade_of_score
from trainer.report.rendering import render_page
from trainer.report.tab_layout import tab_page_text

TAB_COLUMNS = 76
"""Width of the page of tab in characters."""
MAP_STEPS = 24
"""Maximum number of steps in a part of the map, which fits on paper and on a phone."""


@dataclass(frozen=True, slots=True)
class MapCell:
    """A mark on the map.

    Attributes:
        grade: of the mark; None where the step was not marked.
        label: description.
        starts_bar: whether its step is the first of a bar.
    """

    grade: Grade | None
    label: str
    starts_bar: bool


@dataclass(frozen=True, slots=True)
class MapPart:
    """Some bars of the map, as many as fit on a sheet of paper.

    Attributes:
        bars: numbers of the bars, each with its number of steps.
        tabs: tab of each step, and whether it is the first of a bar.
        rows: the students, and the class.
    """

    bars: tuple[tuple[int, int], ...]
    tabs: tuple[tuple[str, bool], ...]
    rows: tuple[MapRow, ...]


@dataclass(frozen=True, slots=True)
class MapRow:
    """A row of the map: a student, or the class.

    Attributes:
        name: the student's name.
        page: link to the student's page; empty without one.
        cells: a cell for each step.
    """

    name: str
    page: str
    cells: tuple[MapCell, ...]


def class_html(drill: Drill, students: Sequence[Student], shelf: Sequence[Drill] = ()) -> str:
    """Return the page.

    Args:
        drill: the drill.
        students: the class.
        shelf: the available drills, of which some are proposed.
    """
    return render_page(
        "class.html.j2",
        drill=drill,
        summary=class_summary(students),
        exercises=exercises(drill, students, shelf),
        habits=class_habits(students),
        count=sum(student.score is not None for student in students),
        rows=[
            {
                "name": student.name,
                "page": student.beside.page,
                "remark": student.beside.remark,
                "score": mark_text(student),
                "grade": MISSED if student.score is None else grade_of_score(student.score),
                "verdict": outcome_text(student) + part_text(student, drill),
                "last": "" if student.last is None else score_text(student.last),
                "passes": student.passes,
                "needs": needs_text(student),
                "notes": [sentence_text(note) for note in student.notes],
            }
            for student in students
        ],
        has_passes=any(student.passes > 1 for student in students),
        has_last=any(student.last is not None for student in students),
        has_remarks=any(student.beside.remark for student in students),
        drill_summary=drill_summary(drill),
        tab_page=tab_page_text(drill, TAB_COLUMNS),
        map=[*map_parts(drill, students)],
        legend_of_marks=(*GRADES, MISSED),
    )


def map_parts(drill: Drill, students: Sequence[Student]) -> Iterator[MapPart]:
    """Yield the map in parts of whole bars; none where nobody was marked."""
    rows = [*mark_map(drill, students)]
    if not rows:
        return
    bars = [(bar, len(list(steps))) for bar, steps in groupby(drill.steps, lambda step: step.bar)]
    tabs = [(step.tab, starts) for step, starts in zip(drill.steps, _starts(drill), strict=True)]
    first = 0
    while bars:
        count = 1
        while count < len(bars) and sum(steps for _, steps in bars[: count + 1]) <= MAP_STEPS:
            count += 1
        end = first + sum(steps for _, steps in bars[:count])
        part = tuple(MapRow(row.name, row.page, row.cells[first:end]) for row in rows)
        yield MapPart(tuple(bars[:count]), tuple(tabs[first:end]), part)
        bars, first = bars[count:], end


def mark_map(drill: Drill, students: Sequence[Student]) -> Iterator[MapRow]:
    """Yield the rows of the map: each student who was marked, and the class at the median."""
    marked = [student for student in students if student.steps is not None]
    for student in marked:
        yield _row(drill, student.name, student.beside.page, student.steps or {}, student.missed)
    if len(marked) > 1:
        yield _row(drill, "the class", "", median_scores(marked), frozenset())


def _row(
    drill: Drill, name: str, page: str, scores: Mapping[int, float], missed: frozenset[int]
) -> MapRow:
    cells = []
    for step, starts in zip(drill.steps, _starts(drill), strict=True):
        score = scores.get(step.index)
        grade = None if score is None else grade_of_score(score)
        if step.index in missed:
            grade = MISSED
        text = "not marked" if score is None else score_text(score)
        label = f"{name}, step {step.index + 1}, {step.tab}: {text}"
        cells.append(MapCell(grade, label, starts))
    return MapRow(name, page, tuple(cells))


def _starts(drill: Drill) -> list[bool]:
    """Whether each step is the first of its bar."""
    bars = [step.bar for step in drill.steps]
    return [i == 0 or bar != bars[i - 1] for i, bar in enumerate(bars)]
