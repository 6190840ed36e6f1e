"""Today: the daily set, and why each drill is in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Horizontal
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.daily_set_view import (
    CALENDAR_WEEKS,
    RECENT_TAKES,
    DailySetView,
    calendar_start,
)
from trainer.app.shapes import sparkline
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.drill_preview import DrillPreview, DrillPreviewState
from trainer.coach import DailySet, Reason, SetEntry, score_floor
from trainer.core import TrainerError
from trainer.drill import Drill

TITLE_CELLS = 36
"""Width of a title in cells."""
LEAST_SCORE = 60.0
"""Score of the lowest bar of the recent scores: a scale that shows differences."""
REASON_WORDS = {
    Reason.WARM_UP: "To warm up",
    Reason.DUE: "Due",
    Reason.WEAK: "Weak",
    Reason.NEW: "New",
    Reason.ENJOY: "To enjoy",
    Reason.KEEP: "To keep",
}
"""Headings of the list."""


def entry_line(entry: SetEntry, view: DailySetView, chosen: bool = False) -> Content:
    """Return a line of the list: state, title, passes, minutes, recent and today's best score.

    Args:
        entry: the entry.
        view: the daily set.
        chosen: whether the cursor is on it.
    """
    day = view.day
    last = sparkline(view.recent.get(entry.drill, ()), LEAST_SCORE)
    done = day.is_done(entry)
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    state = ("✓ ", CSS_PENS["good"].color) if done else "○ "
    best = day.best(entry)
    mark = "" if best is None else f"{score_floor(best):>3} {_relation(best, entry)}"
    title = f"{entry.title[:TITLE_CELLS]:<{TITLE_CELLS}} "
    quiet = CSS_PENS["quiet"].color
    return Content.assemble(
        pointer,
        state,
        (title, "" if done else "bold"),
        f"{_passes(entry, day):<6}",
        (f"{max(1, round(entry.seconds / 60.0)):>2} min ", quiet),
        (f"{last:>{RECENT_TAKES}} ", quiet),
        mark,
    )


def _passes(entry: SetEntry, day: DailySet) -> str:
    """Return the passes to play as dots, filled for those that are played."""
    passed = sum(score >= entry.pass_mark for score in day.scores(entry))
    done = min(passed, entry.passes)
    return "●" * done + "○" * (entry.passes - done)


def entry_options(view: DailySetView) -> list[Option]:
    """Return the options of the list: the entries, under a heading where the reason changes."""
    listed: list[Option] = []
    reason: Reason | None = None
    for place, entry in enumerate(view.day.entries):
        if entry.reason is not reason:
            reason = entry.reason
            heading = Content.styled(f" {REASON_WORDS[reason]}", CSS_PENS["quiet"].color)
            listed.append(Option(heading, disabled=True))
        listed.append(Option(entry_line(entry, view), id=str(place)))
    return listed


def calendar_content(view: DailySetView) -> Content:
    """Return the last weeks, a line each from Monday to Sunday: ● played, · not, blank to come."""
    today, first = view.day.day, calendar_start(view.day.day)
    good, quiet = CSS_PENS["good"].color, CSS_PENS["quiet"].color
    parts: list[str | tuple[str, str]] = []
    for week in range(CALENDAR_WEEKS):
        monday = first + timedelta(weeks=week)
        parts.append((f"{monday.day:>2} {monday:%b}  ", quiet))
        for day in (monday + timedelta(days=n) for n in range(7)):
            played = day in view.practised
            parts.append(
                ("● ", good) if played else ("· ", quiet) if day <= today else ("  ", quiet)
            )
        parts.append("\n" if week < CALENDAR_WEEKS - 1 else "")
    return Content.assemble(*parts)


def _relation(best: float, entry: SetEntry) -> str:
    """Return how a score lies to the pass mark: ``≥ 70``, ``< 70``."""
    return f"{'≥' if best >= entry.pass_mark else '<'} {entry.pass_mark:g}"


def day_heading(day: DailySet, harp: str) -> str:
    """Return the heading: the harp, the drills and minutes left, the score and its change.

    Args:
        day: the set.
        harp: name of the harp for all drills; empty where each has its own.
    """
    left = sum(entry.seconds for entry in day.left) / 60.0
    count = len(day.left)
    todo = (
        f"{count} of {len(day.entries)} to play, about {max(1, round(left))} min"
        if count
        else "all played"
    )
    score = "" if day.score is None else f"; {score_floor(day.score)} so far"
    change = day.mean_gain
    if change is not None and abs(change) >= 0.5:
        score += f", {abs(change):.0f} {'better' if change > 0 else 'worse'} than before"
    return f"Today{f', {harp} harp' if harp else ''}: {todo}{score}"


def entry_details(entry: SetEntry) -> Content:
    """Return why an entry is in the set, and how to pass it."""
    tuning = "" if entry.tuning == "richter" else f", {entry.tuning}"
    takes = "once" if entry.passes == 1 else f"{entry.passes} times"
    how = f"{entry.key} harp{tuning}; pass it {takes}, with {entry.pass_mark:g} or more"
    return Content.assemble(entry.why, "\n", (how, CSS_PENS["quiet"].color))


class TodayScreen(Screen[tuple[SetEntry, bool] | None]):
    """The daily set.

    Its result is the chosen entry and whether to start it at once; None for none.

    Args:
        load: loads the set; called in a thread, because it reads the journal.
        shelf: the drills, whose tab a tall window shows.
    """

    DEFAULT_CSS = """
    TodayScreen {
        #foot { height: auto; background: $surface; }
        #foot #preview { width: 1fr; }
        #calendar { display: none; width: 28; height: auto; padding: 1 2; }
        #tab-box { display: none; height: 14; padding: 1 0; background: $surface; }
        #tab { height: 12; }
        &.-tall #tab-box, &.-tall #calendar { display: block; }
    }
    """
    ABOUT: ClassVar[str] = "The daily set: each drill's recent marks, and why it is in the set."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "go(True)", "start it", tooltip="start this drill with a count-in"),
        Binding("enter", "go(False)", "open it", key_display="enter", tooltip="open this drill"),
        Binding("escape,t", "dismiss(None)", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(self, load: Callable[[], DailySetView], shelf: Sequence[Drill] = ()) -> None:
        super().__init__()
        self._load = load
        self._drills = {drill.name: drill for drill in shelf}
        self._tab = DrillPreview(id="tab")
        self._view: DailySetView | None = None
        self._chosen = 0

    def compose(self) -> ComposeResult:
        """Yield the list and the reason for the chosen entry."""
        yield Static("Today: reading the journal …", id="day", classes="title")
        yield OptionList(id="drills")
        with Container(id="tab-box"):
            yield self._tab
        with Horizontal(id="foot"):
            yield Static(id="preview")
            yield Static(id="calendar")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Start to load the set."""
        self._read()

    @work(thread=True, exclusive=True)
    def _read(self) -> None:
        worker = get_current_worker()
        view: DailySetView | str
        try:
            view = self._load()
        except TrainerError as error:
            view = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, view)

    def _show(self, view: DailySetView | str) -> None:
        if isinstance(view, str):
            self.query_one("#day", Static).update("Today")
            self.query_one("#preview", Static).update(view)
            return
        self._view, day = view, view.day
        self.query_one("#day", Static).update(day_heading(day, view.harp))
        drills = self.query_one(OptionList)
        drills.clear_options()
        drills.add_options(entry_options(view))
        self.query_one("#calendar", Static).update(calendar_content(view))
        left = [i for i, entry in enumerate(day.entries) if not day.is_done(entry)]
        if day.entries:
            self._chosen = left[0] if left else 0
            drills.highlighted = drills.get_option_index(str(self._chosen))
            drills.focus()
        if day.unsaved:
            self.notify(day.unsaved, severity="warning")

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen entry and show its reason."""
        if self._view is None:
            return
        place, drills = int(event.option_id or 0), event.option_list
        entries = self._view.day.entries
        drills.replace_option_prompt(
            str(self._chosen), entry_line(entries[self._chosen], self._view)
        )
        drills.replace_option_prompt(
            str(place), entry_line(entries[place], self._view, chosen=True)
        )
        self._chosen = place
        self.query_one("#preview", Static).update(entry_details(entries[place]))
        drill = self._drills.get(entries[place].drill)
        if drill is not None:
            self._tab.show(DrillPreviewState(drill))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the drill of the entry that was clicked."""
        self.action_go(False)

    def action_go(self, start: bool) -> None:
        """Open the drill of the chosen entry, and start it if asked."""
        if self._view is not None and self._view.day.entries:
            self.dismiss((self._view.day.entries[self._chosen], start))
