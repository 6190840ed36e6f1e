"""Scores, days and line breaks as every report writes them."""

from __future__ import annotations

import textwrap
from datetime import date

from trainer.core.printable import printable

WIDTH = 80
"""Default line width in columns."""
MIN_WIDTH = 40
"""Narrowest width in columns that prose is broken to."""


def fill(text: str, width: int = WIDTH, first: str = "", rest: str = "") -> str:
    """Return text broken into lines.

    Args:
        text: one paragraph.
        width: line width in columns; `MIN_WIDTH` or more is used.
        first: indent of the first line.
        rest: indent of the other lines.
    """
    return textwrap.fill(text, max(width, MIN_WIDTH), initial_indent=first, subsequent_indent=rest)


def score_text(score: float) -> str:
    """Return a score as a whole number, never rounded up to one that was not reached."""
    return str(int(score + 1e-9))


def sentence_text(text: str) -> str:
    """Return text as a sentence: with a capital and a full stop."""
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '?', '!')) else '.'}"


def bars_text(bars: tuple[int, int]) -> str:
    """Return a range of bars: ``bar 2``, ``bars 2 to 4``."""
    first, last = bars
    return f"bars {first} to {last}" if last > first else f"bar {first}"


def day_text(day: date, today: date) -> str:
    """Return a day as ``5 Nov``, with its year if that differs from the year of `today`."""
    return f"{day.day} {day:%b}" + ("" if day.year == today.year else f" {day.year}")


def markdown_text(text: str) -> str:
    """Return text, printable and with every sign of Markdown escaped (CommonMark 2.4)."""
    text = printable(text)
    for sign in "\\`*_{}[]<>#|~&$":
        text = text.replace(sign, f"\\{sign}")
    return text


def signed_cents_text(cents: float) -> str:
    """Return cents to a tenth with their sign; 0 has none."""
    tenth = round(cents, 1)
    return f"{tenth:+.1f}" if tenth else "0.0"


def harp_tag_text(key: str, tuning: str) -> str:
    """Return the key of a harp, and its tuning unless that is richter: ``A, raised-third-blow``."""
    return key if tuning == "richter" else f"{key}, {tuning}"
