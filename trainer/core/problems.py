"""Problems in text files: a message with its position, shown like a compiler's error."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from trainer.core.printable import printable

MAX_MESSAGE_LENGTH = 400
"""Maximum length of a message in characters; only quotations make one longer."""
MAX_SOURCE_COLUMNS = 100
"""Maximum width of a source line in characters; of a longer line the part at the token is shown."""
_NO_WIDTH = ("Mn", "Me", "Cf")
"""Unicode categories of characters without a column of their own: combining marks, joiners."""


@dataclass(frozen=True, slots=True)
class Problem:
    """A problem in a text file and its position.

    Attributes:
        line, column: position of the token, from 1; line 0 is the file as a whole.
        length: characters of the token; 0 if something is missing.
        message: what is wrong and what is expected.
        source: the line in the file; empty if there is none to show.
    """

    line: int
    column: int
    length: int
    message: str
    source: str = ""

    def format(self, where: str, kind: str = "") -> str:
        """Return position and message, then the source line and a line with carets.

        Args:
            where: name of the file.
            kind: a label before the message, such as ``warning``.
        """
        position = f"{where}:{self.line}:{self.column}" if self.line else where
        message = self.message
        if len(message) > MAX_MESSAGE_LENGTH:
            message = f"{message[: MAX_MESSAGE_LENGTH // 2]}…{message[-MAX_MESSAGE_LENGTH // 2 :]}"
        head = _printable(": ".join(part for part in (position, kind, message) if part))
        if not (self.source and self.length):
            return head
        first = max(0, self.column - MAX_SOURCE_COLUMNS // 2) if _too_long(self.source) else 0
        before = _printable(self.source[first : self.column - 1])
        rest = _printable(self.source[self.column - 1 : first + MAX_SOURCE_COLUMNS])
        token = rest[: self.length]
        return (
            f"{head}\n    {before}{rest}\n    {_blank(before)}{'^' * max(1, display_width(token))}"
        )


def with_source_lines(problems: Iterable[Problem], source: str) -> Iterator[Problem]:
    """Return problems with the lines of the normalized source that contain them."""
    lines = dict(enumerate(source.split("\n"), start=1))
    return (replace(problem, source=lines.get(problem.line, "")) for problem in problems)


def _too_long(source: str) -> bool:
    return len(source) > MAX_SOURCE_COLUMNS


def _printable(text: str) -> str:
    """Replace what a terminal may obey; tabs stay, so that carets line up."""
    return "\t".join(map(printable, text.split("\t")))


def display_width(text: str) -> int:
    """Return the number of columns that a text takes in a terminal."""
    return sum(
        0 if unicodedata.category(c) in _NO_WIDTH else 1 + (unicodedata.east_asian_width(c) in "WF")
        for c in text
    )


def _blank(text: str) -> str:
    """Return white space as wide as a text."""
    return "".join("\t" if c == "\t" else " " * display_width(c) for c in text)
