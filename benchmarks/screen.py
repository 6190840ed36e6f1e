"""Cost of the screen: frames, CPU and the age of what is shown, at three sizes.

    python -m benchmarks.screen [--seconds 10] [--motion reduced]

The real app plays a scripted take (`devtools.scripted`) in a terminal of its own, whose other end
is read here. A frame is due when the app looks for new events. It counts as drawn when its last
byte has arrived; none is drawn where nothing has changed, as in rests. The script replaces the
listener, which otherwise is a process of its own: CPU is the screen's, including the script's
part. The age of a reading is the time from when the script has it until its frame is on its way to
the terminal. Before the take, the app is left idle for a while. Then each screen that does not
listen is opened by its keys, on a demo journal, and left idle too.

Goals (at 120x40): 60 frames a second, 0.15 of a core, no pause of the garbage collector over 5 ms,
no reading older than one frame. The load of the machine is printed with the figures.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import json
import os
import sys
import tempfile
import time
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

import trainer.app.app
from benchmarks import results
from benchmarks.live import Terminal
from devtools.demo_journal import PLAYER, demo_harp, demo_takes
from devtools.scripted import DRILL, DRILLS, ScriptedListener, scripted_events
from trainer.app.app import SCREEN_FRAME_S, TrainerApp
from trainer.app.canvas import Canvas
from trainer.app.screens.result import ResultScreen
from trainer.app.take_state import TakeState
from trainer.harp import Harp
from trainer.practice import Event, Plan, ReadingHeard
from trainer.sound import PlayerSpec
from trainer.store import Journal

SIZES = ((80, 24), (120, 40), (200, 60))
SETTLE_S = 3.0
"""Time from the start of a take to the measurement; the count-in is over by then."""
IDLE_S = 4.0
LONGEST_S = 15.0
"""The scripted take ends soon after this."""
DONE = "done.json"
SCREENS: dict[str, tuple[str, ...]] = {
    "result": (),
    "today": ("t",),
    "shelf": ("s",),
    "progress": ("g",),
    "harps": ("h",),
    "measuring, before it begins": ("h", "m"),
    "settings": ("comma",),
    "help": ("question_mark",),
}
"""Screens that do not listen, and the keys that open them from the practice screen."""
_now = time.monotonic


class TimedScript(ScriptedListener):
    """The script, with the time of the newest reading that it returned."""

    newest = 0.0

    def poll(self) -> list[Event]:
        """Return the events that are due."""
        due = list(self._due)
        events = super().poll()
        for second, event in due[: len(events)][-1:]:
            if isinstance(event, ReadingHeard):
                self.newest = self._began + second
        return events


class RefreshCounter:
    """Number of canvases refreshed since it was last set to 0."""

    count = 0


def _counted(refresh: Any) -> Any:
    def count(self: Any, *arguments: Any, **named: Any) -> Any:
        RefreshCounter.count += 1
        return refresh(self, *arguments, **named)

    return count


Canvas.refresh = _counted(Canvas.refresh)  # type: ignore[method-assign]


class MeasuredApp(TrainerApp):
    """The app, recording each frame and each pause of the garbage collector."""

    CSS_PATH = str(Path(trainer.app.app.__file__).with_name("app.tcss"))

    def __init__(self, seconds: float, motion: str, file: Path) -> None:
        self.script = TimedScript()
        plan = Plan(Harp.of("C"), PlayerSpec(), DRILL)
        super().__init__(self.script, DRILLS, plan, motion=motion)
        self._seconds, self._file = seconds, file
        self._due: list[tuple[float, float]] = []
        self._changed: list[tuple[float, float]] = []
        self._drawn: list[tuple[float, float]] = []
        self._pauses: list[tuple[float, float]] = []
        self._collected = 0.0
        self._spent: list[tuple[float, float]] = []

    def on_mount(self) -> None:
        """Schedule the measurement."""
        super().on_mount()
        gc.callbacks.append(self._collect)
        self.set_timer(1.0, self._note)
        self.set_timer(1.0 + IDLE_S, self._begin)
        self.set_timer(1.0 + IDLE_S + SETTLE_S, self._note)
        self.set_timer(1.0 + IDLE_S + SETTLE_S + self._seconds, self._end)

    def _collect(self, phase: str, measured: dict[str, int]) -> None:
        if phase == "start":
            self._collected = _now()
        else:
            self._pauses.append((self._collected, _now() - self._collected))

    def _tick(self) -> None:
        before = self._next_frame
        RefreshCounter.count = 0
        super()._tick()
        if self._next_frame != before:
            if RefreshCounter.count:
                self._changed.append((_now(), 0.0))
            last = self._due[-1][0] if self._due else _now()
            self._due.append((_now(), _now() - last))

    def _note(self) -> None:
        self._spent.append((_now(), time.process_time()))

    def _begin(self) -> None:
        self._note()
        self.session.start(self.session.plan)

    def _display(self, screen: Any, renderable: Any) -> None:
        super()._display(screen, renderable)
        if renderable is not None and not self._batch_count:
            self._drawn.append((_now(), _now() - self.script.newest))

    def _end(self) -> None:
        self._note()
        measured = {
            "spent": self._spent,
            "due": self._due,
            "changed": self._changed,
            "drawn": self._drawn,
            "pauses": self._pauses,
        }
        self._file.write_text(json.dumps(measured), encoding="utf-8")


class IdleApp(TrainerApp):
    """The app, whose screens are opened one after the other and left idle."""

    CSS_PATH = MeasuredApp.CSS_PATH

    def __init__(self, file: Path, idle_s: float) -> None:
        self._file, self._idle_s = file, idle_s
        journal = file.parent / "journal.sqlite"
        with Journal(journal) as opened:
            opened.add(*demo_takes(date.today()))
            opened.add_harp(demo_harp(date.today()))
        plan = Plan(Harp.of("C"), PlayerSpec(), DRILL, journal=journal, player=PLAYER)
        super().__init__(ScriptedListener(), DRILLS, plan)

    def on_mount(self) -> None:
        """Start opening screens."""
        super().on_mount()
        self.run_worker(self._walk())

    async def _walk(self) -> None:
        measured = {}
        for name, keys in SCREENS.items():
            depth = len(self.screen_stack)
            if not keys:
                self._show_result()
            for key in keys:
                self.simulate_key(key)
                await asyncio.sleep(1.0)
            await asyncio.sleep(1.0)
            at, spent = _now(), time.process_time()
            await asyncio.sleep(self._idle_s)
            measured[name] = (time.process_time() - spent) / (_now() - at)
            while len(self.screen_stack) > depth:
                self.pop_screen()
        self._file.write_text(json.dumps(measured), encoding="utf-8")

    def _show_result(self) -> None:
        take = TakeState(self.session.plan)
        for _, event in scripted_events(self.session.plan):
            take.apply(event)
        assert take.sheet.result is not None
        self.push_screen(ResultScreen(take.sheet.result, take, self.session))


def run_inside(words: list[str], size: tuple[int, int]) -> tuple[Terminal, Any]:
    """Run one of the apps in a terminal; return the terminal and the app's measurements."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / DONE
        command = [sys.executable, "-m", "benchmarks.screen", "--inside", str(file), *words]
        terminal = Terminal(command, dict(os.environ), size)
        terminal.wait_for(file, 120.0)
        terminal.close()
        return terminal, json.loads(file.read_text(encoding="utf-8"))


def measure(size: tuple[int, int], seconds: float, motion: str) -> str:
    """Run the app at a size and return a row of the table."""
    terminal, measured = run_inside(["--seconds", str(seconds), "--motion", motion], size)
    rested, begun, first, last = measured["spent"]
    idle = (begun[1] - rested[1]) / (begun[0] - rested[0])
    lasted = last[0] - first[0]

    def within(timed: list[list[float]]) -> Any:
        return 1000.0 * np.array([ms for at, ms in timed if first[0] <= at < last[0]] or [0.0])

    changed = len(within(measured["changed"])) / lasted
    frames = sum(first[0] <= at < last[0] for at in terminal.frames) / lasted
    busy = (last[1] - first[1]) / lasted
    ages, pauses, gaps = (within(measured[name]) for name in ("drawn", "pauses", "due"))
    old = 100.0 * np.mean(ages > 1000.0 * SCREEN_FRAME_S)
    return (
        f"{size[0]:>3}x{size[1]:<3} {len(gaps) / lasted:6.1f} {changed:7.1f} {frames:7.1f} "
        f"{np.quantile(gaps, 0.99):8.1f} {busy:8.3f} {idle:8.3f} {np.median(ages):8.1f} "
        f"{np.quantile(ages, 0.99):8.1f} {ages.max():8.1f} {old:8.2f} {pauses.max():8.1f}"
    )


def main() -> None:
    """Measure at each size and print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.screen")
    parser.add_argument("--seconds", type=float, default=10.0, help="of the take, at each size")
    parser.add_argument("--motion", choices=("full", "reduced"), default="full")
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--idle", type=float, help=argparse.SUPPRESS)
    results.add_options(parser)
    options = parser.parse_args()
    seconds = 1.0 if options.smoke else min(options.seconds, LONGEST_S)
    if options.inside and options.idle:
        IdleApp(options.inside, options.idle).run()
        return
    if options.inside:
        MeasuredApp(seconds, options.motion, options.inside).run()
        return
    output = results.Results(
        "benchmarks.screen",
        f"a scripted take with rests, {seconds:g} s at each size, motion {options.motion}",
        "none is fitted to it",
    )
    output.print(
        "            frames a second     interval,  core     age of a reading, ms over one  pause",
        " size       due changed  drawn 99 %, ms  busy   idle median   99 %  worst frame,%  max ms",
    )
    for size in SIZES[:1] if options.smoke else SIZES:
        output.print(measure(size, seconds, options.motion))
    if not options.smoke:
        _, idle = run_inside(["--idle", str(IDLE_S)], SIZES[1])
        shares = ", ".join(f"{name} {share:.4f}" for name, share in idle.items())
        output.print(f"idle at {SIZES[1][0]}x{SIZES[1][1]}, of a core: {shares}")
    load = ", ".join(f"{average:.1f}" for average in os.getloadavg())
    output.print(f"load over 1, 5 and 15 minutes: {load}")
    output.finish(options)


if __name__ == "__main__":
    main()
