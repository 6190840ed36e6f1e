"""The shelf: which drills a search finds, a drill in a line, and what one is about.

A search is words; a drill that is found has all of them. A word is the beginning of one in the
title, a skill or a sign; or tab (``-4'``, ``4+5``, ``-2''>-2``) that is played in the drill; or
``level 3`` or ``level 3-5``; or ``hole 2``, however that is played.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, truncate
from trainer.drill import Drill
from trainer.harp import HarpError, Tab
from trainer.report.drill_report import drill_summary
from trainer.report.tab_layout import tab_page_text

MAX_PROSE_CELLS = 96
"""Cells of the widest line of prose."""
MIN_FACT_LINES = 2
"""Lines that the facts may take however little room there is."""

_LEVEL = re.compile(r"\blevels? *([1-9])(?:(?:-| *to *)([1-9]))?(?![0-9])")
_HOLE = re.compile(r"\bholes? *(10|[1-9])(?![0-9])")
_WORD = re.compile(r"[^\s,;:()]+")
_PATH = re.compile(r"[>=+/]")
_APOSTROPHES = str.maketrans("’‘`´", "''''")


def feature_signs(drill: Drill) -> tuple[str, ...]:
    """What is unusual in how a drill is played, each as a shape and a word."""
    found = {
        "○ free": drill.free,
        "↻ loop": drill.loop is not None,
        "↗ climb": drill.climb is not None,
        "↔ calls": any(step.call for step in drill.steps),
        "‖ two parts": bool(drill.second),
    }
    return tuple(sign for sign, holds in found.items() if holds)


@dataclass(frozen=True, slots=True)
class SearchableDrill:
    """A drill as it can be searched for.

    Attributes:
        drill: itself.
        words: all that it is called, in small letters.
        tabs: what is played in it.
        paths: its chords, glides and ladders, as they are written.
    """

    drill: Drill
    words: frozenset[str]
    tabs: frozenset[Tab]
    paths: tuple[str, ...]

    @classmethod
    def of(cls, drill: Drill) -> SearchableDrill:
        """A drill's entry."""
        steps = (*drill.steps, *drill.second)
        tabs = frozenset(tab for step in steps for tab in step.tabs)
        kinds = {f"{tab.kind}s" for tab in tabs if not tab.is_natural}
        swung = "swing" if drill.swing != 1.0 else ""
        said = [drill.title, drill.name.replace("-", " "), drill.tuning, *drill.skills]
        said += ["level hole", "{}/{}".format(*drill.meter), swung, *kinds, *feature_signs(drill)]
        words = frozenset(_WORD.findall(" ".join(said).casefold()))
        parts = frozenset(part for word in words for part in word.split("-"))
        paths = tuple(dict.fromkeys(step.tab for step in steps if _PATH.search(step.tab)))
        return cls(drill, words | parts, tabs, paths)

    def fits(self, query: str) -> bool:
        """Whether a search finds it; one without words finds everything."""
        text = query.casefold().translate(_APOSTROPHES)
        for low, high in _LEVEL.findall(text):
            if not int(low) <= self.drill.level <= int(high or low):
                return False
        text = _LEVEL.sub(" ", text)
        if not {int(hole) for hole in _HOLE.findall(text)} <= {tab.hole for tab in self.tabs}:
            return False
        return all(self._has(word) for word in _WORD.findall(_HOLE.sub(" ", text)))

    def _has(self, word: str) -> bool:
        if not any(letter.isalnum() for letter in word):
            return True  # a sign that more is to follow
        if any(own.startswith(word) for own in self.words):
            return True
        if _PATH.search(word):
            return any(word in path for path in self.paths)
        try:
            return Tab.parse(word) in self.tabs
        except HarpError:
            return False


@dataclass(frozen=True, slots=True)
class DrillPreviewState:
    """What the preview says.

    Attributes:
        drill: which one; None says why there is none.
        missing: that reason, in a sentence.
    """

    drill: Drill | None
    missing: str = ""


def _few(lines: Sequence[str], count: int) -> list[str]:
    """At most so many lines; where there were more, the last one says so."""
    kept = list(lines[:count])
    if kept and len(lines) > count:
        kept[-1] = f"{kept[-1]} …"
    return kept


def _lined(lines: Sequence[str], pen: str) -> list[TextRow]:
    return [((f"  {line}", pen),) for line in lines]


def drill_preview_rows(state: DrillPreviewState, width: int, height: int) -> list[TextRow]:
    """What a drill trains and feels like, the first bars of its page, and its facts."""
    room = min(width - 4, MAX_PROSE_CELLS)
    drill = state.drill
    if drill is None:
        return _lined(textwrap.wrap(state.missing, room), "text")[:height]
    first, *more = tab_page_text(drill, width - 4).split("\n\n")
    bars = first.splitlines()
    told = _few(textwrap.wrap(drill_summary(drill), room), max(MIN_FACT_LINES, height // 4))
    about = textwrap.wrap(" ".join(drill.about.split()), room)
    about = _few(about, max(1, height - len(told) - len(bars)))
    for line in more:
        further = ["", *line.splitlines()]
        if len(about) + len(bars) + len(further) + len(told) + 2 > height:
            break
        bars += further
    spare = height - len(about) - len(bars) - len(told)
    rows = [*_lined(about, "text"), *[()] * (spare > 0), *_lined(bars, "strong")]
    rows += [*[()] * (spare > 1), *_lined(told, "quiet")]
    return [truncate(row, width) for row in rows[:height]]


class DrillPreview(Canvas[DrillPreviewState]):
    """What the chosen drill is about."""

    def draw(self, state: DrillPreviewState, width: int, height: int) -> Sequence[TextRow]:
        """As many rows as there is room for."""
        return drill_preview_rows(state, width, height)
