"""Practice: the page of tab, the trace beside it, the gauge and the readout under them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.widgets import Footer

from trainer.app.daily_set_view import load_daily_set_view
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.harps import HarpChoice, HarpsScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.take_base import NOTICE_S, TakeScreen
from trainer.app.screens.today import TodayScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.dials import Dials
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.app.widgets.status_line import StatusLine, StatusState
from trainer.app.widgets.tab_page import TabPage, TabPageState
from trainer.app.widgets.verdict import VerdictLines, VerdictState
from trainer.coach import SetEntry
from trainer.core import TrainerError
from trainer.drill import Climb, Drill
from trainer.harp import Harp
from trainer.practice import PassControl, Plan

TEMPO_STEP_BPM = 4.0
SLOWER_STEPS = -2
"""Steps of tempo that "slower" goes back."""
SLOWEST, FASTEST = 20.0, 300.0
CLIMB_BPM = 20.0
"""Beats a minute by which the tempo climbs in all, where nothing else is said."""
NO_CLIMB = Climb(0.0, FASTEST)
"""A tempo that does not climb."""


class PracticeScreen(TakeScreen):
    """Play a drill and see how it goes.

    Args:
        session: the take and its listener.
        shelf: the drills at hand.
    """

    ABOUT: ClassVar[str] = (
        "Play a drill: the page of tab, the trace of your pitch beside it, and how each step went."
    )
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "play", "play", tooltip="start with the count-in, or stop"),
        Binding(
            "l", "loop", "loop", tooltip="loop on or off; the running pass is played to its end"
        ),
        Binding("up,plus,equals_sign", "tempo(1)", "tempo", key_display="↑↓", tooltip="faster"),
        Binding("down,minus", "tempo(-1)", "slower", show=False, tooltip="slower"),
        Binding("0", "own_tempo", "own tempo", show=False, tooltip="the drill's own tempo"),
        Binding(
            "left_square_bracket",
            "from_bar",
            "bars",
            key_display="[ ]",
            tooltip="begin a bar later, and after the last at the first again",
        ),
        Binding(
            "right_square_bracket",
            "to_bar",
            "last bar",
            show=False,
            tooltip="end a bar sooner, and before the first at the last again",
        ),
        Binding("n", "drill(1)", "drill", key_display="n p", tooltip="next drill of the shelf"),
        Binding("p", "drill(-1)", "drill before", show=False, tooltip="drill before"),
        Binding("r", "again", "again", show=False, tooltip="again from the count-in"),
        Binding("k", "pause", "pause", show=False, tooltip="pause, or go on with a count-in"),
        Binding("b", "back", "a bar back", show=False, tooltip="a bar back, with a count-in"),
        Binding("c", "climb", "climb", show=False, tooltip="let the tempo climb in a loop, or not"),
        Binding(
            "less_than_sign",
            "climb_to(-1)",
            "climb less",
            show=False,
            tooltip="let it climb less far",
        ),
        Binding(
            "greater_than_sign",
            "climb_to(1)",
            "climb more",
            show=False,
            tooltip="let it climb further",
        ),
        Binding("t", "today", "today", tooltip="today: the day's set, and why each drill is in it"),
        Binding("s", "shelf", "shelf", tooltip="the shelf: choose a drill"),
        Binding("i", "listen", "listen", show=False, tooltip="listen without a drill"),
        Binding(
            "g", "progress", "progress", show=False, tooltip="progress: what is getting better"
        ),
        Binding(
            "h",
            "harps",
            "harps",
            show=False,
            tooltip="harps: the one in hand, its chart, and which reeds are off",
        ),
        Binding(
            "comma",
            "settings",
            "settings",
            show=False,
            tooltip="settings: see and change all of them",
        ),
        Binding(
            "m",
            "guide",
            "microphone",
            show=False,
            tooltip="microphone: choose one and see that it works",
        ),
    ]

    def __init__(self, session: Session, shelf: Sequence[Drill]) -> None:
        super().__init__(session)
        self._shelf = shelf
        self._told: TakeState | None = None
        self._in_day = False
        self._head = HeadLine(id="head")
        self._page = TabPage(id="page")
        self._trace = PitchTrace(id="trace")
        self._dials = Dials()
        self._verdict = VerdictLines(id="verdict")
        self._status = StatusLine(id="status")

    def compose(self) -> ComposeResult:
        """The widgets, from top to foot."""
        yield self._head
        yield self._page
        yield self._trace
        yield from self._dials.widgets
        yield self._verdict
        yield self._status
        yield Footer(compact=True, show_command_palette=False)

    def show(self, take: TakeState) -> None:
        """Show a take as it stands, and its result once it is over."""
        if take.drill is None:
            return
        super().show(take)
        self._head.show(HeadState.of(take))
        self._page.show(TabPageState.of(take.drill, take))
        self._trace.show(take)
        self._dials.show(take)
        self._verdict.show(VerdictState.of_take(take))
        self._status.show(StatusState.of(take))
        if take.phase is Phase.ENDED and take.outcome.passes and take is not self._told:
            self._told = take
            self._tell(take)

    def hurry(self, take: TakeState) -> None:
        """Show the dials only."""
        if take.drill is not None:
            self._dials.show(take)

    def _tell(self, take: TakeState) -> None:
        if take.sheet.result is not None and self.app.screen is self:
            result = ResultScreen(take.sheet.result, take, self.session)
            self.app.push_screen(result, self._told_result)

    def _told_result(self, wish: str | None) -> None:
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
            self.notify(str(error), severity="error", timeout=NOTICE_S)
        self.show(self.session.take)

    def action_play(self) -> None:
        """Start with the count-in, or stop; where it is paused, go on."""
        if self.session.busy and self.session.take.phase is Phase.PAUSED:
            self.session.pause()
        elif self.session.busy:
            self.session.stop()
        else:
            self.action_again()

    def action_again(self) -> None:
        """Start from the count-in, whatever is running."""
        self.session.start(self.session.plan)
        self.show(self.session.take)

    def action_pause(self) -> None:
        """Pause at the bar that was reached, or go on from there."""
        self.session.pause()

    def action_back(self) -> None:
        """A bar back, and count in again; while it is paused, only a bar back."""
        self.session.ask(PassControl.GO_BACK)

    def action_climb(self) -> None:
        """Let the tempo climb from pass to pass, or not."""
        plan = self.session.plan
        if plan.drill is None or plan.drill.free:
            return
        if plan.ladder and plan.loops:
            self._change(replace(plan, climb=NO_CLIMB))
            return
        own = plan.drill.climb
        to = max(plan.drill.tempo, plan.first_tempo + CLIMB_BPM)
        self._change(replace(plan, climb=own or Climb(TEMPO_STEP_BPM, to, 1), loop=True))

    def action_climb_to(self, steps: int) -> None:
        """Let it climb further, or less far."""
        plan = self.session.plan
        if plan.ladder is not None:
            to = plan.ladder.to + steps * TEMPO_STEP_BPM
            to = min(max(to, plan.first_tempo), FASTEST)
            self._change(replace(plan, climb=replace(plan.ladder, to=to)))

    def action_loop(self) -> None:
        """Loop or not."""
        self.session.set_loop(not self.session.plan.loops)
        self.show(self.session.take)

    def action_tempo(self, steps: int) -> None:
        """Faster or slower."""
        plan = self.session.plan
        if plan.drill is not None:
            tempo = (plan.tempo or plan.drill.tempo) + steps * TEMPO_STEP_BPM
            self._change(replace(plan, tempo=min(max(tempo, SLOWEST), FASTEST)))

    def action_own_tempo(self) -> None:
        """The tempo that the drill is written for."""
        self._change(replace(self.session.plan, tempo=None))

    def action_from_bar(self) -> None:
        """Begin one bar later; after the last possible bar, at the first again."""
        plan = self.session.plan
        if plan.drill is not None:
            first, last = plan.played_bars or (1, plan.drill.bars)
            self._set_bars(plan, first + 1 if first < last else 1, last)

    def action_to_bar(self) -> None:
        """End one bar sooner; before the first possible bar, at the last again."""
        plan = self.session.plan
        if plan.drill is not None:
            first, last = plan.played_bars or (1, plan.drill.bars)
            self._set_bars(plan, first, last - 1 if last > first else plan.drill.bars)

    def _set_bars(self, plan: Plan, first: int, last: int) -> None:
        if plan.drill is not None and (first, last) == (1, plan.drill.bars) and not plan.drill.loop:
            self._change(replace(plan, bars=None))
        else:
            self._change(replace(plan, bars=(first, last)))

    def action_drill(self, steps: int) -> None:
        """The next drill of the shelf, or the one before."""
        if self._shelf:
            self._open((self._place() + steps) % len(self._shelf))

    def action_shelf(self) -> None:
        """Choose a drill."""
        self.app.push_screen(ShelfScreen(self._shelf, self._place(), self.session), self._open)

    def action_today(self) -> None:
        """The day's set."""
        plan = self.session.plan
        today = TodayScreen(
            lambda: load_daily_set_view(plan, self._shelf), plan.harp_name or plan.harp.name
        )
        self.app.push_screen(today, self._open_entry)

    def _open_entry(self, chosen: tuple[SetEntry, bool] | None) -> None:
        if chosen is None:
            return
        entry, start = chosen
        self._in_day = True
        drill = next((one for one in self._shelf if one.name == entry.drill), None)
        if drill is None:
            self.notify(f"{entry.title} is not on the shelf any more", timeout=NOTICE_S)
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
                tempo=None,
                bars=None,
                loop=None,
                climb=None,
            )
        )
        if start:
            self.action_again()

    def action_listen(self) -> None:
        """Listen without a drill; the plan comes back afterwards."""
        self.app.push_screen(ListenScreen(self.session))

    def action_progress(self) -> None:
        """What is getting better."""
        plan = self.session.plan
        self.app.push_screen(ProgressScreen(plan.journal, plan.player))

    def action_harps(self) -> None:
        """The harps: choose the one in hand, and see its reeds."""
        self.app.push_screen(HarpsScreen(self.session.plan, self.session), self._take_harp)

    def _take_harp(self, choice: HarpChoice | None) -> None:
        if choice is not None:
            plan = self.session.plan
            self._change(replace(plan, harp=choice.harp, harp_name=choice.name))

    def action_guide(self) -> None:
        """The first-run guide: the microphone, the harp in hand, one note."""
        self.app.push_screen(GuideScreen(self.session))

    def action_settings(self) -> None:
        """The settings."""
        self.app.push_screen(SettingsScreen(self.session.plan, self.session), self._take_settings)

    def _take_settings(self, plan: Plan | None) -> None:
        if plan is not None:
            now = self.session.plan
            self._change(replace(now, source=plan.source, count_in=plan.count_in))

    def _place(self) -> int:
        """Where on the shelf the drill in hand stands; -1 if it is not from there."""
        drill = self.session.plan.drill
        names = [other.name for other in self._shelf]
        return names.index(drill.name) if drill and drill.name in names else -1

    def _open(self, place: int | None) -> None:
        if place is not None:
            plan = self.session.plan
            self._change(
                replace(
                    plan, drill=self._shelf[place], tempo=None, bars=None, loop=None, climb=None
                )
            )
