"""The screens' only door: no text from outside steers the terminal."""

from __future__ import annotations

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

from trainer.core.printable import printable


class PrintableFilter(LineFilter):
    """Replaces the characters of a line that are unsafe to show.

    File names, titles of imported music, tunings and device names reach the screens in many places.
    """

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments of a line with safe text.

        Args:
            segments: the line; segments of control codes are Textual's own.
            background: color behind the line; not used.
        """
        texts = [printable(segment.text) for segment in segments]
        if all(text == segment.text for text, segment in zip(texts, segments, strict=True)):
            return segments
        # Control codes have no text to show: they are Textual's own.
        return [
            segment if segment.control else Segment(text, segment.style)
            for text, segment in zip(texts, segments, strict=True)
        ]
