"""Requests to the listener's process, beside takes and between them."""

from __future__ import annotations

import os
import threading
import time
from dataclasses import dataclass
from typing import ClassVar

import pytest

from trainer.core import TrainerError
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import Event, Listener, Plan, ReadingHeard, TakeFinished
from trainer.sound import DeviceError, PlayerSpec

DRILL = find_drill("long-level-tones")


@dataclass(frozen=True)
class ProcessId:
    """A request that is answered at any time."""

    needs_idle: ClassVar[bool] = False

    def answer(self, *, idle: bool) -> tuple[int, bool]:
        return os.getpid(), idle


@dataclass(frozen=True)
class Quiet:
    """A request that waits for the end of a take."""

    needs_idle: ClassVar[bool] = True

    def answer(self, *, idle: bool) -> bool:
        return idle


@dataclass(frozen=True)
class Priorities:
    """A request for scheduler and niceness of the threads that share the interpreter's lock.

    Other systems than Linux do not report them.
    """

    needs_idle: ClassVar[bool] = False

    def answer(self, *, idle: bool) -> list[tuple[int, int]]:
        numbers = [thread.native_id or 0 for thread in threading.enumerate()]
        if not hasattr(os, "sched_getscheduler"):
            return [(0, 0)] * len(numbers)
        return [
            (os.sched_getscheduler(number), os.getpriority(os.PRIO_PROCESS, number))
            for number in numbers
        ]


@dataclass(frozen=True)
class Refused:
    """A request that fails."""

    error: Exception
    needs_idle: ClassVar[bool] = False

    def answer(self, *, idle: bool) -> None:
        raise self.error


def test_no_thread_of_the_listener_is_scheduled_after_the_ear() -> None:
    """One that holds the interpreter's lock while other programs run would keep the ear waiting."""
    listener = Listener()
    try:
        priorities = listener.request(Priorities()).result(20.0)
    finally:
        listener.close()
    assert len(priorities) > 1
    assert len(set(priorities)) == 1


def test_requests_are_answered_in_the_listeners_process_beside_takes() -> None:
    listener = Listener()
    try:
        process, idle = listener.request(ProcessId()).result(20.0)
        assert process != os.getpid()
        assert idle
        listener.begin(Plan(Harp.of("C"), PlayerSpec(realtime=True), drill=DRILL))
        waits = listener.request(Quiet())
        events: list[Event] = []
        deadline = time.monotonic() + 20.0
        while not any(isinstance(event, ReadingHeard) for event in events):
            assert time.monotonic() < deadline
            events += listener.poll()
        assert listener.request(ProcessId()).result(20.0) == (process, False)
        assert not waits.done()
        listener.stop()
        while not any(isinstance(event, TakeFinished) for event in events):
            assert time.monotonic() < deadline
            events += listener.poll()
        assert waits.result(20.0)
    finally:
        listener.close()


def test_a_failed_request_is_reported_to_whoever_asked_and_the_listener_lives_on() -> None:
    listener = Listener()
    try:
        with pytest.raises(DeviceError, match="no such input"):
            listener.request(Refused(DeviceError("no such input"))).result(20.0)
        with pytest.raises(TrainerError, match="ZeroDivisionError"):
            listener.request(Refused(ZeroDivisionError("1/0"))).result(20.0)
        assert listener.request(ProcessId()).result(20.0)[1]
    finally:
        listener.close()
    with pytest.raises(TrainerError, match="is closed"):
        listener.request(ProcessId()).result(20.0)
