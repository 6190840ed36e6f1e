"""Summary: what a daily set earned, and what moved since the last time."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from trainer.app.far_text import far_rows
from trainer.app.shapes import grade_pen
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.key_footer import KeyFooter
from trainer.coach import DailySet, SetEntry, score_floor
from trainer.core.quantities import quantity_text
from trainer.report.grades import grade_of_score

TITLE_CELLS = 36
"""Width of a title in cells."""
MIN_GAIN = 0.5
"""Smallest change that is called one, in points."""
SCORE_SCALE = 3
"""Scale of the mean score in a tall window, see :mod:`trainer.app.far_text`."""


def summary_heading(day: DailySet) -> str:
    """Return the drills played, their mean score, and the mean change since the last time."""
    played = [entry for entry in day.entries if day.scores(entry)]
    if not played:
        return "Nothing was played."
    gain = day.mean_gain
    moved = "" if gain is None else f", {_change_words(gain)} than the last time"
    return (
        f"{quantity_text(len(played), 'drill')}, {score_floor(day.score or 0.0)} on average{moved}"
    )


def _change_words(gain: float) -> str:
    if abs(gain) < MIN_GAIN:
        return "no different"
    return f"{abs(gain):.0f} {'better' if gain > 0 else 'worse'}"


def large_score(day: DailySet) -> Content:
    """Return the mean score in large digits, legible from two steps away; empty for none."""
    if day.score is None:
        return Content()
    color = CSS_PENS[grade_pen(grade_of_score(day.score))].color
    rows = far_rows(str(score_floor(day.score)), SCORE_SCALE)
    return Content.styled("\n".join(rows), color)


def entry_summary(day: DailySet, entry: SetEntry) -> Content:
    """Return a line: title, best score, passes, and the change since the last time."""
    quiet, best, gain = CSS_PENS["quiet"].color, day.best(entry), day.gain(entry)
    title = f"  {entry.title[:TITLE_CELLS]:<{TITLE_CELLS}} "
    if best is None:
        return Content.assemble((title, quiet), ("not played", quiet))
    graded = grade_of_score(best)
    if gain is None:
        change, pen = "first time", quiet
    elif abs(gain) < MIN_GAIN:
        change, pen = "as before", quiet
    else:
        sign, name = ("▲", "good") if gain > 0 else ("▼", "low")
        change, pen = f"{sign} {abs(gain):.0f}", CSS_PENS[name].color
    takes = quantity_text(len(day.scores(entry)), "take")
    return Content.assemble(
        (title, "bold"),
        (f"{graded.shape} {score_floor(best):>3}  ", CSS_PENS[grade_pen(graded)].color),
        (f"{change:<12}", pen),
        (takes, quiet),
    )


class SummaryScreen(Screen[None]):
    """What the set earned.

    Args:
        day: the set, with the takes of today.
    """

    DEFAULT_CSS = """
    SummaryScreen {
        #summary { height: 1fr; padding: 0 2; scrollbar-size-vertical: 1; }
        #score { display: none; width: auto; }
        #heading { height: auto; padding: 1 0; text-style: bold; }
        &.-tall #summary { align: center middle; }
        &.-tall #score { display: block; }
        &.-tall #heading, &.-tall #entries { width: auto; }
    }
    """
    ABOUT: ClassVar[str] = "The end of the set: each drill's best mark, and what moved."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,space,enter", "dismiss", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(self, day: DailySet) -> None:
        super().__init__()
        self._day = day

    def compose(self) -> ComposeResult:
        """Yield the heading and a line for each entry."""
        day = self._day
        yield Static("The set is done", classes="title")
        lines = Content("\n").join([entry_summary(day, entry) for entry in day.entries])
        with VerticalScroll(id="summary"):
            yield Static(large_score(day), id="score")
            yield Static(Content(summary_heading(day)), id="heading")
            yield Static(lines, id="entries")
        yield KeyFooter()
