"""The page of tab as plain text: what to play, with the beats under it.

Every bar starts in the same columns from line to line. A rest is ``r``; a dot is a beat through
which what came before is held. Beats are counted as players count them aloud: 1 & 2 &,
1 e & a, and & a for triplets; other places in a beat get a tick.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from fractions import Fraction

from trainer.drill import Drill

LINE_LENGTHS = (8, 4, 2, 1)
"""Bars on a line, the most that fit, so that phrases start lines."""

PROSE_COLUMNS = 80
"""Prose is set no wider than this."""

GAP = 2
"""Columns between one thing and the next."""

_PARTS = {
    Fraction(1, 4): "e",
    Fraction(1, 2): "&",
    Fraction(3, 4): "a",
    Fraction(1, 3): "&",
    Fraction(2, 3): "a",
}


@dataclass(frozen=True, slots=True)
class _Cell:
    """A column of the page: what starts there, over its beat."""

    above: str
    below: str

    @property
    def width(self) -> int:
        return max(len(self.above), len(self.below)) + GAP


_Bar = tuple[_Cell, ...]


def sheet(drill: Drill, width: int = 80) -> str:
    """A drill for reading: title, what it trains, the goal, and its page of tab.

    Args:
        drill: the drill.
        width: columns that a line may take, 20 or more.
    """
    beats, value = drill.meter
    tuning = "" if drill.tuning == "richter" else f" in {drill.tuning} tuning"
    facts = (
        f"{drill.key} harp{tuning}; {beats}/{value}, {drill.tempo:g} beats a minute; "
        f"{drill.bars} bars, {length(drill)}."
    )
    goal = (
        f"Goal: within {drill.goal.tolerance:g} cents of the target; passed from "
        f"{drill.goal.pass_mark:g} of 100."
    )
    paragraphs = [drill.title, " ".join(drill.about.split()), f"{facts} {goal}"]
    told = [textwrap.fill(text, min(width, PROSE_COLUMNS)) for text in paragraphs if text]
    return "\n\n".join([*told, page(drill, width)])


def length(drill: Drill) -> str:
    """How long a drill lasts at its own tempo, as minutes and seconds: ``0:32``."""
    minutes, seconds = divmod(round(drill.seconds), 60)
    return f"{minutes}:{seconds:02d}"


def page(drill: Drill, width: int = 80) -> str:
    """The page of tab of a drill, with the beats under it.

    Args:
        drill: the drill.
        width: columns that a line may take, 20 or more. A bar that is wider goes on in the
            next line.
    """
    margin = len(str(drill.bars)) + 1
    bars = _bars(drill)
    for count in LINE_LENGTHS:
        widths = [max(_width(bar) for bar in bars[i::count]) for i in range(min(count, len(bars)))]
        if margin + sum(widths) + 2 * len(widths) - 1 <= width:
            break
    else:
        return _page_of_long_bars(bars, margin, width)
    lines = []
    for first in range(0, len(bars), count):
        row = list(zip(bars[first : first + count], widths, strict=False))
        above = " ".join(f"{_row(bar, 'above'):<{room}}|" for bar, room in row)
        below = "  ".join(f"{_row(bar, 'below'):<{room}}" for bar, room in row)
        lines.append(_line(f"{first + 1:<{margin}}", above, below))
    return "\n\n".join(lines)


def _page_of_long_bars(bars: list[_Bar], margin: int, width: int) -> str:
    lines = []
    for number, bar in enumerate(bars, start=1):
        head = f"{number:<{margin}}"
        rest = list(bar)
        while rest:
            taken = [rest.pop(0)]
            while rest and _width((*taken, rest[0])) <= width - margin - 1:
                taken.append(rest.pop(0))
            end = "" if rest else "|"
            lines.append(_line(head, _row(taken, "above") + end, _row(taken, "below")))
            head = " " * margin
    return "\n\n".join(lines)


def _line(head: str, above: str, below: str) -> str:
    return f"{head}{above}".rstrip() + f"\n{' ' * len(head)}{below}".rstrip()


def _width(bar: tuple[_Cell, ...]) -> int:
    return sum(cell.width for cell in bar)


def _row(bar: tuple[_Cell, ...] | list[_Cell], side: str) -> str:
    return "".join(f"{getattr(cell, side):<{cell.width}}" for cell in bar)


def _bars(drill: Drill) -> list[_Bar]:
    """The cells of each bar: one for each thing that starts and one for each beat."""
    starts = _starts(drill)
    size = drill.meter[0]
    bars = []
    for number in range(drill.bars):
        first = Fraction(number * size)
        end = min(first + size, drill.beats)
        inside = {at for at in starts if first <= at < end}
        beats = {first + beat for beat in range(size) if first + beat < end}
        places = sorted(inside | beats)
        bars.append(tuple(_Cell(starts.get(at, "."), _count(at - first)) for at in places))
    return bars


def _starts(drill: Drill) -> dict[Fraction, str]:
    """What starts on which beat: each step, and each rest that fills a gap between them."""
    starts: dict[Fraction, str] = {}
    bar_lines = [Fraction(number * drill.meter[0]) for number in range(drill.bars)]
    silent_from = Fraction(0)
    for step in drill.steps:
        starts |= _rest(silent_from, step.at, bar_lines)
        starts[step.at] = step.tab
        silent_from = step.end
    return starts | _rest(silent_from, drill.beats, bar_lines)


def _rest(start: Fraction, end: Fraction, bar_lines: list[Fraction]) -> dict[Fraction, str]:
    """A rest, begun again in each bar that it reaches into."""
    if start >= end:
        return {}
    return dict.fromkeys([start, *(line for line in bar_lines if start < line < end)], "r")


def _count(beat: Fraction) -> str:
    whole, part = divmod(beat, 1)
    return _PARTS.get(part, "'") if part else str(whole + 1)
