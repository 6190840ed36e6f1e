"""Processes that begin at once: copies of one that has loaded everything.

Most of a process's life would be its start, if it only lives to be killed. A copy closes the files
that a fresh process would not have. Linux only.
"""

from __future__ import annotations

import multiprocessing as mp
import os
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

POLL_S = 0.005


class Forked:
    """A copy of this process that runs a function; as a `subprocess.Popen`.

    Args:
        run: the function; its return ends the process, and `SystemExit` gives the exit code.
        files: descriptors of its standard input, output and error.
        close: descriptors of this process that it closes.
        prepare: called first, for instance to take a terminal.

    Attributes:
        pid: its number.
        returncode: its exit code; minus the signal that ended it; None while it runs.
    """

    def __init__(
        self,
        run: Callable[[], object],
        files: tuple[int, int, int],
        close: Sequence[int] = (),
        prepare: Callable[[], object] = lambda: None,
    ) -> None:
        self.returncode: int | None = None
        sys.stdout.flush()
        self.pid = os.fork()
        if self.pid:
            return
        code = 1
        try:
            for number in (signal.SIGINT, signal.SIGHUP, signal.SIGTERM, signal.SIGPIPE):
                signal.signal(number, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.default_int_handler)
            signal.signal(signal.SIGPIPE, signal.SIG_IGN)  # as Python does
            for target, file in enumerate(files):
                os.dup2(file, target)
            for file in close:
                os.close(file)
            for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
                stream = os.fdopen(("stdin", "stdout", "stderr").index(name), mode, closefd=False)
                setattr(sys, name, stream)
                setattr(sys, f"__{name}__", stream)
            prepare()
            run()
            code = 0
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
        except BaseException:
            traceback.print_exc()
        finally:
            try:
                sys.stdout.flush()
                sys.stderr.flush()
            finally:
                os._exit(code)

    def poll(self) -> int | None:
        """Return its exit code; None while it runs."""
        if self.returncode is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            if pid:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def wait(self, within_s: float = 60.0) -> int:
        """Wait until it has ended.

        Raises:
            TimeoutError: it does not.
        """
        until = time.monotonic() + within_s
        while self.poll() is None:
            if time.monotonic() > until:
                raise TimeoutError("the process does not end")
            time.sleep(POLL_S)
        assert self.returncode is not None
        return self.returncode

    def send_signal(self, number: int) -> None:
        """Send it a signal, unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """Kill it."""
        self.send_signal(signal.SIGKILL)


class _Context:
    """A context of multiprocessing whose processes are copies without this process's pipe ends."""

    def __init__(self) -> None:
        self._fork: Any = mp.get_context("fork")
        self._ends: list[Any] = []

    def Pipe(self, duplex: bool = True) -> tuple[Any, Any]:  # noqa: N802 - as multiprocessing has it
        ends: tuple[Any, Any] = self._fork.Pipe(duplex)
        self._ends = [end for end in self._ends if not end.closed] + list(ends)
        return ends

    def Process(self, target: Any, args: tuple[Any, ...], **options: Any) -> Any:  # noqa: N802
        return self._fork.Process(target=self._run, args=(target, args), **options)

    def _run(self, target: Any, args: tuple[Any, ...]) -> None:
        for end in self._ends:
            if not any(end is kept for kept in args):
                end.close()
        target(*args)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._fork, name)


@contextmanager
def forked_listeners() -> Iterator[None]:
    """Start listeners as copies of this process in a block."""
    context, plain = _Context(), mp.get_context

    def get_context(method: str | None = None) -> Any:
        return context if method == "spawn" else plain(method)

    with patch.object(mp, "get_context", get_context):
        yield
