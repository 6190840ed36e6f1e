"""A class's recordings of one drill: who needs what, as a page, Markdown, a table or data.

It is made of the data of each recording, as
:func:`trainer.report.batch_report.marked_dict` gives it and
``trainer mark --out`` keeps it, so that what was marked on other days is in it, too.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from pathlib import PurePath
from statistics import median
from typing import Any

from trainer.drill import Drill
from trainer.report.advice import CRITERION_PHRASES, losses
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import quantity_text, score_text
from trainer.report.student_page import html_page
from trainer.report.tab_layout import tab_page_text

MIN_STUDENT_LOSS_POINTS = 0.5
"""Points of the total; what cost a student less is not worth a lesson."""
MAX_LOSSES = 3
"""Things that are told of each student."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What cost a student most.

    Attributes:
        part: a part of the marks.
        tab: the note it was lost on.
        points: of the total.
    """

    part: str
    tab: str
    points: float

    @property
    def words(self) -> str:
        """The need in words."""
        return f"{self.tab}: {CRITERION_PHRASES[self.part]}"


@dataclass(frozen=True, slots=True)
class Student:
    """One recording.

    Attributes:
        name: of its file, without the ending.
        score: the total of the best pass; None where it could not be marked.
        passed: whether that passed.
        passes: how many there are.
        needs: what cost most, the dearest first.
        steps: the score of each step of the best pass, by its index.
        trouble: why it could not be marked; empty if it was.
    """

    name: str
    score: float | None = None
    passed: bool = False
    passes: int = 0
    needs: tuple[Loss, ...] = ()
    steps: Mapping[int, float] | None = None
    trouble: str = ""

    @classmethod
    def of(cls, data: Mapping[str, Any]) -> Student:
        """A student by the data of a recording."""
        name = PurePath(data["recording"]).stem
        if data.get("score") is None:
            return cls(name, trouble=data.get("trouble") or "it was not marked")
        marks = data["steps"]
        some = [
            (one["target"]["tab"], one["target"]["length_beats"], one["parts"]) for one in marks
        ]
        lost = losses(some, data["weights"], MIN_STUDENT_LOSS_POINTS)
        return cls(
            name,
            data["score"],
            data["passed"],
            len(data["passes"]),
            tuple(Loss(part, tab, points) for (part, tab), points in lost),
            {one["index"]: one["score"] for one in marks},
        )


def read_students(data: Sequence[Mapping[str, Any]]) -> tuple[Student, ...]:
    """The students of a class, by name."""
    return tuple(sorted(map(Student.of, data), key=lambda one: one.name))


def students_by_loss(some: Sequence[Student]) -> list[tuple[str, list[tuple[str, float]]]]:
    """Each need, with the students who have it and what it cost them: what costs the class most
    comes first."""
    found: dict[str, list[tuple[str, float]]] = {}
    for student in some:
        for need in student.needs[:MAX_LOSSES]:
            found.setdefault(need.words, []).append((student.name, need.points))
    for who in found.values():
        who.sort(key=lambda one: -one[1])
    return sorted(found.items(), key=lambda one: -sum(points for _, points in one[1]))


def median_scores(some: Sequence[Student]) -> dict[int, float]:
    """The median score of each step, by its index."""
    scores: dict[int, list[float]] = {}
    for student in some:
        for index, score in (student.steps or {}).items():
            scores.setdefault(index, []).append(score)
    return {index: median(found) for index, found in sorted(scores.items())}


def class_html(drill: Drill, some: Sequence[Student]) -> str:
    """The page."""
    title = f"{drill.title}: the class"
    body = [
        f"<h1>{escape(drill.title)}</h1>",
        f"<p class=total>{escape(_summary(some))}</p>",
        "<h2>Who needs what</h2>",
        _needs_html(some),
        "<h2>Everybody</h2>",
        _table_html(some),
        "<h2>Step by step</h2>",
        f"<p class=quiet>{escape(drill_summary(drill))}</p>",
        f"<pre class=tab>{escape(tab_page_text(drill, 76))}</pre>",
        _steps_html(drill, median_scores(some)),
    ]
    return html_page(title, body)


def class_markdown(drill: Drill, some: Sequence[Student]) -> str:
    """The same as Markdown (CommonMark, with GitHub's tables)."""
    told = [f"# {drill.title}", _summary(some), "## Who needs what"]
    told.append("\n".join(f"- `{words}`: {_names(who)}" for words, who in students_by_loss(some)))
    rows = ["| who | mark | | passes | needs |", "| --- | --- | --- | --- | --- |"]
    for one in some:
        needs = one.trouble or ", ".join(f"`{need.words}`" for need in one.needs[:MAX_LOSSES])
        rows.append(f"| {one.name} | {_mark(one)} | {_verdict(one)} | {one.passes} | {needs} |")
    told += ["## Everybody", "\n".join(rows), "## Step by step"]
    told.append(
        "\n".join(
            f"- step {index + 1} (`{drill.steps[index].tab}`): {score_text(score)} at the median"
            for index, score in median_scores(some).items()
            if index < len(drill.steps)
        )
    )
    return "\n\n".join(text for text in told if text) + "\n"


def class_csv(some: Sequence[Student]) -> str:
    """The same as a table (RFC 4180), a row a student."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(["who", "mark", "passed", "passes", *("needs",) * MAX_LOSSES, "trouble"])
    for one in some:
        needs = [need.words for need in one.needs[:MAX_LOSSES]]
        needs += [""] * (MAX_LOSSES - len(needs))
        mark = "" if one.score is None else round(one.score, 2)
        writer.writerow([one.name, mark, one.passed, one.passes, *needs, one.trouble])
    return file.getvalue()


def class_data(drill: Drill, some: Sequence[Student]) -> dict[str, Any]:
    """The same as data that JSON can hold."""
    return {
        "drill": drill.name,
        "students": [
            {
                "who": one.name,
                "score": one.score,
                "passed": one.passed,
                "passes": one.passes,
                "trouble": one.trouble or None,
                "needs": [
                    {"part": need.part, "tab": need.tab, "points": round(need.points, 2)}
                    for need in one.needs
                ],
            }
            for one in some
        ],
        "needs": [
            {"what": words, "who": [name for name, _ in who]}
            for words, who in students_by_loss(some)
        ],
        "steps": [
            {"step": index + 1, "median": score} for index, score in median_scores(some).items()
        ],
    }


def _summary(some: Sequence[Student]) -> str:
    marked = [one.score for one in some if one.score is not None]
    told = [f"{len(marked)} of {quantity_text(len(some), 'recording')} marked"]
    if marked:
        passed = sum(one.passed for one in some)
        told.append(f"{passed} passed; the median is {score_text(median(marked))}")
    return f"{'; '.join(told)}."


def _names(who: Sequence[tuple[str, float]]) -> str:
    return ", ".join(f"{name} ({points:.0f})" for name, points in who)


def _mark(one: Student) -> str:
    return "×" if one.score is None else score_text(one.score)


def _verdict(one: Student) -> str:
    if one.score is None:
        return "not marked"
    return "passed" if one.passed else "not yet"


def _needs_html(some: Sequence[Student]) -> str:
    needs = students_by_loss(some)
    if not needs:
        return "<p class=quiet>Nobody lost much on one thing.</p>"
    items = "".join(
        f"<li><strong>{escape(words)}</strong> {escape(_names(who))}</li>" for words, who in needs
    )
    return f"<ol>{items}</ol><p class=quiet>In brackets, the points of the total that it cost.</p>"


def _table_html(some: Sequence[Student]) -> str:
    rows = ""
    for one in some:
        needs = one.trouble or ", ".join(need.words for need in one.needs[:MAX_LOSSES])
        cells = (_mark(one), _verdict(one), str(one.passes), escape(needs))
        inside = "".join(f"<td>{cell}</td>" for cell in cells)
        rows += f"<tr><th scope=row>{escape(one.name)}</th>{inside}</tr>"
    heads = "".join(f"<th scope=col>{one}</th>" for one in ("who", "mark", "", "passes", "needs"))
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"


_HIGH, _BAR, _GAP = 110, 18, 6


def _steps_html(drill: Drill, scores: Mapping[int, float]) -> str:
    """The median of each step as a bar."""
    bars = ""
    for place, (index, score) in enumerate(scores.items()):
        x, high = place * (_BAR + _GAP), score * 0.8
        tab = drill.steps[index].tab if index < len(drill.steps) else ""
        said = f"step {index + 1}, {tab}: {score_text(score)}"
        bars += (
            f"<rect class=mine x={x} y={90 - high:.1f} width={_BAR} height={high:.1f}>"
            f"<title>{escape(said)}</title></rect>"
            f"<text x={x} y=102>{index + 1}</text>"
        )
    wide = max(1, len(scores)) * (_BAR + _GAP)
    return (
        f'<svg role=img aria-label="median mark of each step" viewBox="0 0 {wide} {_HIGH}" '
        f'style="max-width: {wide}px">{bars}</svg>'
        "<p class=quiet>The median mark of each step; a full bar is 100.</p>"
    )
