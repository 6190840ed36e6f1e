"""The listener: takes played in a process of their own, apart from the screen.

Sound and ear share a process, because the screen's collector of garbage would hold them up for
tens of milliseconds. Plans go in through one pipe, events come out through another, written by
the thread that hears: another thread would have to wait for the interpreter's lock while the ear
works. The listener never waits for a slow screen, see :class:`_Sender`.
"""

from __future__ import annotations

import contextlib
import gc
import logging
import multiprocessing as mp
import os
import pickle
import shutil
import sys
import tempfile
import time
from collections import deque
from ctypes import c_uint64
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

from trainer.core import TrainerError
from trainer.core.logs import log_folder, start_logging
from trainer.practice.commands import Command
from trainer.practice.events import (
    Event,
    PassStarted,
    ReadingHeard,
    TakeFailed,
    TakeFinished,
    TakePaused,
)
from trainer.practice.plan import Plan
from trainer.practice.take import run_take

CLOSING_S = 3.0
MOST_AT_ONCE = 400
"""Events taken in one poll: two seconds' worth, should the screen have been away."""
UNDER_WAY = 8_000
"""So many bytes fit into any system's pipe; no more are sent than the screen has taken."""
MOST_KEPT = 12_000
"""Events kept for a screen that is away, a minute's worth; readings after that are dropped."""
DRAIN_S = 0.002
PAUSED_S = 0.5
"""So long the listener waits for the screen where there is nothing to hear meanwhile."""
SWITCH_S = 0.0005
"""How long the audio callback waits for the interpreter's lock at most."""

_log = logging.getLogger(__name__)


class ListenerError(TrainerError):
    """The listener's process cannot be used."""


class Listener:
    """Plays plans in a process of its own.

    To be made before a Textual app runs: the app replaces standard error, and a process cannot
    be started from inside it.
    """

    def __init__(self) -> None:
        context = mp.get_context("spawn")
        self._plans, their_plans = context.Pipe()
        self._events, their_events = context.Pipe(duplex=False)
        self._taken = context.RawValue(c_uint64)
        self._process = context.Process(
            target=_serve,
            args=(their_plans, their_events, self._taken, _log_path()),
            daemon=True,
        )
        self._process.start()
        their_plans.close()
        their_events.close()
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
        """The events since the last call, in order; the last of a take is `TakeFinished`."""
        events: list[Event] = []
        with contextlib.suppress(EOFError, OSError):
            while len(events) < MOST_AT_ONCE and self._events.poll():
                sent = self._events.recv_bytes()
                self._taken.value += len(sent)
                events.append(pickle.loads(sent))
        if not events and self._busy and not self._process.is_alive():
            events = [
                TakeFailed(f"the listener has stopped; {_log_path()} may say why"),
                TakeFinished(),
            ]
        if any(isinstance(event, TakeFinished) for event in events):
            self._busy = False
        return events

    def ask(self, command: Command) -> None:
        """Ask something of the running take; nothing happens where none runs."""
        with contextlib.suppress(OSError):
            self._plans.send(command)

    def stop(self) -> None:
        """End the running take soon; its last events still come through `poll`."""
        with contextlib.suppress(OSError):
            self._plans.send(None)

    def close(self) -> None:
        """End the process; a take that runs is stopped and saved first."""
        self.stop()
        self._plans.close()
        self._events.close()
        self._process.join(CLOSING_S)
        if self._process.is_alive():
            self._process.kill()


class _Sender:
    """Events on their way to the screen.

    What is under way is kept under what a pipe holds, by the screen's own count of the bytes it
    has taken, so that sending does not wait, whatever the system; the rest stays here until
    there is room. Only an event that is larger than a pipe waits, until the screen next polls.
    """

    def __init__(self, pipe: Connection, taken: c_uint64) -> None:
        self._pipe, self._taken = pipe, taken
        self._sent = 0
        self._kept: deque[bytes] = deque()

    def send(self, event: Event) -> None:
        """Send an event, now or as soon as there is room."""
        if len(self._kept) < MOST_KEPT or not isinstance(event, ReadingHeard):
            self._kept.append(pickle.dumps(event, pickle.HIGHEST_PROTOCOL))
        self.flush()

    def flush(self) -> bool:
        """Send what there is room for; whether that was all. A screen that is gone takes all."""
        while self._kept:
            under_way = self._sent - self._taken.value
            if under_way and under_way + len(self._kept[0]) > UNDER_WAY:
                return False
            event = self._kept.popleft()
            self._sent += len(event)
            with contextlib.suppress(OSError):
                self._pipe.send_bytes(event)
        return True

    def drain(self, within_s: float) -> bool:
        """Wait until all is sent, but no longer than that; whether it is."""
        until = time.monotonic() + within_s
        while not (done := self.flush()) and time.monotonic() < until:
            time.sleep(DRAIN_S)
        return done


def _log_path() -> Path:
    return log_folder() / "listener.log"


def _serve(plans: Connection, events: Connection, taken: c_uint64, log: Path) -> None:
    """The process: plays one plan after another until the pipe is closed."""
    import signal

    # The screen's Ctrl-C is the screen's: it stops the take and closes the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _keep_noise_off_the_screen(log)
    _be_prompt()
    start_logging("trainer-listener", console=False)
    _log.info("listener started, process %d", os.getpid())
    sender = _Sender(events, taken)
    scratch = Path(tempfile.mkdtemp(prefix="heard-"))

    orders = _Orders(plans)

    def stopping() -> bool:
        sender.flush()  # while a microphone is away nothing more is sent
        return orders.stop

    try:
        while True:
            plan = plans.recv()
            if not isinstance(plan, Plan):
                continue  # asked of a take that had come to its end
            orders.begin()
            for event in run_take(replace(plan, scratch=scratch), stopping, orders.asked):
                sender.send(event)
                if isinstance(event, TakePaused):
                    sender.drain(PAUSED_S)  # to open it again may take seconds
                if isinstance(event, PassStarted):
                    gc.freeze()  # what is there by now stays; the collector need not walk it
            while not sender.drain(DRAIN_S):
                if plans.poll():
                    plans.recv()  # asked too late; or the screen is gone, and this raises
    except EOFError:
        _log.info("listener ended")
    except Exception:
        _log.exception("listener failed")
        raise
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _be_prompt() -> None:
    """Be served before other programs, where the system allows it; threads to come are too."""
    sys.setswitchinterval(SWITCH_S)
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
    except (AttributeError, OSError):  # not this system, or not this user
        with contextlib.suppress(AttributeError, OSError):
            os.nice(-5)


class _Orders:
    """What is asked of the take that runs; a closed pipe ends it."""

    def __init__(self, plans: Connection) -> None:
        self._plans = plans
        self.begin()

    def begin(self) -> None:
        """Forget what was asked of the take before."""
        self._commands: deque[Command] = deque()
        self._stop = False

    @property
    def stop(self) -> bool:
        """Whether the take is to end."""
        self._read()
        return self._stop

    def asked(self) -> Command | None:
        """What is asked for next, if anything."""
        self._read()
        return self._commands.popleft() if self._commands else None

    def _read(self) -> None:
        try:
            while not self._stop and self._plans.poll():
                order = self._plans.recv()
                if order is None:
                    self._stop = True
                else:
                    self._commands.append(order)
        except EOFError:
            self._stop = True


def _keep_noise_off_the_screen(log: Path) -> None:
    """Send what sound libraries write to standard error into a log: the screen is drawn there."""
    try:
        log.parent.mkdir(parents=True, exist_ok=True)
        target = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    except OSError:
        target = os.open(os.devnull, os.O_WRONLY)
    os.dup2(target, 2)
    sys.stderr = os.fdopen(target, "w", buffering=1)
