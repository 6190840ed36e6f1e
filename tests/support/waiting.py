"""Wait for an event instead of for a time, so that a busy machine only takes longer."""

from __future__ import annotations

import time
from collections.abc import Callable

WITHIN_S = 90.0
"""Longest wait; far beyond what a busy machine needs."""
_POLL_S = 0.01


def wait_until(happened: Callable[[], object], what: str, within_s: float = WITHIN_S) -> None:
    """Wait until a condition holds.

    Raises:
        AssertionError: it does not hold in time; `what` names it.
    """
    end = time.monotonic() + within_s
    while not happened():
        assert time.monotonic() < end, f"{what} within {within_s:g} s"
        time.sleep(_POLL_S)
