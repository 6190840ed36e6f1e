"""The trainer with its watch on: the real app and the real listener, and when they did what.

Run by :mod:`benchmarks.live` under a terminal of its own. What is measured is the product's code;
all that notes times is here, put around it from outside. Times are CLOCK_MONOTONIC, in seconds.
"""

from __future__ import annotations

import os
import sys
import time
from array import array
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import numpy as np

import trainer.app.app
import trainer.practice.listener as listening
from trainer.app.app import TrainerApp
from trainer.harp import Breath, Harp
from trainer.practice import Event, Listener, Notice, Plan, ReadingHeard, TakePaused, TakeResumed
from trainer.sound import Block, Microphone, MicrophoneSpec

TROUBLES = TakePaused, TakeResumed, Notice
LISTENER, APP = "listener.npz", "app.npz"
LISTENING = "listening"
"""A file that is there from the first block on."""
_serve, _run = listening._serve, listening.run
_now = time.monotonic


class _Notes:
    """Rows of numbers, kept without giving the collector anything to walk."""

    def __init__(self, columns: int) -> None:
        self._columns, self._numbers = columns, array("d")

    def add(self, *row: float) -> None:
        self._numbers.extend(row)

    def rows(self) -> Any:
        return np.array(self._numbers).reshape(-1, self._columns)


def serve(plans: Connection, *more: Any) -> None:
    """The listener's process, watched."""
    captured, given, known = _Notes(4), _Notes(3), _Notes(5)
    heard: list[Any] = []
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else ".")
    microphones: list[Microphone] = []
    hear, next_block = Microphone._hear, Microphone._next_block

    def watched_hear(self: Microphone, frames: Any, count: int, when: Any, status: Any) -> None:
        captured.add(_now(), self._captured, count, when.inputBufferAdcTime - when.currentTime)
        hear(self, frames, count, when, status)

    def watched_block(self: Microphone) -> Block:
        if self not in microphones:
            microphones.append(self)
            (folder / LISTENING).touch()
        block = next_block(self)
        given.add(_now(), block.start, len(block.samples))
        heard.append(block.samples)
        return block

    def watched_run(plan: Plan, stopping: Callable[[], bool]) -> Iterator[Event]:
        for event in _run(plan, stopping):
            if not isinstance(event, ReadingHeard):
                yield event
                continue
            reading = event.reading
            begun = _now()
            yield event
            hz = reading.hz or 0.0
            known.add(begun, _now(), reading.heard, hz, float(reading.onset is not None))

    vars_of: Any = Microphone
    vars_of._hear, vars_of._next_block = watched_hear, watched_block
    vars_of = listening
    vars_of.run = watched_run
    begun = _now()
    try:
        _serve(plans, *more)
    finally:
        np.savez(
            folder / LISTENER,
            captured=captured.rows(),
            given=given.rows(),
            known=known.rows(),
            sound=np.concatenate(heard),
            cpu=time.process_time() / (_now() - begun),
            prompt=os.sched_getscheduler(0) == os.SCHED_RR,
            lost=sum(one.lost for one in microphones),
            overflows=sum(one.overflows for one in microphones),
        )


class Watched(TrainerApp):
    """The app, noting what each frame showed."""

    CSS_PATH = Path(trainer.app.app.__file__).with_name("app.tcss")

    def __init__(self, listener: Listener, plan: Plan) -> None:
        super().__init__(listener, (), plan)
        self.frames, self.taken = _Notes(8), _Notes(2)
        self.troubles = _Notes(2)
        poll = listener.poll

        def watched_poll() -> list[Event]:
            events = poll()
            now = _now()
            for event in events:
                if isinstance(event, ReadingHeard):
                    self.taken.add(now, event.reading.heard)
                elif isinstance(event, TROUBLES):
                    self.troubles.add(now, TROUBLES.index(type(event)))
            return events

        listener.poll = watched_poll  # type: ignore[method-assign]

    def _display(self, screen: Any, renderable: Any) -> None:
        begun = _now()
        super()._display(screen, renderable)
        if renderable is None or self._batch_count:
            return
        take = self.session.take
        shown, reading = take.displayed, take.reading
        tab = shown.tab
        hole = (
            0
            if tab is None or shown.ended
            else (-tab.hole if tab.breath is Breath.DRAW else tab.hole)
        )
        self.frames.add(
            begun,
            _now(),
            reading.heard if reading else 0,
            hole,
            np.nan if shown.whole_cents is None else shown.whole_cents,
            np.nan if shown.cents is None else shown.cents,
            float(shown.pitch_pending),
            float(self._sync_available),
        )


def main(folder: Path) -> None:
    """Listen on the screen until a key says that it is enough."""
    vars_of: Any = listening
    vars_of._serve = serve
    listener = Listener()
    app = Watched(listener, Plan(Harp.of("C"), MicrophoneSpec(clicks=False)))
    begun, spent = _now(), time.process_time()
    try:
        app.run()
    finally:
        cpu = (time.process_time() - spent) / (_now() - begun)
        listener.close()
    np.savez(
        folder / APP,
        frames=app.frames.rows(),
        taken=app.taken.rows(),
        troubles=app.troubles.rows(),
        cpu=cpu,
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
