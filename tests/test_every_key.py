"""Every key of every screen is pressed, in an order nobody would think of, and the app stands."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from evening import an_input
from pilots import LARGE, SMALL, Puppet, run, text, until
from test_pictures import too_faint
from textual.command import CommandInput, CommandList, CommandPalette
from textual.pilot import Pilot

from trainer.app import alone
from trainer.app.app import TrainerApp
from trainer.app.screens import guide, settings
from trainer.app.screens.aloud import AloudScreen
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.measure import MeasureScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.today import TodayScreen
from trainer.harp import Harp
from trainer.practice import Finished, Plan
from trainer.sound import MicrophoneSpec

SCREENS = {
    GuideScreen: ("m",),
    HarpsScreen: ("h",),
    HelpScreen: ("question_mark",),
    ListenScreen: ("i",),
    MeasureScreen: ("h", "m"),
    PracticeScreen: (),
    ProgressScreen: ("g",),
    ResultScreen: (),
    SettingsScreen: ("comma",),
    ShelfScreen: ("s",),
    TodayScreen: ("t",),
}
"""The screens, and the keys that lead there."""
PRESSES = 250


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Plan:
    """A plan on a desk of its own: what keys write goes there."""
    monkeypatch.setenv("TRAINER_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setattr(guide, "there", lambda: (an_input("on the stand", 1),))
    monkeypatch.setattr(settings, "round_trip", lambda spec: "✓ round trip 12 ms")
    journal = tmp_path / "journal.sqlite"
    return Plan(Harp.of("C"), MicrophoneSpec(), drill=alone.DRILL, journal=journal, player="Runa")


def keys_of(screen: type) -> list[str]:
    bindings = getattr(screen, "BINDINGS")  # noqa: B009 - of any screen
    return [key for binding in bindings for key in binding.key.split(",")]


async def go_to(pilot: Pilot[None], puppet: Puppet, screen: type) -> None:
    app = pilot.app
    assert isinstance(app, TrainerApp)
    if screen is ResultScreen:
        events = [event for _, event in alone.script(app.session.plan)]
        await pilot.press("space")
        puppet.queue += events
    for key in SCREENS[screen]:
        await pilot.press(key)
        await pilot.pause(0.2)
    await until(pilot, lambda: isinstance(app.screen, screen))


@pytest.mark.parametrize("screen", SCREENS, ids=lambda screen: screen.__name__)
def test_each_key_of_a_screen_may_be_pressed(plan: Plan, screen: type) -> None:
    for key in keys_of(screen):

        async def test(pilot: Pilot[None], puppet: Puppet, key: str = key) -> None:
            await go_to(pilot, puppet, screen)
            await pilot.press(key)
            await pilot.pause(0.05)
            assert pilot.app.is_running
            puppet.queue.append(Finished())
            await pilot.pause(0.1)

        run(test, plan)


@pytest.mark.parametrize("seed", range(3))
def test_any_keys_in_any_order_leave_the_app_standing(plan: Plan, seed: int) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        dice = random.Random(seed)
        app = pilot.app
        assert isinstance(app, TrainerApp)
        for press in range(PRESSES):
            keys = keys_of(type(app.screen)) if type(app.screen) in SCREENS else ["escape"]
            await pilot.press(dice.choice([*keys, *keys, "question_mark", "escape"]))
            if press % 25 == 24:
                size = dice.choice([SMALL, LARGE, (60, 15)])
                await pilot.resize_terminal(*size)
            mine = app.session.busy and puppet.plans[-1] == app.session.take.plan
            if mine and not puppet.queue and dice.random() < 0.2:
                puppet.queue += [event for _, event in alone.script(puppet.plans[-1])][:400]
            assert app.is_running
            assert not isinstance(app.screen, AloudScreen) or app.screen.query("#sound")
        await pilot.resize_terminal(*LARGE)

    run(test, plan)


def test_the_palette_can_be_read(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("ctrl+p")
        await until(pilot, lambda: isinstance(pilot.app.screen, CommandPalette))
        await pilot.pause(0.5)
        palette = pilot.app.screen
        found = set()
        for theme in ("light", "plain", "dark"):
            pilot.app.theme = theme
            await pilot.pause()
            strips = palette._compositor.render_strips()
            for widget in (palette.query_one(CommandInput), palette.query_one(CommandList)):
                x, y, width, height = widget.content_region
                for strip in strips[y : y + height]:
                    inside = strip.crop(x, x + width)
                    found |= {(theme, one.text) for one in inside if too_faint(one)}
        assert not found

    run(test, plan)


def test_the_round_trip_is_measured_and_a_microphone_chosen_from_the_settings(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await go_to(pilot, puppet, SettingsScreen)
        await pilot.pause(0.3)
        await pilot.press("l")
        await until(pilot, lambda: "round trip 12 ms" in text(pilot))
        await pilot.press("m")
        await until(pilot, lambda: isinstance(pilot.app.screen, GuideScreen))
        await pilot.press("escape")
        puppet.queue.append(Finished())
        await until(pilot, lambda: isinstance(pilot.app.screen, SettingsScreen))

    run(test, plan)
