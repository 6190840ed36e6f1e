"""Keep library output off the terminal, and turn Ctrl-C into a request to stop."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Callable, Iterator
from types import FrameType


@contextlib.contextmanager
def silence_libraries() -> Iterator[None]:
    """Drop what PortAudio and the libraries below it write to standard error.

    They write to the file descriptor, from their own threads, too. Python's ``sys.stderr`` keeps
    working. With ``TRAINER_DEBUG`` set, nothing is dropped.
    """
    if os.environ.get("TRAINER_DEBUG"):
        yield
        return
    null = os.open(os.devnull, os.O_WRONLY)
    with (
        os.fdopen(os.dup(2), "w", buffering=1, errors="backslashreplace") as ours,
        contextlib.redirect_stderr(ours),
    ):
        os.dup2(null, 2)
        os.close(null)
        try:
            yield
        finally:
            os.dup2(ours.fileno(), 2)


@contextlib.contextmanager
def catch_interrupts() -> Iterator[Callable[[], bool]]:
    """Yield a function that returns whether Ctrl-C was pressed; no exception is raised meanwhile.

    A KeyboardInterrupt while a device is being opened would leave it open, and the program would
    wait for it at exit.
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
