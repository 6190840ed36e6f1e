"""The chords of a ground as text: bars of chords, as in ``I7 | IV7 | I7 V7 | % |``."""

from __future__ import annotations

import re
from collections.abc import Sequence

from trainer.core.problems import Problem
from trainer.music import Chord, MusicError, parse_chord

SAME_BAR = "%"
"""Sign of a bar with the chords of the one before."""
MAX_GROUND_BARS = 400
"""Maximum number of bars of a ground; more than any form needs."""
MAX_CHORDS_PER_BAR = 8
"""Maximum number of chords in a bar."""
BARS_PER_LINE = 4
"""Bars in a line of a written ground (common practice)."""
_WORD = re.compile(r"\||[^\s|]+")

Bar = tuple[Chord, ...]


def parse_ground(
    text: str, tonic: int, line: int = 1, column: int = 1
) -> tuple[tuple[Bar, ...], tuple[Problem, ...]]:
    """Parse the chords of a ground.

    Args:
        text: the chords.
        tonic: pitch class of the tonic, for chords by name.
        line: line of the text's first character, from 1.
        column: column of that.

    Returns:
        The chords of each bar, and all problems.
    """
    bars: list[Bar] = []
    bar: list[Chord] = []
    problems: list[Problem] = []
    last = Problem(line, column, 0, "")

    def close_bar(at: Problem) -> None:
        if len(bar) > MAX_CHORDS_PER_BAR:
            message = f"take some chords out: a bar has at most {MAX_CHORDS_PER_BAR}"
            problems.append(Problem(at.line, at.column, at.length, message))
        bars.append(tuple(bar))
        bar.clear()

    for number, row in enumerate(text.split("\n")):
        music = re.split(r"(?:^|\s)#", row, maxsplit=1)[0]
        for match in _WORD.finditer(music):
            word = match[0]
            start = (column if number == 0 else 1) + match.start()
            last = Problem(line + number, start, len(word), "")
            if word == "|":
                if bar:
                    close_bar(last)
                elif bars or problems:
                    message = "a bar without a chord; write one, or % for the bar before again"
                    problems.append(Problem(last.line, last.column, 1, message))
            elif word == SAME_BAR:
                if bar or not bars:
                    message = "% stands alone in its bar and repeats the one before; write a chord"
                    problems.append(Problem(last.line, last.column, 1, message))
                else:
                    bar.extend(bars[-1])
            else:
                try:
                    bar.append(parse_chord(word, tonic))
                except MusicError as error:
                    problems.append(Problem(last.line, last.column, last.length, str(error)))
                    bar.append(Chord(0))
    if bar:
        close_bar(last)
    if not bars and not problems:
        message = "the ground has no chords; write them bar by bar, as I7 | IV7 | V7 |"
        problems.append(Problem(line, column, 0, message))
    if len(bars) > MAX_GROUND_BARS:
        message = f"the ground is too long; write up to {MAX_GROUND_BARS} bars"
        problems.append(Problem(last.line, last.column, last.length, message))
    return tuple(bars), tuple(problems)


def chords_text(bars: Sequence[Bar]) -> str:
    """Return the chords of a ground as lines of text, in the key."""
    words = []
    for i, bar in enumerate(bars):
        repeats = i % BARS_PER_LINE and bar == bars[i - 1]
        words.append(SAME_BAR if repeats else " ".join(chord.in_key for chord in bar))
    starts = range(0, len(words), BARS_PER_LINE)
    return "\n".join(_in_columns([words[i : i + BARS_PER_LINE] for i in starts]))


def format_ground(text: str) -> str:
    """Return the text of a ground with its bars in columns; words and comments stay."""
    rows = [row.strip() for row in text.split("\n")]
    musics = [re.split(r"(?:^|\s)#", row, maxsplit=1)[0].strip() for row in rows]
    bars = [[" ".join(bar.split()) for bar in row.strip("| ").split("|")] for row in musics]
    aligned = _in_columns(bars)
    return "\n".join(
        (f"{chords if music else ''}  {row[len(music) :].strip()}".strip() if row else "")
        for row, music, chords in zip(rows, musics, aligned, strict=True)
    )


def _in_columns(lines: Sequence[Sequence[str]]) -> list[str]:
    """Return lines of bars, each bar as wide as the widest of its column."""
    columns = range(max(map(len, lines), default=0))
    widths = [max(len(line[i]) for line in lines if i < len(line)) for i in columns]
    return [
        " ".join(f"{bar:<{width}} |" for bar, width in zip(line, widths, strict=False))
        for line in lines
    ]
