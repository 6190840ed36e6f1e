"""The shapes and words that go with colours, so that no state is told by colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.marking import Mark


@dataclass(frozen=True, slots=True)
class Grade:
    """How a mark is shown.

    Attributes:
        shape: one cell.
        word: what it means.
        pen: a key of :data:`trainer.app.theme.PENS`.
        least: score from which it is given.
    """

    shape: str
    word: str
    pen: str
    least: float


MARK_GRADES = (
    Grade("◆", "as good as it gets", "good", 95.0),
    Grade("●", "good", "good", 80.0),
    Grade("◐", "nearly", "now", 60.0),
    Grade("○", "not yet", "sharp", 0.0),
)
SPARKLINE_BARS = "▁▂▃▄▅▆▇█"
"""Scores from 0 to 100, as bars of an eighth to eight."""
OLD_SHAPE = "·"
"""Instead of its shape before a mark from an earlier pass."""
MISSED = Grade("×", "not played", "wrong", 0.0)


def grade_of_score(score: float) -> Grade:
    """The grade of a score, 0 to 100."""
    return next(grade for grade in MARK_GRADES if score >= grade.least)


def sparkline(scores: Sequence[float]) -> str:
    """Scores, 0 to 100, as a row of bars, the oldest first."""
    top = len(SPARKLINE_BARS) - 1
    return "".join(
        SPARKLINE_BARS[min(top, int(score / 100.0 * len(SPARKLINE_BARS)))] for score in scores
    )


def grade_of_mark(mark: Mark) -> Grade:
    """The grade of a step's mark."""
    if mark.score <= 0.0 and mark.measured.start is None:
        return MISSED
    return grade_of_score(mark.score)
