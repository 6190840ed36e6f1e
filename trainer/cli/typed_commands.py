"""Commands that a player types while a take runs in line mode."""

from __future__ import annotations

import sys

from trainer.core.system import read_typed_line
from trainer.practice import Command, PassControl, PassStarted, TakePaused

HINT = "Enter pauses and resumes, b and Enter goes back a bar, Ctrl-C stops."


class TypedCommands:
    """Reads typed lines as commands to a take; returns none where there is no terminal.

    Whether Enter pauses or resumes depends on the take, so its events must be observed.
    """

    def __init__(self) -> None:
        self.is_enabled = sys.stdin is not None and sys.stdin.isatty()
        self._paused = False

    def observe(self, event: object) -> None:
        """Note an event of the take."""
        match event:
            case TakePaused(bar=bar):
                self._paused = bar is not None
            case PassStarted():
                self._paused = False

    def __call__(self) -> Command | None:
        """Return the command typed since the last call; never waits."""
        line = read_typed_line() if self.is_enabled else None
        if line is None:
            return None
        match line.strip().lower():
            case "":
                return PassControl.RESUME if self._paused else PassControl.PAUSE
            case "b":
                return PassControl.GO_BACK
        return None
