"""The drill preview, and the search of the shelf.

A search is a list of words; a drill matches if it matches all of them. A word is a prefix of a word
of the title, a skill or a feature; or tab (``-4'``, ``4+5``, ``-2''>-2``) that the drill plays; or
``level 3`` or ``level 3-5``; or ``hole 2``.
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
"""Maximum line length of prose, in cells."""
MIN_CELLS = 24
"""Least width in which anything is drawn, in cells."""
MIN_FACT_LINES = 2
"""Lines of facts that are shown in any case."""

_LEVEL = re.compile(r"\blevels? *([1-9])(?:(?:-| *to *)([1-9]))?(?![0-9])")
_HOLE = re.compile(r"\bholes? *(10|[1-9])(?![0-9])")
_WORD = re.compile(r"[^\s,;:()]+")
_PATH = re.compile(r"[>=+/]")
_APOSTROPHES = str.maketrans("’‘`´", "''''")


def feature_signs(drill: Drill) -> tuple[str, ...]:
    """Return the special features of a drill, each as a shape and a word."""
    features = {
        "○ free": drill.free,
        "↻ loop": drill.loop is not None,
        "↗ climb": drill.climb is not None,
        "↔ calls": any(step.call for step in drill.steps),
        "‖ two parts": bool(drill.second),
    }
    return tuple(sign for sign, holds in features.items() if holds)


@dataclass(frozen=True, slots=True)
class SearchableDrill:
    """The search index of a drill.

    Attributes:
        drill: the drill.
        words: words of its title, name, tuning, skills and features, in lower case.
        tabs: tab entries that it plays.
        paths: its chords, glides and ladders, as written.
    """

    drill: Drill
    words: frozenset[str]
    tabs: frozenset[Tab]
    paths: tuple[str, ...]

    @classmethod
    def of(cls, drill: Drill) -> SearchableDrill:
        """Index a drill."""
        steps = (*drill.steps, *drill.second)
        tabs = frozenset(tab for step in steps for tab in step.tabs)
        kinds = {f"{tab.kind}s" for tab in tabs if not tab.is_natural}
        swung = "swing" if drill.swing != 1.0 else ""
        texts = [drill.title, drill.name.replace("-", " "), drill.tuning, *drill.skills]
        texts += ["level hole", "{}/{}".format(*drill.meter), swung, *kinds, *feature_signs(drill)]
        words = frozenset(_WORD.findall(" ".join(texts).casefold()))
        parts = frozenset(part for word in words for part in word.split("-"))
        paths = tuple(dict.fromkeys(step.tab for step in steps if _PATH.search(step.tab)))
        return cls(drill, words | parts, tabs, paths)

    def matches(self, query: str) -> bool:
        """Return whether the drill matches a query; an empty query matches all."""
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
            return True  # an operator before its operand is typed
        if any(known.startswith(word) for known in self.words):
            return True
        if _PATH.search(word):
            return any(word in path for path in self.paths)
        try:
            return Tab.parse(word) in self.tabs
        except HarpError:
            return False


@dataclass(frozen=True, slots=True)
class DrillPreviewState:
    """State of the preview.

    Attributes:
        drill: the drill; None for none.
        missing: why there is none, as a sentence.
        with_harp: whether the drill's own harp is named; not where another one is asked for.
    """

    drill: Drill | None
    missing: str = ""
    with_harp: bool = True


def _first_lines(lines: Sequence[str], count: int) -> list[str]:
    """Return at most `count` lines; an ellipsis marks that there are more."""
    kept = list(lines[:count])
    if kept and len(lines) > count:
        kept[-1] = f"{kept[-1]} …"
    return kept


def _indented(lines: Sequence[str], pen: str) -> list[TextRow]:
    return [((f"  {line}", pen),) for line in lines]


def drill_preview_rows(state: DrillPreviewState, width: int, height: int) -> list[TextRow]:
    """Draw what a drill trains, the first bars of its tab, and its facts."""
    if width < MIN_CELLS:  # before the layout is settled
        return []
    room = min(width - 4, MAX_PROSE_CELLS)
    drill = state.drill
    if drill is None:
        return _indented(textwrap.wrap(state.missing, room), "text")[:height]
    first, *more = tab_page_text(drill, width - 4).split("\n\n")
    bars = first.splitlines()
    facts = _first_lines(
        textwrap.wrap(drill_summary(drill, with_harp=state.with_harp), room),
        max(MIN_FACT_LINES, height // 4),
    )
    about = textwrap.wrap(" ".join(drill.about.split()), room)
    about = _first_lines(about, max(1, height - len(facts) - len(bars)))
    for line in more:
        further = ["", *line.splitlines()]
        if len(about) + len(bars) + len(further) + len(facts) + 2 > height:
            break
        bars += further
    spare = height - len(about) - len(bars) - len(facts)
    rows = [*_indented(about, "text"), *[()] * (spare > 0), *_indented(bars, "strong")]
    rows += [*[()] * (spare > 1), *_indented(facts, "quiet")]
    return [truncate(row, width) for row in rows[:height]]


class DrillPreview(Canvas[DrillPreviewState]):
    """The preview of a drill."""

    def draw(self, state: DrillPreviewState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many rows as fit."""
        return drill_preview_rows(state, width, height)
