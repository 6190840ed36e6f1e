"""The course on the screen: stages, what opens what, where the player stands."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot

from tests.support import journal_records as made
from tests.support.pilots import LARGE, SMALL, Puppet, press, run, text, until
from trainer.app.app import TrainerApp
from trainer.app.screens.course import CourseScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.widgets.course_map import CourseState, course_rows
from trainer.coach import course_standing
from trainer.drill import read_course, read_shelf
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec
from trainer.store import Journal

SHELF = read_shelf().drills
BY_NAME = {drill.name: drill for drill in SHELF}
COURSE = read_course()
COUNT = sum(len(stage.drills) for stage in COURSE)


def plan_in(folder: Path) -> Plan:
    """A player who has passed the first stage."""
    path = folder / "journal.sqlite"
    with Journal(path) as journal:
        journal.add(
            *(
                made.take(
                    f"{number:032x}",
                    player="Runa",
                    drill=name,
                    began=made.FIRST + timedelta(hours=number),
                    day=made.FIRST.date(),
                    passed=True,
                    whole=True,
                )
                for number, name in enumerate(COURSE[0].drills)
            )
        )
    return Plan(Harp.of("C"), MicrophoneSpec(), drill=SHELF[0], journal=path, player="Runa")


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_the_course_shows_where_the_player_stands_and_opens_a_drill(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        app = pilot.app
        assert isinstance(app, TrainerApp)
        await press(pilot, "s")
        await until(pilot, lambda: isinstance(app.screen, ShelfScreen))
        await press(pilot, "ctrl+o")
        await until(pilot, lambda: isinstance(app.screen, CourseScreen))
        await until(pilot, lambda: f"5 of {COUNT} drills passed" in text(pilot))
        words = text(pilot)
        assert "✓ First breath" in words
        assert "▶ ○ First tunes" in words  # the first stage that is open and not done
        assert COURSE[1].goal[:30] in words
        assert "Opens around the harp" in words
        assert "· First bends" in words
        second = BY_NAME[COURSE[1].drills[1]]
        await press(pilot, "right")
        assert f"▶ · {second.title}" in text(pilot)
        await press(pilot, "enter")
        await until(pilot, lambda: isinstance(app.screen, PracticeScreen))
        assert app.session.plan.drill == second.at_widest() or app.session.plan.drill == second

    run(test, plan_in(tmp_path), size=size, shelf=SHELF)


@pytest.mark.parametrize(("width", "height"), [(78, 21), (118, 20), (100, 56), (78, 8)])
def test_every_stage_fits_and_the_chosen_lines_are_shown(width: int, height: int) -> None:
    standings = course_standing(COURSE, COURSE[0].drills)
    drills = tuple(tuple(BY_NAME[name] for name in stage.drills) for stage in COURSE)
    for stage, of_stage in enumerate(drills):
        for drill in (0, len(of_stage) - 1):
            rows = course_rows(CourseState(standings, drills, stage, drill), width, height)
            lines = ["".join(part for part, _ in row) for row in rows]
            assert len(lines) <= height
            assert max(map(len, lines)) <= width
            name = COURSE[stage].name
            assert any(line.startswith("▶ ") and name[1:] in line[:33] for line in lines)
            assert any("▶ " in line[30:] and of_stage[drill].title[:20] in line for line in lines)
