"""Listen: without a drill, show pitch, offset, cleanness and steadiness."""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from trainer.app.screens.take_base import TakeScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.dials import Dials
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.note_list import NoteList, NoteListState
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.app.widgets.reference_tone import ReferenceTone, ReferenceToneState
from trainer.practice import Plan, PlayTone
from trainer.sound import MicrophoneSpec, PlayerSpec


def listening_plan(plan: Plan) -> Plan:
    """Return a plan that only listens.

    The microphone replaces the built-in player, which has nothing to play without a drill.
    """
    source = MicrophoneSpec() if isinstance(plan.source, PlayerSpec) else plan.source
    return Plan(plan.harp, source)


class ListenScreen(TakeScreen):
    """The screen that listens without a drill.

    Args:
        session: the take and its listener; its plan is restored on leaving.
    """

    ABOUT: ClassVar[str] = "No drill: what you play, how far off, how clean, how steady."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "play", "listen", tooltip="listen, or stop listening"),
        Binding("d", "tone", "tone", tooltip="reference tone on or off"),
        Binding(
            "up",
            "target(1)",
            "its note",
            key_display="↑↓",
            tooltip="reference tone one note higher",
        ),
        Binding(
            "down", "target(-1)", "tone below", show=False, tooltip="reference tone one note lower"
        ),
        Binding(
            "o",
            "octave",
            "octave",
            tooltip="reference tone an octave lower, or at pitch",
        ),
        Binding("escape,i", "leave", "back", key_display="esc", tooltip="back to the drill"),
    ]

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._before = session.plan
        self._tone_chosen = False
        self._tone = ReferenceToneState(session.plan.harp)
        self._head = HeadLine(id="head")
        self._trace = PitchTrace(id="trace")
        self._notes = NoteList(id="notes")
        self._tone_line = ReferenceTone(id="target")
        self._dials = Dials()

    def compose(self) -> ComposeResult:
        """Yield the widgets, top to bottom."""
        yield self._head
        yield self._trace
        yield from self._dials.widgets
        yield self._notes
        yield self._tone_line
        yield self._status
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to listen."""
        super().on_mount()
        self.session.start(listening_plan(self._before))

    def show(self, take: TakeState) -> None:
        """Show a take."""
        if take.drill is not None:
            return
        super().show(take)
        self.lay_out_listening(tone=True)
        self._head.show(HeadState.of(take))
        self._trace.show(take)
        self._dials.show(take)
        self._notes.show(NoteListState.of(take))
        if not self._tone_chosen and not self._tone.sounds and take.notes:
            self._tone = replace(self._tone, tab=take.notes[0].tab)
        if self._tone.sounds and not take.running:
            self._tone = replace(self._tone, sounds=False)
        self._tone_line.show(self._tone)

    def show_urgent(self, take: TakeState) -> None:
        """Update the dials only."""
        if take.drill is None:
            self._dials.show(take)

    def action_play(self) -> None:
        """Start or stop listening."""
        if self.session.busy:
            self.session.stop()
        else:
            self.session.start(listening_plan(self._before))
        self.show(self.session.take)

    def action_tone(self) -> None:
        """Turn the reference tone on or off."""
        tone = self._tone
        if tone.sounds:
            self._set_tone(replace(tone, sounds=False))
        elif self.session.take.phase is not Phase.LISTENING:
            self._set_tone(
                replace(tone, trouble="press space first: the tone needs an open microphone")
            )
        else:
            self._set_tone(replace(tone, tab=tone.tab or tone.moved(0), sounds=True, trouble=""))

    def action_target(self, by: int) -> None:
        """Choose another note for the tone."""
        self._tone_chosen = True
        self._set_tone(replace(self._tone, tab=self._tone.moved(by), trouble=""))

    def action_octave(self) -> None:
        """Sound the tone an octave lower, as a drone, or at pitch."""
        self._set_tone(replace(self._tone, octave=1 - self._tone.octave, trouble=""))

    def _set_tone(self, tone: ReferenceToneState) -> None:
        if tone.sounds or self._tone.sounds:
            self.session.ask(PlayTone((tone.hz,) if tone.sounds and tone.hz else ()))
        self._tone = tone
        self._tone_line.show(tone)

    def action_leave(self) -> None:
        """Return to the drill."""
        if self._before.drill is None:
            return
        self.session.stop()
        self.session.prepare(replace(self._before))
        self.dismiss()
