"""Pictures of the real app at work, as SVG: ``python -m devtools.pictures FOLDER``."""

from __future__ import annotations

import asyncio
import os
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

from textual.widgets import OptionList

from devtools.demo_journal import PLAYER, demo_harp, demo_takes
from devtools.scripted import ScriptedListener
from trainer.app.app import TrainerApp
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.today import TodayScreen
from trainer.app.session import ListenerLike
from trainer.app.take_state import Phase
from trainer.drill import Drill, find_drill, read_shelf
from trainer.harp import Harp
from trainer.practice import Listener, Plan, run_take, typical_faults
from trainer.settings import settings_path
from trainer.settings.writer import set_setting
from trainer.sound import MicrophoneSpec, PlayerSpec
from trainer.sound.devices import Device
from trainer.sound.passage import Passage
from trainer.store import Journal

DEMO, BEAT = "harbour-bell", 8.6
LISTENED_S = 5.2
MEASURED_S = 12.0
LOOPED_S = 7.0
INPUTS = tuple(
    Device(0, name, "the desk", 1, 0, 48_000, False, False) for name in ("built in", "on the stand")
)
"""Of a machine that is not there: pictures do not show the devices of whoever takes them."""
SIZE = (120, 40)
LOOK_S = 0.02
FONTS = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace"


def picture(
    listener: ListenerLike,
    shelf: Sequence[Drill],
    plan: Plan,
    *,
    beat: float,
    size: tuple[int, int] = SIZE,
) -> str:
    """The app as it looks at a beat of a take, or at its end if that comes sooner.

    Args:
        listener: what plays the plan; closed at the end.
        shelf: the drills at hand.
        plan: what is played. Its source has to keep time, or the beat is over before it is seen.
        beat: when, in beats from the first of the drill.
        size: columns and rows.

    Returns:
        SVG that needs nothing from elsewhere.
    """
    return asyncio.run(_picture(TrainerApp(listener, shelf, plan, autostart=True), beat, size))


async def _picture(app: TrainerApp, beat: float, size: tuple[int, int]) -> str:
    async with app.run_test(size=size) as pilot:
        session = app.session
        while session.busy and (
            session.take.playhead.position is None or session.take.playhead.position < beat
        ):
            await pilot.pause(LOOK_S)
        return without_web_fonts(app.export_screenshot())


def without_web_fonts(svg: str) -> str:
    """An exported screenshot with its web fonts taken out, for those of the reader's machine."""
    svg = re.sub(r"@font-face\s*\{.*?\}\s*", "", svg, flags=re.DOTALL)
    return re.sub(r"font-family: Fira Code, monospace", f"font-family: {FONTS}", svg)


async def tour(listener: ListenerLike, plan: Plan) -> dict[str, str]:
    """Pictures of the screens, taken on one way through the app, by its keys.

    Args:
        listener: what plays the plan; closed at the end.
        plan: what is played, and by whom.
    """
    app = TrainerApp(listener, read_shelf().drills, plan, today=True)
    taken: dict[str, str] = {}

    async with app.run_test(size=SIZE) as pilot:

        async def until(true: Callable[[], bool]) -> None:
            while not true():
                await pilot.pause(LOOK_S)

        async def take(name: str, *, moving: bool = False) -> None:
            if not moving:
                await pilot.pause()
            taken[name] = without_web_fonts(app.export_screenshot())

        def at(beat: float) -> bool:
            position = app.session.take.playhead.position
            return not app.session.busy or (position is not None and position >= beat)

        await until(lambda: isinstance(app.screen, TodayScreen) and _has_options(app))
        await take("today")
        await pilot.press("escape", "space")
        await until(lambda: at(BEAT))
        await take("practice", moving=True)
        app.theme = "light"
        await take("light")
        app.theme = "dark"
        await until(lambda: isinstance(app.screen, ResultScreen))
        await take("result")
        await pilot.press("escape", "s")
        await take("shelf")
        await pilot.press("escape", "g")
        await until(
            lambda: isinstance(app.screen, ProgressScreen) and not app.screen.has_class("-message")
        )
        await pilot.press("down")
        await take("progress")
        await pilot.press("escape", "h")
        await until(lambda: isinstance(app.screen, HarpsScreen) and _has_options(app))
        await pilot.press("home")
        await app.workers.wait_for_complete()
        await take("harps")
        await pilot.press("escape", "comma")
        await until(lambda: isinstance(app.screen, SettingsScreen) and _has_options(app))
        await take("settings")
        await pilot.press("escape", "question_mark")
        await take("help")
    return taken


def _has_options(app: TrainerApp) -> bool:
    return bool(app.screen.query_one(OptionList).option_count)


async def listening(plan: Plan) -> str:
    """The screen that only listens; a script plays, as nobody else would without a drill."""
    app = TrainerApp(ScriptedListener(), (), plan, autostart=True)
    async with app.run_test(size=SIZE) as pilot:
        while (app.session.take.playhead.position or 0.0) < LISTENED_S:
            await pilot.pause(LOOK_S)
        return without_web_fonts(app.export_screenshot())


async def by_a_script(plan: Plan, recording: Path) -> dict[str, str]:
    """The guide, measuring, and a loop of a recording: a script plays, and stands for a
    microphone."""
    app = TrainerApp(ScriptedListener(), (), plan)
    taken: dict[str, str] = {}
    async with app.run_test(size=SIZE) as pilot:
        await pilot.press("m", "down", "enter")
        while "was heard" not in _text(app):
            await pilot.pause(LOOK_S)
        taken["guide"] = without_web_fonts(app.export_screenshot())
        await pilot.press("escape", "h")
        while not (isinstance(app.screen, HarpsScreen) and _has_options(app)):
            await pilot.pause(LOOK_S)
        await pilot.press("m", *"second", "space", "C", "enter")
        await pilot.pause(MEASURED_S)
        taken["measure"] = without_web_fonts(app.export_screenshot())
        await pilot.press("escape", "escape")
        while not isinstance(app.screen, HarpsScreen):
            await pilot.pause(LOOK_S)
        await pilot.press("escape")
        passage = Passage(recording, 2.4, 5.6, 0.6, count_in=4, tempo=96.0)
        app.push_screen(LoopScreen(app.session, passage))
        while app.session.take.phase is not Phase.LISTENING:
            await pilot.pause(LOOK_S)
        await pilot.press("space")
        await pilot.pause(LOOPED_S)
        taken["loop"] = without_web_fonts(app.export_screenshot())
    return taken


def _text(app: TrainerApp) -> str:
    return "\n".join(strip.text for strip in app.screen._compositor.render_strips())


def main(folder: Path) -> None:
    """Take all of them: the demo by the real listener and built-in player, the rest from the
    journal of an evening class."""
    drill = find_drill(DEMO)
    harp = Harp.of(drill.key, drill.tuning)
    source = PlayerSpec(faults=typical_faults(drill), realtime=True)
    with TemporaryDirectory() as home:
        _move_into(home)
        set_setting(settings_path(), ("player", "name"), PLAYER)
        listener = Listener()  # its process has to be there before the app
        with Journal() as journal:
            journal.add(*demo_takes(date.today()))
            journal.add_harp(demo_harp(date.today()))
        plan = Plan(harp, source, drill=drill)
        pictures = asyncio.run(tour(listener, plan))
        pictures["listen"] = asyncio.run(listening(Plan(harp, source)))
        with patch.object(ScriptedListener, "devices", INPUTS):
            file = Path(home) / "ferry-evening.flac"
            for _ in run_take(replace(plan, source=PlayerSpec(), save=file)):
                pass
            script = replace(plan, source=MicrophoneSpec())
            pictures |= asyncio.run(by_a_script(script, file))
    folder.mkdir(parents=True, exist_ok=True)
    for name, svg in pictures.items():
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8")


def _move_into(home: str) -> None:
    """Leave the settings, drills and journal of whoever takes the pictures out of them."""
    for name in [name for name in os.environ if name.startswith(("TRAINER_", "XDG_"))]:
        del os.environ[name]
    os.environ.update(HOME=home, USERPROFILE=home)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
