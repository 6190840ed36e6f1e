"""A pseudo-terminal whose other end this process holds, and may close. Not on Windows."""

from __future__ import annotations

import os
import select
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

if sys.platform != "win32":  # so that tests can be collected there
    import fcntl
    import pty
    import termios

WITHIN_S = 90.0
"""Longest wait in seconds, far beyond what a busy machine needs."""


class Process(Protocol):
    """A running command, as `subprocess.Popen` is."""

    pid: int
    returncode: Any

    def poll(self) -> int | None:
        """Return its exit code; None while it runs."""

    def wait(self) -> int:
        """Wait until it has ended."""

    def kill(self) -> None:
        """Kill it."""

    def send_signal(self, number: int) -> None:
        """Send it a signal."""


class PseudoTerminal:
    """Runs a command in a terminal.

    Args:
        command: the command.
        controlling: whether it is the command's controlling terminal, whose end sends SIGHUP.
        start: starts the command in another way, from the descriptors of the terminal and of its
            other end.

    Attributes:
        output: what the command has written so far.
        process: the command.
    """

    def __init__(
        self,
        *command: str | Path,
        controlling: bool = True,
        start: Callable[[int, int], Process] | None = None,
    ) -> None:
        self.output = b""
        self._ours, self._theirs = pty.openpty()
        fcntl.ioctl(self._theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.attributes_before = self.attributes
        self.process: Process = (
            start(self._theirs, self._ours)
            if start is not None
            else self._started(command, controlling)
        )

    def _started(self, command: tuple[str | Path, ...], controlling: bool) -> Process:
        return subprocess.Popen(
            command,
            env=os.environ | {"TERM": "xterm-256color"},
            stdin=self._theirs,
            stdout=self._theirs,
            stderr=self._theirs,
            start_new_session=True,
            preexec_fn=take_terminal if controlling else None,
        )

    @property
    def attributes(self) -> list[Any]:
        """Attributes of the terminal, such as whether it echoes."""
        return termios.tcgetattr(self._theirs)

    def wait_for(self, text: bytes, within_s: float = WITHIN_S) -> None:
        """Wait until the command has written something."""
        until = time.monotonic() + within_s
        while text not in self.output:
            assert time.monotonic() < until, self.output[-2000:]
            self.read(0.1)

    def read(self, within_s: float = 0.0) -> None:
        """Read what the command has written."""
        while select.select([self._ours], [], [], within_s)[0]:
            self.output += os.read(self._ours, 1 << 16)
            within_s = 0.0

    def hang_up(self) -> None:
        """Close the terminal, as a window is closed."""
        os.close(self._theirs)
        os.close(self._ours)
        self._ours = self._theirs = -1

    def wait(self, within_s: float = WITHIN_S) -> int:
        """Wait until the command has ended; return its exit code."""
        until = time.monotonic() + within_s
        while self.process.poll() is None:
            assert time.monotonic() < until, "the command does not end"
            if self._ours >= 0:
                self.read(0.05)
            else:
                time.sleep(0.05)
        if self._ours >= 0:
            self.read(0.1)
        code = self.process.returncode
        assert isinstance(code, int)
        return code

    def close(self) -> None:
        """End the command and the terminal."""
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self._ours >= 0:
            self.hang_up()


def take_terminal() -> None:
    """Make standard input the controlling terminal of this process, the first of its session."""
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
