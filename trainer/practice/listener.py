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
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from ctypes import c_double, c_uint64
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, TypeVar

from trainer.core import TrainerError
from trainer.core.logs import log_folder, start_logging
from trainer.core.system import leave_signals_to_the_screen, raise_priority
from trainer.practice.commands import Command, NextCommand, ShouldStop, StopRequest
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
from trainer.practice.scratch import scratch_folder
from trainer.practice.session import run_take

Answer = TypeVar("Answer")
TakeRunner = Callable[[Plan, ShouldStop, NextCommand], Iterator[Event]]
"""Runs one take in the listener's process: `run_take`, or a wrapper of it that measures."""

CLOSING_S = 5.0
"""Seconds without progress after which a process that has to end is killed. Chosen."""
PROGRESS_S = 0.05
"""Seconds of processor time that count as progress: an idle process takes less in `CLOSING_S`."""
CLOSING_POLL_S = 0.02
HEARTBEAT_S = 0.2
"""Seconds between two notes of the processor time that the process has used."""
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
    """Runs takes in a process of its own, and starts another where that one has died.

    Must be made before a Textual app runs: the app replaces standard error, and the first process
    cannot be started from inside it.

    Args:
        runner: runs each take in that process; must be picklable.
    """

    def __init__(self, runner: TakeRunner = run_take) -> None:
        self._runner = runner
        self._process = _Process(runner)
        self._busy = self._closed = False
        self._unstarted: Plan | None = None
        self._reviving = threading.Lock()

    def begin(self, plan: Plan) -> None:
        """Start a take; none may be running.

        A process that ends before the take's first event, for instance because it was terminated
        just now, is replaced once.

        Raises:
            ListenerError: no process can be started.
        """
        self._revive()
        self._busy, self._unstarted = True, plan
        with contextlib.suppress(ListenerError):  # `poll` notices
            self._process.send(plan)

    def poll(self) -> list[Event]:
        """Return the events since the last call, in order; the last of a take is `TakeFinished`."""
        alive = self._process.is_alive()  # asked first: what it sent last comes before its end
        events = self._process.received()
        if events:
            self._unstarted = None
        elif self._busy and not alive and not self._restart():
            events = [
                TakeFailed(
                    "the listener has stopped, and a new one starts: play again; the journal has "
                    f"the steps that were marked; {_log_path()} may show why"
                ),
                TakeFinished(),
            ]
            with contextlib.suppress(ListenerError):
                self._revive()
        if any(isinstance(event, TakeFinished) for event in events):
            self._busy = False
        return events

    def ask(self, command: Command) -> None:
        """Send a command to the running take; ignored where none runs."""
        with contextlib.suppress(ListenerError):
            self._process.send(command)

    def request(self, request: Request[Answer]) -> Future[Answer]:
        """Put a request, which is answered in its turn. May be called from any thread.

        Requests are taken up in the order of all orders; one that needs the process to be idle
        waits for the end of the running take.

        Returns:
            The answer. It raises the request's own `TrainerError`, or `ListenerError` where the
            process is gone.
        """
        if not self._busy:
            try:
                self._revive()
            except ListenerError as error:
                refused: Future[Answer] = Future()
                refused.set_exception(error)
                return refused
        return self._process.request(request)

    def stop(self) -> None:
        """End the running take soon; its last events still come through `poll`."""
        self._unstarted = None
        with contextlib.suppress(ListenerError):
            self._process.send(None)

    def close(self, show: Callable[[Event], None] = lambda event: None) -> None:
        """End the process; a running take is stopped and saved first, however long that takes.

        A process that neither works nor reports anything for `CLOSING_S` is killed.

        Args:
            show: called with each event that comes meanwhile.
        """
        self._closed = True
        self._process.close(show)

    def give_up(self) -> None:
        """Kill the process; what it was saving stays incomplete. May be called by a signal."""
        self._process.kill()

    def _restart(self) -> bool:
        """Start a take again, once, whose process ended before its first event.

        Returns:
            Whether it was.
        """
        plan, self._unstarted = self._unstarted, None
        if plan is None:
            return False
        with contextlib.suppress(ListenerError):
            self._revive()
            self._process.send(plan)
            return True
        return False

    def _revive(self) -> None:
        """Start a new process where the last one is gone.

        Raises:
            ListenerError: it cannot be started.
        """
        with self._reviving:
            if self._closed:
                raise ListenerError("the listener is closed; start the trainer again")
            if self._process.is_alive():
                return
            self._process.close()
            try:
                self._process = _Process(self._runner)
            except (OSError, ValueError) as error:
                raise ListenerError(
                    f"the listener has stopped and cannot be started ({error}); start the trainer "
                    "again"
                ) from error


class _Process:
    """One process of the listener, with its pipes.

    Raises:
        OSError, ValueError: it cannot be started.
    """

    def __init__(self, runner: TakeRunner) -> None:
        context = mp.get_context("spawn")
        self._orders, their_orders = context.Pipe()
        self._events, their_events = context.Pipe(duplex=False)
        self._answers, their_answers = context.Pipe(duplex=False)
        self._bytes_taken = context.RawValue(c_uint64)
        self._worked_s = context.RawValue(c_double)
        self._process = context.Process(
            target=_serve,
            args=(
                their_orders,
                their_events,
                their_answers,
                self._bytes_taken,
                self._worked_s,
                _log_path(),
                runner,
            ),
            daemon=True,
        )
        with contextlib.redirect_stderr(sys.__stderr__):  # an app's has no descriptor to inherit
            self._process.start()
        their_orders.close()
        their_events.close()
        their_answers.close()
        self._sending = threading.Lock()
        self._numbers = itertools.count()
        self._pending: dict[int, Future[Any]] = {}
        self._receiver: threading.Thread | None = None

    def is_alive(self) -> bool:
        """Whether the process runs."""
        return self._process.is_alive()

    def kill(self) -> None:
        """End the process at once."""
        self._process.kill()

    def received(self) -> list[Event]:
        """Return the events that have come, in order, up to `MAX_EVENTS_PER_POLL`."""
        events: list[Event] = []
        with contextlib.suppress(EOFError, OSError):
            while len(events) < MAX_EVENTS_PER_POLL and self._events.poll():
                sent = self._events.recv_bytes()
                self._bytes_taken.value += len(sent)
                events.append(pickle.loads(sent))
        return events

    def send(self, order: Plan | Command | _NumberedRequest | None) -> None:
        """Send an order.

        Raises:
            ListenerError: the process is gone.
        """
        try:
            with self._sending:
                self._orders.send(order)
        except OSError as error:
            raise ListenerError(
                f"the listener has stopped ({error}); start the trainer again"
            ) from error

    def request(self, request: Request[Answer]) -> Future[Answer]:
        """Send a request; return its pending answer."""
        answer: Future[Answer] = Future()
        number = next(self._numbers)
        self._pending[number] = answer
        try:
            self.send(_NumberedRequest(number, request))
        except ListenerError as error:
            del self._pending[number]
            answer.set_exception(error)
            return answer
        if self._receiver is None:
            self._receiver = threading.Thread(target=self._receive_answers, daemon=True)
            self._receiver.start()
        return answer

    def close(self, show: Callable[[Event], None] = lambda event: None) -> None:
        """End the process; see :meth:`Listener.close`. May be called twice."""
        self._orders.close()
        worked_s = self._worked_s.value
        patient_until = time.monotonic() + CLOSING_S
        while self._process.is_alive():
            events = self.received()
            for event in events:
                show(event)
            if events or self._worked_s.value > worked_s + PROGRESS_S:
                worked_s = self._worked_s.value
                patient_until = time.monotonic() + CLOSING_S
            elif time.monotonic() > patient_until:
                _log.error("the listener does not end; it is killed")
                self.kill()
            self._process.join(CLOSING_POLL_S)
        while events := self.received():  # what it sent last, before it ended
            for event in events:
                show(event)
        self._events.close()

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
    worked_s: c_double,
    log: Path,
    runner: TakeRunner,
) -> None:
    """The process: runs one take after another, and answers requests, until the pipe is closed."""
    # Before any thread: one of lower priority that holds the interpreter's lock, while other
    # programs run, would keep the ear waiting for seconds.
    raise_priority()
    threading.Thread(target=_note_work, args=(worked_s,), daemon=True).start()
    _redirect_standard_error(log)
    sys.setswitchinterval(SWITCH_INTERVAL_S)
    start_logging("trainer-listener", console=False)
    _log.info("listener started, process %d", os.getpid())
    sender = _Sender(events, bytes_taken)
    orders = _Orders(orders_pipe, answers)
    leave_signals_to_the_screen(orders.terminate)

    def should_stop() -> StopRequest | bool:
        sender.flush()  # while a microphone is lost nothing else is sent
        return orders.should_stop()

    try:
        with scratch_folder() as scratch:
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
    except (EOFError, ConnectionError):
        _log.info("listener ended")
    except Exception:
        _log.exception("listener failed")
        raise


def _note_work(worked_s: c_double) -> None:
    """Note the processor time that the process has used, again and again."""
    while True:
        worked_s.value = time.process_time()
        time.sleep(HEARTBEAT_S)


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
        self._stop: StopRequest | None = None
        self._terminated = self._idle = False

    def terminate(self) -> None:
        """End the running take, and then the process; called by a handler of signals.

        Raises:
            EOFError: the process waits for orders; it must end at once.
        """
        self._terminated = True
        if self._idle:
            raise EOFError

    def wait_for_plan(self) -> Plan:
        """Wait for the next take, and answer requests meanwhile.

        Raises:
            EOFError: the pipe was closed.
        """
        while True:
            while self._waiting:
                self._answer(self._waiting.popleft(), idle=True)
            order = self._receive()
            if isinstance(order, _NumberedRequest):
                self._answer(order, idle=True)
            elif isinstance(order, Plan):
                self._commands.clear()
                self._stop = None
                return order
            # Anything else was meant for a take that has ended.

    def _receive(self) -> object:
        """Wait for an order.

        Raises:
            EOFError: the pipe was closed, or the process must end.
        """
        self._idle = True
        try:
            if self._terminated:
                raise EOFError
            return self._pipe.recv()
        finally:
            self._idle = False

    def should_stop(self) -> StopRequest | bool:
        """Whether the running take must end, and who wants it."""
        self._read()
        if self._terminated and self._stop is None:
            self._stop = StopRequest.OUTSIDE
        return self._stop or False

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
                    self._stop = StopRequest.PLAYER
                elif not isinstance(order, _NumberedRequest):
                    self._commands.append(order)
                elif order.request.needs_idle:
                    self._waiting.append(order)
                else:
                    self._answer(order, idle=False)
        except (EOFError, OSError):  # the screen has ended, or has been killed
            self._stop = StopRequest.OUTSIDE

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
