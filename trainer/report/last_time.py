"""What a student reached last time, from an earlier result of the same drill."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from trainer.core import TrainerError
from trainer.drill import CRITERIA
from trainer.marking import Result
from trainer.report.schemas.results import LastTimeData


@dataclass(frozen=True, slots=True)
class Summary:
    """A pass in few figures.

    Attributes:
        score: 0 to 100.
        passed: whether it reached the pass mark.
        criteria: mean score of each criterion that was judged, by the lengths of the steps.
        steps: score of each step, by its index.
    """

    score: float
    passed: bool
    criteria: Mapping[str, float]
    steps: Mapping[int, float]

    @classmethod
    def of(cls, result: Result) -> Summary:
        """Return the summary of a result."""
        marks = [(float(mark.step.beats), mark.criteria) for mark in result.marks]
        steps = {mark.step.index: mark.score for mark in result.marks}
        return cls(result.score, result.passed, _means(marks), steps)

    @property
    def data(self) -> LastTimeData:
        """Its figures as JSON data."""
        return {
            "score": self.score,
            "passed": self.passed,
            "parts": dict(self.criteria),
            "scores": {str(index): score for index, score in self.steps.items()},
        }

    @classmethod
    def read(cls, data: object) -> Summary:
        """Return the summary of a result's JSON, or of its own.

        Raises:
            TrainerError: the data are neither.
        """
        try:
            if "scores" in data:  # type: ignore[operator]
                parts: Mapping[str, Any] = data["parts"]  # type: ignore[index]
                scores: Mapping[str, Any] = data["scores"]  # type: ignore[index]
                return cls(
                    float(data["score"]),  # type: ignore[index]
                    bool(data["passed"]),  # type: ignore[index]
                    {name: float(parts[name]) for name in CRITERIA if name in parts},
                    {int(index): float(score) for index, score in scores.items()},
                )
            steps: list[Any] = data["steps"]  # type: ignore[index]
            marks = [(float(s["target"]["length_beats"]), dict(s["parts"])) for s in steps]
            return cls(
                float(data["score"]),  # type: ignore[index]
                bool(data["passed"]),  # type: ignore[index]
                _means(marks),
                {int(step["index"]): float(step["score"]) for step in steps},
            )
        except (AttributeError, KeyError, TypeError, ValueError):
            raise TrainerError("it is not a result of 'trainer mark'") from None


def _means(marks: Sequence[tuple[float, Mapping[str, float]]]) -> dict[str, float]:
    means = {}
    for name in CRITERIA:
        judged = [(beats, scores[name]) for beats, scores in marks if name in scores]
        if total := sum(beats for beats, _ in judged):
            means[name] = sum(beats * score for beats, score in judged) / total
    return means
