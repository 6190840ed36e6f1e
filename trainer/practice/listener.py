"""The listener: takes played in a process of their own, apart from the screen.

Sound and ear share a process, because the screen's collector of garbage would hold them up for
tens of milliseconds. Plans go in through a pipe, events come out through a queue with a thread of
its own, so that the listener never waits for a slow screen.
"""

from __future__ import annotations

import contextlib
import gc
import multiprocessing as mp
import os
import queue
import sys
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from trainer.music import TrainerError
from trainer.practice.events import Event, Failed, Finished
from trainer.practice.plan import Plan
from trainer.practice.take import run

if TYPE_CHECKING:
    from multiprocessing.queues import Queue

Play = Callable[[Plan, Callable[[], bool]], Iterator[Event]]
"""What plays a plan, as :func:`trainer.practice.run` does."""
Serve = Callable[[Connection, "Queue[Event]", Path], None]
"""What the process does with the pipe of plans, the queue of events and the path of its log."""

CLOSING_S = 3.0
MOST_AT_ONCE = 400
"""Events taken in one poll: two seconds' worth, should the screen have been away."""
SWITCH_S = 0.0005
"""So soon a waiting thread gets its turn."""
URGENCY = -10
"""Nice value that is asked for; only some systems and players grant it."""


class ListenerError(TrainerError):
    """The listener's process cannot be used."""


class Listener:
    """Plays plans in a process of its own.

    To be made before a Textual app runs: the app replaces standard error, and a process cannot
    be started from inside it.
    """

    def __init__(self, serve: Serve | None = None) -> None:
        """Start the process; `serve` takes the place of what it does, to measure it."""
        context = mp.get_context("spawn")
        self._events: Queue[Event] = context.Queue()
        self._plans, theirs = context.Pipe()
        self._process = context.Process(
            target=serve or _serve, args=(theirs, self._events, _log_path()), daemon=True
        )
        self._process.start()
        theirs.close()
        self._busy = False

    def begin(self, plan: Plan) -> None:
        """Start a take; none may be running.

        Raises:
            ListenerError: the process is gone.
        """
        try:
            self._plans.send(plan)
        except OSError as error:
            raise ListenerError(
                f"the listener has stopped ({error}); start the trainer again"
            ) from error
        self._busy = True

    def poll(self) -> list[Event]:
        """The events since the last call, in order; the last of a take is `Finished`."""
        events: list[Event] = []
        with contextlib.suppress(queue.Empty):
            while len(events) < MOST_AT_ONCE:
                events.append(self._events.get_nowait())
        if not events and self._busy and not self._process.is_alive():
            events = [
                Failed(f"the listener has stopped; {_log_path()} may say why"),
                Finished(),
            ]
        if any(isinstance(event, Finished) for event in events):
            self._busy = False
        return events

    def stop(self) -> None:
        """End the running take soon; its last events still come through `poll`."""
        with contextlib.suppress(OSError):
            self._plans.send(None)

    def close(self) -> None:
        """End the process; a take that runs is stopped and saved first."""
        self.stop()
        self._plans.close()
        self._process.join(CLOSING_S)
        if self._process.is_alive():
            self._process.kill()
        self._events.close()
        self._events.cancel_join_thread()


def _log_path() -> Path:
    return Path(platformdirs.user_log_dir("trainer", appauthor=False)) / "listener.log"


def _serve(plans: Connection, events: Queue[Event], log: Path) -> None:
    """The process: plays one plan after another until the pipe is closed."""
    serve(plans, events, log, run)


def serve(plans: Connection, events: Queue[Event], log: Path, play: Play) -> None:
    """Play plans by `play` until the pipe is closed."""
    import signal

    # The screen's Ctrl-C is the screen's: it stops the take and closes the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _keep_noise_off_the_screen(log)
    _hurry()
    try:
        while True:
            plan = plans.recv()
            if plan is None:
                continue  # a stop that came after the take's own end
            for event in play(plan, lambda: _stop_asked(plans)):
                events.put(event)
    except EOFError:
        pass


def _hurry() -> None:
    """Let sound go before everything else in this process, and this process before others.

    The collector would walk all that was imported again and again; the thread that sends events
    would wait five milliseconds for its turn; and where the system allows it, what listens is
    more urgent than what draws.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
    sys.setswitchinterval(SWITCH_S)
    with contextlib.suppress(AttributeError, OSError):
        os.setpriority(os.PRIO_PROCESS, 0, URGENCY)


def _stop_asked(plans: Connection) -> bool:
    """Whether a stop has come; a closed pipe is one too."""
    try:
        if not plans.poll():
            return False
        plans.recv()
    except EOFError:
        pass
    return True


def _keep_noise_off_the_screen(log: Path) -> None:
    """Send what sound libraries write to standard error into a log: the screen is drawn there."""
    try:
        log.parent.mkdir(parents=True, exist_ok=True)
        target = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    except OSError:
        target = os.open(os.devnull, os.O_WRONLY)
    os.dup2(target, 2)
    sys.stderr = os.fdopen(target, "w", buffering=1)
