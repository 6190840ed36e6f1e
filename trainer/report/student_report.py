"""A student's report as Markdown, CSV and JSON; as HTML it is in ``student_page``."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from trainer.core.tables import safe_cell
from trainer.drill import CRITERIA
from trainer.marking import Result
from trainer.report.advice import Advice
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import markdown_text, score_text
from trainer.report.result_report import result_data, total_line
from trainer.report.schemas.results import AdviceData, StudentReportData
from trainer.report.tab_layout import tab_page_text

MEASURED_COLUMNS = ("cents", "wobble_cents", "settle_ms", "late_ms", "leak_hole", "leak_db")
"""Measured figures of each step in the CSV."""
TAB_COLUMNS = 76
"""Width of the page of tab in characters."""


def student_markdown(result: Result, advice: Sequence[Advice], name: str) -> str:
    """Return a report as Markdown (CommonMark with GitHub's tables).

    Args:
        result: the marks.
        advice: what to work on.
        name: name of the recording.
    """
    tempo = "no beat" if result.drill.free else f"tempo {result.tempo:g}"
    blocks = [
        f"# {markdown_text(result.drill.title)}",
        f"{markdown_text(name)}, {result.harp} harp, {tempo}",
        f"**{total_line(result)}**",
    ]
    if advice:
        items = enumerate(advice, 1)
        blocks += ["## To work on", "\n".join(_advice_line(i, item) for i, item in items)]
    blocks += [
        "## The page",
        markdown_text(drill_summary(result.drill)),
        f"```\n{tab_page_text(result.drill, TAB_COLUMNS)}\n```",
        "## Step by step",
        _step_table(result),
        *(f"- {markdown_text(extra.sentence)}" for extra in result.extras),
    ]
    return "\n\n".join(blocks) + "\n"


def _advice_line(number: int, item: Advice) -> str:
    drill = f" Drill: {markdown_text(item.drill)}." if item.drill else ""
    return f"{number}. **{markdown_text(item.focus)}** {markdown_text(item.reason)}{drill}"


def _step_table(result: Result) -> str:
    rows = [f"| step | tab | mark | {' | '.join(CRITERIA)} | why |"]
    rows.append("|" + " --- |" * (4 + len(CRITERIA)))
    for mark in result.marks:
        scores = " | ".join(
            score_text(mark.criteria[name]) if name in mark.criteria else "" for name in CRITERIA
        )
        rows.append(
            f"| {mark.step.index + 1} | `{mark.step.tab}` | {score_text(mark.score)} | {scores} | "
            f"{markdown_text(mark.sentence)} |"
        )
    return "\n".join(rows)


def student_csv(result: Result) -> str:
    """Return the steps of a result as CSV (RFC 4180), a row per step; what is unknown is empty."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(["step", "bar", "tab", "mark", *CRITERIA, *MEASURED_COLUMNS, "why"])
    for mark in result.marks:
        step = mark.step
        scores = [mark.criteria.get(name) for name in CRITERIA]
        figures = [getattr(mark.measured, name) for name in MEASURED_COLUMNS]
        values = [None if value is None else round(value, 2) for value in [*scores, *figures]]
        row = [step.index + 1, step.bar, step.tab, round(mark.score, 2), *values, mark.sentence]
        writer.writerow(map(safe_cell, row))
    return file.getvalue()


def student_data(result: Result, advice: Sequence[Advice], name: str) -> StudentReportData:
    """Return a report as JSON data; arguments as for :func:`student_markdown`."""
    to_work_on: list[AdviceData] = [
        {"what": item.focus, "why": item.reason, "drill": item.drill or None} for item in advice
    ]
    return {"recording": name, "to_work_on": to_work_on, **result_data(result)}
