"""Transcript: a recording as tab, for the harp that the player picks, corrected by ear."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.timer import Timer
from textual.worker import get_current_worker

from trainer.app.practice_layout import ScreenRows
from trainer.app.screens.listen import listening_plan
from trainer.app.screens.take_base import WAITS_FOR_MICROPHONE, TakeScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.transcript_file import TranscriptFile
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.app.widgets.note_card import NoteCard, NoteCardState
from trainer.app.widgets.pick_list import PickList, PickListState
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION
from trainer.app.widgets.tab_page import TabPage, TabPageState
from trainer.core import TrainerError
from trainer.drill import (
    Drill,
    DrillError,
    EditedDrill,
    EditHistory,
    FileTaken,
    format_sound,
    free_name,
    save_drill,
)
from trainer.harp import Harp
from trainer.practice import GuessHarps, Plan, PlayLoop, PlayTone, Request, WriteDown
from trainer.sound import PASSAGE_LIMITS as LIMITS
from trainer.sound import Passage

if TYPE_CHECKING:
    from trainer.practice import WrittenDown
    from trainer.transcript import HarpGuess

Answer = TypeVar("Answer")

GRIDS = (Fraction(1, 2), Fraction(1, 3), Fraction(1, 4), Fraction(1, 6), Fraction(1))
"""Beats by which a correction moves or lengthens a note; a key goes through them."""
FIRST_SPEED = 0.7
"""Speed of a loop at first, as a fraction of the recorded speed."""
SPEED_STEP = 0.05
"""Change of the speed by one key press."""
NOTE_MARGIN_S = 0.06
"""Time played before and after a note of the recording, in seconds."""
SOUND_S = 2.0
"""Time for which a note is heard, in seconds."""
WRITING = "writing the recording down; some seconds a minute of sound"
GUESSING = "looking for harps"
"""Shown meanwhile."""


class TranscriptScreen(TakeScreen):
    """The screen of a transcript.

    Args:
        session: the take and its listener.
        before: the plan to which the player returns.
        source: what is opened.
    """

    ABOUT: ClassVar[str] = (
        "A recording as tab. Pick the harp, check the notes marked ? by ear, correct them, and "
        "play along."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "loop", "loop", tooltip="loop the bar of the recording, or stop"),
        Binding("right", "walk(1)", "note", key_display="←→", tooltip="next note"),
        Binding("left", "walk(-1)", "note before", show=False, tooltip="note before"),
        Binding("up", "hole(1)", "hole", key_display="↑↓", tooltip="one hole higher"),
        Binding("down", "hole(-1)", "hole lower", show=False, tooltip="one hole lower"),
        Binding("n", "doubtful", "next ?", tooltip="next doubtful note"),
        Binding("a", "recorded", "recorded", tooltip="hear the note as recorded"),
        Binding("d", "written", "as written", tooltip="hear the note as written"),
        Binding("s", "save", "save", tooltip="save as a drill"),
        Binding("p", "play_along", "play along", tooltip="save, and play along from this bar"),
        Binding("b", "breath", "breath", tooltip="blow for draw, draw for blow"),
        Binding(
            "apostrophe,v",
            "bend(1)",
            "bend",
            key_display="' \"",
            tooltip="bend a half step deeper",
        ),
        Binding(
            "quotation_mark,V",
            "bend(-1)",
            "let up",
            show=False,
            tooltip="let the bend up a half step; above it, the overblow",
        ),
        Binding(
            "left_square_bracket",
            "length(-1)",
            "length",
            key_display="[ ]",
            tooltip="shorter by a step",
        ),
        Binding(
            "right_square_bracket", "length(1)", "longer", show=False, tooltip="longer by a step"
        ),
        Binding(
            "less_than_sign",
            "shift(-1)",
            "time",
            key_display="< >",
            tooltip="earlier by a step",
        ),
        Binding("greater_than_sign", "shift(1)", "later", show=False, tooltip="later by a step"),
        Binding("g", "grid", "step", tooltip="step of length and time: 1/2, 1/3, 1/4, 1/6, 1 beat"),
        Binding("i", "add", "add", tooltip="add a note in the rest after it, or before it"),
        Binding("x,delete", "delete", "delete", tooltip="delete the note; a rest stays"),
        Binding("t", "split", "split", tooltip="split it in two, or a glide into its notes"),
        Binding("j", "join", "join", tooltip="join it with the next note"),
        Binding("o", "part", "other part", tooltip="correct and play the other harp's part"),
        Binding("enter", "checked", "right", tooltip="the note is right: take its ? away"),
        Binding("u", "undo", "undo", key_display="u y", tooltip="undo"),
        Binding("y", "redo", "redo", show=False, tooltip="redo"),
        Binding("1", "pick(1)", "harp", key_display="1-4", tooltip="write it for the first harp"),
        Binding("2", "pick(2)", "harp 2", show=False, tooltip="for the second harp"),
        Binding("3", "pick(3)", "harp 3", show=False, tooltip="for the third harp"),
        Binding("4", "pick(4)", "harp 4", show=False, tooltip="for the fourth harp"),
        Binding("plus,equals_sign", "speed(1)", "speed", key_display="+ -", tooltip="faster"),
        Binding("minus", "speed(-1)", "slower", show=False, tooltip="slower"),
        Binding("pagedown", "bar(1)", "bar", key_display="pgdn pgup", tooltip="next bar"),
        Binding("pageup", "bar(-1)", "bar before", show=False, tooltip="bar before"),
        Binding("w", "save_copy", "save copy", tooltip="save under another name"),
        Binding("escape", "leave", "back", key_display="esc", tooltip="back"),
        Binding("q", "quit", "quit", tooltip="quit"),
    ]

    def __init__(self, session: Session, before: Plan, source: TranscriptFile) -> None:
        super().__init__(session)
        self._before, self._source = before, source
        self._history: EditHistory | None = None
        self._clean: Drill | None = None
        """The drill as it was opened or saved last."""
        self._free_time = False
        """Whether the recording is in free time; corrections leave its beats."""
        self._in_file: Drill | None = None
        """The drill that the file is known to hold."""
        self._file = source.file
        self._a4 = 440.0
        self._grid, self._speed = GRIDS[0], FIRST_SPEED
        self._picks = PickListState(working=WRITING)
        self._sounding = ""
        self._looped: int | None = None
        self._passage: Passage | None = None
        self._sound_timer: Timer | None = None
        self._warned = ""
        self._discards = False
        self._head = HeadLine(id="head")
        self._list = PickList(id="picks")
        self._page = TabPage(id="page")
        self._card = NoteCard(id="card")

    def compose(self) -> ComposeResult:
        """Yield the widgets, top to bottom."""
        yield self._head
        yield self._list
        yield self._page
        yield self._card
        yield self._status
        yield KeyFooter()

    def on_mount(self) -> None:
        """Open the tab that is saved, or write the passage down."""
        super().on_mount()
        self.session.stop()
        saved = self._source.saved()
        if saved is not None:
            self._in_file = saved if self._file.exists() else None
            self._open(saved)
            self._set_picks(replace(self._picks, working=GUESSING))
            self._request(GuessHarps(saved), self._take_guesses)
        elif self._source.request is not None:
            self._request(WriteDown(self._source.request), self._take_written)

    @work(thread=True)
    def _request(self, request: Request[Answer], take: Callable[[Answer], None]) -> None:
        """Ask the listener's process; its answer is taken in the app's thread."""
        worker = get_current_worker()
        try:
            answer = self.session.listener.request(request).result()
        except TrainerError as error:
            if not worker.is_cancelled:
                self.app.call_from_thread(self._fail, str(error))
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(take, answer)

    def _take_written(self, written: WrittenDown) -> None:
        self._a4 = written.a4
        self._open(written.drill)
        self._take_guesses(written.guesses)
        if written.warnings:
            self.say(f"! {written.warnings[0]}")

    def _fail(self, trouble: str) -> None:
        self._set_picks(replace(self._picks, trouble=trouble))

    def _take_guesses(self, guesses: tuple[HarpGuess, ...]) -> None:
        from trainer.transcript import plausible_guesses

        self._set_picks(replace(self._picks, picks=plausible_guesses(guesses), working=""))
        self._listen()

    def _listen(self) -> None:
        """Open the microphone, through whose output everything is heard."""
        if not self.session.busy:
            self.session.start(listening_plan(self._before))

    # What is shown

    def _open(self, drill: Drill) -> None:
        self._history = EditHistory(EditedDrill(drill))
        self._clean = drill
        self._free_time = drill.recording is not None and drill.recording.is_in_free_time
        self.refresh_bindings()
        self._show_tab()

    def _set_picks(self, picks: PickListState) -> None:
        self._picks = picks
        self._show_tab()

    @property
    def edited(self) -> EditedDrill | None:
        """The tab as it is now; None before it is there."""
        return None if self._history is None else self._history.now

    @property
    def _is_saved(self) -> bool:
        return self.edited is None or self.edited.drill == self._clean

    def show(self, take: TakeState) -> None:
        """Show the take's messages, and the place in a loop."""
        if take.drill is not None and self.session.busy:
            return
        if take.messages.notice and self._sounding:
            self._sounding, self._looped = "", None
        super().show(take)
        self._show_tab()

    def _show_tab(self) -> None:
        """Show the tab, its head and the note under the cursor."""
        if not self.is_mounted:
            return
        edited = self.edited
        picks = self._picks
        if edited is not None:
            picks = replace(picks, key=edited.drill.key, tuning=edited.drill.tuning)
        self._lay_out(picks.rows)
        self._list.show(picks)
        if edited is None:
            self._head.show(HeadState(self._recording_name, (), Phase.READY))
            return
        drill = edited.drill
        beats, value = drill.meter
        timing = (
            ("free time",) if self._free_time else (f"tempo {drill.tempo:g}", f"{beats}/{value}")
        )
        about: tuple[str, ...] = (f"{drill.key} harp", *timing)
        if not self._is_saved:
            about = (*about, "not saved")
        self._head.show(HeadState(self._recording_name, about, self.session.take.phase))
        self._page.show(
            TabPageState(drill, self._place(edited), edited.cursor, first=0, last=len(drill.steps))
        )
        self._card.show(
            NoteCardState(edited, self._harp(drill), self._grid, self._speed, self._sounding)
        )

    @property
    def _recording_name(self) -> str:
        drill = self.edited.drill if self.edited else self._source.drill
        if drill is not None and drill.recording is not None:
            return drill.recording.path.name
        return self._source.request.path.name if self._source.request else ""

    def _harp(self, drill: Drill) -> Harp:
        return Harp.of(drill.key, drill.tuning, a4=self._a4)

    def _place(self, edited: EditedDrill) -> float:
        """Beat of the page's cursor: where the loop is, or where the note begins."""
        take, recording, passage = self.session.take, edited.drill.recording, self._passage
        if (
            self._looped is not None
            and recording is not None
            and passage is not None
            and take.loop is not None
            and take.loop.passage == passage
            and take.reading is not None
        ):
            played = (take.reading.heard - take.loop.begins) / take.reading.rate
            if played >= 0.0:
                inside = played % passage.seconds * passage.speed
                return recording.beat(passage.first + inside)
        return float(edited.step.start)

    def _lay_out(self, rows: int) -> None:
        """Give the parts their rows; a message may need two."""
        self.lay_out(ScreenRows((1, rows + 1, 0, 2, self.status_rows)))

    # The cursor

    def action_walk(self, by: int) -> None:
        """Go to the next note, or the one before."""
        if self.edited is not None:
            self._go(self.edited.at(self.edited.cursor + by))

    def action_bar(self, by: int) -> None:
        """Go to the first note of the next bar that has one, or of the bar before."""
        edited = self.edited
        if edited is None:
            return
        bars = sorted({step.bar for step in edited.drill.steps})
        place = min(max(bars.index(edited.step.bar) + by, 0), len(bars) - 1)
        steps = edited.drill.steps
        self._go(edited.at(next(step.index for step in steps if step.bar == bars[place])))

    def action_doubtful(self) -> None:
        """Go to the next doubtful note."""
        if self.edited is not None:
            try:
                self._go(self.edited.at_next_doubtful())
            except DrillError as error:
                self._tell(f"✓ {error}")

    def _go(self, edited: EditedDrill) -> None:
        assert self._history is not None
        self._history.move(edited)
        if self._looped is not None and self._looped != edited.step.bar:
            self._loop_bar(edited)
        self._show_tab()

    # Corrections

    def _correct(self, change: Callable[[EditedDrill], EditedDrill]) -> None:
        """Make a correction, or give the reason why it is impossible."""
        if self._history is None:
            return
        try:
            corrected = change(self._history.now)
        except TrainerError as error:
            self._tell(f"× {error}")
            return
        self._warned = ""
        self.say("")
        self._history.correct(corrected)
        self._refresh()

    def _refresh(self) -> None:
        self.show(self.session.take)

    def _tell(self, sentence: str) -> None:
        self.say(sentence)
        self._refresh()

    def action_hole(self, by: int) -> None:
        """Move the note to the next hole, or the one below."""
        self._correct(lambda edited: edited.on_next_hole(by))

    def action_breath(self) -> None:
        """Change blow to draw, or draw to blow."""
        self._correct(EditedDrill.on_other_breath)

    def action_bend(self, by: int) -> None:
        """Bend the note deeper, or let it up."""
        self._correct(lambda edited: edited.bent(by))

    def action_length(self, by: int) -> None:
        """Make the note longer or shorter by a step."""
        self._correct(lambda edited: edited.lengthened(by * self._grid))

    def action_shift(self, by: int) -> None:
        """Move the note later or earlier by a step."""
        self._correct(lambda edited: edited.shifted(by * self._grid))

    def action_add(self) -> None:
        """Add a note."""
        self._correct(lambda edited: edited.added(self._grid))

    def action_delete(self) -> None:
        """Delete the note."""
        self._correct(EditedDrill.deleted)

    def action_split(self) -> None:
        """Split the note."""
        self._correct(EditedDrill.split)

    def action_join(self) -> None:
        """Join the note with the next one."""
        self._correct(EditedDrill.joined)

    def action_part(self) -> None:
        """Let the parts change places: the other one is corrected and played along with."""
        self._correct(EditedDrill.with_other_part)
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action is possible: two parts are needed to change between them."""
        return action != "part" or bool(self.edited and self.edited.drill.second)

    def action_checked(self) -> None:
        """Take the note's doubt away, and go to the next doubtful one."""
        edited = self.edited
        if edited is None:
            return
        if edited.cursor not in edited.doubtful:
            self._tell("this note is not doubtful")
            return
        self._correct(EditedDrill.checked)
        if self.edited is not None and self.edited.doubtful:
            self.action_doubtful()

    def action_pick(self, number: int) -> None:
        """Write the tab for a harp of the pick list."""
        if number > len(self._picks.picks):
            self._tell(f"! {len(self._picks.picks) or 'no'} harps are listed")
            return
        harp = self._picks.picks[number - 1].harp
        edited = self.edited
        if edited and (harp.key.name, harp.tuning.name) != (edited.drill.key, edited.drill.tuning):
            self._correct(lambda edited: edited.on_harp(harp))

    def action_undo(self) -> None:
        """Undo the last correction."""
        if self._history is not None and not self._history.undo():
            self._tell("nothing to undo")
        self._refresh()

    def action_redo(self) -> None:
        """Repeat the correction that was undone."""
        if self._history is not None and not self._history.redo():
            self._tell("nothing to redo")
        self._refresh()

    def action_grid(self) -> None:
        """Take another step of length and time."""
        self._grid = GRIDS[(GRIDS.index(self._grid) + 1) % len(GRIDS)]
        self._refresh()

    # What is heard

    def action_loop(self) -> None:
        """Loop the bar, or stop."""
        if self._looped is not None:
            self._silence()
        else:
            self._sound(self._loop_bar)

    def action_speed(self, by: int) -> None:
        """Change the speed of the loop."""
        speed = round(self._speed + by * SPEED_STEP, 2)
        self._speed = min(max(speed, LIMITS.min_speed), LIMITS.max_speed)
        if self._looped is not None and self.edited is not None:
            self._loop_bar(self.edited)
        self._refresh()

    def _loop_bar(self, edited: EditedDrill) -> None:
        bar, beats = edited.step.bar, edited.drill.meter[0]
        first = float(edited.drill.first_beat(bar))
        passage = self._passage_of(edited.drill, first, float(max(0, bar) * beats), self._speed)
        name = f"bar {bar}" if bar else "the pick-up"
        self._play(passage, f"{name} at {100.0 * self._speed:.0f} %")
        self._looped = bar

    def action_recorded(self) -> None:
        """Play the note of the recording."""
        self._sound(self._play_recorded)

    def _play_recorded(self, edited: EditedDrill) -> None:
        step = edited.step
        passage = self._passage_of(
            edited.drill, float(step.start), float(step.end), 1.0, NOTE_MARGIN_S
        )
        self._play(passage, "the note as recorded")
        self._looped = None
        self._sound_timer = self.set_timer(min(passage.seconds, SOUND_S), self._silence)

    def action_written(self) -> None:
        """Play the note as it is written."""
        self._sound(self._play_written)

    def _play_written(self, edited: EditedDrill) -> None:
        self._end_timer()
        sound, harp = edited.step.first, self._harp(edited.drill)
        self.session.ask(PlayTone(tuple(harp.hz(tab) for tab in sound)))
        self._looped = None
        names = f"{format_sound(sound)}  {harp.notes(sound)}"
        self._sounding = f"{names} as written, {HEADPHONE_CAUTION}"
        self._sound_timer = self.set_timer(SOUND_S, self._silence)

    def _passage_of(
        self, drill: Drill, first: float, last: float, speed: float, margin_s: float = 0.0
    ) -> Passage:
        """Return the passage of the recording between two beats."""
        recording = drill.recording
        assert recording is not None
        start = max(0.0, recording.second(first) - margin_s)
        end = max(recording.second(last) + margin_s, start + LIMITS.min_length_s)
        return Passage(recording.path, start, end, speed, channel=recording.channel)

    def _play(self, passage: Passage, words: str) -> None:
        self._end_timer()
        self.session.take.messages.notice = ""
        self._passage, self._sounding = passage, words
        self.session.ask(PlayLoop(passage))

    def _silence(self) -> None:
        """Stop what sounds."""
        self._end_timer()
        self.session.ask(PlayLoop(None))
        self._sounding, self._looped = "", None
        self._refresh()

    def _end_timer(self) -> None:
        if self._sound_timer is not None:
            self._sound_timer.stop()
            self._sound_timer = None

    def _sound(self, play: Callable[[EditedDrill], None]) -> None:
        """Play something of the tab, as soon as the microphone and its output are open."""

        def act() -> None:
            if self.edited is not None:
                play(self.edited)
                self._refresh()

        if self.edited is not None and not self.once_listening(act, listening_plan(self._before)):
            self._tell(WAITS_FOR_MICROPHONE)

    # Saving and leaving

    def action_save(self) -> None:
        """Save to the drill file; a second time, over whatever it holds."""
        self._save(self._file, force=self._warned == "save")

    def action_save_copy(self) -> None:
        """Save under a name that is free."""
        try:
            self._save(free_name(self._file))
        except DrillError as error:
            self._tell(f"× {error}")

    def _save(self, file: Path, *, force: bool = False) -> bool:
        """Save to a file; return whether it is saved."""
        edited, self._warned = self.edited, ""
        if edited is None:
            return False
        try:
            saved = save_drill(edited.drill, file, over=self._in_file, force=force)
        except FileTaken as error:
            self._warned = "save"
            self._tell(f"! {error}: s again replaces it, w saves a copy beside it")
            return False
        except DrillError as error:
            self._tell(f"× {error}")
            return False
        self._file, self._in_file, self._clean = file, saved, edited.drill
        self._tell(f"✓ saved in {file}")
        return True

    def action_play_along(self) -> None:
        """Save, and practise the tab along with the recording, from the bar of the cursor."""
        edited = self.edited
        if edited is None or not ((self._is_saved and self._in_file) or self._save(self._file)):
            return
        drill = self._in_file
        assert drill is not None
        bar = edited.step.bar
        plan = replace(
            self._before,
            drill=drill,
            tempo=drill.tempo * self._speed,
            bars=(bar, drill.bars) if bar > 1 else None,
            loop=None,
            climb=None,
            tolerance=None,
            follow=False,
        )
        self._silence()
        self.session.stop()
        try:
            self.session.prepare(plan)
        except TrainerError as error:
            self._tell(f"× {error}")
            return
        self._practise(drill)

    def _practise(self, drill: Drill) -> None:
        """Go to the practice screen: the one below, or a new one in place of this."""
        from trainer.app.screens.practice import PracticeScreen  # which leads here, too

        if isinstance(self.app.screen_stack[-2], PracticeScreen):
            self.dismiss()
        else:
            self.app.switch_screen(PracticeScreen(self.session, (drill,)))

    def action_leave(self) -> None:
        """Return to the screen below, or quit without one; ask first where something is unsaved."""
        if not self._may_leave("leave", "esc"):
            return
        self.session.stop()
        if len(self.app.screen_stack) <= 2:
            self.app.exit()
            return
        self.session.prepare(self._plan_after())
        self.dismiss()

    async def action_quit(self) -> None:
        """Quit; ask first where something is unsaved."""
        if self._may_leave("quit", "q"):
            await self.app.action_quit()

    def _may_leave(self, way: str, key: str) -> bool:
        """Return whether all is saved, or the player was asked."""
        if self._is_saved or self._warned == way:
            self._discards = True
            return True
        self._warned = way
        self._tell(f"! not saved: s saves, {key} again leaves without your corrections")
        return False

    def _plan_after(self) -> Plan:
        """Return the plan before, with the corrected drill if it is that one's."""
        opened = self._source.drill
        if opened is None or self._in_file is None:
            return replace(self._before)
        return replace(self._before, drill=self._in_file)

    def on_unmount(self) -> None:
        """Keep corrections that nobody wanted to lose, as when the terminal is closed."""
        edited = self.edited
        if edited is not None and not self._is_saved and not self._discards:
            with contextlib.suppress(TrainerError):
                try:
                    save_drill(edited.drill, self._file, over=self._in_file)
                except FileTaken:
                    save_drill(edited.drill, free_name(self._file))
