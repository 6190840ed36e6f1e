"""Points of the total score lost per criterion and note."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

CRITERION_PHRASES = {
    "pitch": "pitch",
    "steadiness": "steadiness",
    "attack": "attack",
    "motion": "moving from note to note",
    "cleanness": "one hole alone",
    "time": "time",
    "articulation": "articulation",
    "dynamics": "loudness",
}
"""Criteria in words for a player."""
MIN_LOSS_POINTS = 2.0
"""Loss below which advice is not worth giving, in points of the total score. Chosen by judgment."""


@dataclass(frozen=True, slots=True)
class Loss:
    """Points lost on one criterion of one note.

    Attributes:
        criterion: a criterion of the marks.
        tab: the note.
        points: points of the total score.
    """

    criterion: str
    tab: str
    points: float

    @property
    def phrase(self) -> str:
        """The note and the criterion in words."""
        return f"{self.tab}: {CRITERION_PHRASES[self.criterion]}"


def losses(
    steps: Iterable[tuple[str, float, Mapping[str, float]]],
    weights: Mapping[str, float],
    min_points: float = MIN_LOSS_POINTS,
) -> list[Loss]:
    """Return the losses of a pass, the largest first.

    A step of length b in beats, of B beats in all, with criteria of weights w and scores s loses
    (100 - s) · b / B · w / sum(w) points on each criterion. Losses on the same criterion and note
    add up.

    Args:
        steps: tab, length in beats, and criterion scores (0 to 100) of each marked step.
        weights: of the criteria.
        min_points: smallest loss that is returned, in points of the total score.
    """
    marked = list(steps)
    total_beats = sum(beats for _, beats, _ in marked) or 1.0
    points: dict[tuple[str, str], float] = {}
    for tab, beats, criteria in marked:
        total_weight = sum(weights[name] for name in criteria) or 1.0
        for name, score in criteria.items():
            lost = (100.0 - score) * beats / total_beats * weights[name] / total_weight
            points[name, tab] = points.get((name, tab), 0.0) + lost
    largest = sorted(points.items(), key=lambda item: -item[1])
    return [Loss(*key, lost) for key, lost in largest if lost >= min_points]
