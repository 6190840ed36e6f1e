"""Today: the daily set, and why each drill is in it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.daily_set_view import (
    CALENDAR_WEEKS,
    RECENT_TAKES,
    DailySetView,
    calendar_start,
)
from trainer.app.places import PLACES
from trainer.app.shapes import sparkline
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.drill_preview import DrillPreview, DrillPreviewState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.coach import DailySet, Missing, Reason, SetEntry, score_floor
from trainer.core import TrainerError
from trainer.core.quantities import quantity_text
from trainer.drill import Drill

TITLE_CELLS, HARP_CELLS = 32, 6
"""Width of a title, and of the harp after it, in cells."""
WIDE_COLUMNS = 110
"""Columns from which the chosen drill stands beside the list."""
MIN_PREVIEW_ROWS = 7
"""Least rows of the drill's preview below the list."""
LINE_PADDING = 1
"""Cells at the left of a line of the list."""
LEAST_SCORE = 60.0
"""Score of the lowest bar of the recent scores: a scale that shows differences."""
REASON_WORDS = {
    Reason.WARM_UP: "Warm-up",
    Reason.DUE: "Due",
    Reason.WEAK: "Weak",
    Reason.NEW: "New",
    Reason.ENJOY: "For fun",
    Reason.KEEP: "To keep",
}
"""Headings of the list."""


def entry_line(entry: SetEntry, view: DailySetView, chosen: bool = False) -> Content:
    """Return a line: place in the set, title, harp, passes, minutes, recent marks, today's best.

    The place is the one in the order of playing, in which hard and easy drills take turns; the
    list is in groups. A tick stands there once the drill is done.

    Args:
        entry: the entry.
        view: the daily set.
        chosen: whether the cursor is on it.
    """
    day = view.day
    last = sparkline(view.recent.get(entry.drill, ()), LEAST_SCORE)
    done = day.is_done(entry)
    pointer = ("▶ ", CSS_PENS["now"].color) if chosen else "  "
    quiet = CSS_PENS["quiet"].color
    place = day.entries.index(entry) + 1
    state = (" ✓ ", CSS_PENS["good"].color) if done else (f"{place:>2} ", quiet)
    best = day.best(entry)
    mark = "" if best is None else f"{score_floor(best):>3} {_relation(best, entry)}"
    title = f"{entry.title[:TITLE_CELLS]:<{TITLE_CELLS}} "
    return Content.assemble(
        pointer,
        state,
        (title, "" if done else "bold"),
        (f"{entry.key:<{HARP_CELLS}} ", quiet),
        f"{_passes(entry, day):<6}",
        (f"{max(1, round(entry.seconds / 60.0)):>2} min  ", quiet),
        (f"{last:>{RECENT_TAKES}} ", quiet),
        mark,
    )


def column_heads() -> Content:
    """Return the headings of the columns."""
    scale = f"{LEAST_SCORE:.0f}–100"
    heads = f"{'':<{TITLE_CELLS + 6}}{'harp':<{HARP_CELLS}} {'passes':<6} {'':<6}{scale:>8}  today"
    return Content.styled(" " * LINE_PADDING + heads, CSS_PENS["quiet"].color)


def _passes(entry: SetEntry, day: DailySet) -> str:
    """Return the passes to play as dots, filled for those that are played."""
    passed = sum(score >= entry.pass_mark for score in day.scores(entry))
    done = min(passed, entry.passes)
    return "●" * done + "○" * (entry.passes - done)


def entry_options(view: DailySetView) -> list[Option]:
    """Return the options of the list: the entries, each reason's under one heading.

    The groups come in the order in which the set reaches them.
    """
    groups: dict[Reason, list[Option]] = {}
    for place, entry in enumerate(view.day.entries):
        option = Option(entry_line(entry, view), id=str(place))
        groups.setdefault(entry.reason, []).append(option)
    listed: list[Option] = []
    for reason, options in groups.items():
        heading = Content.styled(f" {REASON_WORDS[reason]}", CSS_PENS["quiet"].color)
        listed += [Option(heading, disabled=True), *options]
    return listed


def calendar_content(view: DailySetView) -> Content:
    """Return the last weeks, a line each under the days: ● played, · not, blank to come."""
    today, first = view.day.day, calendar_start(view.day.day)
    good, quiet = CSS_PENS["good"].color, CSS_PENS["quiet"].color
    parts: list[str | tuple[str, str]] = [(f"{'':8}M T W T F S S\n", quiet)]
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
    if not day.entries:
        return f"Today{f', {harp} harp' if harp else ''}: nothing to play"
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


def missing_text(day: DailySet) -> str:
    """Return why a set is empty, and what to do."""
    minutes = quantity_text(day.minutes, "minute")
    return {
        Missing.DRILLS: "The shelf is empty: 'trainer drill list' shows where drills belong.",
        Missing.HARP: "No drill on the shelf suits this harp: choose another one with h.",
        Missing.TIME: f"No drill fits into {minutes}: set more with , (minutes).",
        Missing.RESTING: "All you know is resting: choose a drill on the shelf with s.",
    }[day.missing or Missing.TIME]


def entry_details(entry: SetEntry) -> Content:
    """Return why an entry is in the set, and how to pass it."""
    tuning = "" if entry.tuning == "richter" else f", {entry.tuning}"
    takes = {1: "once", 2: "twice"}.get(entry.passes, f"{entry.passes} times")
    how = f"{entry.key} harp{tuning}; pass {takes} with {entry.pass_mark:g} or more"
    return Content.assemble(entry.why, "\n", (how, CSS_PENS["quiet"].color))


class TodayScreen(Screen[tuple[SetEntry, bool] | None]):
    """The daily set.

    Its result is the chosen entry and whether to start it at once; None for none.

    Args:
        load: loads the set; called in a thread, because it reads the journal.
        shelf: the drills, of which the chosen one is shown.
        go_to: opens another screen of the app by its name, one of `PLACES`.
    """

    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE_COLUMNS, "-wide")]  # noqa: RUF012
    DEFAULT_CSS = """
    TodayScreen {
        #body { height: 1fr; layout: horizontal; }
        #set { width: 78; height: 1fr; }
        #columns { height: 1; text-wrap: nowrap; }
        #beside { width: 1fr; height: 1fr; background: $surface; padding: 0 0 1 0; }
        #preview { height: auto; min-height: 0; padding: 1 2; }
        #tab { height: 1fr; }
        #calendar { height: auto; padding: 1 2 0 2; }
        &.-narrow #body { layout: vertical; }
        &.-narrow #set { width: 1fr; height: 1fr; }
        &.-narrow #beside { height: auto; padding: 0; }
        &.-narrow #preview { padding: 0 2; min-height: 2; }
        &.-narrow #tab, &.-narrow #calendar { display: none; }
        &.-narrow.-roomy #tab { display: block; height: 9; }
        &.-narrow.-roomy.-tall #calendar { display: block; }
        #drills { padding: 0 0 0 1; }
    }
    """
    ABOUT: ClassVar[str] = (
        "The daily set: why each drill is in it, its last marks, and the passes still to play."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "go(True)", "start", tooltip="start this drill with a count-in"),
        Binding("enter", "go(False)", "open", tooltip="open this drill"),
        *(
            Binding(key, f"place('{name}')", words, tooltip=about)
            for key, name, words, about in PLACES
        ),
        Binding("escape,t", "dismiss(None)", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(
        self,
        load: Callable[[], DailySetView],
        shelf: Sequence[Drill] = (),
        go_to: Callable[[str], None] = lambda _: None,
    ) -> None:
        super().__init__()
        self._load = load
        self._drills = {drill.name: drill for drill in shelf}
        self._go_to = go_to
        self._tab = DrillPreview(id="tab")
        self._view: DailySetView | None = None
        self._chosen = 0
        self._left = False

    def compose(self) -> ComposeResult:
        """Yield the list and, beside or below it, the chosen drill and the calendar."""
        yield Static("Today: reading the journal …", id="day", classes="title")
        with Container(id="body"):
            with Vertical(id="set"):
                yield Static(column_heads(), id="columns")
                yield OptionList(id="drills")
            with Vertical(id="beside"):
                yield Static(id="preview")
                yield self._tab
                yield Static(id="calendar")
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to load the set."""
        self._read()

    def on_screen_suspend(self) -> None:
        """Remember that another screen may change the journal or the settings."""
        self._left = True

    def on_screen_resume(self) -> None:
        """Load the set again after another screen."""
        if self._left:
            self._left = False
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
        needed = drills.option_count + MIN_PREVIEW_ROWS + 6
        self.set_class(self.size.height >= needed, "-roomy")
        if not day.entries:
            self.query_one("#preview", Static).update(missing_text(day))
        else:
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
            self._tab.show(DrillPreviewState(drill, with_harp=False))

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Open the drill of the entry that was clicked."""
        self.action_go(False)

    def action_place(self, name: str) -> None:
        """Open another screen; this one stays below it."""
        self._go_to(name)

    def action_go(self, start: bool) -> None:
        """Open the drill of the chosen entry, and start it if asked."""
        if self._view is not None and self._view.day.entries:
            self.dismiss((self._view.day.entries[self._chosen], start))
