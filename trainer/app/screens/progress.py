"""Progress: what improves, and what does not."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container, Horizontal, Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.progress_plot import (
    KIND_HEADINGS,
    ProgressLine,
    ProgressPlot,
    column_heads,
    detail_content,
    progress_content,
    summary_content,
)
from trainer.coach import Overview, TrendWindow, overview_at
from trainer.core import TrainerError
from trainer.report.progress_plots import PLOTTED_MEASURES
from trainer.report.progress_report import empty_progress_text, practice_text
from trainer.settings import load_settings
from trainer.store import journal_path

WIDE_COLUMNS = 116
"""Columns from which table and plot stand side by side."""
LARGE_COLUMNS, LARGE_ROWS = 180, 50
"""Window from which the plots of all measures are shown."""


def _quiet(text: str) -> Content:
    return Content.styled(text, CSS_PENS["quiet"].color)


class ProgressScreen(Screen[None]):
    """Progress as a list of subjects, and the plot of the chosen one.

    A thread reads the journal, so that a running take goes on.

    Args:
        journal: its file; None for that of the settings.
        player: name of the player; empty for that of the settings.
    """

    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE_COLUMNS, "-wide")]  # noqa: RUF012
    DEFAULT_CSS = """
    ProgressScreen {
        #practice { height: auto; padding: 0 2; }
        #columns { height: 1; padding: 0 1; text-wrap: nowrap; }
        #table { width: 1fr; }
        #subjects {
            height: 1fr;
            border: none;
            background: $background;
            padding: 0 1;
            scrollbar-size-vertical: 1;
        }
        #subjects > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
        #detail { width: 1fr; }
        #plots { height: 1fr; min-height: 8; }
        #plots ProgressPlot { height: 1fr; }
        &.-large #plots { layout: grid; grid-size: 2 2; grid-gutter: 1 2; }
        #figures { height: auto; padding: 0 2; }
        #message { height: 1fr; padding: 1 2; }
        &.-wide #table { width: 74; }
        &.-narrow #detail { display: none; }
        &.-narrow.-turned #detail { display: block; }
        &.-narrow.-turned #table { display: none; }
        &.-message #table, &.-message #detail { display: none; }
        &.-message #body { display: none; }
        #message { display: none; }
        &.-message #message { display: block; }
    }
    """
    ABOUT: ClassVar[str] = "What has improved, over four weeks or since the start."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,g", "dismiss(None)", "back", key_display="esc", tooltip="back"),
        *LIST_BINDINGS,
        Binding("enter,space", "turn", "plot", key_display="enter", tooltip="plot or table"),
        Binding(
            "m",
            "measure",
            "measure",
            tooltip="next measure: how far off, in tune, clean, or timing",
        ),
        Binding(
            "w",
            "window",
            "weeks",
            tooltip="trend of four weeks, or since the start",
        ),
    ]

    def __init__(self, journal: Path | None = None, player: str = "") -> None:
        super().__init__()
        self._journal = journal
        self._player = player
        self._lines: list[ProgressLine] = []
        self._practice = ""
        self._chosen = 0
        self._measure = PLOTTED_MEASURES[0]
        self._window = TrendWindow.FOUR_WEEKS
        self._subjects = OptionList(id="subjects")
        self._subjects.can_focus = False  # the screen binds the keys, also while the list is hidden

    def compose(self) -> ComposeResult:
        """Yield the list and, beside or behind it, the plot with its figures."""
        yield Static("Progress", classes="title")
        yield Static(id="practice")
        with Horizontal(id="body"):
            with Vertical(id="table"):
                yield Static(id="columns")
                yield self._subjects
            with Vertical(id="detail"):
                with Container(id="plots"):
                    for measure in PLOTTED_MEASURES:
                        yield ProgressPlot(id=f"plot-{measure}")
                yield Static(id="figures")
        yield Static(id="message")
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to read the journal."""
        self._set_message("Reading the journal …")
        self._read()

    @work(thread=True)
    def _read(self) -> None:
        """Read the journal and compute the lines."""
        worker = get_current_worker()
        overview: Overview | str
        lines: list[ProgressLine] = []
        try:
            settings = load_settings()
            overview = overview_at(
                self._journal or settings.journal.file or journal_path(),
                self._player or settings.player.name,
                date.today(),
            )
            lines = [ProgressLine.of(subject) for subject in overview.subjects]
        except TrainerError as error:
            overview = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show, overview, lines)

    def _show(self, overview: Overview | str, lines: list[ProgressLine]) -> None:
        """Show the progress, or why the journal cannot be read."""
        if isinstance(overview, str):
            self._set_message(overview)
            return
        self._player = overview.player
        if not lines:
            self._set_message(empty_progress_text(overview))
            return
        self._lines = lines
        sentences = practice_text(overview.practice, overview.weeks, overview.today)
        self._practice = "\n".join(sentences)
        self.remove_class("-message")
        self._list()
        self._subjects.highlighted = self._subjects.get_option_index("0")

    def _set_message(self, sentence: str) -> None:
        self.query_one("#message", Static).update(Content(sentence))
        self.add_class("-message")

    def _list(self) -> None:
        """Fill the list with all lines under their headings."""
        listed: list[Option] = []
        kind = None
        for place, line in enumerate(self._lines):
            if line.progress.kind is not kind:
                kind = line.progress.kind
                heading = ("\n" if listed else "") + KIND_HEADINGS[kind]
                listed.append(Option(_quiet(heading), disabled=True))
            listed.append(Option(self._line(place), id=str(place)))
        with self.prevent(OptionList.OptionHighlighted):
            self._subjects.set_options(listed)
        self.query_one("#columns", Static).update(_quiet(column_heads(self._measure, self._window)))
        self.query_one(".title", Static).update(
            Content(f"Progress of {self._player}: {self._window}")
        )
        self.query_one("#practice", Static).update(
            Content("\n").join(
                [
                    _quiet(self._practice),
                    summary_content(self._lines, self._measure, self._window),
                ]
            )
        )

    def _line(self, place: int) -> Content:
        return progress_content(
            self._lines[place], self._measure, self._window, place == self._chosen
        )

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen line and show its plot."""
        before, self._chosen = self._chosen, int(event.option_id or 0)
        for place in {before, self._chosen}:
            event.option_list.replace_option_prompt(str(place), self._line(place))
        self._show_chosen()

    def on_option_list_option_selected(self) -> None:
        """Switch to the plot."""
        self.action_turn()

    def _show_chosen(self) -> None:
        line = self._lines[self._chosen]
        for measure in PLOTTED_MEASURES:
            plot = self.query_one(f"#plot-{measure}", ProgressPlot)
            plot.display = self._is_large or measure == self._measure
            if plot.display:
                plot.show(line.progress, measure, self._window)
        every = self.size.width >= WIDE_COLUMNS
        self.query_one("#figures", Static).update(
            detail_content(line, self._measure, self._window, every=every)
        )

    @property
    def _is_large(self) -> bool:
        """Whether the window has room for the plots of all measures."""
        return self.size.width >= LARGE_COLUMNS and self.size.height >= LARGE_ROWS

    def action_choose(self, where: str) -> None:
        """Move the cursor, whether the list is visible or not."""
        move_cursor(self._subjects, where)

    def action_turn(self) -> None:
        """Switch between plot and list where there is no room for both."""
        if self._lines:
            self.toggle_class("-turned")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Disable the switch where list and plot are both visible."""
        return action != "turn" or self.size.width < WIDE_COLUMNS

    def on_resize(self) -> None:
        """Update the footer and the figures for the new size."""
        self.refresh_bindings()
        self.set_class(self._is_large, "-large")
        if self._lines:
            self._show_chosen()

    def action_measure(self) -> None:
        """Select the next measure."""
        if self._lines:
            at = PLOTTED_MEASURES.index(self._measure) + 1
            self._measure = PLOTTED_MEASURES[at % len(PLOTTED_MEASURES)]
            self._list_again()

    def action_window(self) -> None:
        """Switch between the trend of four weeks and that since the start."""
        if self._lines:
            windows = tuple(TrendWindow)
            self._window = windows[(windows.index(self._window) + 1) % len(windows)]
            self._list_again()

    def _list_again(self) -> None:
        """Fill the list again, with the cursor where it was."""
        self._list()
        self._subjects.highlighted = self._subjects.get_option_index(str(self._chosen))
        self._show_chosen()
