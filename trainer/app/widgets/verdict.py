"""The verdict: the newest mark with its reason, the weakest step, and the last total."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.shapes import grade_pen
from trainer.app.take_state import TakeState
from trainer.marking import Mark, Result
from trainer.report.directions import written_tab
from trainer.report.formatting import score_text
from trainer.report.grades import grade_of_mark, grade_of_score
from trainer.report.result_report import outcome_text


@dataclass(frozen=True, slots=True)
class VerdictState:
    """State of the verdict.

    Attributes:
        last: the newest mark.
        weakest: the lowest mark of the current pass.
        marked, total: marked steps of the current pass, and all its steps.
        result: result of the last pass that was played to its end.
    """

    last: Mark | None = None
    weakest: Mark | None = None
    marked: int = 0
    total: int = 0
    result: Result | None = None

    @classmethod
    def of(cls, take: TakeState) -> VerdictState:
        """Make the verdict on a take."""
        first, last = take.whole_range  # a resumed pass counts as whole
        marked = len(take.sheet.by_step.keys() - take.sheet.stale)
        return cls(take.sheet.newest, take.weakest, marked, last - first, take.sheet.result)


def last_mark_row(mark: Mark | None) -> TextRow:
    """Draw the newest mark with its sentence."""
    if mark is None:
        return ((" No marks yet.", "quiet"),)
    graded = grade_of_mark(mark)
    return (
        (f" {mark.step.index + 1:>2} ", "quiet"),
        (f"{written_tab(mark.step):<5} ", "strong"),
        (f"{graded.shape}{score_text(mark.score):>3}  ", grade_pen(graded)),
        (mark.sentence, "text"),
    )


def total_row(state: VerdictState) -> TextRow:
    """Draw the count of marks, the weakest step and the total of the last pass."""
    spans: list[tuple[str, str]] = [(f" {state.marked} of {state.total} steps marked", "quiet")]
    if state.weakest and score_text(state.weakest.score) != "100":
        graded = grade_of_mark(state.weakest)
        step = state.weakest.step
        spans += [
            ("  weakest: ", "quiet"),
            (f"step {step.index + 1} ({written_tab(step)}) ", "text"),
            (f"{graded.shape} {score_text(state.weakest.score)}", grade_pen(graded)),
        ]
    if state.result:
        graded = grade_of_score(state.result.score)
        verdict = outcome_text(state.result)
        spans += [
            ("  last pass: ", "quiet"),
            (
                f"{graded.shape} {score_text(state.result.score)}, {verdict}",
                grade_pen(graded),
            ),
        ]
    return tuple(spans)


class VerdictLines(Canvas[VerdictState]):
    """The newest mark in one row; the weakest step and the last total in another."""

    def draw(self, state: VerdictState, width: int, height: int) -> Sequence[TextRow]:
        """Draw both rows."""
        total = total_row(state)
        if sum(len(text) for text, _ in total) > width:  # the last pass matters more
            total = total_row(replace(state, weakest=None))
        return [truncate(last_mark_row(state.last), width), truncate(total, width)]
