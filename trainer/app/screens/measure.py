"""Measure: a harp's reeds, one after another, through the microphone."""

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
from textual.widgets import Footer, Input, Static

from trainer.app.session import Session
from trainer.app.widgets.measuring_board import MeasuringBoard, MeasuringState
from trainer.core import TrainerError
from trainer.harp import Harp, HarpError, Tab
from trainer.practice import Event, Plan, TakeFailed, TakeFinished
from trainer.practice.harp_measurement import (
    AttackMeasured,
    HarpMeasured,
    HarpMeasurement,
    MeasurementEvent,
    ReedRequested,
    ReedSounding,
    RepeatRequested,
)
from trainer.reedcare.own_harps import check_harp_name, measured_harp
from trainer.report.measuring_report import BREATHING_ADVICE, measuring_line, measuring_summary
from trainer.sound import MicrophoneSpec
from trainer.store import HarpTag, Journal, OwnHarp

MEASURE_POLL_S = 0.05
LINES_KEPT = 6
"""Lines of what was said that are kept."""
MEASURE_BUSY = "a take is running; go back and stop it with space, then measure"


class MeasureScreen(Screen[str | None]):
    """Measuring a harp. Gives the name under which it was kept, if it was.

    Args:
        session: through whose listener it is heard; no take may run.
        harp: the harp as theory has it.
        own: what was measured of it before; None for a harp that has no name yet.
        player: whose it is.
        journal: where it is kept.
    """

    DEFAULT_CSS = """
    MeasureScreen {
        #name { height: 1; padding: 0; margin: 1 2; border: none; background: $surface; }
        #board { height: 1fr; margin: 1 1 0 1; }
        #said { height: 3; padding: 0 2; background: $surface; }
        &.-measuring #name { display: none; }
    }
    """
    ABOUT: ClassVar[str] = "The reeds of a harp, measured one after another."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape",
            "leave",
            "end, and keep what is measured",
            key_display="esc",
            tooltip="end it, and keep what is measured; then back",
        ),
    ]

    def __init__(
        self, session: Session, harp: Harp, own: OwnHarp | None, player: str, journal: Path
    ) -> None:
        super().__init__()
        self._session, self._harp, self._own = session, harp, own
        self._player, self._journal = player, journal
        self._called = own.name if own is not None else ""
        self._measuring: HarpMeasurement | None = None
        self._asking: Timer | None = None
        self._attacks: dict[Tab, list[float]] = {}
        self._kept: str | None = None
        before = frozenset(Tab.parse(reed.tab) for reed in own.reeds) if own else frozenset()
        self._state = MeasuringState(harp, before=before)
        self._asked_name = Input(
            placeholder="what do you call this harp? such as: old C", id="name"
        )
        self._asked_name.cursor_blink = False  # it would wake an idle screen twice a second
        self._board = MeasuringBoard(id="board")
        self._said = Static(id="said")

    def compose(self) -> ComposeResult:
        """The name, how far it is, and what is the matter."""
        yield Static(id="what", classes="title")
        yield self._asked_name
        yield self._board
        yield self._said
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Begin at once with a harp that has a name."""
        self._board.show(self._state)
        if self._called:
            self._begin()
        else:
            self.query_one("#what", Static).update(Content(f"Measure a {self._harp.name} harp"))
            self._tell(f"Give it a name that says which one it is. {BREATHING_ADVICE}")
            self._asked_name.focus()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Begin under that name."""
        try:
            self._called = check_harp_name(event.value)
        except HarpError as error:
            self._tell(f"× {error}")
            return
        self._begin()

    def _begin(self) -> None:
        title = f"Measuring '{self._called}', a {self._harp.name} harp"
        self.query_one("#what", Static).update(Content(title))
        self.add_class("-measuring")
        self.set_focus(None)
        if self._session.busy:
            self._tell(f"× {MEASURE_BUSY}")
            return
        source = self._session.plan.source
        spec = source if isinstance(source, MicrophoneSpec) else MicrophoneSpec()
        try:
            self._session.listener.begin(Plan(self._harp, replace(spec, clicks=False)))
        except TrainerError as error:
            self._tell(f"× {error}")
            return
        self._measuring = HarpMeasurement(self._harp, known=self._state.before)
        self._tell(f"Play another hole to measure that one first, or anew. {BREATHING_ADVICE}")
        self._asking = self.set_interval(MEASURE_POLL_S, self._listen)

    def _listen(self) -> None:
        """Take in what is heard."""
        measuring = self._measuring
        assert measuring is not None
        for event in self._session.listener.poll():
            for told in measuring.see(event):
                self._take(told)
        if measuring.done:
            self._session.listener.stop()
        self._board.show(self._state)

    def _take(self, event: Event | MeasurementEvent) -> None:
        """Show one thing that happened."""
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
                self._keep(event)
            case TakeFailed(sentence):
                self._tell(f"× {sentence}")
            case TakeFinished():
                self._over()
        line = (
            measuring_line(event, self._harp)
            if isinstance(event, AttackMeasured | RepeatRequested)
            else None
        )
        if line is not None:
            said = (line.strip(), *self._state.said[: LINES_KEPT - 1])
            self._state = replace(self._state, said=said, sounding=None)

    def _keep(self, measured: HarpMeasured) -> None:
        """Keep what was measured, with what was known before."""
        if not measured.reeds:
            return
        own = OwnHarp(
            self._player,
            self._called,
            HarpTag.of(self._harp, self._called),
            datetime.now(UTC),
            measured.reeds,
        )
        try:
            measured_harp(own)
            with Journal(self._journal) as journal:
                journal.add_harp(own)
        except TrainerError as error:
            self._tell(f"× {error}")
            return
        self._kept = self._called
        missing = tuple(tab for tab in measured.missing if tab not in self._state.before)
        self._tell(f"✓ {measuring_summary(replace(measured, missing=missing))}")

    def _over(self) -> None:
        """All is still now; the figures stay to be looked at."""
        if self._asking is not None:
            self._asking.stop()
            self._asking = None
        self._state = replace(self._state, asked=None, sounding=None)

    def action_leave(self) -> None:
        """End it, and keep what is measured; or go back."""
        if self._asking is not None:
            self._session.listener.stop()
        else:
            self.dismiss(self._kept)

    def _tell(self, words: str) -> None:
        self._said.update(Content(words))
