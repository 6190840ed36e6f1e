"""Measure: the reeds of a harp, one after another, through the microphone."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.timer import Timer
from textual.widgets import Input, Static

from trainer.app.session import TAKE_RUNS, Session
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.measuring_board import MeasuringBoard, MeasuringState
from trainer.core import TrainerError
from trainer.harp import Harp, HarpError, Tab
from trainer.practice import (
    AttackMeasured,
    Event,
    HarpMeasured,
    HarpMeasurement,
    MeasurementEvent,
    Plan,
    ReadingHeard,
    ReedRequested,
    ReedSounding,
    RepeatRequested,
    TakeFailed,
    TakeFinished,
)
from trainer.reedcare import check_harp_name, measured_harp
from trainer.report.measuring_report import BREATHING_ADVICE, measuring_line, measuring_summary
from trainer.sound import MicrophoneSpec
from trainer.store import HarpTag, Journal, OwnHarp

MEASURE_POLL_S = 0.05
"""Time between two polls of the listener, in seconds."""
LINES_KEPT = 6
"""Messages about notes that are kept."""


class MeasureScreen(Screen[str | None]):
    """The screen on which a harp is measured.

    Its result is the name under which the harp was stored; None if it was not.

    Args:
        session: its listener hears the harp; no take may run.
        harp: the harp with the nominal pitches of its tuning.
        own: its earlier measurement; None for a harp without a name.
        player: its owner.
        journal: the journal's file.
    """

    DEFAULT_CSS = """
    MeasureScreen {
        #name { height: 1; padding: 0; margin: 1 2; border: none; background: $surface; }
        #board { height: 1fr; }
        #message { height: 3; padding: 0 2; background: $surface; }
        &.-measuring #name { display: none; }
    }
    """
    ABOUT: ClassVar[str] = "Measure the reeds of a harp, one after another."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape",
            "leave",
            "back",
            key_display="esc",
            tooltip="store what is measured, and back",
        ),
    ]

    def __init__(
        self, session: Session, harp: Harp, own: OwnHarp | None, player: str, journal: Path
    ) -> None:
        super().__init__()
        self._session, self._harp, self._own = session, harp, own
        self._player, self._journal = player, journal
        self._harp_name = own.name if own is not None else ""
        self._measuring: HarpMeasurement | None = None
        self._poll_timer: Timer | None = None
        self._attacks: dict[Tab, list[float]] = {}
        self._stored_name: str | None = None
        before = frozenset(Tab.parse(reed.tab) for reed in own.reeds) if own else frozenset()
        self._state = MeasuringState(harp, before=before)
        self._name_input = Input(
            placeholder="name this harp, such as old C; enter starts", id="name"
        )
        self._name_input.cursor_blink = False  # it would wake an idle screen twice a second
        self._board = MeasuringBoard(id="board")
        self._message = Static(id="message")

    def compose(self) -> ComposeResult:
        """Yield the name, the board and the message line."""
        yield Static(id="title", classes="title")
        yield self._name_input
        yield self._board
        yield self._message
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start at once if the harp has a name; else ask for one."""
        self._board.show(self._state)
        if self._harp_name:
            self._begin()
        else:
            self.query_one("#title", Static).update(Content(f"Measure a {self._harp.name} harp"))
            self._set_message(f"Give it a name of its own. {BREATHING_ADVICE}")
            self._name_input.focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Start under the name that was typed."""
        try:
            self._harp_name = check_harp_name(event.value)
        except HarpError as error:
            self._set_message(f"× {error}")
            return
        self._begin()

    def _begin(self) -> None:
        title = f"Measuring '{self._harp_name}', a {self._harp.name} harp"
        self.query_one("#title", Static).update(Content(title))
        self.add_class("-measuring")
        self.set_focus(None)
        if self._session.busy:
            self._set_message(f"× {TAKE_RUNS}")
            return
        source = self._session.plan.source
        spec = source if isinstance(source, MicrophoneSpec) else MicrophoneSpec()
        try:
            self._session.listener.begin(Plan(self._harp, replace(spec, clicks=False)))
        except TrainerError as error:
            self._set_message(f"× {error}")
            return
        self._measuring = HarpMeasurement(self._harp, known=self._state.before)
        self._set_message(f"Play any hole to measure it first, or again. {BREATHING_ADVICE}")
        self._poll_timer = self.set_interval(MEASURE_POLL_S, self._poll)

    def _poll(self) -> None:
        """Poll the listener and show the new events."""
        measuring = self._measuring
        assert measuring is not None
        for event in self._session.listener.poll():
            if isinstance(event, ReadingHeard):
                level = round(event.reading.level_db)
                self._state = replace(self._state, level_db=level)
            for update in measuring.handle(event):
                self._apply(update)
        if measuring.done:
            self._session.listener.stop()
        self._board.show(self._state)

    def _apply(self, event: Event | MeasurementEvent) -> None:
        """Apply one event to the board."""
        match event:
            case ReedRequested():
                self._state = replace(self._state, asked=event, sounding=None)
            case ReedSounding():
                self._state = replace(self._state, sounding=event)
            case AttackMeasured(tab=tab, cents=cents):
                self._attacks.setdefault(tab, []).append(cents)
                off = {**self._state.cents, tab: median(self._attacks[tab])}
                self._state = replace(self._state, cents=off, sounding=None)
            case HarpMeasured():
                self._store(event)
            case TakeFailed(sentence):
                self._set_message(f"× {sentence}")
            case TakeFinished():
                self._end()
        line = (
            measuring_line(event, self._harp)
            if isinstance(event, AttackMeasured | RepeatRequested)
            else None
        )
        if line is not None:
            messages = (line.strip(), *self._state.messages[: LINES_KEPT - 1])
            self._state = replace(self._state, messages=messages, sounding=None)

    def _store(self, measured: HarpMeasured) -> None:
        """Store the measured reeds; the journal merges them with earlier ones."""
        if not measured.reeds:
            return
        own = OwnHarp(
            self._player,
            self._harp_name,
            HarpTag.of(self._harp, self._harp_name),
            datetime.now(UTC),
            measured.reeds,
        )
        try:
            measured_harp(own)
            with Journal(self._journal) as journal:
                journal.add_harp(own)
        except TrainerError as error:
            self._set_message(f"× {error}")
            return
        self._stored_name = self._harp_name
        missing = tuple(tab for tab in measured.missing if tab not in self._state.before)
        self._set_message(f"✓ {measuring_summary(replace(measured, missing=missing))}")

    def _end(self) -> None:
        """Stop polling; the figures stay on the board."""
        if self._poll_timer is not None:
            self._poll_timer.stop()
            self._poll_timer = None
        self._state = replace(self._state, asked=None, sounding=None, level_db=None)

    def action_leave(self) -> None:
        """End and store the measurement; if it has ended, go back."""
        if self._poll_timer is not None:
            self._session.listener.stop()
        else:
            self.dismiss(self._stored_name)

    def _set_message(self, words: str) -> None:
        self._message.update(Content(words))
