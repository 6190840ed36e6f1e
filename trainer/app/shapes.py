"""Shapes and words that go with the colours, so that no state depends on colour alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.marking import Mark


@dataclass(frozen=True, slots=True)
class Grade:
    """How marks of a range of scores are shown.

    Attributes:
        shape: a character of one cell.
        word: what it means.
        pen: a key of :data:`trainer.app.theme.CSS_PENS`.
        least: lowest score of the range.
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
"""The grades, best first."""
SPARKLINE_BARS = "▁▂▃▄▅▆▇█"
"""Bars from one eighth to eight eighths, for scores from 0 to 100."""
OLD_SHAPE = "·"
"""Shape of a mark from an earlier pass."""
MISSED = Grade("×", "not played", "wrong", 0.0)
"""The grade of a step that was not played."""


def grade_of_score(score: float) -> Grade:
    """Return the grade of a score from 0 to 100."""
    return next(grade for grade in MARK_GRADES if score >= grade.least)


def sparkline(scores: Sequence[float], least: float = 0.0) -> str:
    """Return scores from 0 to 100 as a row of bars, oldest first.

    Args:
        scores: the scores.
        least: score of the lowest bar; lower ones have it, too.
    """
    top = len(SPARKLINE_BARS) - 1
    heights = (max(0.0, (score - least) / (100.0 - least)) for score in scores)
    return "".join(
        SPARKLINE_BARS[min(top, int(height * len(SPARKLINE_BARS)))] for height in heights
    )


def grade_of_mark(mark: Mark) -> Grade:
    """Return the grade of a step's mark."""
    if mark.score <= 0.0 and mark.measured.start is None:
        return MISSED
    return grade_of_score(mark.score)
