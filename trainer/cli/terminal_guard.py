"""Keeping the terminal for the trainer's own words, and Ctrl-C for the player's wish to stop."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def silence_libraries() -> Iterator[None]:
    """Drop what PortAudio and the libraries under it write to standard error by themselves.

    They write to the file descriptor, also from threads of their own; Python's standard error
    stays. With TRAINER_DEBUG set, nothing is dropped.
    """
    if os.environ.get("TRAINER_DEBUG"):
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    with (
        os.fdopen(os.dup(2), "w", buffering=1, errors="backslashreplace") as ours,
        contextlib.redirect_stderr(ours),
    ):
        os.dup2(nowhere, 2)
        os.close(nowhere)
        try:
            yield
        finally:
            os.dup2(ours.fileno(), 2)


@contextlib.contextmanager
def catch_interrupts() -> Iterator[Callable[[], bool]]:
    """Whether Ctrl-C was pressed, instead of its ending the program.

    An exception may come in the middle of opening a device, which nobody closes then, and the
    program waits for it at its end.
    """
    pressed = False

    def press(number: int, frame: FrameType | None) -> None:
        nonlocal pressed
        pressed = True

    before = signal.signal(signal.SIGINT, press)
    try:
        yield lambda: pressed
    finally:
        signal.signal(signal.SIGINT, before)
