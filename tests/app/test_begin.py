"""Where a player begins: at the first drill, at a level found by playing, or at named skills."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from textual.pilot import Pilot

from devtools import scripted
from tests.support.pilots import Puppet, next_frame, run, settle, text, type_fast, until
from trainer.app.app import TrainerApp
from trainer.app.screens.begin import BeginScreen, LevelsScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.today import TodayScreen
from trainer.coach import DURATION
from trainer.drill import Drill, find_drill
from trainer.harp import Harp
from trainer.practice import HandsFree, PassEnded, PassStarted, Plan, TakeFinished
from trainer.sound import MicrophoneSpec
from trainer.store import Journal

SHELF = scripted.DRILLS
LEVELS = tuple(
    find_drill(name)
    for name in (
        *("first-clean-notes", "three-steps-ashore", "next-door-and-back", "harbour-bell"),
        *("leaps-and-landings", "half-full-half-empty"),
    )
)
"""Drills of several levels, for a placement."""


def plan_in(folder: Path) -> Plan:
    journal = folder / "journal.sqlite"
    return Plan(
        Harp.of("C"), MicrophoneSpec(), drill=SHELF[0], journal=journal, player="Runa", loop=None
    )


def ended(drill: Drill, passed: bool) -> PassEnded:
    """The end of a whole pass of a drill."""
    plan = Plan(Harp.of(), MicrophoneSpec(), drill)
    (end,) = [e for _, e in scripted.scripted_events(plan) if isinstance(e, PassEnded)]
    score = 95.0 if passed else 30.0
    return replace(end, result=replace(end.result, drill=drill, score=score, passed=passed))


async def open_begin(pilot: Pilot[None]) -> None:
    screen = pilot.app.screen
    assert isinstance(screen, PracticeScreen)
    screen.action_begin()
    await until(pilot, lambda: isinstance(pilot.app.screen, BeginScreen))
    await until(pilot, lambda: "Find my level" in text(pilot))


def test_a_beginner_goes_straight_to_the_set(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_begin(pilot)
        assert "▶ At the beginning" in text(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, TodayScreen))
        with Journal(tmp_path / "journal.sqlite") as journal:
            assert journal.placements("Runa") == []

    run(test, plan_in(tmp_path))


def test_enter_does_not_overtake_the_arrow_before_it(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_begin(pilot)
        type_fast(pilot, "down", "enter")
        await until(pilot, lambda: len(puppet.plans) == 1)  # a placement has begun

    run(test, plan_in(tmp_path), shelf=LEVELS)


def test_skills_that_are_ticked_become_levels_and_the_set_follows_them(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_begin(pilot)
        skill, level = (
            SHELF[-1].skills[0],
            max(drill.level for drill in SHELF if drill.skills[0] == SHELF[-1].skills[0]),
        )
        for _ in range(20):
            if f"▶ ○ {skill}" in text(pilot):
                break
            await pilot.press("down")
            await settle(pilot)
        await pilot.press("space")
        await until(pilot, lambda: f"▶ ● {skill}" in text(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, LevelsScreen))
        assert f"level {level}" in text(pilot)
        with Journal(tmp_path / "journal.sqlite") as journal:
            placed = {each.skill: each for each in journal.placements("Runa")}
        assert placed[skill].level == level
        assert placed[skill].by_hand
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, TodayScreen))

    run(test, plan_in(tmp_path))


def test_a_placement_asks_drill_after_drill_and_ends_on_the_set(tmp_path: Path) -> None:
    async def feed(pilot: Pilot[None], puppet: Puppet, *events: Any) -> None:
        puppet.queue += events
        await until(pilot, lambda: not puppet.queue)
        await next_frame(pilot)
        await settle(pilot)

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        app = pilot.app
        assert isinstance(app, TrainerApp)
        await open_begin(pilot)
        await pilot.press("down", "enter")
        await until(pilot, lambda: len(puppet.plans) == 1)
        first = puppet.plans[0]
        assert first.hands_free == HandsFree(first_s=DURATION.read_s)
        assert first.drill is not None
        assert first.tolerance == first.drill.goal.tolerance
        assert "to find your level: 0 of 5 min" in text(pilot)
        asked = []
        while not isinstance(app.screen, LevelsScreen):
            drill = app.session.plan.drill
            assert drill is not None
            asked.append(drill.name)
            started = PassStarted(None, 0, len(drill.steps), "the microphone", False)
            await feed(pilot, puppet, started, ended(drill, passed=len(asked) == 1))
            count = len(asked)
            await until(
                pilot,
                lambda count=count: (
                    len(puppet.plans) > count  # type: ignore[misc]
                    or isinstance(app.screen, LevelsScreen)
                ),
            )
        assert len(set(asked)) == len(asked) >= 2
        assert app.session.plan.hands_free is None
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, TodayScreen))
        with Journal(tmp_path / "journal.sqlite") as journal:
            assert not any(each.by_hand for each in journal.placements("Runa"))

    run(test, plan_in(tmp_path), shelf=LEVELS)


def test_a_placement_without_a_note_ends_with_what_is_known(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await open_begin(pilot)
        await pilot.press("down", "enter")
        await until(pilot, lambda: len(puppet.plans) == 1)
        await pilot.press("space")
        puppet.queue.append(TakeFinished())
        await until(pilot, lambda: isinstance(pilot.app.screen, LevelsScreen))
        assert "The course begins at level 1." in text(pilot)
        assert len(puppet.plans) == 1

    run(test, plan_in(tmp_path), shelf=LEVELS)
