"""The real app and the real listener, with the time of each event recorded.

Run by :mod:`benchmarks.live` in a terminal of its own. The measured code is the product's; what
records times is added here through public interfaces: the listener's `runner`, `Microphone.blocks`,
the stream class of sounddevice, and subclasses of the listener and the app. Times are seconds of
CLOCK_MONOTONIC.
"""

from __future__ import annotations

import os
import sys
import time
from array import array
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

import trainer.app.app
from trainer.app.app import TrainerApp
from trainer.harp import Breath, Harp
from trainer.practice import (
    Event,
    Listener,
    NextCommand,
    Notice,
    Plan,
    ReadingHeard,
    ShouldStop,
    TakePaused,
    TakeResumed,
    run_take,
)
from trainer.sound import Block, Microphone, MicrophoneSpec

TROUBLES = TakePaused, TakeResumed, Notice
"""Events that show that the source is lost or back; rows of the app's file hold the index."""
LISTENER, APP = "listener.npz", "app.npz"
"""Files that the listener and the app write when they end."""
LISTENING = "listening"
"""File that exists from the first block on."""
_now = time.monotonic


class NumberTable:
    """Rows of numbers, stored without objects that the garbage collector would visit."""

    def __init__(self, columns: int) -> None:
        self._columns, self._numbers = columns, array("d")

    def add(self, *row: float) -> None:
        """Append a row."""
        self._numbers.extend(row)

    def rows(self) -> Any:
        """Return all rows, float64 of shape (n, columns)."""
        return np.array(self._numbers).reshape(-1, self._columns)


class Recorder:
    """Records when the listener's process gets blocks and yields readings.

    Attributes:
        captured: callbacks: time, first sample, samples, seconds from pick-up to the callback.
        given: blocks: time, first sample, samples.
        known: readings: time before and after the event was passed on, last sample heard, hertz,
            1 for an onset.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.captured, self.given, self.known = NumberTable(4), NumberTable(3), NumberTable(5)
        self._samples: list[Any] = []
        self._end = 0
        self._microphone: Microphone | None = None

    def install(self) -> None:
        """Record every stream and every microphone of this process from now on."""
        import sounddevice as sd

        recorder, plain_stream, plain_blocks = self, sd.InputStream, Microphone.blocks

        class RecordedStream(plain_stream):  # type: ignore[misc, valid-type]
            """An input stream whose callbacks are recorded."""

            def __init__(self, *arguments: Any, callback: Any, **options: Any) -> None:
                captured = recorder._end

                def recorded(frames: Any, count: int, when: Any, status: Any) -> None:
                    nonlocal captured
                    lead = when.inputBufferAdcTime - when.currentTime
                    recorder.captured.add(_now(), captured, count, lead)
                    captured += count
                    callback(frames, count, when, status)

                super().__init__(*arguments, callback=recorded, **options)

        def recorded_blocks(microphone: Microphone) -> Iterator[Block]:
            recorder._microphone = microphone
            for block in plain_blocks(microphone):
                recorder.add_block(block)
                yield block

        sd.InputStream = RecordedStream
        Microphone.blocks = recorded_blocks  # type: ignore[method-assign, assignment]

    def add_block(self, block: Block) -> None:
        """Record a block of the microphone."""
        if not self._samples:
            (self._folder / LISTENING).touch()
        self.given.add(_now(), block.start, len(block.samples))
        self._samples.append(block.samples)
        self._end = block.end

    def save(self, cpu: float) -> None:
        """Write what was recorded; `cpu` is the processor's share during the take."""
        microphone = self._microphone
        np.savez(
            self._folder / LISTENER,
            captured=self.captured.rows(),
            given=self.given.rows(),
            known=self.known.rows(),
            sound=np.concatenate(self._samples) if self._samples else np.zeros(0, np.float32),
            cpu=cpu,
            realtime=hasattr(os, "SCHED_RR") and os.sched_getscheduler(0) == os.SCHED_RR,
            lost=microphone.lost if microphone else 0,
            overflows=microphone.overflows if microphone else 0,
        )


def run_recorded_take(
    folder: Path, plan: Plan, should_stop: ShouldStop, next_command: NextCommand
) -> Iterator[Event]:
    """Run a take in the listener's process, recorded to `folder` when it ends."""
    recorder = Recorder(folder)
    recorder.install()
    began, cpu_before = _now(), time.process_time()
    try:
        for event in run_take(plan, should_stop, next_command):
            if not isinstance(event, ReadingHeard):
                yield event
                continue
            reading, before = event.reading, _now()
            yield event
            onset = float(reading.onset is not None)
            recorder.known.add(before, _now(), reading.heard, reading.hz or 0.0, onset)
    finally:
        recorder.save((time.process_time() - cpu_before) / (_now() - began))


class RecordedListener(Listener):
    """The listener, recording when the app gets its events.

    Attributes:
        taken: readings: time, last sample heard.
        troubles: events of `TROUBLES`: time, index.
    """

    def __init__(self, folder: Path) -> None:
        super().__init__(partial(run_recorded_take, folder))
        self.taken, self.troubles = NumberTable(2), NumberTable(2)

    def poll(self) -> list[Event]:
        """Return the events since the last call."""
        events = super().poll()
        now = _now()
        for event in events:
            if isinstance(event, ReadingHeard):
                self.taken.add(now, event.reading.heard)
            elif isinstance(event, TROUBLES):
                self.troubles.add(now, TROUBLES.index(type(event)))
        return events


class RecordedApp(TrainerApp):
    """The app, recording what each frame showed.

    Attributes:
        frames: time before and after drawing, last sample heard, hole (negative for draw, 0 for
            none), cents, 1 while the pitch is pending, 1 if the frame is marked on the terminal.
    """

    CSS_PATH = str(Path(trainer.app.app.__file__).with_name("app.tcss"))

    def __init__(self, listener: Listener, plan: Plan) -> None:
        super().__init__(listener, (), plan)
        self.frames = NumberTable(7)

    def _display(self, screen: Any, renderable: Any) -> None:
        """Record a frame: the only place in Textual where one is complete."""
        before = _now()
        super()._display(screen, renderable)
        if renderable is None or self._batch_count:
            return
        take = self.session.take
        shown, reading = take.displayed, take.reading
        tab = shown.tab
        hole = 0
        if tab is not None and not shown.ended:
            hole = -tab.hole if tab.breath is Breath.DRAW else tab.hole
        self.frames.add(
            before,
            _now(),
            reading.heard if reading else 0,
            hole,
            np.nan if shown.whole_cents is None else shown.whole_cents,
            float(shown.pitch_pending),
            float(self._sync_available),
        )


def main(folder: Path) -> None:
    """Listen on the screen until the app is quit, then write what was recorded."""
    listener = RecordedListener(folder)
    app = RecordedApp(listener, Plan(Harp.of("C"), MicrophoneSpec(clicks=False)))
    began, cpu_before = _now(), time.process_time()
    try:
        app.run()
    finally:
        cpu = (time.process_time() - cpu_before) / (_now() - began)
        listener.close()
    np.savez(
        folder / APP,
        frames=app.frames.rows(),
        taken=listener.taken.rows(),
        troubles=listener.troubles.rows(),
        cpu=cpu,
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]))
