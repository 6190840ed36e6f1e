"""The listener: takes run in a process of their own, apart from the screen.

Sound and ear share a process, because collecting the garbage of the screen's objects would hold
them up for tens of milliseconds. Orders go in through one pipe, events come out through a second,
written by the thread that analyses: another thread would wait for the interpreter's lock while
the ear works. Answers to requests come out through a third. The listener never waits for a slow
screen, see :class:`_Sender`.
"""

from __future__ import annotations

import contextlib
import gc
import itertools
import logging
import multiprocessing as mp
import os
import pickle
import shutil
import sys
import tempfile
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from ctypes import c_uint64
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, TypeVar

from trainer.core import TrainerError
from trainer.core.logs import log_folder, start_logging
from trainer.practice.commands import Command, NextCommand
from trainer.practice.event_log import logged
from trainer.practice.events import (
    Event,
    PassStarted,
    ReadingHeard,
    TakeFailed,
    TakeFinished,
    TakePaused,
)
from trainer.practice.plan import Plan
from trainer.practice.requests import Request
from trainer.practice.session import run_take

Answer = TypeVar("Answer")
TakeRunner = Callable[[Plan, Callable[[], bool], NextCommand], Iterator[Event]]
"""Runs one take in the listener's process: `run_take`, or a wrapper of it that measures."""

CLOSING_S = 3.0
"""Seconds that the process has to end before it is killed."""
MAX_EVENTS_PER_POLL = 400
"""Events taken in one poll: about two seconds of them, in case the screen was busy."""
MAX_BYTES_IN_FLIGHT = 8_000
"""Bytes sent that the screen has not yet taken; the pipe of every supported system holds more."""
MAX_QUEUED_EVENTS = 12_000
"""Events kept for a screen that does not poll, about a minute of them; later readings are
dropped."""
DRAIN_POLL_S = 0.002
PAUSE_DRAIN_S = 0.5
"""Seconds that the listener waits for the screen while no sound comes in."""
SWITCH_INTERVAL_S = 0.0005
"""Longest time that the audio callback waits for the interpreter's lock."""

_log = logging.getLogger(__name__)


class ListenerError(TrainerError):
    """The listener's process cannot be used."""


@dataclass(frozen=True, slots=True)
class _NumberedRequest:
    """A request with the number that its answer carries."""

    number: int
    request: Request[Any]


class Listener:
    """Runs takes in a process of its own.

    Must be made before a Textual app runs: the app replaces standard error, and no process can be
    started from inside it.

    Args:
        runner: runs each take in that process; must be picklable.
    """

    def __init__(self, runner: TakeRunner = run_take) -> None:
        context = mp.get_context("spawn")
        self._orders, their_orders = context.Pipe()
        self._events, their_events = context.Pipe(duplex=False)
        self._answers, their_answers = context.Pipe(duplex=False)
        self._bytes_taken = context.RawValue(c_uint64)
        self._process = context.Process(
            target=_serve,
            args=(
                their_orders,
                their_events,
                their_answers,
                self._bytes_taken,
                _log_path(),
                runner,
            ),
            daemon=True,
        )
        self._process.start()
        their_orders.close()
        their_events.close()
        their_answers.close()
        self._busy = False
        self._sending = threading.Lock()
        self._numbers = itertools.count()
        self._pending: dict[int, Future[Any]] = {}
        self._receiver: threading.Thread | None = None

    def begin(self, plan: Plan) -> None:
        """Start a take; none may be running.

        Raises:
            ListenerError: the process is gone.
        """
        self._send(plan)
        self._busy = True

    def poll(self) -> list[Event]:
        """Return the events since the last call, in order; the last of a take is `TakeFinished`."""
        events: list[Event] = []
        with contextlib.suppress(EOFError, OSError):
            while len(events) < MAX_EVENTS_PER_POLL and self._events.poll():
                sent = self._events.recv_bytes()
                self._bytes_taken.value += len(sent)
                events.append(pickle.loads(sent))
        if not events and self._busy and not self._process.is_alive():
            events = [
                TakeFailed(f"the listener has stopped; {_log_path()} may show why"),
                TakeFinished(),
            ]
        if any(isinstance(event, TakeFinished) for event in events):
            self._busy = False
        return events

    def ask(self, command: Command) -> None:
        """Send a command to the running take; ignored where none runs."""
        with contextlib.suppress(ListenerError):
            self._send(command)

    def request(self, request: Request[Answer]) -> Future[Answer]:
        """Put a request, which is answered in its turn. May be called from any thread.

        Requests are taken up in the order of all orders; one that needs the process to be idle
        waits for the end of the running take.

        Returns:
            The answer. It raises the request's own `TrainerError`, or `ListenerError` where the
            process is gone.
        """
        answer: Future[Answer] = Future()
        number = next(self._numbers)
        self._pending[number] = answer
        try:
            self._send(_NumberedRequest(number, request))
        except ListenerError as error:
            del self._pending[number]
            answer.set_exception(error)
            return answer
        if self._receiver is None:
            self._receiver = threading.Thread(target=self._receive_answers, daemon=True)
            self._receiver.start()
        return answer

    def stop(self) -> None:
        """End the running take soon; its last events still come through `poll`."""
        with contextlib.suppress(ListenerError):
            self._send(None)

    def close(self) -> None:
        """End the process; a running take is stopped and saved first."""
        self.stop()
        self._orders.close()
        self._events.close()
        self._process.join(CLOSING_S)
        if self._process.is_alive():
            self._process.kill()

    def _send(self, order: Plan | Command | _NumberedRequest | None) -> None:
        try:
            with self._sending:
                self._orders.send(order)
        except OSError as error:
            raise ListenerError(
                f"the listener has stopped ({error}); start the trainer again"
            ) from error

    def _receive_answers(self) -> None:
        """Resolve pending answers until the process is gone."""
        with contextlib.suppress(EOFError, OSError):
            while True:
                number, answer, error = self._answers.recv()
                pending = self._pending.pop(number)
                if error is None:
                    pending.set_result(answer)
                else:
                    pending.set_exception(error)
        while self._pending:
            _, pending = self._pending.popitem()
            pending.set_exception(
                ListenerError(f"the listener has stopped; {_log_path()} may show why")
            )


class _Sender:
    """Events on their way to the screen.

    The bytes in flight stay below what a pipe holds, by the screen's own count of what it has
    taken. So sending never blocks, whatever the system; the rest is queued here until there is
    room. Only an event larger than a pipe blocks, until the screen polls next.
    """

    def __init__(self, pipe: Connection, bytes_taken: c_uint64) -> None:
        self._pipe, self._bytes_taken = pipe, bytes_taken
        self._bytes_sent = 0
        self._queue: deque[bytes] = deque()

    def send(self, event: Event) -> None:
        """Send an event, now or as soon as there is room."""
        if len(self._queue) < MAX_QUEUED_EVENTS or not isinstance(event, ReadingHeard):
            self._queue.append(pickle.dumps(event, pickle.HIGHEST_PROTOCOL))
        self.flush()

    def flush(self) -> bool:
        """Send events while there is room; return whether all were sent.

        If the screen is gone, events are dropped.
        """
        while self._queue:
            in_flight = self._bytes_sent - self._bytes_taken.value
            if in_flight and in_flight + len(self._queue[0]) > MAX_BYTES_IN_FLIGHT:
                return False
            event = self._queue.popleft()
            self._bytes_sent += len(event)
            with contextlib.suppress(OSError):
                self._pipe.send_bytes(event)
        return True

    def drain(self, within_s: float) -> bool:
        """Wait for up to `within_s` seconds until everything is sent; return whether it is."""
        until = time.monotonic() + within_s
        while not (done := self.flush()) and time.monotonic() < until:
            time.sleep(DRAIN_POLL_S)
        return done


def _log_path() -> Path:
    return log_folder() / "listener.log"


def _serve(
    orders_pipe: Connection,
    events: Connection,
    answers: Connection,
    bytes_taken: c_uint64,
    log: Path,
    runner: TakeRunner,
) -> None:
    """The process: runs one take after another, and answers requests, until the pipe is closed."""
    import signal

    # Ctrl-C is the screen's business: it stops the take and closes the pipe.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _redirect_standard_error(log)
    _raise_priority()
    start_logging("trainer-listener", console=False)
    _log.info("listener started, process %d", os.getpid())
    sender = _Sender(events, bytes_taken)
    scratch = Path(tempfile.mkdtemp(prefix="heard-"))
    orders = _Orders(orders_pipe, answers)

    def should_stop() -> bool:
        sender.flush()  # while a microphone is lost nothing else is sent
        return orders.should_stop()

    try:
        while True:
            plan = orders.wait_for_plan()
            for event in logged(
                runner(replace(plan, scratch=scratch), should_stop, orders.next_command)
            ):
                sender.send(event)
                if isinstance(event, TakePaused):
                    sender.drain(PAUSE_DRAIN_S)  # reopening the microphone may take seconds
                if isinstance(event, PassStarted):
                    gc.freeze()  # what exists by now stays; the collector need not visit it
            while not sender.drain(DRAIN_POLL_S):
                orders.drop_late()
    except EOFError:
        _log.info("listener ended")
    except Exception:
        _log.exception("listener failed")
        raise
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _raise_priority() -> None:
    """Get scheduled before other programs, where the system allows it; later threads inherit it."""
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
    except (AttributeError, OSError):  # not on this system, or not for this user
        with contextlib.suppress(AttributeError, OSError):
            os.nice(-5)


class _Orders:
    """The orders to the process; a closed pipe ends the running take.

    Args:
        pipe: where plans, commands, requests and stops (None) come from.
        answers: where the answers to requests go.
    """

    def __init__(self, pipe: Connection, answers: Connection) -> None:
        self._pipe, self._answers = pipe, answers
        self._commands: deque[Command] = deque()
        self._waiting: deque[_NumberedRequest] = deque()
        self._stop = False

    def wait_for_plan(self) -> Plan:
        """Wait for the next take, and answer requests meanwhile.

        Raises:
            EOFError: the pipe was closed.
        """
        while True:
            while self._waiting:
                self._answer(self._waiting.popleft(), idle=True)
            order = self._pipe.recv()
            if isinstance(order, _NumberedRequest):
                self._answer(order, idle=True)
            elif isinstance(order, Plan):
                self._commands.clear()
                self._stop = False
                return order
            # Anything else was meant for a take that has ended.

    def should_stop(self) -> bool:
        """Whether the running take must end."""
        self._read()
        return self._stop

    def next_command(self) -> Command | None:
        """Return the next command to the running take, if any."""
        self._read()
        return self._commands.popleft() if self._commands else None

    def drop_late(self) -> None:
        """Drop what was meant for the take that has just ended, and keep requests.

        Raises:
            EOFError: the pipe was closed.
        """
        if self._pipe.poll():
            order = self._pipe.recv()
            if isinstance(order, _NumberedRequest):
                self._waiting.append(order)

    def _read(self) -> None:
        try:
            while not self._stop and self._pipe.poll():
                order = self._pipe.recv()
                if order is None:
                    self._stop = True
                elif not isinstance(order, _NumberedRequest):
                    self._commands.append(order)
                elif order.request.needs_idle:
                    self._waiting.append(order)
                else:
                    self._answer(order, idle=False)
        except EOFError:
            self._stop = True

    def _answer(self, order: _NumberedRequest, *, idle: bool) -> None:
        answer, error = None, None
        try:
            answer = order.request.answer(idle=idle)
        except TrainerError as failure:
            error = failure
        except Exception as failure:  # the process must outlive any request
            _log.exception("request %r failed", order.request)
            error = ListenerError(f"{type(failure).__name__}: {failure}")
        with contextlib.suppress(OSError):
            self._answers.send((order.number, answer, error))


def _redirect_standard_error(log: Path) -> None:
    """Send what sound libraries write to standard error into a log: the screen is drawn there."""
    try:
        log.parent.mkdir(parents=True, exist_ok=True)
        target = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    except OSError:
        target = os.open(os.devnull, os.O_WRONLY)
    os.dup2(target, 2)
    sys.stderr = os.fdopen(target, "w", buffering=1)
