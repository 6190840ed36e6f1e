"""Loop: a passage of a recording again and again, slowed and transposed, to play along with."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.worker import get_current_worker

from trainer.app.screens.listen import listening_plan
from trainer.app.screens.take_base import WAITS_FOR_MICROPHONE, TakeScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.transcript_file import TranscriptFile
from trainer.app.widgets.dials import Dials
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.loop_strip import OFF, READYING, SOUNDS, LoopState, LoopStrip
from trainer.app.widgets.note_list import NoteList, NoteListState
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.core import TrainerError
from trainer.drill import Drill
from trainer.harp import Harp, standard_key
from trainer.practice import PlayLoop, WriteDown
from trainer.sound import PASSAGE_LIMITS as LIMITS
from trainer.sound import Passage, Recording

if TYPE_CHECKING:
    from trainer.transcript import TranscriptRequest

SPEED_STEP = 0.05
"""Change of the speed by one key press, as a fraction of the recorded speed."""
ENDPOINT_STEP_S = 0.1
"""Change of the passage's start or end by one key press, in seconds."""
DEFAULT_COUNT_IN = 4
"""Clicks of the count-in when it is turned on."""
NO_INPUT_HINT = "no microphone: 'trainer loop --no-listen' plays without one"
PEAK_SAMPLES = 1024
"""Samples per peak when the recording is read; fewer than a bin has, except in very short
recordings."""
WRITING = "writing the passage down"
"""Shown meanwhile."""
STRIP_ROWS = 5
"""Rows of the waveform and how the passage is played, a blank row above included."""
WAVEFORM_BINS = 400
"""Bins of the waveform, each drawn as its peak."""


class LoopScreen(TakeScreen):
    """The screen of a looped passage.

    Args:
        session: the take and its listener.
        passage: the first passage.
        moved: half steps from the recording's harp to the player's; 0 if unknown.
        can_write_down: whether the passage can be written down and practised in place of this
            screen; not for a take that was just played, whose drill is below.
    """

    DEFAULT_CSS = """
    LoopScreen #loop { margin: 1 0 0 0; }
    """
    ABOUT: ClassVar[str] = (
        "Loop a passage of a recording: slower, at your harp's pitch, with a count-in. "
        "What you play along with it is measured."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "loop", "loop", tooltip="loop the passage, or stop"),
        Binding("up", "speed(1)", "speed", key_display="↑↓", tooltip="faster"),
        Binding("down", "speed(-1)", "slower", show=False, tooltip="slower"),
        Binding(
            "right",
            "walk(1)",
            "passage",
            key_display="←→",
            tooltip="next passage of the same length",
        ),
        Binding("left", "walk(-1)", "previous", show=False, tooltip="previous passage"),
        Binding(
            "left_square_bracket",
            "first(1)",
            "ends",
            key_display="[ ] { }",
            tooltip="start 0.1 s later",
        ),
        Binding(
            "left_curly_bracket",
            "first(-1)",
            "start earlier",
            show=False,
            tooltip="start 0.1 s earlier",
        ),
        Binding(
            "right_square_bracket",
            "last(-1)",
            "end earlier",
            show=False,
            tooltip="end 0.1 s earlier",
        ),
        Binding(
            "right_curly_bracket",
            "last(1)",
            "end later",
            show=False,
            tooltip="end 0.1 s later",
        ),
        Binding(
            "less_than_sign",
            "pitch(-1)",
            "pitch",
            key_display="< >",
            tooltip="a half step lower",
        ),
        Binding(
            "greater_than_sign", "pitch(1)", "higher", show=False, tooltip="a half step higher"
        ),
        Binding(
            "k",
            "key",
            "my key",
            tooltip="at your harp's pitch, or as recorded",
        ),
        Binding(
            "p",
            "play_along",
            "play along",
            tooltip="write the passage down as tab, and be marked as you play along with it",
        ),
        Binding(
            "t",
            "tab",
            "tab",
            tooltip="write the passage down as tab: pick its harp, correct it by ear",
        ),
        Binding("c", "count_in", "count-in", tooltip="count-in on or off"),
        Binding("escape", "leave", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(
        self,
        session: Session,
        passage: Passage,
        moved: float = 0.0,
        *,
        can_write_down: bool = False,
    ) -> None:
        super().__init__(session)
        self._can_write_down = can_write_down
        self._before = session.plan
        self._moved = moved
        self._is_writing = False
        self._state = LoopState(passage)
        self._head = HeadLine(id="head")
        self._strip = LoopStrip(id="loop")
        self._trace = PitchTrace(id="trace")
        self._notes = NoteList(id="notes")
        self._dials = Dials()

    def compose(self) -> ComposeResult:
        """Yield the widgets, top to bottom."""
        yield self._head
        yield self._strip
        yield self._trace
        yield from self._dials.widgets
        yield self._notes
        yield self._status
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to listen, and read the recording."""
        super().on_mount()
        self.session.start(listening_plan(self._before))
        self._read_peaks()

    @work(thread=True)
    def _read_peaks(self) -> None:
        worker = get_current_worker()
        try:
            peaks, seconds = _peaks(self._state.passage)
        except TrainerError as error:
            if not worker.is_cancelled:
                self.app.call_from_thread(self._draw, replace(self._state, trouble=str(error)))
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show_peaks, peaks, seconds)

    def _show_peaks(self, peaks: tuple[float, ...], seconds: float) -> None:
        passage = self._state.passage
        if passage.last > seconds:
            passage = replace(passage, last=max(seconds, passage.first + LIMITS.min_length_s))
        self._draw(replace(self._state, passage=passage, peaks=peaks, seconds=seconds))

    def _draw(self, state: LoopState) -> None:
        self._state = state
        self._strip.show(state)

    def show(self, take: TakeState) -> None:
        """Show a take."""
        if take.drill is not None:
            return
        super().show(take)
        self.lay_out_listening(strip=STRIP_ROWS)
        self._head.show(
            HeadState(self._state.passage.path.name, HeadState.of(take).about, take.phase)
        )
        self._trace.show(take)
        self._dials.show(take)
        self._notes.show(NoteListState.of(take))
        self._follow(take)

    def show_urgent(self, take: TakeState) -> None:
        """Update the dials only."""
        if take.drill is None:
            self._dials.show(take)

    def _follow(self, take: TakeState) -> None:
        """Update the position in the passage."""
        state = self._state
        if not take.running:
            state = replace(state, phase=OFF, played=None)
        elif (
            state.phase != OFF and take.loop and take.loop.passage == state.passage and take.reading
        ):
            played_s = (take.reading.heard - take.loop.begins) / take.reading.rate
            state = replace(state, phase=SOUNDS, played=played_s if played_s >= 0.0 else None)
        if take.phase is Phase.FAILED:
            state = replace(state, trouble=NO_INPUT_HINT)
        if take.messages.notice and state.phase == READYING:
            state = replace(state, phase=OFF, trouble=take.messages.notice)
        self._draw(state)

    def _change(self, passage: Passage) -> None:
        """Change the passage; while one sounds, the new one starts from its beginning."""
        state = replace(self._state, passage=passage, trouble="")
        if state.phase == OFF:
            self._draw(state)
        else:
            self._ask(state)

    def _ask(self, state: LoopState) -> None:
        """Ask the listener for a passage, and clear earlier trouble."""
        self.session.take.messages.notice = ""
        self._draw(replace(state, phase=READYING, played=None, trouble=""))
        self.session.ask(PlayLoop(state.passage))

    def action_loop(self) -> None:
        """Start or stop the loop."""
        if self._state.phase != OFF:
            self._draw(replace(self._state, phase=OFF, played=None))
            self.session.ask(PlayLoop(None))
        elif not self.once_listening(lambda: self._ask(self._state), listening_plan(self._before)):
            self._draw(replace(self._state, trouble=WAITS_FOR_MICROPHONE))

    def action_speed(self, steps: int) -> None:
        """Change the speed by a number of steps."""
        speed = round(self._state.passage.speed + steps * SPEED_STEP, 2)
        self._change(
            replace(
                self._state.passage,
                speed=min(max(speed, LIMITS.min_speed), LIMITS.max_speed),
            )
        )

    def action_walk(self, steps: int) -> None:
        """Move by a number of passage lengths."""
        passage = self._state.passage
        length = passage.last - passage.first
        end = self._state.seconds or passage.last
        first = min(max(passage.first + steps * length, 0.0), max(0.0, end - length))
        self._change(replace(passage, first=round(first, 3), last=round(first + length, 3)))

    def action_first(self, steps: int) -> None:
        """Move the start by a number of steps."""
        passage = self._state.passage
        least = max(0.0, passage.last - LIMITS.max_length_s)
        first = min(
            max(passage.first + steps * ENDPOINT_STEP_S, least),
            passage.last - LIMITS.min_length_s,
        )
        self._change(replace(passage, first=round(first, 3)))

    def action_last(self, steps: int) -> None:
        """Move the end by a number of steps."""
        passage = self._state.passage
        most = min(self._state.seconds or passage.last, passage.first + LIMITS.max_length_s)
        last = max(
            min(passage.last + steps * ENDPOINT_STEP_S, most),
            passage.first + LIMITS.min_length_s,
        )
        self._change(replace(passage, last=round(last, 3)))

    def action_pitch(self, steps: int) -> None:
        """Transpose by a number of half steps."""
        moved = self._state.passage.half_steps + steps
        moved = min(max(moved, -LIMITS.max_half_steps), LIMITS.max_half_steps)
        self._change(replace(self._state.passage, half_steps=moved))

    def action_key(self) -> None:
        """Transpose to the player's harp, or back to the recorded pitch."""
        passage = self._state.passage
        if passage.half_steps:
            self._change(replace(passage, half_steps=0.0))
        elif self._moved:
            self._change(replace(passage, half_steps=self._moved))
        else:
            hint = "name the harp of the recording with --played-on"
            self._draw(replace(self._state, trouble=hint))

    def action_count_in(self) -> None:
        """Turn the count-in on or off."""
        passage = self._state.passage
        self._change(replace(passage, count_in=0 if passage.count_in else DEFAULT_COUNT_IN))

    def action_play_along(self) -> None:
        """Write the passage down, and practise it along with the recording."""
        if self._is_writing:
            return
        self._is_writing = True
        self.session.stop()
        self._draw(replace(self._state, phase=OFF, played=None, trouble=WRITING))
        self._write_down(self._state.passage)

    def _request(self) -> TranscriptRequest:
        """Return the passage as one to transcribe, on the harp that the player named."""
        from trainer.transcript import TranscriptRequest

        passage, harp = self._state.passage, self._before.harp
        key = standard_key(harp.key.tonic - round(self._moved))
        played_on = Harp.of(key, harp.tuning.name) if self._moved else None
        return TranscriptRequest(
            passage.path, passage.channel, passage.first, passage.last, harp=played_on
        )

    @work(thread=True)
    def _write_down(self, passage: Passage) -> None:
        """Ask the listener's process for the passage as a drill."""
        worker = get_current_worker()
        try:
            drill = self.session.listener.request(WriteDown(self._request())).result().drill
        except TrainerError as error:
            if not worker.is_cancelled:
                self.app.call_from_thread(self._not_written, str(error))
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(self._practise, drill, passage.speed)

    def _not_written(self, trouble: str) -> None:
        self._is_writing = False
        self._draw(replace(self._state, trouble=trouble))

    def _practise(self, drill: Drill, speed: float) -> None:
        """Open the practice screen on a drill, in place of this one."""
        from trainer.app.screens.practice import PracticeScreen  # which leads here, too

        try:
            self.session.prepare(replace(self._before, drill=drill, tempo=drill.tempo * speed))
        except TrainerError as error:
            self._not_written(str(error))
            return
        self.app.switch_screen(PracticeScreen(self.session, (drill,)))

    def action_tab(self) -> None:
        """Open the passage as tab."""
        from trainer.app.screens.transcript import TranscriptScreen

        if self._is_writing:
            return
        self._draw(replace(self._state, phase=OFF, played=None))
        source = TranscriptFile.of_passage(self._request())
        self.app.push_screen(TranscriptScreen(self.session, self._before, source))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action is possible here: not every passage is to be written down."""
        return self._can_write_down if action in ("play_along", "tab") else True

    def action_leave(self) -> None:
        """Return to the screen below; without a drill there, quit."""
        self.session.stop()
        if self._before.drill is None:
            self.app.exit()
            return
        self.session.prepare(replace(self._before))
        self.dismiss()


def _peaks(passage: Passage) -> tuple[tuple[float, ...], float]:
    """Return the relative peak of each bin of a recording, and its length in seconds.

    Raises:
        SoundError: the recording cannot be read.
    """
    recording = Recording(passage.path, passage.channel)
    try:
        pieces = []
        for block in recording.blocks():
            for at in range(0, len(block.samples), PEAK_SAMPLES):
                piece = block.samples[at : at + PEAK_SAMPLES]
                pieces.append((float(np.max(np.abs(piece))), block.start + at + len(piece)))
    finally:
        recording.close()
    length = pieces[-1][1]
    peaks = [0.0] * WAVEFORM_BINS
    for peak, end in pieces:
        place = min(WAVEFORM_BINS - 1, (end - 1) * WAVEFORM_BINS // length)
        peaks[place] = max(peaks[place], peak)
    top = max([*peaks, 1e-6])
    return tuple(peak / top for peak in peaks), length / recording.rate
