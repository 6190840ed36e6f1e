"""A class's recordings of one drill: who should work on what, as Markdown, CSV and JSON.

The input is the JSON of each recording, as :func:`trainer.report.batch_report.recording_data`
returns it and ``trainer mark --out`` stores it, so that recordings marked on earlier days count,
too. :mod:`trainer.report.class_page` is the same as HTML.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from statistics import median
from typing import Any

from trainer.core.printable import printable
from trainer.core.tables import safe_cell
from trainer.drill import Drill
from trainer.report.formatting import markdown_text, quantity_text, score_text
from trainer.report.losses import Loss, losses
from trainer.report.schemas.classes import ClassReportData

MIN_STUDENT_LOSS_POINTS = 0.5
"""Smallest loss that counts for a student, in points of the total score. Chosen by judgment."""
MAX_LOSSES = 3
"""Maximum number of losses shown for each student."""


@dataclass(frozen=True, slots=True)
class Student:
    """One recording of the class.

    Attributes:
        name: the student's name.
        score: score of the best pass; None if it could not be marked.
        passed: whether that passed.
        passes: number of passes.
        losses: points lost, the largest first.
        steps: score of each step of the best pass, by its index.
        trouble: why it could not be marked; empty if it was.
    """

    name: str
    score: float | None = None
    passed: bool = False
    passes: int = 0
    losses: tuple[Loss, ...] = ()
    steps: Mapping[int, float] | None = None
    trouble: str = ""

    @classmethod
    def of(cls, data: Mapping[str, Any], name: str | None = None) -> Student:
        """Return the student of a recording's JSON, by name; None takes that of the file."""
        name = printable(PurePath(data["recording"]).stem if name is None else name)
        if data.get("score") is None:
            return cls(name, trouble=printable(data.get("trouble") or "it was not marked"))
        marks = data["steps"]
        steps = [
            (mark["target"]["tab"], mark["target"]["length_beats"], mark["parts"]) for mark in marks
        ]
        return cls(
            name,
            data["score"],
            data["passed"],
            len(data["passes"]),
            tuple(losses(steps, data["weights"], MIN_STUDENT_LOSS_POINTS)),
            {mark["index"]: mark["score"] for mark in marks},
        )


def read_students(
    recordings: Sequence[Mapping[str, Any]], names: Mapping[str, str] | None = None
) -> tuple[Student, ...]:
    """Return the students of a class, in order of their names.

    Args:
        recordings: the JSON of each.
        names: names by the paths of the recordings; others are named by their files.
    """
    known = names or {}
    students = [Student.of(data, known.get(data["recording"])) for data in recordings]
    return tuple(sorted(students, key=lambda student: student.name))


def students_by_loss(students: Sequence[Student]) -> list[tuple[str, list[tuple[str, float]]]]:
    """Return each loss in words with the names and points of its students.

    The loss that costs the class most comes first, and so does the student who lost most.
    """
    points: dict[str, list[tuple[str, float]]] = {}
    for student in students:
        for loss in student.losses[:MAX_LOSSES]:
            points.setdefault(loss.phrase, []).append((student.name, loss.points))
    for entries in points.values():
        entries.sort(key=lambda entry: -entry[1])
    return sorted(points.items(), key=lambda item: -sum(lost for _, lost in item[1]))


def median_scores(students: Sequence[Student]) -> dict[int, float]:
    """Return the median score of each step, by its index."""
    scores: dict[int, list[float]] = {}
    for student in students:
        for index, score in (student.steps or {}).items():
            scores.setdefault(index, []).append(score)
    return {index: median(values) for index, values in sorted(scores.items())}


def class_markdown(drill: Drill, students: Sequence[Student]) -> str:
    """Return the report as Markdown (CommonMark with GitHub's tables)."""
    blocks = [f"# {markdown_text(drill.title)}", class_summary(students), "## Who needs what"]
    blocks.append(
        "\n".join(
            f"- `{phrase}`: {markdown_text(names_text(entries))}"
            for phrase, entries in students_by_loss(students)
        )
    )
    rows = ["| who | mark | | passes | needs |", "| --- | --- | --- | --- | --- |"]
    for student in students:
        needs = markdown_text(student.trouble) or ", ".join(
            f"`{loss.phrase}`" for loss in student.losses[:MAX_LOSSES]
        )
        rows.append(
            f"| {markdown_text(student.name)} | {mark_text(student)} | {outcome_text(student)} | "
            f"{student.passes} | {needs} |"
        )
    blocks += ["## Everybody", "\n".join(rows), "## Step by step"]
    blocks.append(
        "\n".join(
            f"- step {index + 1} (`{drill.steps[index].tab}`): {score_text(score)} at the median"
            for index, score in median_scores(students).items()
            if index < len(drill.steps)
        )
    )
    return "\n\n".join(block for block in blocks if block) + "\n"


def class_csv(students: Sequence[Student]) -> str:
    """Return the report as CSV (RFC 4180), a row per student."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(["who", "mark", "passed", "passes", *("needs",) * MAX_LOSSES, "trouble"])
    for student in students:
        needs = [loss.phrase for loss in student.losses[:MAX_LOSSES]]
        needs += [""] * (MAX_LOSSES - len(needs))
        score = "" if student.score is None else round(student.score, 2)
        row = [student.name, score, student.passed, student.passes, *needs, student.trouble]
        writer.writerow(map(safe_cell, row))
    return file.getvalue()


def class_data(drill: Drill, students: Sequence[Student]) -> ClassReportData:
    """Return the report as JSON data."""
    return {
        "drill": drill.name,
        "students": [
            {
                "who": student.name,
                "score": student.score,
                "passed": student.passed,
                "passes": student.passes,
                "trouble": student.trouble or None,
                "needs": [
                    {"part": loss.criterion, "tab": loss.tab, "points": round(loss.points, 2)}
                    for loss in student.losses
                ],
            }
            for student in students
        ],
        "needs": [
            {"what": phrase, "who": [name for name, _ in entries]}
            for phrase, entries in students_by_loss(students)
        ],
        "steps": [
            {"step": index + 1, "median": score} for index, score in median_scores(students).items()
        ],
    }


def class_summary(students: Sequence[Student]) -> str:
    """Return a line on the whole class: how many were marked and passed, and the median."""
    scores = [student.score for student in students if student.score is not None]
    parts = [f"{len(scores)} of {quantity_text(len(students), 'recording')} marked"]
    if scores:
        passed = sum(student.passed for student in students)
        parts.append(f"{passed} passed; the median is {score_text(median(scores))}")
    return f"{'; '.join(parts)}."


def names_text(entries: Sequence[tuple[str, float]]) -> str:
    """Return names with the points that each lost: ``Anna (7), Bert (3)``."""
    return ", ".join(f"{name} ({points:.0f})" for name, points in entries)


def mark_text(student: Student) -> str:
    """Return a student's score as text; ``×`` if the recording could not be marked."""
    return "×" if student.score is None else score_text(student.score)


def outcome_text(student: Student) -> str:
    """Return whether a student passed, in words."""
    if student.score is None:
        return "not marked"
    return "passed" if student.passed else "not yet"
