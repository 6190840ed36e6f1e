"""The first-run guide: choose a microphone and a harp, play one note, and guess the harp's A4."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Static
from textual.worker import get_current_worker

from trainer.app.device_list import devices_or_message
from trainer.app.display_smoothing import DisplayedReading
from trainer.app.screens.take_base import TakeScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.guide_board import (
    GuideBoard,
    GuideState,
    a4_verdict,
    microphone_verdict,
    note_verdict,
)
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION
from trainer.core import TrainerError
from trainer.core.quantities import series_text
from trainer.ear import HeardNote
from trainer.harp import STANDARD_KEYS, Breath, Harp, Tab, a4_guess_notes, guess_a4
from trainer.practice import (
    HarpMeasured,
    HarpMeasurement,
    ListDevices,
    Plan,
    PlayTone,
    ReedRequested,
    RepeatRequested,
)
from trainer.settings import resolve_settings, set_setting
from trainer.sound import Device, MicrophoneSpec

ASKED_NOTE = Tab(4, Breath.DRAW)
"""The note to play: it speaks easily on every harp, and most players learn it early."""
MIN_NOTE_S = 0.4
"""Minimum time the note must be detected, in seconds."""
SYSTEM_DEFAULT = "system default"
TEST_TONE_HZ = 440.0
"""Frequency of the test tone in hertz."""

CHOOSING, PLAYING, TUNING = 1, 2, 3
"""Steps of the guide."""


class GuideScreen(TakeScreen):
    """The first-run guide: microphone, harp, its A4. It can be left at any time.

    Args:
        session: the take and its listener; on leaving, its plan is restored with the choices made.
        then: called once the choices are saved.
    """

    DEFAULT_CSS = """
    GuideScreen #board { height: 1fr; }
    GuideScreen #caution { height: 1; padding: 0 2; background: $surface; text-wrap: nowrap; }
    """
    ABOUT: ClassVar[str] = (
        "Choose a microphone and your harp, play one note to test both, and four for the harp's A4."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "choose(-1)", "choose", key_display="↑↓", tooltip="the input above"),
        Binding("down", "choose(1)", "next", show=False, tooltip="the input below"),
        Binding(
            "left",
            "key(-1)",
            "key",
            key_display="←→",
            tooltip="harp key a half step lower",
        ),
        Binding("right", "key(1)", "next key", show=False, tooltip="harp key a half step higher"),
        Binding("enter", "go_on", "go on", tooltip="next step; at the end, save the choices"),
        Binding("t", "tone", "test tone", tooltip="test tone on or off"),
        Binding("escape", "leave", "back", key_display="esc", tooltip="back without saving"),
    ]

    def __init__(self, session: Session, then: Callable[[], None] = lambda: None) -> None:
        super().__init__(session)
        self._then = then
        self._before = session.plan
        self._harp = session.plan.harp
        self._step = CHOOSING
        self._inputs: tuple[Device, ...] = ()
        self._chosen = 0
        self._trouble = ""
        self._tone = False
        self._note_since: float | None = None
        self._chosen_a4 = 0
        self._works = False
        self._tuning = _Tuning.of(self._harp)
        self._board = GuideBoard(id="board")

    def compose(self) -> ComposeResult:
        """Yield the board and the caution."""
        yield Static("Set up microphone and harp", classes="title")
        yield self._board
        yield Static(Content(f"t plays a test tone: {HEADPHONE_CAUTION}"), id="caution")
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to listen, and list the inputs."""
        super().on_mount()
        devices = self.session.listener.request(ListDevices())  # before a take opens a stream
        self._listen()
        self._list_inputs(devices)

    @work(thread=True)
    def _list_inputs(self, pending: Future[tuple[Device, ...]]) -> None:
        worker = get_current_worker()
        devices = devices_or_message(pending)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_devices, devices)

    def _take_devices(self, devices: tuple[Device, ...] | str) -> None:
        if isinstance(devices, str):
            self._trouble = devices
        else:
            self._inputs = tuple(device for device in devices if device.inputs)
            names = [device.name for device in self._inputs]
            current = self._spec.device
            self._chosen = names.index(current) + 1 if current in names else 0
            if not self._inputs:
                self._trouble = "no microphone found: connect one and start again"
        self.show(self.session.take)

    @property
    def _spec(self) -> MicrophoneSpec:
        """The microphone that is open."""
        source = self._before.source
        spec = source if isinstance(source, MicrophoneSpec) else MicrophoneSpec()
        if self._inputs:
            name = self._inputs[self._chosen - 1].name if self._chosen else None
            spec = replace(spec, device=name)
        return spec

    def _listen(self) -> None:
        self._tone, self._note_since = False, None
        self._tuning = _Tuning.of(self._harp)
        self.session.start(Plan(self._harp, self._spec))
        self.show(self.session.take)

    def show(self, take: TakeState) -> None:
        """Show the step and the sound heard."""
        listens = take.drill is None and take.phase is Phase.LISTENING and take.reading
        heard = take.displayed if listens else None
        if self._step == CHOOSING:
            self._tuning.skip(take.notes)  # speech, perhaps: whatever moves the level
        else:
            self._tuning.hear(take.notes)
        if take.phase is Phase.FAILED:
            message, good = take.messages.trouble, False
        elif self._step == CHOOSING:
            message, good = microphone_verdict(heard)
            if self._trouble and not good:
                message = self._trouble
        elif self._step == TUNING:
            message, good = self._tuning.message, self._tuning.is_done
        else:
            message, good = note_verdict(heard, ASKED_NOTE, self._harp)
            self._time_note(take, good)
            message, good = self._verdict(message, good)
        self._board.show(self._state(heard, message, good))

    def _time_note(self, take: TakeState, good: bool) -> None:
        """Measure how long the note has been held; `MIN_NOTE_S` proves the microphone."""
        if not good or take.reading is None:
            self._note_since = None
            return
        now = take.reading.heard_at
        self._note_since = now if self._note_since is None else self._note_since
        self._works = self._works or now - self._note_since >= MIN_NOTE_S

    def _verdict(self, message: str, good: bool) -> tuple[str, bool]:
        works = "the microphone works; enter saves it and goes on"
        if self._works:
            return (f"{message}: {works}" if good else f"{ASKED_NOTE} was heard: {works}"), True
        return (f"{message}; hold it" if good else message), False

    def _state(self, heard: DisplayedReading | None, message: str, good: bool) -> GuideState:
        if self._step == CHOOSING:
            return GuideState(
                step=CHOOSING,
                steps=self._steps,
                title="the microphone",
                words="Choose an input with ↑ and ↓, and play or speak: the bar shows its level.",
                choices=(SYSTEM_DEFAULT, *(device.name for device in self._inputs)),
                chosen=self._chosen,
                heard=heard,
                message=message,
                good=good,
            )
        if self._step == TUNING:
            return self._tuning_state(heard, message, good)
        words = (
            f"Take a {self._harp.name} harp, or choose your harp's key with ← and →. Play "
            f"{ASKED_NOTE}, hole {ASKED_NOTE.hole} {ASKED_NOTE.breath}, "
            "alone, from where you usually sit. "
            "Breathe as for a quiet tune; rest if you feel light-headed."
        )
        asked = str(ASKED_NOTE)
        return GuideState(
            *(PLAYING, self._steps, "one note", words, asked),
            heard=heard,
            message=message,
            good=good,
        )

    def _tuning_state(self, heard: DisplayedReading | None, message: str, good: bool) -> GuideState:
        choices = self._tuning.choices
        notes = series_text([str(tab) for tab in self._tuning.notes])
        end = "choose with ↑ and ↓; enter saves it" if choices else "enter ends the guide"
        return GuideState(
            step=TUNING,
            steps=self._steps,
            title="the harp's A4",
            words=f"Many harps are tuned a little above A4 = 440 Hz. Play {notes}, each alone and "
            f"softly for two seconds, in any order: then the trainer judges your harp by its own "
            f"pitch. {end[0].upper()}{end[1:]}.",
            asked="" if choices else self._tuning.asked,
            choices=tuple(f"A4 = {hz:g} Hz" for hz in choices),
            chosen=self._chosen_a4,
            heard=heard,
            message=message,
            good=good,
        )

    @property
    def _steps(self) -> int:
        """Number of steps: a harp that was measured has its A4 already."""
        return PLAYING if self._harp.offsets else TUNING

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Disable the keys of the other steps."""
        if action == "choose":
            return self._step == CHOOSING or bool(self._step == TUNING and self._tuning.choices)
        return action != "key" or self._step == PLAYING

    def action_choose(self, by: int) -> None:
        """Select another input, or another A4."""
        if self._step == TUNING and self._tuning.choices:
            self._chosen_a4 = (self._chosen_a4 + by) % len(self._tuning.choices)
            self.show(self.session.take)
        elif self._step == CHOOSING and self._inputs:
            self._chosen = (self._chosen + by) % (len(self._inputs) + 1)
            self._listen()

    def action_key(self, by: int) -> None:
        """Select a harp in another key."""
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
        """Turn the test tone on or off."""
        self._tone = not self._tone
        self.session.ask(PlayTone((TEST_TONE_HZ,) if self._tone else ()))

    def action_go_on(self) -> None:
        """Go to the next step; after the last, save the choices and leave."""
        if self._step == CHOOSING or (self._step < self._steps and self._works):
            self._step += 1
            self._tuning.ask()
            self.refresh_bindings()
            self.show(self.session.take)
        elif self._works:
            self._keep()
            self.action_leave()
            self.app.call_later(self._then)

    def _keep(self) -> None:
        """Save the choices in the settings."""
        chosen: dict[tuple[str, str], object] = {
            ("sound", "device"): self._spec.device,
            ("harp", "key"): self._harp.key.name,
        }
        if self._tuning.choices:
            a4 = self._tuning.choices[self._chosen_a4]
            self._harp = replace(self._harp, a4=a4)
            chosen["harp", "a4"] = f"{a4:g}"
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
        """Return to the drill."""
        self.session.stop()
        try:
            self.session.prepare(replace(self._before))
        except TrainerError as error:
            self.notify(str(error), severity="error")
        self.dismiss()


@dataclass(slots=True)
class _Tuning:
    """Four notes of a harp on the way to its A4.

    Attributes:
        harp: the harp.
        measuring: what is known of its reeds.
        asked: tab of the note that is asked for; empty when all were heard.
        message: what to do, or the verdict on the harp.
        choices: A4 in hertz to choose from, the best first.
        heard_until: start of the last note heard, in samples.
    """

    harp: Harp
    measuring: HarpMeasurement
    asked: str
    message: str
    choices: tuple[float, ...] = ()
    heard_until: int = -1

    @classmethod
    def of(cls, harp: Harp) -> _Tuning:
        """Begin with a harp."""
        notes = a4_guess_notes(harp)
        measuring = HarpMeasurement(harp, attacks=1, reeds=notes)
        return cls(harp, measuring, str(notes[0]), f"play {notes[0]}")

    @property
    def notes(self) -> tuple[Tab, ...]:
        """The notes to play."""
        return a4_guess_notes(self.harp)

    @property
    def is_done(self) -> bool:
        """Whether all notes were heard."""
        return self.measuring.done

    def ask(self) -> None:
        """Ask for the next note, without what was said about the last."""
        if not self.is_done:
            self.message = f"play {self.asked}"

    def skip(self, notes: Sequence[HeardNote]) -> None:
        """Leave out the notes heard, newest first."""
        self.heard_until = notes[0].start if notes else self.heard_until

    def hear(self, notes: Sequence[HeardNote]) -> None:
        """Take the new ones of the notes heard, newest first."""
        for note in reversed(notes):
            if note.start <= self.heard_until or self.is_done:
                continue
            self.heard_until = note.start
            for event in self.measuring.add_note(note):
                match event:
                    case ReedRequested(tab):
                        self.asked, self.message = str(tab), f"play {tab}"
                    case RepeatRequested(sentence):
                        self.message = f"play {self.asked}: {sentence}"
            if self.is_done:
                self._end()

    def _end(self) -> None:
        (measured,) = self.measuring.finish()
        assert isinstance(measured, HarpMeasured)
        reeds = {Tab.parse(reed.tab): reed.hz for reed in measured.reeds}
        self.asked = ""
        self.message, self.choices = a4_verdict(guess_a4(self.harp, reeds), self.harp.a4)
