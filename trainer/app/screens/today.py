"""Today: the day's set, and why each drill is in it."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.daily_set_view import RECENT_TAKES, DailySetView
from trainer.app.shapes import sparkline
from trainer.app.theme import CSS_PENS
from trainer.coach import DailySet, SetEntry, score_floor
from trainer.core import TrainerError

TITLE_CELLS = 36


def entry_line(entry: SetEntry, view: DailySetView, chosen: bool = False) -> Content:
    """An entry in a line: whether it is done, its title, what it is for, its last marks and its
    best one today."""
    day = view.day
    last = sparkline(view.recent.get(entry.drill, ()))
    done = day.is_done(entry)
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    state = ("✓ ", CSS_PENS["good"].color) if done else "○ "
    best = day.best(entry)
    mark = "" if best is None else f"{score_floor(best):>3} of {entry.pass_mark:g}"
    title = f"{entry.title[:TITLE_CELLS]:<{TITLE_CELLS}} "
    quiet = CSS_PENS["quiet"].color
    return Content.assemble(
        pointer,
        state,
        (title, "" if done else "bold"),
        (f"{entry.reason.value:<8}", quiet),
        (f"{last:>{RECENT_TAKES}} ", quiet),
        mark,
    )


def day_heading(day: DailySet, harp: str) -> str:
    """The day, how much is left of it, how it went so far, and the harp in hand."""
    left = sum(entry.seconds for entry in day.left) / 60.0
    count = len(day.left)
    todo = (
        f"{count} of {len(day.entries)} to play, some {max(1, round(left))} minutes"
        if count
        else "all played"
    )
    score = "" if day.score is None else f"; {score_floor(day.score)} so far"
    moved = day.mean_gain
    if moved is not None and abs(moved) >= 0.5:
        score += f", {abs(moved):.0f} {'better' if moved > 0 else 'worse'} than before"
    return f"Today, {harp} harp: {todo}{score}"


def entry_details(entry: SetEntry) -> Content:
    """Why an entry is there, and how to do it."""
    tuning = "" if entry.tuning == "richter" else f", {entry.tuning}"
    takes = "once" if entry.passes == 1 else f"{entry.passes} times"
    how = f"{entry.key} harp{tuning}; pass it {takes}, with {entry.pass_mark:g} or more"
    return Content.assemble(entry.why, "\n", (how, CSS_PENS["quiet"].color))


class TodayScreen(Screen[tuple[SetEntry, bool] | None]):
    """The day's set. Gives the entry that is chosen, and whether to begin at once.

    Args:
        load: makes the set; called in a thread of its own, because it reads the journal.
        harp: what the player calls the harp in hand.
    """

    ABOUT: ClassVar[str] = "The day's set, with the last marks of each drill and why it is there."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "go(True)", "start it", tooltip="start this drill with the count-in"),
        Binding("enter", "go(False)", "open it", key_display="enter", tooltip="open this drill"),
        Binding("escape,t", "dismiss(None)", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(self, load: Callable[[], DailySetView], harp: str = "C") -> None:
        super().__init__()
        self._load, self._harp = load, harp
        self._view: DailySetView | None = None
        self._place = 0

    def compose(self) -> ComposeResult:
        """The list, and why the chosen entry is in it."""
        yield Static("Today: looking into your journal", id="day", classes="title")
        yield OptionList(id="drills")
        yield Static(id="preview")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Make the set."""
        self._read()

    @work(thread=True, exclusive=True)
    def _read(self) -> None:
        worker = get_current_worker()
        found: DailySetView | str
        try:
            found = self._load()
        except TrainerError as error:
            found = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, found)

    def _show(self, found: DailySetView | str) -> None:
        if isinstance(found, str):
            self.query_one("#day", Static).update("Today")
            self.query_one("#preview", Static).update(found)
            return
        self._view, day = found, found.day
        self.query_one("#day", Static).update(day_heading(day, self._harp))
        drills = self.query_one(OptionList)
        drills.clear_options()
        for place, entry in enumerate(day.entries):
            drills.add_option(Option(entry_line(entry, found), id=str(place)))
        left = [i for i, entry in enumerate(day.entries) if not day.is_done(entry)]
        if day.entries:
            self._place = left[0] if left else 0
            drills.highlighted = self._place
            drills.focus()
        if day.unsaved:
            self.notify(day.unsaved, severity="warning")

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Point at the entry and say why it is there."""
        if self._view is None:
            return
        place, drills = int(event.option_id or 0), event.option_list
        entries = self._view.day.entries
        drills.replace_option_prompt(str(self._place), entry_line(entries[self._place], self._view))
        drills.replace_option_prompt(
            str(place), entry_line(entries[place], self._view, chosen=True)
        )
        self._place = place
        self.query_one("#preview", Static).update(entry_details(entries[place]))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the entry's drill."""
        self.action_go(False)

    def action_go(self, start: bool) -> None:
        """Open the drill of the chosen entry, and perhaps begin with the count-in."""
        if self._view is not None and self._view.day.entries:
            self.dismiss((self._view.day.entries[self._place], start))
