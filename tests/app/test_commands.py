"""The command palette finds all that keys do."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from textual.command import CommandPalette

from tests.support.evening_class import DRILL
from tests.support.pilots import Puppet, text
from trainer.app.app import TrainerApp
from trainer.app.palette import KeyCommands
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.help import help_content as help_text
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


@pytest.mark.parametrize(
    ("typed", "screen"),
    [
        ("choose a drill", ShelfScreen),
        ("day's set", TodayScreen),
        ("getting better", ProgressScreen),
        ("reeds are off", HarpsScreen),
        ("see and change", SettingsScreen),
        ("this page", HelpScreen),
    ],
)
def test_what_is_typed_is_found_and_done(typed: str, screen: Any) -> None:
    async def scene() -> None:
        app = app_of(Puppet())
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("ctrl+p")
            await pilot.pause(0.2)
            assert isinstance(app.screen, CommandPalette)
            await pilot.press(*typed)
            await pilot.pause(0.6)
            await pilot.press("enter")
            for _ in range(40):
                await pilot.pause(0.05)
                if isinstance(app.screen, screen):
                    break
            assert isinstance(app.screen, screen)

    asyncio.run(scene())


def test_a_take_is_begun_from_the_palette() -> None:
    async def scene() -> None:
        listener = Puppet()
        app = app_of(listener)
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("ctrl+p")
            await pilot.pause(0.2)
            await pilot.press(*"start with")
            await pilot.pause(0.6)
            await pilot.press("enter")
            for _ in range(40):
                await pilot.pause(0.05)
                if listener.plans:
                    break
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
def test_every_key_has_its_words_and_stands_on_the_help_page(owner: Any) -> None:
    shown = str(help_text(owner, TrainerApp))
    for binding in owner.BINDINGS:
        assert binding.tooltip, binding
        assert binding.tooltip in shown
        name = binding.action.split("(")[0]
        place = TrainerApp if name.startswith("app.") else owner
        assert hasattr(place, f"action_{name.removeprefix('app.')}")
    if owner is not TrainerApp:
        assert owner.ABOUT in shown


def test_help_is_about_the_screen_it_is_asked_on_and_the_palette_finds_its_keys() -> None:
    async def scene() -> None:
        app = app_of(Puppet())
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("h")
            await pilot.pause(0.3)
            assert isinstance(app.screen, HarpsScreen)
            await pilot.press("question_mark")
            await pilot.pause(0.2)
            assert isinstance(app.screen, HelpScreen)
            assert "measure its reeds" in text(pilot)
            await pilot.press("escape")
            await pilot.pause(0.2)
            found = {line.words for line, _ in KeyCommands(app.screen)._bindings()}
            for owner in (HarpsScreen, PracticeScreen, TrainerApp):
                assert {binding.tooltip for binding in owner.BINDINGS} <= found

    asyncio.run(scene())
