"""The result on the screen: in order or the worst first, extra notes told, and what comes next."""

from __future__ import annotations

import asyncio
from dataclasses import replace

import pytest
from pilots import Puppet
from textual.widgets import Static

from trainer.app.app import TrainerApp
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.result import ResultScreen
from trainer.drill import find
from trainer.harp import Harp
from trainer.marking import Extra, Mark, Measured, Result
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec

DRILL = find("harbour-bell")


def result() -> Result:
    scores = [90.0, 40.0, 99.0, 75.0]
    marks = tuple(
        Mark(step, score, {"pitch": score}, Measured(start=0, end=1, cents=0.0), f"told {score:g}")
        for step, score in zip(DRILL.steps, scores, strict=False)
    )
    extra = Extra(0, 1, 0.5, 1, "8", "extra note after step 2: blow 8")
    return Result(DRILL, "C", 96.0, marks, 76.0, False, (extra,))


def told(app: TrainerApp) -> list[str]:
    return str(app.screen.query_one("#sentences", Static).visual).splitlines()


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_steps_stand_in_order_or_the_worst_first_and_extra_notes_last(
    size: tuple[int, int],
) -> None:
    async def scene() -> None:
        app = TrainerApp(Puppet(), (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))
        async with app.run_test(size=size) as pilot:
            app.push_screen(ResultScreen(result()))
            await pilot.pause()
            assert [line.split()[0] for line in told(app)[:4]] == ["1", "2", "3", "4"]
            assert "extra note after step 2" in told(app)[-1]
            await pilot.press("o")
            await pilot.pause()
            assert [line.split()[0] for line in told(app)[:4]] == ["2", "4", "1", "3"]
            await pilot.press("o")
            await pilot.pause()
            assert told(app)[0].split()[0] == "1"

    asyncio.run(scene())


def test_a_free_drill_has_no_tempo_in_its_result() -> None:
    async def scene() -> None:
        free = replace(result(), drill=replace(DRILL, free=True))
        app = TrainerApp(Puppet(), (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))
        async with app.run_test(size=(80, 24)) as pilot:
            app.push_screen(ResultScreen(free))
            await pilot.pause()
            title = str(app.screen.query_one(".title", Static).visual)
            assert "no beat" in title
            assert "tempo" not in title

    asyncio.run(scene())


@pytest.mark.parametrize(("key", "tempo"), [("r", None), ("minus", DRILL.tempo - 8.0)])
def test_again_and_slower_begin_anew(key: str, tempo: float | None) -> None:
    async def scene() -> None:
        listener = Puppet()
        app = TrainerApp(listener, (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))
        async with app.run_test(size=(80, 24)) as pilot:
            screen = app.screen
            assert isinstance(screen, PracticeScreen)
            app.push_screen(ResultScreen(result()), screen._told_result)
            await pilot.pause()
            await pilot.press(key)
            await pilot.pause()
            assert app.screen is screen
            assert [plan.tempo for plan in listener.plans] == [tempo]

    asyncio.run(scene())
