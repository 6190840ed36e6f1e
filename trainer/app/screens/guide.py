"""The first-run guide: a microphone that works, the harp in hand, and one note that was heard."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import replace
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer, Static
from textual.worker import get_current_worker

from trainer.app.device_list import await_devices
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.screens.take_base import TakeScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.guide_board import GuideBoard, GuideState, microphone_verdict, note_verdict
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION
from trainer.core import TrainerError
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab
from trainer.practice import Plan, PlayTone
from trainer.practice.requests import ListDevices
from trainer.settings import resolve_settings
from trainer.settings.writer import set_setting
from trainer.sound import MicrophoneSpec
from trainer.sound.devices import Device

ASKED_NOTE = Tab(4, Breath.DRAW)
"""The note that is asked for at the end: it speaks on every harp, and most learn it first."""
MIN_NOTE_S = 0.4
"""It must have been heard for so long."""
SYSTEM_DEFAULT = "the system's own choice"
TEST_TONE_HZ = 440.0

CHOOSING, PLAYING = 1, 2


class GuideScreen(TakeScreen):
    """The first-run guide. Ends with a note that was heard, or may be left at any time.

    Args:
        session: the take and its listener; its plan is given back, with what was chosen.
    """

    DEFAULT_CSS = """
    GuideScreen #board { height: 1fr; margin: 1 1 0 1; }
    GuideScreen #said { height: 1; padding: 0 2; background: $surface; text-wrap: nowrap; }
    """
    ABOUT: ClassVar[str] = "A microphone that works, the harp in hand, and one note that was heard."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "choose(-1)", "choose", key_display="↑↓", tooltip="the input above"),
        Binding("down", "choose(1)", "next", show=False, tooltip="the input below"),
        Binding(
            "left",
            "key(-1)",
            "key of the harp",
            key_display="←→",
            tooltip="a harp a half step lower",
        ),
        Binding("right", "key(1)", "next key", show=False, tooltip="a harp a half step higher"),
        Binding("enter", "go_on", "go on", tooltip="go on, and keep what was chosen at the end"),
        Binding("t", "tone", "test tone", tooltip="a test tone, or an end of it"),
        Binding(
            "escape", "leave", "leave it", key_display="esc", tooltip="leave the guide as it is"
        ),
    ]

    def __init__(self, session: Session) -> None:
        super().__init__(session)
        self._before = session.plan
        self._harp = session.plan.harp
        self._step = CHOOSING
        self._inputs: tuple[Device, ...] = ()
        self._chosen = 0
        self._trouble = ""
        self._tone = False
        self._since: float | None = None
        self._works = False
        self._board = GuideBoard(id="board")

    def compose(self) -> ComposeResult:
        """What to do, and what is heard."""
        yield Static("Getting ready to play", classes="title")
        yield self._board
        yield Static(Content(f"t sounds a test tone: {HEADPHONE_CAUTION}"), id="said")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Listen with what the settings say, and look which inputs there are."""
        super().on_mount()
        devices = self.session.listener.request(ListDevices())  # before a take opens a stream
        self._listen()
        self._look(devices)

    @work(thread=True)
    def _look(self, devices: Future[tuple[Device, ...]]) -> None:
        worker = get_current_worker()
        found = await_devices(devices)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_in, found)

    def _take_in(self, found: tuple[Device, ...] | str) -> None:
        if isinstance(found, str):
            self._trouble = found
        else:
            self._inputs = tuple(one for one in found if one.inputs)
            names = [one.name for one in self._inputs]
            named = self._spec.device
            self._chosen = names.index(named) + 1 if named in names else 0
            if not self._inputs:
                self._trouble = "this computer has no microphone; connect one and start again"
        self.show(self.session.take)

    @property
    def _spec(self) -> MicrophoneSpec:
        """What is listened to."""
        source = self._before.source
        spec = source if isinstance(source, MicrophoneSpec) else MicrophoneSpec()
        if self._inputs:
            name = self._inputs[self._chosen - 1].name if self._chosen else None
            spec = replace(spec, device=name)
        return spec

    def _listen(self) -> None:
        self._tone, self._since = False, None
        self.session.start(Plan(self._harp, self._spec))
        self.show(self.session.take)

    def show(self, take: TakeState) -> None:
        """Show the step, and what is heard."""
        listens = take.drill is None and take.phase is Phase.LISTENING and take.reading
        heard = take.displayed if listens else None
        if take.phase is Phase.FAILED:
            said, good = take.messages.trouble, False
        elif self._step == CHOOSING:
            said, good = microphone_verdict(heard)
        else:
            said, good = note_verdict(heard, ASKED_NOTE, self._harp)
            self._hold(take, good)
            said, good = self._verdict(said, good)
        told = take.phase is not Phase.FAILED and self._step == CHOOSING
        if self._trouble and told and not good:
            said = self._trouble
        self._board.show(self._state(heard, said, good))

    def _hold(self, take: TakeState, good: bool) -> None:
        """Whether the note has been heard for long enough."""
        if not good or take.reading is None:
            self._since = None
            return
        now = take.reading.heard_at
        self._since = now if self._since is None else self._since
        self._works = self._works or now - self._since >= MIN_NOTE_S

    def _verdict(self, said: str, good: bool) -> tuple[str, bool]:
        works = "the microphone works; enter keeps it and goes on"
        if self._works:
            return (f"{said}: {works}" if good else f"{ASKED_NOTE} was heard: {works}"), True
        return (f"{said}; hold it" if good else said), False

    def _state(self, shown: DisplayedReading | None, said: str, good: bool) -> GuideState:
        if self._step == CHOOSING:
            names = (SYSTEM_DEFAULT, *(one.name for one in self._inputs))
            words = (
                "Choose what is to listen, by ↑ and ↓. The level under the list is what it takes "
                "in just now. enter goes on."
            )
            return GuideState(1, 2, "the microphone", words, names, self._chosen, shown, said, good)
        words = (
            f"Take a {self._harp.name} harp, or choose the key of yours with ← and →. Then play "
            f"{ASKED_NOTE}, hole {ASKED_NOTE.hole} {ASKED_NOTE.breath}, "
            "alone and at your usual distance. "
            "Breathe as for a quiet tune, and rest if you feel light-headed."
        )
        return GuideState(2, 2, "one note", words, heard=shown, said=said, good=good)

    def action_choose(self, by: int) -> None:
        """Another input."""
        if self._step == CHOOSING and self._inputs:
            self._chosen = (self._chosen + by) % (len(self._inputs) + 1)
            self._listen()

    def action_key(self, by: int) -> None:
        """A harp in another key."""
        if self._step != PLAYING:
            return
        keys = STANDARD_KEYS
        name = self._harp.key.name
        place = keys.index(name) if name in keys else -by
        old = self._harp
        self._harp = Harp.of(
            keys[(place + by) % len(keys)],
            old.tuning.name,
            a4=old.a4,
            temperament_name=old.temperament.name,
        )
        self._works = False
        self._listen()

    def action_tone(self) -> None:
        """A tone through the output, or an end of it."""
        self._tone = not self._tone
        self.session.ask(PlayTone(TEST_TONE_HZ if self._tone else None))

    def action_go_on(self) -> None:
        """The next step; after the last, keep what was chosen."""
        if self._step == CHOOSING:
            self._step = PLAYING
            self.show(self.session.take)
        elif self._works:
            self._keep()
            self.action_leave()

    def _keep(self) -> None:
        """Write what was chosen into the settings."""
        chosen = {
            ("sound", "device"): self._spec.device,
            ("harp", "key"): self._harp.key.name,
        }
        try:
            file = resolve_settings().file
            for key, value in chosen.items():
                if value is not None:
                    set_setting(file, key, str(value))
        except TrainerError as error:
            self.notify(str(error), severity="error")
        source = self._before.source
        kept = replace(self._before, harp=self._harp, harp_name=None)
        self._before = (
            replace(kept, source=self._spec) if isinstance(source, MicrophoneSpec) else kept
        )

    def action_leave(self) -> None:
        """Back to the drill."""
        self.session.stop()
        try:
            self.session.prepare(replace(self._before))
        except TrainerError as error:
            self.notify(str(error), severity="error")
        self.dismiss()
