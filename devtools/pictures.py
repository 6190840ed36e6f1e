"""Take pictures of the real app, as SVG: ``python -m devtools.pictures FOLDER``.

The demo is played by the real listener and the built-in player. The journal is the demo journal.
Screens that need a microphone are driven by a scripted listener.
"""

from __future__ import annotations

import asyncio
import os
import re
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from textual.pilot import Pilot
from textual.widgets import OptionList

from devtools.demo_journal import PLAYER, demo_harp, demo_takes
from devtools.scripted import Answer, ScriptedListener
from trainer.app.app import TrainerApp
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.today import TodayScreen
from trainer.app.screens.transcript import TranscriptScreen
from trainer.app.session import ListenerLike
from trainer.app.take_state import Phase
from trainer.app.transcript_file import TranscriptFile
from trainer.drill import Drill, find_drill, read_shelf
from trainer.harp import Harp
from trainer.practice import Event, Listener, Plan, Request, run_take, typical_faults
from trainer.settings import set_setting, settings_path
from trainer.sound import Device, MicrophoneSpec, Passage, PlayerSpec
from trainer.store import Journal
from trainer.transcript import TranscriptRequest

DEMO_DRILL = "harbour-bell"
DEMO_BEAT = 8.6
"""Beat of the demo drill at which the practice screen is taken."""
LISTENED_S = 5.2
"""Time of the script at which the listen screen is taken, in seconds."""
MEASURED_S = 12.0
"""Time after which the measure screen is taken, in seconds."""
LOOPED_S = 7.0
"""Time after which the loop screen is taken, in seconds."""
INPUTS = tuple(
    Device(0, name, "the desk", 1, 0, 48_000, False, False) for name in ("built in", "on the stand")
)
"""Invented inputs: the pictures do not show the devices of this machine."""
SIZE = (120, 40)
"""Columns and rows of a picture."""
POLL_S = 0.02
"""Time between two looks at the app, in seconds."""
FONTS = "ui-monospace, 'DejaVu Sans Mono', Menlo, Consolas, monospace"
"""Fonts of the reader's machine, in the order of preference."""


def without_web_fonts(svg: str) -> str:
    """Return an exported screenshot that uses the reader's fonts and loads nothing."""
    svg = re.sub(r"@font-face\s*\{.*?\}\s*", "", svg, flags=re.DOTALL)
    return re.sub(r"font-family: Fira Code, monospace", f"font-family: {FONTS}", svg)


@dataclass(slots=True)
class Camera:
    """Takes pictures of a running app.

    Attributes:
        app: the app.
        pilot: presses its keys.
        pictures: the pictures taken so far, by name, as SVG.
    """

    app: TrainerApp
    pilot: Pilot[None]
    pictures: dict[str, str] = field(default_factory=dict)

    async def wait(self, condition: Callable[[], bool]) -> None:
        """Wait until a condition holds."""
        while not condition():
            await self.pilot.pause(POLL_S)

    async def wait_for(self, screen: type) -> None:
        """Wait until a screen is shown and its list, if any, is filled."""
        await self.wait(lambda: isinstance(self.app.screen, screen) and self._is_filled())

    def _is_filled(self) -> bool:
        return all(options.option_count for options in self.app.screen.query(OptionList))

    async def press(self, *keys: str) -> None:
        """Press keys."""
        await self.pilot.press(*keys)

    def take(self, name: str) -> None:
        """Take a picture of the app as it is."""
        self.pictures[name] = without_web_fonts(self.app.export_screenshot())

    async def take_settled(self, name: str) -> None:
        """Take a picture once all pending messages are processed."""
        await self.pilot.pause()
        self.take(name)

    @property
    def text(self) -> str:
        """The text on the screen."""
        strips = self.app.screen._compositor.render_strips()
        return "\n".join(strip.text for strip in strips)


def picture(
    listener: ListenerLike,
    shelf: Sequence[Drill],
    plan: Plan,
    *,
    beat: float,
    size: tuple[int, int] = SIZE,
) -> str:
    """Return a picture of the app at a beat of a take, or at its end if that comes first.

    Args:
        listener: plays the plan.
        shelf: the available drills.
        plan: the plan; its source must play in real time.
        beat: beats from the first of the drill.
        size: columns and rows.
    """

    async def run() -> str:
        app = TrainerApp(listener, shelf, plan, autostart=True)
        async with app.run_test(size=size) as pilot:
            camera = Camera(app, pilot)
            await camera.wait(lambda: _has_reached(app, beat))
            camera.take("app")
            return camera.pictures["app"]

    return asyncio.run(run())


def _has_reached(app: TrainerApp, beat: float) -> bool:
    position = app.session.take.playhead.position
    return not app.session.busy or (position is not None and position >= beat)


async def picture_tour(listener: ListenerLike, plan: Plan) -> dict[str, str]:
    """Take pictures of most screens on one walk through the app.

    Args:
        listener: plays the plan; closed at the end.
        plan: the plan.

    Returns:
        Pictures by name, as SVG.
    """
    app = TrainerApp(listener, read_shelf().drills, plan, today=True)
    async with app.run_test(size=SIZE) as pilot:
        camera = Camera(app, pilot)
        await camera.wait_for(TodayScreen)
        await camera.take_settled("today")
        await camera.press("escape", "space")
        await camera.wait(lambda: _has_reached(app, DEMO_BEAT))
        camera.take("practice")
        app.theme = "light"
        await camera.take_settled("light")
        app.theme = "dark"
        await camera.wait_for(ResultScreen)
        await camera.take_settled("result")
        await camera.press("escape", "s")
        await camera.take_settled("shelf")
        await camera.press("escape", "o")
        await camera.wait(lambda: "drills passed" in camera.text)
        await camera.take_settled("course")
        await camera.press("escape", "g")
        await camera.wait(
            lambda: isinstance(app.screen, ProgressScreen) and not app.screen.has_class("-message")
        )
        await camera.press("down")
        await camera.take_settled("progress")
        await camera.press("escape", "h")
        await camera.wait_for(HarpsScreen)
        await camera.press("home")
        await app.workers.wait_for_complete()
        await camera.take_settled("harps")
        await camera.press("escape", "comma")
        await camera.wait_for(SettingsScreen)
        await camera.take_settled("settings")
        await camera.press("escape", "question_mark")
        await camera.take_settled("help")
        return camera.pictures


async def picture_listening(plan: Plan) -> dict[str, str]:
    """Take a picture of the listen screen; without a drill only a script plays something."""
    app = TrainerApp(ScriptedListener(), (), plan, autostart=True)
    async with app.run_test(size=SIZE) as pilot:
        camera = Camera(app, pilot)
        await camera.wait(lambda: _has_reached(app, LISTENED_S))
        camera.take("listen")
        return camera.pictures


async def picture_microphone_screens(plan: Plan, recording: Path) -> dict[str, str]:
    """Take pictures of guide, measure and loop; a script stands in for the microphone.

    Args:
        plan: the plan; its source is a microphone.
        recording: the recording that is looped.

    Returns:
        Pictures by name, as SVG.
    """
    app = TrainerApp(ScriptedListener(devices=INPUTS), (), plan)
    async with app.run_test(size=SIZE) as pilot:
        camera = Camera(app, pilot)
        await camera.press("m", "down", "enter")
        await camera.wait(lambda: "was heard" in camera.text)
        camera.take("guide")
        await camera.press("escape", "h")
        await camera.wait_for(HarpsScreen)
        await camera.press("m", *"second", "space", "C", "enter")
        await pilot.pause(MEASURED_S)
        camera.take("measure")
        await camera.press("escape", "escape")
        await camera.wait_for(HarpsScreen)
        await camera.press("escape")
        passage = Passage(recording, 2.4, 5.6, 0.6, count_in=4, tempo=96.0)
        app.push_screen(LoopScreen(app.session, passage))
        await camera.wait(lambda: app.session.take.phase is Phase.LISTENING)
        await camera.press("space")
        await pilot.pause(LOOPED_S)
        camera.take("loop")
        return camera.pictures


class TranscribingListener(ScriptedListener):
    """A listener whose microphone is scripted, and whose requests a real one answers.

    Args:
        real: answers the requests; closed with this one.
    """

    def __init__(self, real: Listener) -> None:
        super().__init__()
        self._real = real

    def request(self, request: Request[Answer]) -> Future[Answer]:
        """Answer a request as the real listener does."""
        return self._real.request(request)

    def close(self, show: Callable[[Event], None] = lambda event: None) -> None:
        """Close both listeners."""
        super().close(show)
        self._real.close()


async def picture_transcript(listener: ListenerLike, plan: Plan, recording: Path) -> dict[str, str]:
    """Take a picture of a recording as tab, at its first doubtful note if it has one.

    Args:
        listener: writes the recording down; closed at the end.
        plan: the plan.
        recording: the recording.
    """
    app = TrainerApp(listener, (), plan)
    async with app.run_test(size=SIZE) as pilot:
        camera = Camera(app, pilot)
        source = TranscriptFile.of_passage(TranscriptRequest(recording))
        screen = TranscriptScreen(app.session, app.session.plan, source)
        app.push_screen(screen)
        await camera.wait(lambda: screen.edited is not None and "position (" in camera.text)
        await camera.press("n")
        await camera.take_settled("transcript")
        return camera.pictures


def main(folder: Path) -> None:
    """Take all pictures and write them into a folder."""
    drill = find_drill(DEMO_DRILL)
    harp = Harp.of(drill.key, drill.tuning)
    source = PlayerSpec(faults=typical_faults(drill), realtime=True)
    plan = Plan(harp, source, drill=drill)
    with TemporaryDirectory() as home:
        _use_home(home)
        set_setting(settings_path(), ("player", "name"), PLAYER)
        listener = Listener()  # its process must start before the app
        with Journal() as journal:
            journal.add(*demo_takes(date.today()))
            journal.add_harp(demo_harp(date.today()))
        pictures = asyncio.run(picture_tour(listener, plan))
        pictures |= asyncio.run(picture_listening(Plan(harp, source)))
        recording = Path(home) / "ferry-evening.flac"
        for _ in run_take(replace(plan, source=PlayerSpec(), save=recording)):
            pass
        transcriber = TranscribingListener(Listener())
        pictures |= asyncio.run(
            picture_transcript(transcriber, replace(plan, drill=None), recording)
        )
        plan = replace(plan, source=MicrophoneSpec())
        pictures |= asyncio.run(picture_microphone_screens(plan, recording))
    folder.mkdir(parents=True, exist_ok=True)
    for name, svg in pictures.items():
        (folder / f"{name}.svg").write_text(svg, encoding="utf-8")


def _use_home(home: str) -> None:
    """Keep this user's settings, drills and journal out of the pictures."""
    for name in [name for name in os.environ if name.startswith(("TRAINER_", "XDG_"))]:
        del os.environ[name]
    os.environ.update(HOME=home, USERPROFILE=home)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
