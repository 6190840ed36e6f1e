"""Harps: choose one, and see what it can play and which reeds are out of tune."""

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
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.screens.list_keys import LIST_BINDINGS, move_cursor
from trainer.app.screens.measure import MeasureScreen
from trainer.app.session import Session
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.harp_chart import HarpChart, HarpState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.core import TrainerError
from trainer.harp import LOW_AND_HIGH_KEYS, STANDARD_KEYS, Harp, natural_entries, tuning_names
from trainer.music import POSITIONS
from trainer.practice import Plan
from trainer.reedcare import list_own_harps, measured_harp, nominal_harp, watch_harp
from trainer.report.reed_watch_report import reed_verdict_text
from trainer.settings import Settings, load_settings
from trainer.store import Journal, OwnHarp, journal_path

WIDE_COLUMNS = 110
"""Columns from which the list is wider."""
WATCH_PENDING = "reading your takes on it …"
NARROW_NAME_CELLS, WIDE_NAME_CELLS = 15, 24
"""Width of a name with its key, in narrow and wide windows, in cells."""


@dataclass(frozen=True, slots=True)
class ChosenHarp:
    """The harp the player has chosen.

    Attributes:
        harp: the harp; with measured pitches if it is the player's own.
        name: the player's name for it; None for any harp of its key.
    """

    harp: Harp
    name: str | None = None


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the list: one of the player's own harps, or a key.

    Attributes:
        id: id of its option.
        name: the harp's name, or its key.
        own: the own harp; None for a key.
    """

    id: str
    name: str
    own: OwnHarp | None = None


def _harp(line: _Line, plan: Plan, settings: Settings | None, tuning: str) -> Harp:
    """Make the harp of a line.

    An own harp is as it was measured. Another harp has the A4 and temperament of the plan; if the
    plan's harp is an own one, whose A4 is that of its reeds, those of the settings.

    Raises:
        HarpError: its tuning is missing, or its reeds do not fit its key.
    """
    a4, temperament = plan.harp.a4, plan.harp.temperament.name
    if line.own is not None:
        preferred = (settings or Settings()).harp
        is_set = "temperament" in preferred.model_fields_set
        return measured_harp(
            line.own,
            preferred.temperament if is_set else None,
            naturals=preferred.naturals,
            bends=preferred.bends,
        )
    if plan.harp_name and settings is not None:
        a4, temperament = settings.harp.a4, settings.harp.temperament
    return Harp.of(line.name, tuning, a4=a4, temperament_name=temperament)


def _heading(text: str, first: bool = False) -> Option:
    return Option(
        Content.styled(text if first else f"\n{text}", CSS_PENS["quiet"].color), disabled=True
    )


class HarpsScreen(Screen[ChosenHarp | None]):
    """The harps: the player's own, and all keys.

    Its result is the chosen harp; None for no change. A thread reads the journal.

    Args:
        plan: the current plan.
        session: its listener hears a harp that is measured; None for none.
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
    ABOUT: ClassVar[str] = "Choose a harp; see its notes, its tuning and worn reeds."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape,h",
            "dismiss(None)",
            "back",
            key_display="esc",
            tooltip="back, keeping your harp",
        ),
        *LIST_BINDINGS,
        Binding("enter", "take", "use", tooltip="use this harp"),
        Binding(
            "right",
            "position(1)",
            "position",
            key_display="←→",
            tooltip="chart in the next position",
        ),
        Binding(
            "left",
            "position(-1)",
            "previous position",
            show=False,
            tooltip="chart in the previous position",
        ),
        Binding("d", "degrees", "degrees", tooltip="notes as degrees or as names"),
        Binding("t", "tuning", "tuning", tooltip="next tuning"),
        Binding("m", "measure", "measure", tooltip="measure its reeds with the microphone"),
    ]

    def __init__(self, plan: Plan, session: Session | None = None) -> None:
        super().__init__()
        self._plan = plan
        self._session = session
        self._settings: Settings | None = None
        self._own: tuple[OwnHarp, ...] = ()
        self._wear_reports: dict[str, str] = {}
        self._position = 1
        self._degrees = False
        self._tuning = plan.harp.tuning.name
        self._lines: dict[str, _Line] = {}
        self._chosen = ""
        self._list = OptionList(id="harps")
        self._list.can_focus = False  # the screen binds the keys
        self._chart = HarpChart(id="chart")

    def compose(self) -> ComposeResult:
        """Yield the list and the chart of the chosen harp."""
        yield Static(id="current", classes="title")
        with Horizontal():
            yield self._list
            yield self._chart
        yield KeyFooter()

    def on_mount(self) -> None:
        """Show the keys at once; start to read the player's own harps."""
        name = self._plan.harp_name or f"{self._plan.harp.name} harp"
        self.query_one("#current", Static).update(Content(f"Harps: ● you play the {name}"))
        self._read()

    def on_resize(self) -> None:
        """Fill the list for the new width."""
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
        untouched = self._chosen == self._current_id()
        self._settings, self._own = settings, own
        if untouched:
            self._chosen = ""
        self._list_harps()
        if trouble:
            self.notify(f"your own harps cannot be read: {trouble}", severity="warning")

    def _current_id(self) -> str:
        """Return the id of the current harp's line."""
        name = self._plan.harp_name
        if name is not None and any(own.name == name for own in self._own):
            return f"own:{name}"
        return f"key:{self._plan.harp.key.name}"

    def _options(self) -> Iterator[Option]:
        """Yield the options of the list, and index its lines."""
        self._lines = {}
        held = self._plan.harp.key.name
        unusual = () if held in (*STANDARD_KEYS, *LOW_AND_HIGH_KEYS) else (held,)
        yield _heading("Your own", first=True)
        for own in self._own:
            yield self._option(_Line(f"own:{own.name}", own.name, own))
        if not self._own:
            note = "none measured" if self._settings else "reading …"
            yield Option(Content.styled(f"    {note}", CSS_PENS["quiet"].color), disabled=True)
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
        held = ("● ", CSS_PENS["good"].color) if line.id == self._current_id() else "  "
        room = WIDE_NAME_CELLS if self.size.width >= WIDE_COLUMNS else NARROW_NAME_CELLS
        key = f" {line.own.tag.key}" if line.own else ""
        name = line.name
        if len(name) + len(key) > room:
            name = f"{name[: room - len(key) - 1]}…"
        return Content.assemble(pointer, held, (name, "bold"), (key, CSS_PENS["quiet"].color))

    def _list_harps(self) -> None:
        options = list(self._options())
        if self._chosen not in self._lines:
            self._chosen = self._current_id()
        self._list.clear_options()
        self._list.add_options(options)
        self._list.highlighted = self._list.get_option_index(self._chosen)
        self.call_after_refresh(self._list.scroll_to_highlight)
        self._show()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen harp and show its chart."""
        before, now = self._chosen, event.option_id
        if now is None or now not in self._lines:
            return  # the list has changed meanwhile
        self._chosen = now
        for line_id in {before, now} & set(self._lines):
            self._list.replace_option_prompt(line_id, self._content(self._lines[line_id]))
        self._show()

    def on_option_list_option_selected(self) -> None:
        """Choose the harp that was clicked."""
        self.action_take()

    def _show(self) -> None:
        """Show the chosen harp; if it cannot be made, a nominal harp of its key and the reason."""
        line = self._lines[self._chosen]
        position, degrees = self._position, self._degrees
        try:
            harp = _harp(line, self._plan, self._settings, self._tuning)
            watched = self._wear_reports.get(line.name, "") if line.own else ""
            state = HarpState.of(harp, line.own, position, degrees=degrees, watched=watched)
        except TrainerError as error:
            key = line.own.tag.key if line.own else line.name
            state = HarpState.of(Harp.of(key), position=position, degrees=degrees)
            state = HarpState(state.chart, line.name, degrees=degrees, trouble=str(error))
        self._chart.show(state)
        if line.own is not None and line.name not in self._wear_reports:
            self._wear_reports[line.name] = WATCH_PENDING
            self._watch(line.own)

    @work(thread=True)
    def _watch(self, own: OwnHarp) -> None:
        """Estimate the wear of a harp's reeds from all takes on it."""
        worker = get_current_worker()
        try:
            with Journal(self._file()) as journal:
                report = reed_verdict_text(watch_harp(journal, own), date.today())
        except TrainerError as error:
            report = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_watch, own.name, report)

    def _take_watch(self, name: str, report: str) -> None:
        self._wear_reports[name] = report
        if self._chosen == f"own:{name}":
            self._show()

    def _file(self) -> Path:
        settings = self._settings or load_settings()
        return self._plan.journal or settings.journal.file or journal_path()

    def action_choose(self, where: str) -> None:
        """Move the cursor."""
        move_cursor(self._list, where)

    def action_take(self) -> None:
        """Choose the harp, and leave."""
        line = self._lines[self._chosen]
        try:
            harp = _harp(line, self._plan, self._settings, self._tuning)
        except TrainerError as error:
            self.notify(str(error), severity="error")
            return
        self.dismiss(ChosenHarp(harp, line.own.name if line.own else None))

    def action_measure(self) -> None:
        """Measure the chosen harp; reeds that were measured already are kept."""
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
        """Show the harp with its new measurement."""
        if name is not None:
            self._chosen = f"own:{name}"
            self._read()

    def action_position(self, steps: int) -> None:
        """Show the chart a number of positions further."""
        self._position = (self._position - 1 + steps) % len(POSITIONS) + 1
        self._show()

    def action_degrees(self) -> None:
        """Switch between degrees in the position's key and note names."""
        self._degrees = not self._degrees
        self._show()

    def action_tuning(self) -> None:
        """Select the next tuning for the harps that are listed by key."""
        names = tuning_names()
        at = names.index(self._tuning) if self._tuning in names else -1
        self._tuning = names[(at + 1) % len(names)]
        self._list_harps()
