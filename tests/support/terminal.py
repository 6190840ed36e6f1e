"""A real terminal for tests: tmux runs a command, types keys and reads the screen."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.support.waiting import WITHIN_S

ROOT = Path(__file__).parent.parent.parent
DEMO = (sys.executable, "-m", "trainer", "demo")


class Terminal:
    """A terminal with its own tmux server."""

    def __init__(self, folder: str) -> None:
        self._socket = f"{folder}/socket"

    def start(self, command: str, columns: int = 80, rows: int = 24) -> None:
        """Start a shell command; its exit code is shown when it ends."""
        self._tmux(
            *("new-session", "-d", "-x", str(columns), "-y", str(rows), "-c", str(ROOT)),
            f"{command}; echo exit code $?; sleep 60",
        )

    def keys(self, *keys: str) -> None:
        """Type keys, named as in tmux."""
        self._tmux("send-keys", *keys)

    def resize(self, columns: int, rows: int) -> None:
        """Change the size."""
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def screen(self) -> str:
        """Return the text of the screen, a line a row."""
        return self._tmux("capture-pane", "-p")

    def wait_for(self, pattern: str) -> str:
        """Wait until the screen matches a pattern and return it."""
        end = time.monotonic() + WITHIN_S
        while time.monotonic() < end:
            screen = self.screen()
            if re.search(pattern, " ".join(screen.split())):
                return screen
            time.sleep(0.05)
        raise AssertionError(f"{pattern} is not shown:\n{screen}")

    def close(self) -> None:
        """End the terminal and its command."""
        self._tmux("kill-server")

    def _tmux(self, *words: str) -> str:
        done = subprocess.run(
            ["tmux", "-u", "-S", self._socket, "-f", "/dev/null", *words],
            # Not as inherited: pytest loads readline, which puts a size of the screen there.
            env={k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")},
            check=True,
            capture_output=True,
            encoding="utf-8",
        )
        return done.stdout


@pytest.fixture
def terminal() -> Iterator[Terminal]:
    if not shutil.which("tmux"):
        pytest.skip("needs tmux")
    # Not pytest's own folder: the path of a socket must be short.
    with tempfile.TemporaryDirectory(prefix="tmux-") as folder:
        terminal = Terminal(folder)
        yield terminal
        terminal.close()
