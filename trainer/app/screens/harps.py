"""Harps: choose the one in hand, and see what it can play and which reeds are off."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.screens.measure import MeasureScreen
from trainer.app.session import Session
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.harp_chart import HarpChart, HarpState
from trainer.core import TrainerError
from trainer.harp import STANDARD_KEYS, Harp, natural_entries, tuning_names
from trainer.music import POSITIONS
from trainer.practice import Plan
from trainer.reedcare.own_harps import list_own_harps, measured_harp, nominal_harp
from trainer.reedcare.reed_watch import watch_harp
from trainer.report.reed_watch_report import reed_verdict_text
from trainer.settings import Settings, load_settings
from trainer.store import Journal, OwnHarp, journal_path

LOW_AND_HIGH_KEYS = ("low C", "low D", "low Eb", "low E", "low F", "low F#", "high G")
"""Harps an octave lower or higher that are commonly sold (common practice)."""
WIDE_COLUMNS = 110
"""Columns from which the list gets more of them."""
WATCH_PENDING = "looking at what you played on it …"
NARROW_NAME, WIDE_NAME = 15, 24


@dataclass(frozen=True, slots=True)
class HarpChoice:
    """A harp to take in hand.

    Attributes:
        harp: itself, as it was measured if it is one of the player's own.
        name: what the player calls it; None for no harp in particular.
    """

    harp: Harp
    name: str | None = None


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the list: one of the player's own harps, or a key."""

    id: str
    name: str
    own: OwnHarp | None = None


def _harp(line: _Line, plan: Plan, settings: Settings | None, tuning: str) -> Harp:
    """The harp of a line.

    What in tune means is as in the plan; where that is about one of the player's own harps, whose
    A4 is that of its reeds, a harp of no name follows the settings.

    Raises:
        HarpError: its tuning is not at hand any more, or its reeds are those of another harp.
    """
    a4, temperament = plan.harp.a4, plan.harp.temperament.name
    if line.own is not None:
        mine = (settings or Settings()).harp
        told = "temperament" in mine.model_fields_set
        return measured_harp(
            line.own,
            mine.temperament if told else None,
            naturals=mine.naturals,
            bends=mine.bends,
        )
    if plan.harp_name and settings is not None:
        a4, temperament = settings.harp.a4, settings.harp.temperament
    return Harp.of(line.name, tuning, a4=a4, temperament_name=temperament)


def _heading(text: str, first: bool = False) -> Option:
    return Option(
        Content.styled(text if first else f"\n{text}", CSS_PENS["quiet"].color), disabled=True
    )


class HarpsScreen(Screen[HarpChoice | None]):
    """The harps. Gives the one that is to be taken in hand.

    The journal is read in a thread of its own.

    Args:
        plan: what is in hand.
        session: through whose listener a harp is measured; None for none.
    """

    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (WIDE_COLUMNS, "-wide")]  # noqa: RUF012
    DEFAULT_CSS = """
    HarpsScreen {
        #harps {
            width: 21;
            height: 1fr;
            border: none;
            background: $background;
            padding: 0 0 0 1;
            scrollbar-size-vertical: 1;
        }
        #harps > .option-list--option-highlighted {
            color: $foreground;
            background: $surface;
            text-style: none;
        }
        &.-wide #harps { width: 32; }
        #chart { height: 1fr; width: 1fr; margin: 0 0 0 1; }
        &.-wide #chart { margin: 1 2; }
    }
    """
    ABOUT: ClassVar[str] = "Your harps: what each can play, how it is tuned, and which reeds wear."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape,h",
            "dismiss(None)",
            "back",
            key_display="esc",
            tooltip="back, with the harp that was in hand",
        ),
        *LIST_BINDINGS,
        Binding("enter", "take", "take in hand", tooltip="take this harp in hand"),
        Binding(
            "right",
            "position(1)",
            "position",
            key_display="←→",
            tooltip="see it from the next position",
        ),
        Binding(
            "left",
            "position(-1)",
            "position before",
            show=False,
            tooltip="see it from the position before",
        ),
        Binding("d", "degrees", "degrees", tooltip="notes by their degree, or by their names"),
        Binding("t", "tuning", "tuning", tooltip="the next tuning"),
        Binding("m", "measure", "measure", tooltip="measure its reeds, through the microphone"),
    ]

    def __init__(self, plan: Plan, session: Session | None = None) -> None:
        super().__init__()
        self._plan = plan
        self._session = session
        self._settings: Settings | None = None
        self._own: tuple[OwnHarp, ...] = ()
        self._watched: dict[str, str] = {}
        self._position = 1
        self._degrees = False
        self._tuning = plan.harp.tuning.name
        self._lines: dict[str, _Line] = {}
        self._chosen = ""
        self._list = OptionList(id="harps")
        self._list.can_focus = False  # the keys are the screen's
        self._chart = HarpChart(id="chart")

    def compose(self) -> ComposeResult:
        """The list, and the chart of the harp that is pointed at."""
        yield Static(id="in-hand", classes="title")
        with Horizontal():
            yield self._list
            yield self._chart
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Show the keys at once, and the player's own harps when the journal has been read."""
        name = self._plan.harp_name or f"{self._plan.harp.name} harp"
        self.query_one("#in-hand", Static).update(Content(f"Harps: ● in hand is the {name}"))
        self._read()

    def on_resize(self) -> None:
        """List the harps in as much room as there is."""
        self._list_harps()

    @work(thread=True)
    def _read(self) -> None:
        worker = get_current_worker()
        settings, trouble = load_settings(), ""
        own: tuple[OwnHarp, ...] = ()
        try:
            with Journal(self._file()) as journal:
                own = list_own_harps(journal, self._plan.player or settings.player.name)
        except TrainerError as error:
            trouble = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_in, settings, own, trouble)

    def _take_in(self, settings: Settings, own: tuple[OwnHarp, ...], trouble: str) -> None:
        untouched = self._chosen == self._in_hand()
        self._settings, self._own = settings, own
        if untouched:
            self._chosen = ""
        self._list_harps()
        if trouble:
            self.notify(f"your own harps cannot be shown: {trouble}", severity="warning")

    def _in_hand(self) -> str:
        """The line of the harp in hand."""
        name = self._plan.harp_name
        if name is not None and any(one.name == name for one in self._own):
            return f"own:{name}"
        return f"key:{self._plan.harp.key.name}"

    def _options(self) -> Iterator[Option]:
        """The list, and its lines by their option's id."""
        self._lines = {}
        held = self._plan.harp.key.name
        unusual = () if held in (*STANDARD_KEYS, *LOW_AND_HIGH_KEYS) else (held,)
        yield _heading("Your own", first=True)
        for own in self._own:
            yield self._option(_Line(f"own:{own.name}", own.name, own))
        if not self._own:
            words = "none measured" if self._settings else "reading …"
            yield Option(Content.styled(f"    {words}", CSS_PENS["quiet"].color), disabled=True)
        yield _heading(self._tuning)
        for key in (*STANDARD_KEYS, *unusual):
            yield self._option(_Line(f"key:{key}", key))
        yield _heading("Low and high")
        for key in LOW_AND_HIGH_KEYS:
            yield self._option(_Line(f"key:{key}", key))

    def _option(self, line: _Line) -> Option:
        self._lines[line.id] = line
        return Option(self._content(line), id=line.id)

    def _content(self, line: _Line) -> Content:
        pointer = ("▶ ", CSS_PENS["now"].color) if line.id == self._chosen else "  "
        held = ("● ", CSS_PENS["good"].color) if line.id == self._in_hand() else "  "
        room = WIDE_NAME if self.size.width >= WIDE_COLUMNS else NARROW_NAME
        key = f" {line.own.tag.key}" if line.own else ""
        name = line.name
        if len(name) + len(key) > room:
            name = f"{name[: room - len(key) - 1]}…"
        return Content.assemble(pointer, held, (name, "bold"), (key, CSS_PENS["quiet"].color))

    def _list_harps(self) -> None:
        options = list(self._options())
        if self._chosen not in self._lines:
            self._chosen = self._in_hand()
        self._list.clear_options()
        self._list.add_options(options)
        self._list.highlighted = self._list.get_option_index(self._chosen)
        self.call_after_refresh(self._list.scroll_to_highlight)
        self._show()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Point at the harp and show it."""
        before, now = self._chosen, event.option_id
        if now is None or now not in self._lines:
            return  # the list has changed since
        self._chosen = now
        for one in {before, now} & set(self._lines):
            self._list.replace_option_prompt(one, self._content(self._lines[one]))
        self._show()

    def on_option_list_option_selected(self) -> None:
        """Take the harp that was clicked on."""
        self.action_take()

    def _show(self) -> None:
        """Show the harp that is pointed at; one that cannot be had, as theory has its key."""
        line = self._lines[self._chosen]
        position, degrees = self._position, self._degrees
        try:
            harp = _harp(line, self._plan, self._settings, self._tuning)
            watched = self._watched.get(line.name, "") if line.own else ""
            state = HarpState.of(harp, line.own, position, degrees=degrees, watched=watched)
        except TrainerError as error:
            key = line.own.tag.key if line.own else line.name
            state = HarpState.of(Harp.of(key), position=position, degrees=degrees)
            state = HarpState(state.chart, line.name, degrees=degrees, trouble=str(error))
        self._chart.show(state)
        if line.own is not None and line.name not in self._watched:
            self._watched[line.name] = WATCH_PENDING
            self._watch(line.own)

    @work(thread=True)
    def _watch(self, own: OwnHarp) -> None:
        """See how a harp's reeds wear, by all that was played on it."""
        worker = get_current_worker()
        try:
            with Journal(self._file()) as journal:
                told = reed_verdict_text(watch_harp(journal, own), date.today())
        except TrainerError as error:
            told = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_watch, own.name, told)

    def _take_watch(self, name: str, told: str) -> None:
        self._watched[name] = told
        if self._chosen == f"own:{name}":
            self._show()

    def _file(self) -> Path:
        settings = self._settings or load_settings()
        return self._plan.journal or settings.journal.file or journal_path()

    def action_choose(self, where: str) -> None:
        """Another harp."""
        move_cursor(self._list, where)

    def action_take(self) -> None:
        """Take the harp in hand."""
        line = self._lines[self._chosen]
        try:
            harp = _harp(line, self._plan, self._settings, self._tuning)
        except TrainerError as error:
            self.notify(str(error), severity="error")
            return
        self.dismiss(HarpChoice(harp, line.own.name if line.own else None))

    def action_measure(self) -> None:
        """Measure the reeds of the harp that is pointed at; what is measured already stays."""
        line = self._lines[self._chosen]
        if self._session is None:
            return
        try:
            plain = nominal_harp(line.own) if line.own else None
            harp = plain or _harp(line, self._plan, self._settings, self._tuning)
        except TrainerError as error:
            self.notify(str(error), severity="error")
            return
        settings = self._settings or load_settings()
        whole = line.own is not None and len(line.own.reeds) == len(natural_entries(harp))
        own = replace(line.own, reeds=()) if whole and line.own else line.own
        player = self._plan.player or settings.player.name
        self.app.push_screen(
            MeasureScreen(self._session, harp, own, player, self._file()), self._measured
        )

    def _measured(self, name: str | None) -> None:
        """Show the harp as it is now."""
        if name is not None:
            self._chosen = f"own:{name}"
            self._read()

    def action_position(self, steps: int) -> None:
        """See the harp from the next position, or the one before."""
        self._position = (self._position - 1 + steps) % len(POSITIONS) + 1
        self._show()

    def action_degrees(self) -> None:
        """Notes by their degree in the key of the position, or by their names again."""
        self._degrees = not self._degrees
        self._show()

    def action_tuning(self) -> None:
        """The next tuning, for harps of no name."""
        names = tuning_names()
        at = names.index(self._tuning) if self._tuning in names else -1
        self._tuning = names[(at + 1) % len(names)]
        self._list_harps()
