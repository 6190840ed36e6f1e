"""Errors about drills, and how a place in a drill file is shown."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from trainer.core import TrainerError

MAX_REPORTED_PROBLEMS = 100
"""Problems; a file with more is no drill that somebody tried to write."""
MAX_MESSAGE_LENGTH = 400
"""Characters; a message is longer only where it repeats what somebody wrote."""
MAX_SOURCE_COLUMNS = 100
"""Longer source lines are shown in part, so that the caret stays under its token."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a drill, and where.

    Attributes:
        line, column: where the token starts, from 1; line 0 means the file as a whole.
        length: characters of the token; 0 for something that is missing.
        message: what is wrong and what was expected instead.
        source: the line as it stands in the file; empty if there is none to show.
    """

    line: int
    column: int
    length: int
    message: str
    source: str = ""

    def format(self, where: str, kind: str = "") -> str:
        """The problem as it is told: place and message, the source line, a caret line.

        Args:
            where: name of the file.
            kind: what comes before the message, such as ``warning``.
        """
        place = f"{where}:{self.line}:{self.column}" if self.line else where
        message = self.message
        if len(message) > MAX_MESSAGE_LENGTH:
            message = f"{message[: MAX_MESSAGE_LENGTH // 2]}…{message[-MAX_MESSAGE_LENGTH // 2 :]}"
        head = _printable(": ".join(part for part in (place, kind, message) if part))
        if not (self.source and self.length):
            return head
        first = max(0, self.column - MAX_SOURCE_COLUMNS // 2) if _too_long(self.source) else 0
        before = _printable(self.source[first : self.column - 1])
        rest = _printable(self.source[self.column - 1 : first + MAX_SOURCE_COLUMNS])
        token = rest[: self.length]
        return (
            f"{head}\n    {before}{rest}\n    {_blank(before)}{'^' * max(1, display_width(token))}"
        )


class DrillError(TrainerError):
    """A drill that cannot be used, with every problem that was found in it."""

    def __init__(self, message: str, problems: tuple[Problem, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems

    @classmethod
    def from_problems(cls, where: str, problems: Iterable[Problem]) -> DrillError:
        """The error that tells all problems of one file or drill, in order of their place."""
        in_order = tuple(sorted(problems, key=lambda problem: (problem.line, problem.column)))
        told = [problem.format(where) for problem in in_order[:MAX_REPORTED_PROBLEMS]]
        if len(in_order) > MAX_REPORTED_PROBLEMS:
            told.append(
                f"{where}: {len(in_order) - MAX_REPORTED_PROBLEMS} more problems like these"
            )
        return cls("\n".join(told), in_order)


def _too_long(source: str) -> bool:
    return len(source) > MAX_SOURCE_COLUMNS


def _printable(text: str) -> str:
    """Text that a terminal cannot take for a command; tabs stay, so that carets line up."""
    return "".join(
        c if c == "\t" or not unicodedata.category(c).startswith("C") else "\ufffd" for c in text
    )


def display_width(text: str) -> int:
    """Columns that a terminal gives the text."""
    return sum(
        0 if unicodedata.combining(c) else 1 + (unicodedata.east_asian_width(c) in "WF")
        for c in text
    )


def _blank(text: str) -> str:
    """White space as wide as the text."""
    return "".join("\t" if c == "\t" else " " * display_width(c) for c in text)
