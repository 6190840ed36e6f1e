"""The terminal below the app, which may go away at any time."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any, TextIO

from textual.driver import Driver

from trainer.core.system import has_hung_up

if TYPE_CHECKING:
    from textual.app import App


class SteadyFile:
    """A text file that drops what is written once it is gone, instead of raising.

    Textual writes from a thread that an error would end, and the app would wait for it for ever.

    Attributes:
        is_gone: whether writing has failed.
    """

    def __init__(self, raw: TextIO) -> None:
        self.is_gone = False
        self._raw = raw

    def write(self, text: str) -> int:
        """Write a text, or drop it."""
        try:
            return self._raw.write(text)
        except OSError:
            self.is_gone = True
            return len(text)

    def flush(self) -> None:
        """Write what is buffered, or drop it."""
        try:
            self._raw.flush()
        except OSError:
            self.is_gone = True

    def fileno(self) -> int:
        """Return the file's descriptor."""
        return self._raw.fileno()


def terminal_driver() -> type[Driver] | None:
    """Return the driver that notices when the terminal is gone; None for Textual's own.

    A console of Windows ends the program itself.
    """
    if sys.platform == "win32":
        return None
    from textual.drivers.linux_driver import LinuxDriver

    class TerminalDriver(LinuxDriver):
        def __init__(self, app: App[Any], **options: Any) -> None:
            super().__init__(app, **options)
            self._file: Any = SteadyFile(self._file)

        @property
        def is_gone(self) -> bool:
            """Whether the terminal has been closed: reading it would return nothing for ever."""
            return self._file.is_gone or has_hung_up(self.fileno)

    return TerminalDriver
