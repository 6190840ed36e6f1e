"""The course as a map: the stages, and beside them the chosen one with its goal and drills."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

from trainer.app.canvas import Canvas, TextRow, cell_width, merge_spans, truncate
from trainer.coach import StageStanding
from trainer.core.quantities import series_text
from trainer.drill import Drill

NAME_CELLS = 25
"""Width of a stage's name in cells."""
BAR_CELLS = 6
"""Width of the bar of a stage's passed drills, where there is room for it."""
BAR_COLUMNS = 100
"""Columns from which there is."""
GAP_CELLS = 2
"""Cells between the columns."""
TITLE_CELLS = 34
"""Greatest width of a drill's title."""
MIN_DRILL_ROWS = 3
"""Rows of drills that are shown in any case."""
MIN_CELLS = 60
"""Least width in which anything is drawn."""
MAX_PROSE_CELLS = 72
"""Maximum line length of prose in cells."""


@dataclass(frozen=True, slots=True)
class CourseState:
    """State of the map.

    Attributes:
        standings: the player's standing in each stage, in their order.
        drills: the drills of each stage that are on the shelf, in their order.
        stage: index of the chosen stage.
        drill: index of the chosen drill in it.
    """

    standings: tuple[StageStanding, ...]
    drills: tuple[tuple[Drill, ...], ...]
    stage: int
    drill: int


def course_rows(state: CourseState, width: int, height: int) -> list[TextRow]:
    """Draw the stages at the left, and the chosen one at the right."""
    if width < MIN_CELLS:  # before the layout is settled
        return []
    bar = BAR_CELLS if width >= BAR_COLUMNS else 0
    drawn = [_stage_row(state, place, bar) for place in range(len(state.standings))]
    stages = _window(drawn, state.stage, height)
    column = max(map(cell_width, drawn)) + GAP_CELLS
    beside = _beside(state, width - column, height)
    rows = []
    for y in range(min(height, max(len(stages), len(beside)))):
        left: TextRow = stages[y] if y < len(stages) else ()
        right: TextRow = beside[y] if y < len(beside) else ()
        gap = " " * (column - cell_width(left))
        rows.append(truncate(merge_spans([*left, (gap, "text"), *right]), width))
    return rows


def _window(rows: Sequence[TextRow], chosen: int, height: int) -> Sequence[TextRow]:
    """Return at most `height` rows, with the chosen one among them."""
    first = max(0, min(chosen - height // 2, len(rows) - height))
    return rows[first : first + height]


def _stage_row(state: CourseState, place: int, bar: int) -> TextRow:
    """Draw a stage: state, name, and how many of its drills have been passed, as a bar, too."""
    standing = state.standings[place]
    passed, count = len(standing.passed), len(standing.stage.drills)
    full = round(bar * passed / max(1, count))
    sign, pen = _sign(standing)
    is_chosen = place == state.stage
    name = standing.stage.name
    name_pen = "strong" if is_chosen else "quiet" if standing.waits_for else "text"
    return (
        ("▶", "now") if is_chosen else (" ", "text"),
        (" ", "text"),
        (f"{sign} ", pen),
        (f"{name[0].upper()}{name[1:]}"[: NAME_CELLS - 1].ljust(NAME_CELLS), name_pen),
        ("━" * full, "good"),
        ("─" * (bar - full), "quiet"),
        (f"{passed}/{count}".rjust(6), "quiet"),
    )


def _sign(standing: StageStanding) -> tuple[str, str]:
    """Return the sign of a stage, and its pen."""
    if standing.is_done:
        return "✓", "good"
    return ("·", "quiet") if standing.waits_for else ("○", "strong")


def _beside(state: CourseState, width: int, height: int) -> list[TextRow]:
    """Draw the chosen stage: its goal, its place in the course, and its drills."""
    standing, drills = state.standings[state.stage], state.drills[state.stage]
    room = min(width, MAX_PROSE_CELLS)
    stage = standing.stage
    rows: list[TextRow] = [((line, "text"),) for line in textwrap.wrap(stage.goal, room)]
    rows.append(())
    rows += _wrapped(_place_words(standing), room)
    following = [s.stage.name for s in state.standings if stage.name in s.stage.after]
    if following:
        rows += _wrapped(f"Opens {series_text(following)}.", room)
    rows.append(())
    lines = [_drill_row(standing, drill, i == state.drill, width) for i, drill in enumerate(drills)]
    rows = rows[: max(1, height - MIN_DRILL_ROWS)]
    return [*rows, *_window(lines, state.drill, max(1, height - len(rows)))]


def _place_words(standing: StageStanding) -> str:
    """Return where the player stands in a stage."""
    passed, count = len(standing.passed), len(standing.stage.drills)
    if standing.waits_for:
        return f"Opens after {series_text(standing.waits_for)}."
    if passed == count:
        return "All passed."
    return "Done: what follows is open." if standing.is_done else "Open."


def _wrapped(words: str, width: int) -> list[TextRow]:
    return [((line, "quiet"),) for line in textwrap.wrap(words, width)]


def _drill_row(standing: StageStanding, drill: Drill, is_chosen: bool, width: int) -> TextRow:
    """Draw a drill: whether it was passed, whether it is the next one, title and level."""
    is_passed = drill.name in standing.passed
    is_next = drill.name == standing.next_drill
    level = f" level {drill.level}"
    cells = min(TITLE_CELLS, width - 4 - len(level))
    sign, pen = ("✓", "good") if is_passed else ("○", "strong") if is_next else ("·", "quiet")
    return (
        ("▶", "now") if is_chosen else (" ", "text"),
        (" ", "text"),
        (f"{sign} ", pen),
        (f"{drill.title[:cells]:<{cells}}", "strong" if is_chosen else "text"),
        (level, "quiet"),
    )


class CourseMap(Canvas[CourseState]):
    """The map of the course."""

    def draw(self, state: CourseState, width: int, height: int) -> Sequence[TextRow]:
        """Draw as many rows as fit."""
        return course_rows(state, width, height)
