"""Run the whole app on a scripted take and print the CPU time that painting costs.

The time in the output filter, which every painted line passes, is printed beside it.

``python -m devtools.paint_cost [SECONDS]``
"""

from __future__ import annotations

import inspect
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rich.segment import Segment
from textual.color import Color
from textual.filter import LineFilter

from devtools.scripted import DRILL, DRILLS, ScriptedListener
from trainer.app.app import TrainerApp
from trainer.app.output_filter import PrintableFilter
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import PlayerSpec

WARM_UP_S = 2.0
"""Start-up time that is not measured, in seconds."""
DEFAULT_S = 10.0
"""Measured time, in seconds, when no argument is given."""


@dataclass(frozen=True, slots=True)
class Sample:
    """Counters at one moment.

    Attributes:
        wall_s: wall clock, in seconds.
        cpu_s: CPU time of the process, in seconds.
        frames: frames since the start.
        paints: frames in which something was painted.
        filter_s: time in the output filter, in seconds.
        lines: lines that passed it.
    """

    wall_s: float
    cpu_s: float
    frames: int
    paints: int
    filter_s: float
    lines: int


class TimedFilter(PrintableFilter):
    """The output filter with a clock.

    Attributes:
        seconds: time in it so far.
        lines: lines that passed it so far.
    """

    def __init__(self) -> None:
        super().__init__()
        self.seconds, self.lines = 0.0, 0

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Filter a line, and add its time."""
        before = time.perf_counter()
        filtered = super().apply(segments, background)
        self.seconds += time.perf_counter() - before
        self.lines += 1
        return filtered


class CountingApp(TrainerApp):
    """The app with counters of its frames and paints."""

    CSS_PATH = str(Path(inspect.getfile(TrainerApp)).with_name("app.tcss"))
    frames = 0
    paints = 0
    timed = TimedFilter()

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Return the filters of all lines, with the timed one in place of the app's."""
        return [
            self.timed if isinstance(each, PrintableFilter) else each
            for each in super().get_line_filters()
        ]

    def _tick(self) -> None:
        self.frames += 1
        super()._tick()

    def _display(self, screen: Any, renderable: Any) -> None:
        self.paints += renderable is not None
        super()._display(screen, renderable)

    def sample(self) -> Sample:
        """Read the counters."""
        counts = self.frames, self.paints, self.timed.seconds, self.timed.lines
        return Sample(time.monotonic(), time.process_time(), *counts)


def main(arguments: Sequence[str]) -> None:
    """Run the app for a while and print frames, paints and CPU share."""
    measured_s = float(arguments[0]) if arguments else DEFAULT_S
    plan = Plan(Harp.of("C"), PlayerSpec(), DRILL)
    app = CountingApp(ScriptedListener(), DRILLS, plan, autostart=True)
    samples: list[Sample] = []

    def take_sample() -> None:
        samples.append(app.sample())
        if len(samples) == 2:
            app.exit()

    def start_timers() -> None:
        app.set_timer(WARM_UP_S, take_sample)
        app.set_timer(WARM_UP_S + measured_s, take_sample)

    app.call_later(start_timers)
    app.run()
    if len(samples) == 2:
        first, last = samples
        wall_s = last.wall_s - first.wall_s
        print(
            f"{(last.frames - first.frames) / wall_s:.1f} frames a second, "
            f"{(last.paints - first.paints) / wall_s:.1f} of them with something to paint; "
            f"{(last.cpu_s - first.cpu_s) / wall_s:.3f} of a core, over {wall_s:.1f} s"
        )
        frames, lines = last.frames - first.frames, last.lines - first.lines
        filter_s = last.filter_s - first.filter_s
        print(
            f"output filter: {lines / frames:.1f} lines a frame, "
            f"{1e6 * filter_s / frames:.0f} microseconds a frame, "
            f"{filter_s / wall_s:.4f} of a core"
        )


if __name__ == "__main__":
    main(sys.argv[1:])
