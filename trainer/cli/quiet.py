"""Keeping the terminal for the trainer's own words."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator


@contextlib.contextmanager
def quiet_libraries() -> Iterator[None]:
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
