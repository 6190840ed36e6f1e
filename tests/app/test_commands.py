"""The command palette lists every key binding."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from textual.command import CommandList, CommandPalette
from textual.pilot import Pilot

from tests.support.evening_class import DRILL
from tests.support.pilots import Puppet, text, until
from trainer.app.app import TrainerApp
from trainer.app.command_palette import WAYS, KeyCommands
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.help import HelpScreen, keys_content
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.measure import MeasureScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.today import TodayScreen
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec


def app_of(listener: Puppet) -> TrainerApp:
    return TrainerApp(listener, (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))


async def run_from_palette(pilot: Pilot[None], typed: str) -> None:
    """Type into the palette, wait for a matching command, and run it."""
    app = pilot.app

    def matches() -> bool:
        commands = app.screen.query_one(CommandList)
        place = commands.highlighted
        if place is None:
            return False
        return typed in str(commands.get_option_at_index(place).prompt).lower()

    await pilot.press("ctrl+p")
    await until(pilot, lambda: isinstance(app.screen, CommandPalette))
    await pilot.press(*typed)
    await until(pilot, matches)
    await pilot.press("enter")


@pytest.mark.parametrize(
    ("typed", "screen"),
    [
        ("open a drill", ShelfScreen),
        ("daily set", TodayScreen),
        ("what improves", ProgressScreen),
        ("charts and reeds", HarpsScreen),
        ("see and change", SettingsScreen),
        ("this page", HelpScreen),
    ],
)
def test_palette_finds_and_runs_a_command(typed: str, screen: Any) -> None:
    async def scene() -> None:
        app = app_of(Puppet())
        async with app.run_test(size=(80, 24)) as pilot:
            await run_from_palette(pilot, typed)
            await until(pilot, lambda: isinstance(app.screen, screen))

    asyncio.run(scene())


def test_palette_starts_a_take() -> None:
    async def scene() -> None:
        listener = Puppet()
        app = app_of(listener)
        async with app.run_test(size=(80, 24)) as pilot:
            await run_from_palette(pilot, "start with")
            await until(pilot, lambda: bool(listener.plans))
            assert isinstance(app.screen, PracticeScreen)
            assert len(listener.plans) == 1

    asyncio.run(scene())


SCREENS = (
    GuideScreen,
    HarpsScreen,
    ListenScreen,
    MeasureScreen,
    PracticeScreen,
    ProgressScreen,
    ResultScreen,
    SettingsScreen,
    ShelfScreen,
    TodayScreen,
    TrainerApp,
)


@pytest.mark.parametrize("owner", SCREENS, ids=lambda owner: owner.__name__)
def test_every_key_is_described_on_the_help_page(owner: Any) -> None:
    shown = str(keys_content(owner, TrainerApp))
    for binding in owner.BINDINGS:
        assert binding.tooltip, binding
        assert binding.tooltip in shown
        name = binding.action.split("(")[0]
        place = TrainerApp if name.startswith("app.") else owner
        assert hasattr(place, f"action_{name.removeprefix('app.')}")
    if owner is not TrainerApp:
        assert owner.ABOUT in shown


def test_help_and_palette_list_the_keys_of_the_screen_below() -> None:
    async def scene() -> None:
        app = app_of(Puppet())
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("h")
            await until(pilot, lambda: isinstance(app.screen, HarpsScreen))
            await pilot.press("question_mark")
            await until(pilot, lambda: isinstance(app.screen, HelpScreen))
            assert "measure its reeds" in text(pilot)
            await pilot.press("escape")
            await until(pilot, lambda: isinstance(app.screen, HarpsScreen))
            listed = {line.description for line, _ in KeyCommands(app.screen)._bindings()}
            for owner in (HarpsScreen, TrainerApp):
                assert {binding.tooltip for binding in owner.BINDINGS} <= listed
            ways = {b.tooltip for b in PracticeScreen.BINDINGS if b.action in WAYS}  # type: ignore[union-attr]
            assert ways <= listed
            assert "start with a count-in, or stop" not in listed  # a pass would begin unseen

    asyncio.run(scene())
