"""The error that reports the problems of a drill."""

from __future__ import annotations

from collections.abc import Iterable

from trainer.core import TrainerError
from trainer.core.problems import Problem

MAX_REPORTED_PROBLEMS = 100
"""Maximum number of problems that one error lists; a file with more is no attempt at a drill."""


class DrillError(TrainerError):
    """A drill that cannot be used; `problems` lists everything wrong with it."""

    def __init__(self, message: str, problems: tuple[Problem, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems

    @classmethod
    def from_problems(cls, where: str, problems: Iterable[Problem]) -> DrillError:
        """Return the error of all problems of a file or drill, in order of position."""
        in_order = tuple(sorted(problems, key=lambda problem: (problem.line, problem.column)))
        lines = [problem.format(where) for problem in in_order[:MAX_REPORTED_PROBLEMS]]
        if len(in_order) > MAX_REPORTED_PROBLEMS:
            lines.append(
                f"{where}: {len(in_order) - MAX_REPORTED_PROBLEMS} more problems like these"
            )
        return cls("\n".join(lines), in_order)
