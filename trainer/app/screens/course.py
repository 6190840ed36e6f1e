"""Course: the stages of the shelf, what opens what, and where the player stands."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import get_current_worker

from trainer.app.widgets.course_map import CourseMap, CourseState
from trainer.app.widgets.drill_preview import DrillPreview, DrillPreviewState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.coach import StageStanding
from trainer.core import TrainerError
from trainer.drill import Drill

SPLIT_COLUMNS = 160
"""Columns from which the preview stands beside the map."""
LEGEND = "✓ done  ○ open  · later"
"""What the signs of stages mean."""
TALL_ROWS = 36
"""Rows from which the preview stands below it."""


class CourseScreen(Screen[int | None]):
    """The course.

    Its result is the place of the chosen drill on the shelf; None for none.

    Args:
        load: loads the standing in each stage; called in a thread, because it reads the journal.
        shelf: the drills.
    """

    DEFAULT_CSS = """
    CourseScreen {
        #body { height: 1fr; layout: vertical; }
        #map-box { height: 1fr; padding: 0 1; }
        #map { height: 1fr; }
        #preview-box { display: none; height: 15; padding: 1 0; background: $surface; }
        #course-preview { height: 1fr; }
        &.-high #map-box { padding: 1 1 0 1; }
        &.-high #preview-box { display: block; }
        &.-split #body { layout: horizontal; }
        &.-split #map-box { width: 1fr; padding: 1 1; }
        &.-split #preview-box { display: block; width: 44%; height: 1fr; }
    }
    """
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (SPLIT_COLUMNS, "-split")]  # noqa: RUF012
    VERTICAL_BREAKPOINTS = [(0, "-low"), (TALL_ROWS, "-high")]  # noqa: RUF012
    ABOUT: ClassVar[str] = "The course: stages with a goal each, what opens what, where you stand."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "open", "open", tooltip="open this drill"),
        Binding("up", "stage(-1)", "stage", key_display="↑↓", tooltip="the stage above"),
        Binding("down", "stage(1)", "next stage", show=False, tooltip="the stage below"),
        Binding("left", "drill(-1)", "drill", key_display="←→", tooltip="the drill before"),
        Binding("right", "drill(1)", "next drill", show=False, tooltip="the drill after"),
        Binding("escape,o", "dismiss(None)", "back", key_display="esc", tooltip="back"),
    ]

    def __init__(
        self, load: Callable[[], tuple[StageStanding, ...]], shelf: Sequence[Drill]
    ) -> None:
        super().__init__()
        self._load = load
        self._shelf = shelf
        self._state: CourseState | None = None
        self._map = CourseMap(id="map")
        self._preview = DrillPreview(id="course-preview")

    def compose(self) -> ComposeResult:
        """Yield the map and the preview of the chosen drill."""
        yield Static("Course: reading the journal …", id="count", classes="title")
        with Container(id="body"):
            with Container(id="map-box"):
                yield self._map
            with Container(id="preview-box"):
                yield self._preview
        yield KeyFooter()

    def on_mount(self) -> None:
        """Start to load the standing."""
        self._read()

    @work(thread=True, exclusive=True)
    def _read(self) -> None:
        worker = get_current_worker()
        outcome: tuple[StageStanding, ...] | str
        try:
            outcome = self._load()
        except TrainerError as error:
            outcome = str(error)
        if not worker.is_cancelled:
            self.app.call_from_thread(self._take, outcome)

    def _take(self, outcome: tuple[StageStanding, ...] | str) -> None:
        """Show the standings, at the first stage that is open and not done."""
        if isinstance(outcome, str):
            self.query_one("#count", Static).update(f"Course: {outcome}")
            return
        by_name = {drill.name: drill for drill in self._shelf}
        standings = tuple(
            standing
            for standing in outcome
            if any(name in by_name for name in standing.stage.drills)
        )
        drills = tuple(
            tuple(by_name[name] for name in standing.stage.drills if name in by_name)
            for standing in standings
        )
        passed = sum(len(standing.passed) for standing in standings)
        count = sum(len(standing.stage.drills) for standing in standings)
        heading = f"Course: {passed} of {count} drills passed   {LEGEND}"
        if not standings:
            heading = "Course: none of its drills is on the shelf"
        self.query_one("#count", Static).update(heading)
        if standings:
            under_way = (
                i
                for i, standing in enumerate(standings)
                if not (standing.is_done or standing.waits_for)
            )
            self._state = CourseState(standings, drills, 0, 0)
            self._go_to(next(under_way, 0))

    def _go_to(self, stage: int) -> None:
        """Choose a stage, at its next drill."""
        assert self._state is not None
        names = [drill.name for drill in self._state.drills[stage]]
        following = self._state.standings[stage].next_drill
        place = names.index(following) if following in names else 0
        self._show(replace(self._state, stage=stage, drill=place))

    def _show(self, state: CourseState) -> None:
        self._state = state
        self._map.show(state)
        self._preview.show(DrillPreviewState(state.drills[state.stage][state.drill]))

    def action_stage(self, by: int) -> None:
        """Choose the stage before or after."""
        if self._state is not None:
            self._go_to((self._state.stage + by) % len(self._state.standings))

    def action_drill(self, by: int) -> None:
        """Choose the drill before or after in the stage."""
        state = self._state
        if state is not None:
            self._show(replace(state, drill=(state.drill + by) % len(state.drills[state.stage])))

    def action_open(self) -> None:
        """Open the chosen drill."""
        state = self._state
        if state is not None:
            drill = state.drills[state.stage][state.drill]
            self.dismiss([each.name for each in self._shelf].index(drill.name))
