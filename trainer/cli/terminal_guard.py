"""Keep library output off the terminal, and turn signals into requests to stop."""

from __future__ import annotations

import contextlib
import os
import signal
from collections.abc import Callable, Iterator
from types import FrameType
from typing import TYPE_CHECKING

import typer

from trainer.core.system import ENDING_SIGNALS, handle_signals

if TYPE_CHECKING:
    from trainer.practice import StopRequest

SIGNAL_EXIT = 128
"""Exit code of a program that a signal has ended, less the signal's number: a convention of
shells."""


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
def catch_interrupts() -> Iterator[Callable[[], StopRequest | bool]]:
    """Yield a function that returns whether a signal wants the end; none raises meanwhile.

    Ctrl-C is the player's wish; other signals come from outside. An exception while a
    device is being opened would leave it open, and the program would wait for it at exit.

    Raises:
        typer.Exit: at the end of the block, where a signal came from outside; an error in writing
            to a terminal that is gone is no error then.
    """
    ended_by: int | None = None

    def note(number: int, frame: FrameType | None) -> None:
        nonlocal ended_by
        if ended_by in (None, signal.SIGINT):
            ended_by = number

    def request() -> StopRequest | bool:
        if ended_by is None:
            return False
        from trainer.practice import StopRequest  # loads numpy, which most commands do without

        return StopRequest.PLAYER if ended_by == signal.SIGINT else StopRequest.OUTSIDE

    with handle_signals(note, signal.SIGINT, *ENDING_SIGNALS):
        try:
            yield request
        except OSError:
            if ended_by in (None, signal.SIGINT):
                raise
    if ended_by is not None and ended_by != signal.SIGINT:
        raise typer.Exit(SIGNAL_EXIT + ended_by)
