"""A student's report in other forms than a page: Markdown, a table, data."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from trainer.drill import CRITERIA
from trainer.marking import Result
from trainer.report.advice import Advice
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import score_text
from trainer.report.result_report import result_data, total_line
from trainer.report.schemas.results import AdviceData, StudentReportData
from trainer.report.tab_layout import tab_page_text

MEASURED = ("cents", "wobble_cents", "settle_ms", "late_ms", "leak_hole", "leak_db")
"""Figures of each step in the table, where they were measured."""


def student_markdown(result: Result, advice: Sequence[Advice], name: str) -> str:
    """A report as Markdown (CommonMark, with GitHub's tables).

    Args:
        result: the marks.
        advice: what to work on.
        name: of the recording.
    """
    beat = "no beat" if result.drill.free else f"tempo {result.tempo:g}"
    told = [
        f"# {_plain(result.drill.title)}",
        f"{_plain(name)}, {result.harp} harp, {beat}",
        f"**{total_line(result)}**",
    ]
    if advice:
        told.append("## To work on")
        told.append(
            "\n".join(
                f"{i}. **{_plain(one.focus)}** {_plain(one.reason)}"
                + (f" Drill: {_plain(one.drill)}." if one.drill else "")
                for i, one in enumerate(advice, 1)
            )
        )
    told += [
        "## The page",
        _plain(drill_summary(result.drill)),
        f"```\n{tab_page_text(result.drill, 76)}\n```",
    ]
    rows = [f"| step | tab | mark | {' | '.join(CRITERIA)} | why |"]
    rows.append("|" + " --- |" * (4 + len(CRITERIA)))
    for mark in result.marks:
        parts = " | ".join(
            score_text(mark.criteria[part]) if part in mark.criteria else "" for part in CRITERIA
        )
        rows.append(
            f"| {mark.step.index + 1} | `{mark.step.tab}` | {score_text(mark.score)} | {parts} | "
            f"{_plain(mark.sentence)} |"
        )
    told += ["## Step by step", "\n".join(rows)]
    told += [f"- {_plain(extra.sentence)}" for extra in result.extras]
    return "\n\n".join(told) + "\n"


def student_csv(result: Result) -> str:
    """The steps of a result as a table (RFC 4180), a row a step; what is not known is empty."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(["step", "bar", "tab", "mark", *CRITERIA, *MEASURED, "why"])
    for mark in result.marks:
        parts = [mark.criteria.get(part) for part in CRITERIA]
        figures = [getattr(mark.measured, figure) for figure in MEASURED]
        writer.writerow(
            [
                mark.step.index + 1,
                mark.step.bar,
                mark.step.tab,
                round(mark.score, 2),
                *(None if one is None else round(one, 2) for one in [*parts, *figures]),
                mark.sentence,
            ]
        )
    return file.getvalue()


def student_data(result: Result, advice: Sequence[Advice], name: str) -> StudentReportData:
    """Return a report as JSON data; arguments as for :func:`student_markdown`."""
    to_work_on: list[AdviceData] = [
        {"what": item.focus, "why": item.reason, "drill": item.drill or None} for item in advice
    ]
    return {"recording": name, "to_work_on": to_work_on, **result_data(result)}


def _plain(text: str) -> str:
    """A text with nothing in it that Markdown takes for a sign."""
    for sign in "\\`*_{}[]<>#|":
        text = text.replace(sign, f"\\{sign}")
    return text
