"""Listen: no drill; what am I playing, how far off, how clean, and how steady?"""

from __future__ import annotations

from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Footer

from trainer.app.screens.take_base import TakeScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.dials import Dials
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.note_list import NoteList, NoteListState
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.app.widgets.reference_tone import ReferenceTone, ReferenceToneState
from trainer.app.widgets.status_line import StatusLine, StatusState
from trainer.practice import Plan, PlayTone
from trainer.sound import MicrophoneSpec, PlayerSpec


def listening_plan(plan: Plan) -> Plan:
    """The plan without its drill; the built-in player has nothing to play then, so the
    microphone takes its place."""
    source = MicrophoneSpec() if isinstance(plan.source, PlayerSpec) else plan.source
    return Plan(plan.harp, source)


class ListenScreen(TakeScreen):
    """Listen, and show what sounds.

    Args:
        session: the take and its listener; its plan is restored on leaving.
    """

    ABOUT: ClassVar[str] = "No drill: what you play, how far off, how clean and how steady."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "play", "listen on or off", tooltip="listen, or stop listening"),
        Binding("d", "tone", "tone", tooltip="sound the tone of the target, or end it"),
        Binding(
            "up", "target(1)", "which tone", key_display="↑↓", tooltip="the target a note higher"
        ),
        Binding("down", "target(-1)", "tone below", show=False, tooltip="the target a note lower"),
        Binding(
            "o", "octave", "octave", show=False, tooltip="the tone an octave lower, or where it is"
        ),
        Binding(
            "escape,i", "leave", "back to the drill", key_display="esc", tooltip="back to the drill"
        ),
    ]

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._before = session.plan
        self._chosen = False
        self._tone = ReferenceToneState(session.plan.harp)
        self._head = HeadLine(id="head")
        self._trace = PitchTrace(id="trace")
        self._notes = NoteList(id="notes")
        self._target = ReferenceTone(id="target")
        self._dials = Dials()
        self._status = StatusLine(id="status")

    def compose(self) -> ComposeResult:
        """The widgets, from top to foot."""
        yield self._head
        yield self._trace
        yield from self._dials.widgets
        yield self._notes
        yield self._target
        yield self._status
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Listen at once."""
        super().on_mount()
        self.session.start(listening_plan(self._before))

    def show(self, take: TakeState) -> None:
        """Show a take as it stands."""
        if take.drill is not None:
            return
        super().show(take)
        self._head.show(HeadState.of(take))
        self._trace.show(take)
        self._dials.show(take)
        self._notes.show(NoteListState.of(take))
        if not self._chosen and not self._tone.sounds and take.notes:
            self._tone = replace(self._tone, tab=take.notes[0].tab)
        if self._tone.sounds and not take.running:
            self._tone = replace(self._tone, sounds=False)
        self._target.show(self._tone)
        self._status.show(StatusState.of(take))

    def hurry(self, take: TakeState) -> None:
        """Show the dials only."""
        if take.drill is None:
            self._dials.show(take)

    def action_play(self) -> None:
        """Listen, or stop listening."""
        if self.session.busy:
            self.session.stop()
        else:
            self.session.start(listening_plan(self._before))
        self.show(self.session.take)

    def action_tone(self) -> None:
        """Let the tone be heard, or end it."""
        tone = self._tone
        if tone.sounds:
            self._sound(replace(tone, sounds=False))
        elif self.session.take.phase is not Phase.LISTENING:
            self._sound(replace(tone, trouble="the tone sounds while it listens; press space"))
        else:
            self._sound(replace(tone, tab=tone.tab or tone.moved(0), sounds=True, trouble=""))

    def action_target(self, by: int) -> None:
        """Another note of the harp for the tone."""
        self._chosen = True
        self._sound(replace(self._tone, tab=self._tone.moved(by), trouble=""))

    def action_octave(self) -> None:
        """The tone an octave lower, as a drone, or where it is."""
        self._sound(replace(self._tone, octave=1 - self._tone.octave, trouble=""))

    def _sound(self, tone: ReferenceToneState) -> None:
        if tone.sounds or self._tone.sounds:
            self.session.ask(PlayTone(tone.hz if tone.sounds else None))
        self._tone = tone
        self._target.show(tone)

    def action_leave(self) -> None:
        """Back to the drill as it was."""
        if self._before.drill is None:
            return
        self.session.stop()
        self.session.prepare(replace(self._before))
        self.dismiss()
