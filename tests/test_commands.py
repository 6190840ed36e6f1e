"""The command palette finds all that keys do."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from pilots import Puppet
from test_result_screen import DRILL
from textual.command import CommandPalette

from trainer.app.app import TrainerApp
from trainer.app.commands import ACTIONS
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.help import KEYS, HelpScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.progress import ProgressScreen
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
        ("change all", SettingsScreen),
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


def test_every_command_is_one_of_the_help_page_and_an_action() -> None:
    assert set(ACTIONS) <= {key for key, _ in KEYS}
    for action in ACTIONS.values():
        owner = TrainerApp if action.startswith("app.") else PracticeScreen
        assert hasattr(owner, f"action_{action.removeprefix('app.')}")
