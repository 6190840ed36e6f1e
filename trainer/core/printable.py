"""Text from outside, such as file names, as it may be shown: no character steers a terminal.

File names, titles and device names reach the terminal in many places. Lines pass one door,
:func:`filtered_output`; the screens' door is :class:`trainer.app.canvas.Canvas`.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from trainer.core.errors import TrainerError

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
_CONTROLS = "\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f-\\x9f"
"""Control characters other than tab, line feed and carriage return."""
_SURROGATES = "\\ud800-\\udfff"
"""They stand for bytes that are no UTF-8 (PEP 383)."""
_BIDIRECTIONAL = "\\u061c\\u200e\\u200f\\u202a-\\u202e\\u2066-\\u2069"
"""Characters that change the direction of writing (Unicode Standard Annex 9)."""
_LINES = re.compile(f"[{_CONTROLS}{_SURROGATES}{_BIDIRECTIONAL}]")
_LINE = re.compile(f"[\\t\\n\\r{_CONTROLS}{_SURROGATES}{_BIDIRECTIONAL}]")


def printable(text: str) -> str:
    """Return a text on one line, with every character that is unsafe to show replaced.

    Args:
        text: the text; line ends and tabs count as control characters.
    """
    return _LINE.sub(REPLACEMENT, text)


def printable_lines(text: str) -> str:
    """Return a text of several lines, with every character that is unsafe to show replaced.

    A carriage return is kept at the start, where the trainer itself writes over a line.
    """
    own = "\r" if text.startswith("\r") else ""
    if not own:
        text = text.replace("\r\n", "\n").replace("\r", REPLACEMENT)
    return _LINES.sub(REPLACEMENT, text)


class OutputError(TrainerError, OSError):
    """Standard output cannot be written."""


@contextmanager
def _naming_output() -> Iterator[None]:
    """Raise an :class:`OutputError` where output fails; a closed pipe is none of our business."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(f"the output cannot be written: {error.strerror}") from error


class PrintableStream:
    """A text stream that writes only what is safe to show.

    Args:
        raw: the stream behind it.
    """

    def __init__(self, raw: TextIO) -> None:
        self.raw = raw

    def write(self, text: str) -> int:
        """Write a text; raise TypeError for bytes, as text streams do."""
        if not isinstance(text, str):
            raise TypeError(f"write() argument must be str, not {type(text).__name__}")
        with _naming_output():
            self.raw.write(printable_lines(text))
        return len(text)

    def flush(self) -> None:
        """Write what is buffered."""
        with _naming_output():
            self.raw.flush()

    def writelines(self, lines: Any) -> None:
        """Write several texts."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.raw, name)


@contextmanager
def filtered_output() -> Iterator[None]:
    """Write only what is safe to show to standard output and standard error, while it is open."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = map(PrintableStream, before)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


def raw_stream(stream: TextIO) -> TextIO:
    """Return the stream behind a filter, for output that moves the cursor on purpose."""
    return stream.raw if isinstance(stream, PrintableStream) else stream
