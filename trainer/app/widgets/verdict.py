"""The verdict: what the last step earned and why, the weakest step, and the total."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.app.shapes import grade_of_mark, grade_of_score
from trainer.app.take_state import TakeState
from trainer.marking import Mark, Result
from trainer.report.formatting import score_text


@dataclass(frozen=True, slots=True)
class VerdictState:
    """What the verdict says.

    Attributes:
        last: the newest mark.
        weakest: the lowest mark of this pass.
        done, of: steps of this pass that have a mark, and steps in all.
        result: of the last pass that was played to its end.
    """

    last: Mark | None = None
    weakest: Mark | None = None
    done: int = 0
    of: int = 0
    result: Result | None = None

    @classmethod
    def of_take(cls, take: TakeState) -> VerdictState:
        """The verdict on a take as it stands."""
        first, last = take.whole_range  # a pass that was taken up again is still one
        done = len(take.sheet.by_step.keys() - take.sheet.stale)
        return cls(take.sheet.newest, take.weakest, done, last - first, take.sheet.result)


def last_mark_row(mark: Mark | None) -> TextRow:
    """The newest mark with its sentence."""
    if mark is None:
        return ((" No step has been marked yet.", "quiet"),)
    graded = grade_of_mark(mark)
    return (
        (f" {mark.step.index + 1:>2} ", "quiet"),
        (f"{mark.step.tab:<5} ", "strong"),
        (f"{graded.shape}{score_text(mark.score):>3}  ", graded.pen),
        (mark.sentence, "text"),
    )


def total_row(state: VerdictState) -> TextRow:
    """Total of the last whole pass and weakest step of this one."""
    spans: list[tuple[str, str]] = [(f" {state.done} of {state.of} steps marked", "quiet")]
    if state.weakest:
        graded = grade_of_mark(state.weakest)
        step = state.weakest.step
        spans += [
            ("  weakest: ", "quiet"),
            (f"step {step.index + 1} ({step.tab}) ", "text"),
            (f"{graded.shape} {score_text(state.weakest.score)}", graded.pen),
        ]
    if state.result:
        graded = grade_of_score(state.result.score)
        verdict = "passed" if state.result.passed else "not passed yet"
        spans += [
            ("  last pass: ", "quiet"),
            (f"{graded.shape} {score_text(state.result.score)}, {verdict}", graded.pen),
        ]
    return tuple(spans)


class VerdictLines(Canvas[VerdictState]):
    """Two rows: the newest mark; the weakest step and the total."""

    def draw(self, state: VerdictState, width: int, height: int) -> Sequence[TextRow]:
        """Both rows."""
        return [truncate(last_mark_row(state.last), width), truncate(total_row(state), width)]
