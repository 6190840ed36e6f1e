"""What a player types while a take is told in lines: a line is a wish."""

from __future__ import annotations

import os
import sys

from trainer.practice import Command, PassControl, PassStarted, TakePaused

HINT = "Enter pauses and goes on, b and Enter goes a bar back, Ctrl-C stops."


class TypedCommands:
    """Asks of a take what is typed; where no terminal is typed on, nothing.

    Whether Enter pauses or goes on depends on the take: it must see the events.
    """

    def __init__(self) -> None:
        self.listens = sys.stdin is not None and sys.stdin.isatty()
        self._paused = False

    def see(self, event: object) -> None:
        """Take the next event."""
        match event:
            case TakePaused(bar=bar):
                self._paused = bar is not None
            case PassStarted():
                self._paused = False

    def __call__(self) -> Command | None:
        """What was typed since the last call, as something to ask; never waits."""
        line = read_line() if self.listens else None
        if line is None:
            return None
        match line.strip().lower():
            case "":
                return PassControl.RESUME if self._paused else PassControl.PAUSE
            case "b":
                return PassControl.GO_BACK
        return None


if sys.platform == "win32":
    import msvcrt

    _ENTER = "\r"

    def read_line() -> str | None:
        """What was typed; None where nothing was. The console there gives single keys."""
        if not msvcrt.kbhit():
            return None
        key = msvcrt.getwch()
        return "" if key == _ENTER else key

else:
    import select

    def read_line() -> str | None:
        """The line that was typed; None where nothing was.

        Not a thread that reads: one that waits for a line keeps Python from ending.
        """
        if sys.stdin is None or not sys.stdin.isatty():
            return None
        file = sys.stdin.fileno()
        if not select.select([file], [], [], 0.0)[0]:
            return None
        if os.tcgetpgrp(file) != os.getpgrp():  # in the background, reading would stop it
            return None
        return os.read(file, 1024).decode(errors="replace") or None
