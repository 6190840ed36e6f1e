"""Grades of marks on screens and pages: a name and a shape for each range of scores.

A colour never stands alone: the shape and the number
say the same.
"""

from __future__ import annotations

from dataclasses import dataclass

from trainer.marking import Mark


@dataclass(frozen=True, slots=True)
class Grade:
    """How marks of a range of scores are shown.

    Attributes:
        name: its CSS class, for which ``page.css`` has the colours; the screens have theirs in
            :data:`trainer.app.shapes.GRADE_PENS`.
        shape: a character.
        meaning: what it means, in words.
        least: lowest score of the range.
    """

    name: str
    shape: str
    meaning: str
    least: float


GRADES = (
    Grade("top", "◆", "excellent", 95.0),
    Grade("good", "●", "good", 80.0),
    Grade("nearly", "◐", "nearly", 60.0),
    Grade("low", "○", "not yet", 0.0),
)
"""The grades, best first."""
MISSED = Grade("missed", "×", "not played", 0.0)
"""The grade of a step that was not played."""
FAULT_BELOW = GRADES[1].least
"""Score below which a step counts as a fault on pages."""


def grade_of_score(score: float) -> Grade:
    """Return the grade of a score from 0 to 100."""
    return next(grade for grade in GRADES if score >= grade.least)


def grade_of_mark(mark: Mark) -> Grade:
    """Return the grade of a step's mark."""
    if mark.measured.start is None and mark.score <= 0.0:
        return MISSED
    return grade_of_score(mark.score)
