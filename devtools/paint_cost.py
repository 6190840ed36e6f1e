"""Run the whole app on a scripted take and print the CPU time that painting costs.

``python -m devtools.paint_cost [SECONDS]``
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from devtools.scripted import DRILL, DRILLS, ScriptedListener
from trainer.app.app import TrainerApp
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
    """

    wall_s: float
    cpu_s: float
    frames: int
    paints: int


class CountingApp(TrainerApp):
    """The app with counters of its frames and paints."""

    frames = 0
    paints = 0

    def _tick(self) -> None:
        self.frames += 1
        super()._tick()

    def _display(self, screen: Any, renderable: Any) -> None:
        self.paints += renderable is not None
        super()._display(screen, renderable)

    def sample(self) -> Sample:
        """Read the counters."""
        return Sample(time.monotonic(), time.process_time(), self.frames, self.paints)


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


if __name__ == "__main__":
    main(sys.argv[1:])
