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


GRADES = (
    Grade("◆", "as good as it gets", "good", 95.0),
    Grade("●", "good", "good", 80.0),
    Grade("◐", "nearly", "now", 60.0),
    Grade("○", "not yet", "sharp", 0.0),
)
SPARKS = "▁▂▃▄▅▆▇█"
"""Scores from 0 to 100, as bars of an eighth to eight."""
OLD_SHAPE = "·"
"""Instead of its shape before a mark from an earlier pass."""
MISS = Grade("×", "not played", "wrong", 0.0)


def grade(score: float) -> Grade:
    """The grade of a score, 0 to 100."""
    return next(grade for grade in GRADES if score >= grade.least)


def spark(scores: Sequence[float]) -> str:
    """Scores, 0 to 100, as a row of bars, the oldest first."""
    top = len(SPARKS) - 1
    return "".join(SPARKS[min(top, int(score / 100.0 * len(SPARKS)))] for score in scores)


def grade_of(mark: Mark) -> Grade:
    """The grade of a step's mark."""
    if mark.score <= 0.0 and mark.measured.start is None:
        return MISS
    return grade(mark.score)
