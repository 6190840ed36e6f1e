"""Practice: the page of tab, the pitch trace beside it, gauge and readout below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.timer import Timer
from textual.worker import get_current_worker

from trainer.app.course_view import load_course
from trainer.app.daily_set_view import load_daily_set_view
from trainer.app.places import PLACES
from trainer.app.placing import (
    load_beginning,
    load_placement_test,
    name_levels,
    save_levels,
)
from trainer.app.playback import bar_playback_plan
from trainer.app.practice_layout import practice_layout
from trainer.app.screens.begin import BeginScreen, LevelsScreen
from trainer.app.screens.course import CourseScreen
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.harps import ChosenHarp, HarpsScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.summary import SummaryScreen
from trainer.app.screens.take_base import TakeScreen
from trainer.app.screens.today import TodayScreen
from trainer.app.screens.transcript import TranscriptScreen
from trainer.app.session import Session
from trainer.app.set_run import SetRun
from trainer.app.take_state import Phase, TakeState
from trainer.app.transcript_file import TranscriptFile
from trainer.app.widgets.dials import Dials
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.key_footer import KeyFooter, footer_entries, footer_lines
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.app.widgets.reference_tone import HEADPHONE_CAUTION
from trainer.app.widgets.tab_page import TabPage, TabPageState
from trainer.app.widgets.verdict import VerdictLines, VerdictState
from trainer.coach import (
    DURATION,
    PLACEMENT,
    DrillTraits,
    PlacementTest,
    Reason,
    SetEntry,
)
from trainer.core import TrainerError
from trainer.drill import Climb, Drill, format_sound
from trainer.harp import Harp
from trainer.practice import (
    HandsFree,
    HoldPasses,
    PassControl,
    Plan,
    PlayTone,
    follow_obstacle,
    is_whole,
)
from trainer.store import Placement

TEMPO_STEP_BPM = 4.0
"""Change of the tempo by one key press, in beats a minute."""
SLOWER_STEPS = -2
"""Tempo steps of the wish "slower" on the result screen."""
MIN_TEMPO, MAX_TEMPO = 20.0, 300.0
"""Range of the tempo in beats a minute."""
CLIMB_BPM = 20.0
"""Total climb of the tempo in beats a minute, unless drill or player set another."""
FAR_ROWS = 50
"""Rows of a window from which the far view is shown while a take runs, unless the player chose."""
FADES_DB = (0.0, 6.0, 12.0, 20.0, 40.0)
"""Steps by which the harp in a recording is turned down, in dB. Chosen by hand: from as loud as it
is to all but gone."""
TONE_S = 2.0
"""Time for which the wanted note is heard, in seconds."""
PLACEMENT_MIN = round(PLACEMENT.budget_s / 60.0)
"""Most minutes that a placement takes."""
SILENCE_WORDS = "stopped after a minute of silence: space starts again, a waits for a note"
"""Message where nothing was played for too long."""
NO_CLIMB = Climb(0.0, MAX_TEMPO)
"""A climb by zero beats a minute: it overrides that of the drill."""


@dataclass(slots=True)
class Placing:
    """A placement that is played.

    Attributes:
        test: asks for drills, and finds the levels.
        hands_free: how passes began before it.
        traits: the drill that is played; None before the first.
    """

    test: PlacementTest
    hands_free: HandsFree | None
    traits: DrillTraits | None = None

    @property
    def words(self) -> str:
        """How far it is, in minutes."""
        minutes = round(self.test.spent_s / 60.0)
        return f"to find your level: {minutes} of {PLACEMENT_MIN} min; too hard: space"


class PracticeScreen(TakeScreen):
    """The screen on which a drill is played.

    Args:
        session: the take and its listener.
        shelf: the available drills.
    """

    ABOUT: ClassVar[str] = (
        "Play a drill: the tab, a trace of your pitch beside it, and a mark for each step."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "play", "play", tooltip="start with a count-in, or stop"),
        Binding(
            "a",
            "hands_free",
            "hands-free",
            tooltip="hands-free: go on pass by pass, start on a note; or off",
        ),
        Binding("up,plus,equals_sign", "tempo(1)", "tempo", key_display="↑↓", tooltip="faster"),
        Binding("down,minus", "tempo(-1)", "slower", show=False, tooltip="slower"),
        Binding(
            "left_square_bracket",
            "from_bar",
            "bars",
            key_display="[ ]",
            tooltip="first bar: one later, then back to bar 1",
        ),
        Binding(
            "right_square_bracket",
            "to_bar",
            "last bar",
            show=False,
            tooltip="last bar: one earlier, then back to the end",
        ),
        Binding("j", "section", "section", tooltip="the drill's next section, or all of it"),
        Binding("l", "loop", "loop", tooltip="loop on or off, from the next pass on"),
        Binding("t", "today", "today", tooltip="today: the daily set and its reasons"),
        *(Binding(key, name, words, tooltip=about) for key, name, words, about in PLACES),
        Binding("d", "hear", "hear it", tooltip="hear the wanted note; before a take, its bar"),
        Binding("v", "far", "far view", tooltip="large text and needle, or the page of tab"),
        Binding("n", "drill(1)", "drill", key_display="n p", tooltip="next drill on the shelf"),
        Binding("p", "drill(-1)", "previous drill", show=False, tooltip="previous drill"),
        Binding("r", "again", "again", tooltip="start again with a count-in"),
        Binding("k", "pause", "pause", tooltip="pause, or resume with a count-in"),
        Binding("b", "back", "bar back", tooltip="one bar back, with a count-in"),
        Binding("0", "own_tempo", "own tempo", tooltip="the drill's own tempo"),
        Binding(
            "f",
            "follow",
            "follow me",
            tooltip="follow me: play in your own time, without a click; or off",
        ),
        Binding("e", "correct", "correct", tooltip="correct the tab of a recording by ear"),
        Binding("u", "fade", "harp down", tooltip="turn the recorded harp down, or up again"),
        Binding("c", "climb", "climb", tooltip="raise the tempo pass by pass, on or off"),
        Binding(
            "less_than_sign",
            "climb_to(-1)",
            "climb to",
            key_display="< >",
            tooltip="lower the tempo it climbs to",
        ),
        Binding(
            "greater_than_sign",
            "climb_to(1)",
            "climb more",
            show=False,
            tooltip="raise the tempo it climbs to",
        ),
    ]

    def __init__(self, session: Session, shelf: Sequence[Drill]) -> None:
        super().__init__(session)
        self._shelf = shelf
        self._result_shown_for: TakeState | None = None
        self._covered_end: TakeState | None = None
        self._in_day = False
        self._run: SetRun | None = None
        self._placing: Placing | None = None
        self._progress = ""
        self._passes_seen: tuple[TakeState | None, int] = (None, 0)
        self._tone_timer: Timer | None = None
        self._was_hearing = False
        self._chose_far: bool | None = None
        self._head = HeadLine(id="head")
        self._page = TabPage(id="page")
        self._trace = PitchTrace(id="trace")
        self._dials = Dials()
        self._verdict = VerdictLines(id="verdict")
        self._laid_out: tuple[object, ...] = ()

    def compose(self) -> ComposeResult:
        """Yield the widgets, top to bottom."""
        yield self._head
        yield self._page
        yield self._trace
        yield from self._dials.widgets
        yield self._verdict
        yield self._status
        yield KeyFooter()

    def show(self, take: TakeState) -> None:
        """Show a take, and its result once it has ended."""
        if take.drill is None:
            return
        self._end_hearing()
        hands_free = take.plan.hands_free is not None
        take.messages.progress = self._progress if hands_free else ""
        super().show(take)
        self._head.show(HeadState.of(take))
        self.set_class(self._shows_far(take), "-far")
        self._lay_out(take.drill)
        self._dials.show(take)
        if not self.has_class("-far"):
            self._page.show(TabPageState.of(take.drill, take))
            self._trace.show(take)
            self._verdict.show(VerdictState.of(take))
        self._see_passes(take)
        if take.phase is Phase.WAITING and take.plan.hands_free is None:
            self.session.finish()
        if take.phase is Phase.ENDED and take is not self._result_shown_for:
            self._result_shown_for = take
            self._end_take(take)

    def show_urgent(self, take: TakeState) -> None:
        """Update the dials only."""
        if take.drill is not None:
            self._dials.show(take)

    def _lay_out(self, drill: Drill) -> None:
        """Give the parts their rows, if what these depend on has changed."""
        far, trouble, status = self.has_class("-far"), self.has_class("-trouble"), self.status_rows
        key = (drill, self.size, far, status)
        if key != self._laid_out:
            self._laid_out = key
            self.refresh_bindings()  # some keys need a drill with a recording
            layout = practice_layout(
                drill,
                *self.size,
                far=far,
                status=status,
                trouble=trouble,
                footer=len(footer_lines(footer_entries(self), self.size.width)),
            )
            self.lay_out(layout)

    def on_screen_suspend(self) -> None:
        """Hold the next pass while another screen covers this one."""
        self.session.ask(HoldPasses(True))

    def on_screen_resume(self) -> None:
        """Go on with what was held, unless the player has chosen something else meanwhile."""
        self.session.ask(HoldPasses(False))
        self.call_after_refresh(self._go_on)

    def _go_on(self) -> None:
        """End a take that has ended while another screen covered this one."""
        if self.app.screen is not self:
            return
        ended, self._covered_end = self._covered_end, None
        if ended is not None and ended is self.session.take and not self.session.busy:
            self._end_take(ended)

    def _shows_far(self, take: TakeState) -> bool:
        """Return whether the far view is shown: as chosen, else in a large window during a take."""
        if self._chose_far is not None:
            return self._chose_far
        return take.running and self.size.height >= FAR_ROWS

    def action_far(self) -> None:
        """Show the far view, or the page of tab."""
        self._chose_far = not self._shows_far(self.session.take)
        self.show(self.session.take)

    def _see_passes(self, take: TakeState) -> None:
        """Count a new pass for the set, and end the take once its entry is done."""
        seen, now = self._passes_seen, (take, take.outcome.passes)
        self._passes_seen = now
        result = take.sheet.result
        if now == seen or take.outcome.passes == 0 or result is None:
            return
        if self._placing is not None:
            self.session.finish()
            return
        if self._run is None:
            return
        self._run = self._run.plus(result)
        self._progress = self._run.words
        if take.plan.hands_free is not None and self._run.is_done:
            self.session.finish()

    def _end_take(self, take: TakeState) -> None:
        """Go on without hands, or show the result; later, where another screen covers this one."""
        if self.app.screen is not self:
            self._covered_end = take
            return
        if self._placing is not None and self._placing.traits is not None:
            self._go_on_placing(self._placing.traits, take)
        elif take.outcome.fell_silent:
            self.say(SILENCE_WORDS)
            super().show(take)
        elif take.outcome.passes == 0:
            return
        elif take.plan.hands_free is None or self.session.stopped:
            self._show_result(take)
        elif self._run is None or not self._run.is_done:
            self._start(take.plan, DURATION.between_takes_s)
        elif (entry := self._run.next_entry) is not None:
            self._go_on_with(entry)
        else:
            self.app.push_screen(SummaryScreen(self._run.day))

    def _go_on_placing(self, traits: DrillTraits, take: TakeState) -> None:
        """Count a take of the placement; one that was stopped is too hard. Silence ends it."""
        assert self._placing is not None
        result = take.sheet.result if take.outcome.passes else None
        if result is None or all(mark.measured.start is None for mark in result.marks):
            self._end_placing()
            return
        self._placing.test.observe(traits, is_whole(result) and result.passed)
        self._place_next()

    def _go_on_with(self, entry: SetEntry) -> None:
        """Go on with the next entry of the set, once the player has read it."""
        before = self.session.plan.harp
        self._open_entry((entry, False), run=True)
        plan = self.session.plan
        if plan.drill is None or plan.drill.name != entry.drill:
            return  # the harp cannot play it; a message gives the reason
        if (plan.harp.key, plan.harp.tuning) != (before.key, before.tuning):
            self.say(f"Take the {plan.harp.name} harp, then play any note.")
            self._start(plan, None)
            return
        is_new = entry.reason is Reason.NEW
        self._start(plan, DURATION.read_new_s if is_new else DURATION.read_s)

    def _start(self, plan: Plan, first_s: float | None) -> None:
        """Start a take.

        Args:
            plan: what is played.
            first_s: without hands, time until the first pass begins by itself, as in
                :class:`HandsFree`.
        """
        if plan.hands_free is not None:
            if first_s is None and not plan.source.is_live:  # nobody would play the note
                first_s = plan.hands_free.between_s
            loop = False if self._in_day else plan.loop
            plan = replace(plan, hands_free=replace(plan.hands_free, first_s=first_s), loop=loop)
        try:
            self.session.start(plan)
        except TrainerError as error:
            self.say(f"× {error}")
        self.show(self.session.take)

    def _show_result(self, take: TakeState) -> None:
        if take.sheet.result is not None:
            in_set = self._run.next_step if self._run else ""
            result = ResultScreen(take.sheet.result, take, self.session, self._shelf, in_set)
            self.app.push_screen(result, self._take_wish)

    def _take_wish(self, wish: str | None) -> None:
        if wish == "again":
            self.action_again()
        elif wish == "slower":
            self.action_tempo(SLOWER_STEPS)
            self.action_again()
        elif wish == "next" and self._in_day:
            self.action_today()
        elif wish == "next":
            self.action_drill(1)

    def _change(self, plan: Plan) -> None:
        try:
            self.session.prepare(plan)
        except TrainerError as error:
            self.say(f"× {error}")
        self.show(self.session.take)

    def action_play(self) -> None:
        """Start with the count-in, stop, or resume a paused take."""
        if self.session.busy and self.session.take.phase is Phase.PAUSED:
            self.session.pause()
        elif self.session.busy and not self.session.hearing:
            self.session.stop()
        else:
            self.action_again()

    def action_again(self) -> None:
        """Start with the count-in; end a running take first."""
        self._start(self.session.plan, 0.0)

    def action_hands_free(self) -> None:
        """Play on without hands, or no longer; where nothing runs, wait for a note."""
        session = self.session
        if session.plan.hands_free is not None:
            session.set_hands_free(None)
        elif self._has_count_in("hands-free"):
            session.set_hands_free(HandsFree())
            if not session.busy or session.hearing:
                self._start(session.plan, None)
        self.show(session.take)

    def action_follow(self) -> None:
        """Follow the player in their own time, or count in again."""
        plan = self.session.plan
        obstacle = follow_obstacle(plan.drill) if plan.drill else ""
        if obstacle and not plan.follow:
            self.say(f"! {obstacle}")
        self._change(replace(plan, follow=not plan.follow, hands_free=None))

    def _has_count_in(self, what: str) -> bool:
        """Return whether passes are counted in; if not, say that something needs it."""
        if self.session.plan.follows:
            self.say(f"! {what} needs a count-in: f ends following you")
        return not self.session.plan.follows

    def action_hear(self) -> None:
        """Play the wanted note, and pause meanwhile; where no take runs, the bar."""
        session, take = self.session, self.session.take
        if session.hearing:
            session.stop()
        elif not session.busy:
            step = take.next_step or take.steps[take.playhead.steps[0]]
            self._hear_bar(step.bar)
        elif self._tone_timer is not None:
            self._end_tone()
        elif session.busy and take.wanted:
            if take.phase in (Phase.COUNTING, Phase.PLAYING):
                session.pause()
            sound, harp = take.wanted, take.plan.harp
            session.ask(PlayTone(tuple(harp.hz(tab) for tab in sound)))
            self._tone_timer = self.set_timer(TONE_S, self._end_tone)
            self.say(f"♪ {format_sound(sound)}  {harp.notes(sound)}, {HEADPHONE_CAUTION}")
            self.show(take)

    def _end_tone(self) -> None:
        if self._tone_timer is not None:
            self._tone_timer.stop()
            self._tone_timer = None
        self.session.ask(PlayTone())

    def _hear_bar(self, bar: int) -> None:
        """Play a bar as it should sound."""
        session = self.session
        plan = bar_playback_plan(session.take, bar)
        if plan is None:
            return
        session.hear(plan)
        if session.hearing:
            self.say(f"♪ bar {max(1, bar)} as it should sound, {HEADPHONE_CAUTION}; d stops it")
        self.show(session.take)

    def _end_hearing(self) -> None:
        """Clear the message about what was heard, or report why it could not be."""
        hearing, self._was_hearing = self._was_hearing, self.session.hearing
        trouble = self.session.trouble
        if (hearing and not self.session.hearing) or trouble:
            self.say(f"× {trouble}" if trouble else "")
            self.session.trouble = ""

    def action_correct(self) -> None:
        """Open the tab of the drill's recording, to correct it by ear."""
        plan = self.session.plan
        opened = TranscriptFile.of_drill(plan.drill) if plan.drill else None
        if opened is None:
            return
        self._leave_set()
        self.app.push_screen(TranscriptScreen(self.session, plan, opened))

    def action_fade(self) -> None:
        """Turn the harp in the recording down by another step; from the last one, up again."""
        drill = self.session.plan.drill
        if drill is None or drill.recording is None:
            return
        now = drill.recording.fade_db
        fade = next((step for step in FADES_DB if step > now), FADES_DB[0])
        recording = replace(drill.recording, fade_db=fade)
        self._change(replace(self.session.plan, drill=replace(drill, recording=recording)))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action is possible: some need a recording, or sections."""
        drill = self.session.plan.drill
        if action in ("correct", "fade"):
            return drill is not None and drill.recording is not None
        if action == "section":
            return drill is not None and bool(drill.sections)
        return True

    def action_pause(self) -> None:
        """Pause at the current bar, or resume from it."""
        self.session.pause()

    def action_back(self) -> None:
        """Go back one bar and count in again; while paused, only go back."""
        self.session.ask(PassControl.GO_BACK)

    def action_climb(self) -> None:
        """Turn the climb of the tempo from pass to pass on or off."""
        plan = self.session.plan
        if plan.drill is None or plan.drill.free or not self._has_count_in("a climb"):
            return
        if plan.ladder and plan.loops:
            self._change(replace(plan, climb=NO_CLIMB))
            return
        own = plan.drill.climb
        to = max(plan.drill.tempo, plan.first_tempo + CLIMB_BPM)
        self._change(replace(plan, climb=own or Climb(TEMPO_STEP_BPM, to, 1), loop=True))

    def action_climb_to(self, steps: int) -> None:
        """Change the tempo that the climb ends at."""
        plan = self.session.plan
        if plan.ladder is not None:
            to = plan.ladder.to + steps * TEMPO_STEP_BPM
            to = min(max(to, plan.first_tempo), MAX_TEMPO)
            self._change(replace(plan, climb=replace(plan.ladder, to=to)))

    def action_loop(self) -> None:
        """Turn looping on or off."""
        if self._has_count_in("a loop"):
            self.session.set_loop(not self.session.plan.loops)
        self.show(self.session.take)

    def action_tempo(self, steps: int) -> None:
        """Change the tempo by a number of steps."""
        plan = self.session.plan
        if plan.drill is not None:
            tempo = (plan.tempo or plan.drill.tempo) + steps * TEMPO_STEP_BPM
            self._change(replace(plan, tempo=min(max(tempo, MIN_TEMPO), MAX_TEMPO)))

    def action_own_tempo(self) -> None:
        """Return to the drill's own tempo."""
        self._change(replace(self.session.plan, tempo=None))

    def action_from_bar(self) -> None:
        """Begin one bar later; from the last possible bar, go to the first."""
        plan = self.session.plan
        if plan.drill is not None:
            first, last = plan.played_bars or (1, plan.drill.bars)
            self._set_bars(plan, first + 1 if first < last else 1, last)

    def action_to_bar(self) -> None:
        """End one bar earlier; from the first possible bar, go to the last."""
        plan = self.session.plan
        if plan.drill is not None:
            first, last = plan.played_bars or (1, plan.drill.bars)
            self._set_bars(plan, first, last - 1 if last > first else plan.drill.bars)

    def action_section(self) -> None:
        """Play the next section of the drill; after the last one, all of it."""
        plan = self.session.plan
        if plan.drill is None:
            return
        parts = [(1, plan.drill.bars), *(part.bars for part in plan.drill.sections)]
        bars = plan.played_bars or parts[0]
        place = parts.index(bars) + 1 if bars in parts else 1
        self._set_bars(plan, *parts[place % len(parts)])

    def _set_bars(self, plan: Plan, first: int, last: int) -> None:
        if plan.drill is not None and (first, last) == (1, plan.drill.bars) and not plan.drill.loop:
            self._change(replace(plan, bars=None))
        else:
            self._change(replace(plan, bars=(first, last)))

    def action_drill(self, steps: int) -> None:
        """Open the drill a number of places further on the shelf."""
        if self._shelf:
            self._open((self._place() + steps) % len(self._shelf))

    def action_shelf(self) -> None:
        """Open the shelf."""
        self.app.push_screen(ShelfScreen(self._shelf, self._place(), self.session), self._open)

    def action_course(self) -> None:
        """Open the course."""
        plan = self.session.plan
        self.app.push_screen(CourseScreen(lambda: load_course(plan), self._shelf), self._open)

    def action_today(self) -> None:
        """Open the daily set."""
        plan = self.session.plan
        today = TodayScreen(
            lambda: load_daily_set_view(plan, self._shelf), self._shelf, self._go_to
        )
        self.app.push_screen(today, self._open_entry)

    def _go_to(self, place: str) -> None:
        """Open a screen of :data:`trainer.app.places.PLACES` above the current one."""
        getattr(self, f"action_{place}")()

    @work(thread=True, exclusive=True, group="day")
    def _read_day(self, entry: SetEntry) -> None:
        """Read the set that an entry belongs to."""
        worker = get_current_worker()
        try:
            day = load_daily_set_view(self.session.plan, self._shelf).day
        except TrainerError:
            return  # the screen of the set has reported it
        names = {drill.name for drill in self._shelf}
        day = replace(day, entries=tuple(e for e in day.entries if e.drill in names))
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_day, SetRun(day, entry))

    def _take_day(self, run: SetRun) -> None:
        plan = self.session.plan
        if plan.drill is not None and plan.drill.name == run.entry.drill and self._run is None:
            self._run, self._progress = run, run.words

    def _open_entry(self, chosen: tuple[SetEntry, bool] | None, run: bool = False) -> None:
        if chosen is None:
            return
        entry, start = chosen
        self._in_day, self._placing = True, None
        if run and self._run is not None:
            self._run = replace(self._run, entry=entry)
            self._progress = self._run.words
        else:
            self._run, self._progress = None, ""
            self._read_day(entry)
        drill = next((own for own in self._shelf if own.name == entry.drill), None)
        if drill is None:
            self.say(f"! {entry.title} is no longer on the shelf")
            self.show(self.session.take)
            return
        plan, harp = self.session.plan, self.session.plan.harp
        name = plan.harp_name
        if (harp.key.name, harp.tuning.name) != (entry.key, entry.tuning):
            a4, temperament = harp.a4, harp.temperament.name
            harp = Harp.of(entry.key, entry.tuning, a4=a4, temperament_name=temperament)
            name = None
        self._change(
            replace(
                plan,
                drill=drill,
                harp=harp,
                harp_name=name,
                tempo=entry.tempo,
                bars=entry.bars,
                loop=None,
                climb=None,
                tolerance=entry.tolerance,
            )
        )
        if start:
            self.action_again()
        elif not run and self.session.plan.hands_free is not None:
            self._start(self.session.plan, None)

    def action_listen(self) -> None:
        """Listen without a drill; the plan is restored afterwards."""
        self.app.push_screen(ListenScreen(self.session))

    def action_progress(self) -> None:
        """Open the progress screen."""
        plan = self.session.plan
        self.app.push_screen(ProgressScreen(plan.journal, plan.player))

    def action_harps(self) -> None:
        """Open the harps screen."""
        self.app.push_screen(HarpsScreen(self.session.plan, self.session), self._take_harp)

    def _take_harp(self, choice: ChosenHarp | None) -> None:
        if choice is not None:
            plan = self.session.plan
            self._change(replace(plan, harp=choice.harp, harp_name=choice.name))

    def action_guide(self) -> None:
        """Open the first-run guide."""
        self.app.push_screen(GuideScreen(self.session, self.action_begin))

    def action_begin(self) -> None:
        """Ask where the player begins."""
        plan = self.session.plan
        begin = BeginScreen(lambda: load_beginning(plan, self._shelf))
        self.app.push_screen(begin, self._take_begin)

    def _take_begin(self, choice: str | tuple[str, ...] | None) -> None:
        """Find the level, or store what the player can, and go on to the daily set."""
        if choice is None:
            if self.app.screen is self:
                self.action_today()
            return
        self._leave_set()
        self._read_placement(() if isinstance(choice, str) else choice)

    @work(thread=True, exclusive=True, group="placement")
    def _read_placement(self, skills: tuple[str, ...]) -> None:
        """Store the levels of skills that the player names; without any, begin a placement."""
        worker, plan = get_current_worker(), self.session.plan
        outcome: list[Placement] | PlacementTest | str
        try:
            if skills:
                outcome = name_levels(plan, self._shelf, skills)
            else:
                outcome = load_placement_test(plan, self._shelf)
        except TrainerError as error:
            outcome = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_placement, outcome)

    def _take_placement(self, outcome: list[Placement] | PlacementTest | str) -> None:
        if isinstance(self.app.screen, TodayScreen):
            self.app.screen.dismiss(None)
        if isinstance(outcome, str):
            self.say(f"× {outcome}")
            self.show(self.session.take)
        elif isinstance(outcome, list):
            self.app.push_screen(LevelsScreen(outcome), lambda _: self.action_today())
        else:
            self._placing = Placing(outcome, self.session.plan.hands_free)
            self._place_next()

    def _place_next(self) -> None:
        """Ask for the next drill of the placement, or store the levels that it has found."""
        placing = self._placing
        assert placing is not None
        placing.traits = placing.test.next_drill()
        if placing.traits is None:
            self._end_placing()
            return
        traits, plan = placing.traits, self.session.plan
        drill = next(own for own in self._shelf if own.name == traits.drill.name)
        harp, name = plan.harp, plan.harp_name
        if (harp.key, harp.tuning) != (traits.harp.key, traits.harp.tuning):
            harp, name = traits.harp, None
        self._progress = placing.words
        self._start(
            replace(
                plan,
                drill=drill,
                harp=harp,
                harp_name=name,
                tempo=None,
                bars=None,
                loop=False,
                hands_free=HandsFree(),
                climb=None,
                tolerance=drill.goal.tolerance,
            ),
            DURATION.read_s,
        )

    def _end_placing(self) -> None:
        """Store the levels that were found, and show them."""
        placing, self._placing, self._progress = self._placing, None, ""
        assert placing is not None
        self._change(replace(self.session.plan, hands_free=placing.hands_free, loop=None))
        self._save_placement(placing.test.placements(date.today()))

    @work(thread=True, exclusive=True, group="placement")
    def _save_placement(self, placements: list[Placement]) -> None:
        worker = get_current_worker()
        try:
            save_levels(self.session.plan, self._shelf, placements)
        except TrainerError as error:
            if not worker.is_cancelled:
                self.app.call_from_thread(self._take_placement, str(error))
            return
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take_placement, placements)

    def _leave_set(self) -> None:
        """Leave the daily set, or the placement."""
        self._run, self._progress, self._in_day, self._placing = None, "", False, None

    def action_settings(self) -> None:
        """Open the settings."""
        self.app.push_screen(SettingsScreen(self.session.plan, self.session), self._take_settings)

    def _take_settings(self, plan: Plan | None) -> None:
        if plan is not None:
            now = self.session.plan
            self._change(
                replace(
                    now,
                    source=plan.source,
                    count_in=plan.count_in,
                    hands_free=None if plan.follow else plan.hands_free,
                    follow=plan.follow,
                )
            )

    def _place(self) -> int:
        """Return the index of the current drill on the shelf; -1 if it is not there."""
        drill = self.session.plan.drill
        names = [other.name for other in self._shelf]
        return names.index(drill.name) if drill and drill.name in names else -1

    def _open(self, place: int | None) -> None:
        if place is not None:
            if isinstance(self.app.screen, TodayScreen):  # the shelf was opened from there
                self.app.screen.dismiss(None)
            plan = self.session.plan
            self._leave_set()
            self._change(
                replace(
                    plan,
                    drill=self._shelf[place],
                    tempo=None,
                    bars=None,
                    loop=None,
                    climb=None,
                    tolerance=None,
                )
            )
