"""Tests on a busy machine: they wait for an event instead of for a time, and real time may fail."""

from __future__ import annotations

import functools
import time
from collections.abc import Callable
from typing import ParamSpec

P = ParamSpec("P")

WITHIN_S = 90.0
"""Longest wait; far beyond what a busy machine needs."""
_POLL_S = 0.01
_TRIES = 4
"""Number of times that a test in real time may run."""


def wait_until(happened: Callable[[], object], what: str, within_s: float = WITHIN_S) -> None:
    """Wait until a condition holds.

    Raises:
        AssertionError: it does not hold in time; `what` names it.
    """
    end = time.monotonic() + within_s
    while not happened():
        assert time.monotonic() < end, f"{what} within {within_s:g} s"
        time.sleep(_POLL_S)


def in_real_time(test: Callable[P, None]) -> Callable[P, None]:
    """Repeat a test of sound in real time that fails, up to four times in all.

    A machine that is too busy for real time drops or delays sound now and then; a fault of the
    trainer is there each time.
    """

    @functools.wraps(test)
    def repeated(*args: P.args, **kwargs: P.kwargs) -> None:
        for attempt in range(1, _TRIES):
            try:
                return test(*args, **kwargs)
            except AssertionError as error:
                print(f"attempt {attempt}: {error}")
        return test(*args, **kwargs)

    return repeated
