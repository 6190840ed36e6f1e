"""Shapes and words that go with the colours, so that no state depends on colour alone."""

from __future__ import annotations

from collections.abc import Sequence

from trainer.report.grades import Grade

GRADE_PENS = {
    "top": "good",
    "good": "good",
    "nearly": "fair",
    "low": "low",
    "missed": "wrong",
}
"""Pens of the grades of :mod:`trainer.report.grades` by name, keys of
:data:`trainer.app.theme.CSS_PENS`."""
SPARKLINE_BARS = "▁▂▃▄▅▆▇█"
"""Bars from one eighth to eight eighths, for scores from 0 to 100."""
DOUBTFUL_SIGN = "?"
"""Sign of a written note that is to be checked by ear."""
OLD_SHAPE = "·"
"""Shape of a mark from an earlier pass."""


def grade_pen(grade: Grade) -> str:
    """Return the pen of a grade."""
    return GRADE_PENS[grade.name]


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
