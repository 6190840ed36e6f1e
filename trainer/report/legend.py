"""The legend of a page of tab: the signs that occur on it, beyond plain tab."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Set
from fractions import Fraction

from trainer.drill import Drill
from trainer.report.directions import Directions, written_tab

COUNT_SYLLABLES = {
    Fraction(1, 4): "e",
    Fraction(1, 2): "&",
    Fraction(3, 4): "a",
    Fraction(1, 3): "&",
    Fraction(2, 3): "a",
}
"""How players count the parts of a beat aloud (common practice)."""
GAP = 2
"""Columns between a sign and its meaning."""
OTHER_PLACE = "'"
"""Sign of any other place in a beat."""

REST = "r"
"""Sign of a rest."""
HELD = "."
"""Sign of a beat through which the note before is held."""

_JOINING_SIGNS = (
    ("+", "together, on one breath"),
    (">", "a glide, in one breath"),
    ("<>", "a shake: back and forth, 6 times a second unless written above"),
    ("=", "a ladder: each held for as long, in one breath"),
    ("/", "either will do"),
    ("@", "cents over (+) or under (-) the note"),
    ("^", "a grace note: crushed in just before the beat"),
)
_JOINING_SIGN = re.compile(r"<>|[+>=/@^]")


def legend_text(drill: Drill, signs: Set[str], parts: Set[Fraction], width: int = 80) -> str:
    """Return the legend of a drill's page; every sign starts a line.

    Args:
        drill: the drill.
        signs: all texts on its page.
        parts: positions in a beat that are counted on it, from 0 to less than 1.
        width: line width in columns, 20 or more.
    """
    lines = [*_lines(drill, signs, parts)]
    column = min(max((len(sign) for sign, _ in lines), default=0) + GAP, width // 2)
    rows = []
    for sign, meaning in lines:
        wrapped = textwrap.wrap(meaning, width - column, break_on_hyphens=False)
        if len(sign) + GAP > column:
            wrapped = [*textwrap.wrap(sign, width), *(" " * column + line for line in wrapped)]
        else:
            starts = [sign] + [""] * (len(wrapped) - 1)
            wrapped = [
                f"{start:<{column}}{line}" for start, line in zip(starts, wrapped, strict=True)
            ]
        rows += wrapped
    return "\n".join(rows)


def _lines(drill: Drill, signs: Set[str], parts: Set[Fraction]) -> Iterator[tuple[str, str]]:
    tabs = [written_tab(step) for step in (*drill.steps, *drill.second)]
    joined = {sign for tab in tabs for sign in _JOINING_SIGN.findall(tab.replace("@+", "@"))}
    yield from ((sign, meaning) for sign, meaning in _JOINING_SIGNS if sign in joined)
    if REST in signs:
        yield REST, "a rest"
    if HELD in signs:
        yield HELD, "the note before goes on"
    if parts & {Fraction(1, 4), Fraction(3, 4)}:
        yield "e & a", "quarters of a beat"
    elif Fraction(1, 2) in parts:
        yield "&", "half of a beat"
    if parts & {Fraction(1, 3), Fraction(2, 3)}:
        yield "& a", "thirds of a beat"
    if parts - COUNT_SYLLABLES.keys() - {0}:
        yield OTHER_PLACE, "another place in a beat"
    if drill.start:
        yield "0", "the pick-up, before the first full bar"
    yield from Directions(drill).meanings()
    if drill.second:
        yield "lower", "tab: the other part, played together with the upper"
