"""Progress: what is getting better, and what is not."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.progress_plot import (
    KIND_HEADINGS,
    ProgressLine,
    ProgressPlot,
    column_heads,
    detail_content,
    progress_content,
)
from trainer.coach import Overview, overview_at
from trainer.core import TrainerError
from trainer.report.progress_plots import PLOTTED_MEASURES
from trainer.report.progress_report import compared_days_text, empty_progress_text, practice_text
from trainer.settings import load_settings
from trainer.store import journal_path

WIDE_COLUMNS = 116
"""Columns from which the table and the plot stand side by side."""


def _quiet(text: str) -> Content:
    return Content.styled(text, CSS_PENS["quiet"].color)


class ProgressScreen(Screen[None]):
    """All progress as a list, and the plot of what is chosen in it.

    The journal is read in a thread of its own, so that a take goes on meanwhile.

    Args:
        journal: its file; None takes that of the settings.
        player: whose; empty takes that of the settings.
    """

    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE_COLUMNS, "-wide")]  # noqa: RUF012
    DEFAULT_CSS = """
    ProgressScreen {
        #practice { height: auto; padding: 0 2; }
        #columns { height: 1; padding: 0 1; text-wrap: nowrap; }
        #table { width: 1fr; }
        #things {
            height: 1fr;
            border: none;
            background: $background;
            padding: 0 1;
            scrollbar-size-vertical: 1;
        }
        #things > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
        #shown { width: 1fr; }
        #plot { height: 1fr; min-height: 8; }
        #told { height: auto; padding: 0 2; }
        #message { height: 1fr; padding: 1 2; }
        &.-wide #table { width: 68; }
        &.-narrow #shown { display: none; }
        &.-narrow.-turned #shown { display: block; }
        &.-narrow.-turned #table { display: none; }
        &.-message #table, &.-message #shown { display: none; }
        &.-message #body { display: none; }
        #message { display: none; }
        &.-message #message { display: block; }
    }
    """
    ABOUT: ClassVar[str] = "What is getting better, by what you played in the last weeks."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,g", "dismiss(None)", "back", key_display="esc", tooltip="back"),
        *LIST_BINDINGS,
        Binding(
            "enter,space", "turn", "plot or table", key_display="enter", tooltip="plot or table"
        ),
        Binding(
            "m",
            "measure",
            "off, tune, clean, time",
            tooltip="what is plotted: how far off, in tune, clean, in time",
        ),
    ]

    def __init__(self, journal: Path | None = None, player: str = "") -> None:
        super().__init__()
        self._journal = journal
        self._player = player
        self._lines: list[ProgressLine] = []
        self._chosen = 0
        self._measure = PLOTTED_MEASURES[0]
        self._things = OptionList(id="things")
        self._things.can_focus = False  # the keys are the screen's, also while it is out of sight

    def compose(self) -> ComposeResult:
        """The list and, beside or behind it, the plot with what is told."""
        yield Static("Progress", classes="title")
        yield Static(id="practice")
        with Horizontal(id="body"):
            with Vertical(id="table"):
                yield Static(id="columns")
                yield self._things
            with Vertical(id="shown"):
                yield ProgressPlot(id="plot")
                yield Static(id="told")
        yield Static(id="message")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Read the journal."""
        self._say("Reading the journal …")
        self._read()

    @work(thread=True)
    def _read(self) -> None:
        """Read it, and reckon what the lines say."""
        worker = get_current_worker()
        found: Overview | str
        lines: list[ProgressLine] = []
        try:
            settings = load_settings()
            found = overview_at(
                self._journal or settings.journal.file or journal_path(),
                self._player or settings.player.name,
                date.today(),
            )
            lines = [ProgressLine.of(one) for one in found.subjects]
        except TrainerError as error:
            found = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, found, lines)

    def _show(self, found: Overview | str, lines: list[ProgressLine]) -> None:
        """Show what was read, or why it could not be."""
        if isinstance(found, str):
            self._say(found)
            return
        self.query_one(".title", Static).update(
            Content(f"Progress of {found.player}: {compared_days_text(found.weeks)}")
        )
        if not lines:
            self._say(empty_progress_text(found))
            return
        self._lines = lines
        told = practice_text(found.practice, found.weeks, found.today)
        self.query_one("#practice", Static).update(_quiet("\n".join(told)))
        self.remove_class("-message")
        self._list()
        self._things.highlighted = self._things.get_option_index("0")

    def _say(self, sentence: str) -> None:
        self.query_one("#message", Static).update(Content(sentence))
        self.add_class("-message")

    def _list(self) -> None:
        """All lines anew, under their headings."""
        listed: list[Option] = []
        kind = None
        for place, line in enumerate(self._lines):
            if line.progress.kind is not kind:
                kind = line.progress.kind
                heading = ("\n" if listed else "") + KIND_HEADINGS[kind]
                listed.append(Option(_quiet(heading), disabled=True))
            listed.append(Option(self._line(place), id=str(place)))
        with self.prevent(OptionList.OptionHighlighted):
            self._things.set_options(listed)
        self.query_one("#columns", Static).update(_quiet(column_heads(self._measure)))

    def _line(self, place: int) -> Content:
        return progress_content(self._lines[place], self._measure, place == self._chosen)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Point at what is chosen, and show it."""
        before, self._chosen = self._chosen, int(event.option_id or 0)
        for place in {before, self._chosen}:
            event.option_list.replace_option_prompt(str(place), self._line(place))
        self._show_chosen()

    def on_option_list_option_selected(self) -> None:
        """Turn to the plot."""
        self.action_turn()

    def _show_chosen(self) -> None:
        line = self._lines[self._chosen]
        self.query_one(ProgressPlot).show(line.progress, self._measure)
        every = self.size.width >= WIDE_COLUMNS
        self.query_one("#told", Static).update(detail_content(line, self._measure, every=every))

    def action_choose(self, where: str) -> None:
        """Another thing, whether the list is in sight or not."""
        move_cursor(self._things, where)

    def action_turn(self) -> None:
        """The plot instead of the list, or the list again, where there is no room for both."""
        if self._lines:
            self.toggle_class("-turned")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether a key does anything: nothing is turned where both are in sight."""
        return action != "turn" or self.size.width < WIDE_COLUMNS

    def on_resize(self) -> None:
        """Offer the keys that do something at this size, and say what there is room for."""
        self.refresh_bindings()
        if self._lines:
            self._show_chosen()

    def action_measure(self) -> None:
        """Show the next measure."""
        if self._lines:
            self._measure = PLOTTED_MEASURES[
                (PLOTTED_MEASURES.index(self._measure) + 1) % len(PLOTTED_MEASURES)
            ]
            self._list()
            self._things.highlighted = self._things.get_option_index(str(self._chosen))
            self._show_chosen()
