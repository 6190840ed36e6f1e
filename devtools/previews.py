"""Preview one widget on an empty screen, driven by a scripted take.

``python -m devtools.previews gauge`` runs until q is pressed; without a name, the names are listed.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from textual.app import App, ComposeResult
from textual.binding import Binding

from devtools.scripted import DRILL, ScriptedListener
from trainer.app.canvas import Canvas
from trainer.app.keys import bindings_of
from trainer.app.screens.practice import PracticeScreen
from trainer.app.take_state import TakeState
from trainer.app.theme import apply_theme
from trainer.app.widgets.close_up import CloseUp, CloseUpState
from trainer.app.widgets.course_map import CourseMap, CourseState
from trainer.app.widgets.drill_preview import DrillPreview, DrillPreviewState
from trainer.app.widgets.gauge import Gauge, GaugeState
from trainer.app.widgets.guide_board import GuideBoard, GuideState, microphone_verdict
from trainer.app.widgets.harp_chart import HarpChart, HarpState
from trainer.app.widgets.head_line import HeadLine, HeadState
from trainer.app.widgets.hole_strip import HoleStrip, HoleStripState
from trainer.app.widgets.key_footer import FooterEntry, KeyFooter
from trainer.app.widgets.loop_strip import SOUNDS, LoopState, LoopStrip
from trainer.app.widgets.measuring_board import MeasuringBoard, MeasuringState
from trainer.app.widgets.note_card import NoteCard, NoteCardState
from trainer.app.widgets.note_list import NoteList, NoteListState
from trainer.app.widgets.pick_list import PickList, PickListState
from trainer.app.widgets.pitch_trace import PitchTrace
from trainer.app.widgets.readout import Readout, ReadoutState
from trainer.app.widgets.reference_tone import ReferenceTone, ReferenceToneState
from trainer.app.widgets.status_line import StatusLine, StatusState
from trainer.app.widgets.tab_page import TabPage, TabPageState
from trainer.app.widgets.verdict import VerdictLines, VerdictState
from trainer.coach import course_standing
from trainer.drill import EditedDrill, read_course, read_shelf
from trainer.harp import Breath, Harp, Tab
from trainer.practice import Plan, ReedRequested, ReedSounding
from trainer.sound import Passage, PlayerSpec
from trainer.transcript import HarpGuess, guess_drill_harps, plausible_guesses

FRAMES_PER_S = 60
"""Frame rate of a preview in hertz."""


@dataclass(frozen=True, slots=True)
class Preview:
    """How one widget is previewed.

    Attributes:
        widget: makes the widget.
        state: maps the scripted take to the widget's state, at every frame.
    """

    widget: Callable[[], Canvas[Any]]
    state: Callable[[TakeState], Any]


def _footer(take: TakeState) -> tuple[FooterEntry, ...]:
    return tuple(FooterEntry.of(binding) for binding in bindings_of(PracticeScreen) if binding.show)


def _guide(take: TakeState) -> GuideState:
    return GuideState(
        step=1,
        steps=2,
        title="the microphone",
        words="Choose an input.",
        choices=("built in", "on the stand"),
        heard=take.displayed,
        message=microphone_verdict(take.displayed)[0],
    )


def _course(take: TakeState) -> CourseState:
    stages = read_course()[:6]
    drills = {drill.name: drill for drill in read_shelf().drills}
    standings = course_standing(stages, stages[0].drills)
    shelves = tuple(tuple(drills[name] for name in stage.drills) for stage in stages)
    return CourseState(standings, shelves, 1, 2)


def _close_up(take: TakeState) -> CloseUpState:
    newest = take.sheet.newest
    return CloseUpState.of(take, newest) if newest else CloseUpState("-4", 1.0, 10.0)


def _note_card(take: TakeState) -> NoteCardState:
    step = take.step
    edited = EditedDrill(DRILL).at(step.index if step else 0)
    return NoteCardState(edited, take.plan.harp, Fraction(1, 2), 0.7)


@cache
def _guesses() -> tuple[HarpGuess, ...]:
    return guess_drill_harps(DRILL)


def _pick_list(take: TakeState) -> PickListState:
    return PickListState(plausible_guesses(_guesses()), DRILL.key, DRILL.tuning)


def _loop(take: TakeState) -> LoopState:
    passage = Passage(Path("evening.flac"), 4.0, 9.0, 0.7, -3.0, count_in=4)
    peaks = tuple(((n * 37) % 17) / 17.0 for n in range(200))
    played_s = max(0.0, (take.playhead.position or 0.0) + 4.0)
    return LoopState(passage, 20.0, peaks, SOUNDS, played_s)


def _measuring(take: TakeState) -> MeasuringState:
    tab = Tab(4, Breath.DRAW)
    asked, sounding = ReedRequested(tab, "D5", 3, 20), ReedSounding(tab, 2.1, 1.2)
    return MeasuringState(take.plan.harp, asked, sounding, {Tab.parse("1"): -3.4})


PREVIEWS: Mapping[str, Preview] = {
    "close_up": Preview(CloseUp, _close_up),
    "course_map": Preview(CourseMap, _course),
    "drill_preview": Preview(DrillPreview, lambda take: DrillPreviewState(take.drill)),
    "gauge": Preview(Gauge, lambda take: GaugeState.of(take.displayed)),
    "guide_board": Preview(GuideBoard, _guide),
    "harp_chart": Preview(HarpChart, lambda take: HarpState.of(take.plan.harp)),
    "head_line": Preview(HeadLine, HeadState.of),
    "hole_strip": Preview(HoleStrip, lambda take: HoleStripState.of(take.displayed)),
    "key_footer": Preview(KeyFooter, _footer),
    "loop_strip": Preview(LoopStrip, _loop),
    "measuring_board": Preview(MeasuringBoard, _measuring),
    "note_card": Preview(NoteCard, _note_card),
    "note_list": Preview(NoteList, NoteListState.of),
    "pick_list": Preview(PickList, _pick_list),
    "pitch_trace": Preview(PitchTrace, lambda take: take),
    "readout": Preview(Readout, ReadoutState.of),
    "reference_tone": Preview(
        ReferenceTone, lambda take: ReferenceToneState(take.plan.harp, take.displayed.tab)
    ),
    "status_line": Preview(StatusLine, StatusState.of),
    "tab_page": Preview(TabPage, lambda take: TabPageState.of(DRILL, take)),
    "verdict": Preview(VerdictLines, VerdictState.of),
}
"""By the name of the widget's module in `trainer.app.widgets`."""


class PreviewApp(App[None]):
    """One widget that fills the screen.

    Args:
        preview: the widget and its state.
    """

    BINDINGS = [Binding("q", "quit", "quit")]  # noqa: RUF012
    CSS = "Canvas { height: 1fr; }"

    def __init__(self, preview: Preview) -> None:
        super().__init__()
        apply_theme(self)
        self._widget = preview.widget()
        self._state = preview.state
        plan = Plan(Harp.of("C"), PlayerSpec(), DRILL)
        self._take = TakeState(plan)
        self._listener = ScriptedListener()
        self._listener.begin(plan)

    def on_mount(self) -> None:
        """Start the frame timer."""
        self.set_interval(1 / FRAMES_PER_S, self._tick)

    def compose(self) -> ComposeResult:
        """Yield the widget."""
        yield self._widget

    def _tick(self) -> None:
        for event in self._listener.poll():
            self._take.apply(event)
        self._widget.show(self._state(self._take))


def main(arguments: Sequence[str]) -> int:
    """Run the preview of the widget named by the first argument; return the exit status."""
    preview = PREVIEWS.get(arguments[0]) if arguments else None
    if preview is None:
        print(f"usage: python -m devtools.previews NAME\nNAME: {', '.join(PREVIEWS)}")
        return 2
    PreviewApp(preview).run()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
