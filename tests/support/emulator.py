"""An emulator of a terminal: what a user sees after all partial repaints.

The app writes each change as escape sequences that move the cursor and set colours. The emulator
applies them to a grid of characters, so that a test can compare it with a whole repaint.
"""

from __future__ import annotations

import re

from textual._compositor import CompositorUpdate
from textual.app import App

_TOKEN = re.compile(r"\x1b\[([0-9;?]*)([A-Za-z])|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|([^\x1b]+)")


class Emulator:
    """A grid of characters that the updates of an app are written to.

    Args:
        size: columns and rows.
    """

    def __init__(self, size: tuple[int, int]) -> None:
        self._columns, self._rows = size
        self._grid = [[" "] * self._columns for _ in range(self._rows)]
        self._x = self._y = 0

    def attach(self, app: App[None]) -> None:
        """Write all further updates of a headless app to the grid."""
        display = app._display

        def write_too(screen: object, renderable: object) -> None:
            if isinstance(renderable, CompositorUpdate) and not app._batch_count:
                self.write(renderable.render_segments(app.console))
            display(screen, renderable)  # type: ignore[arg-type]

        app._display = write_too  # type: ignore[assignment, method-assign]

    def write(self, data: str) -> None:
        """Apply text and escape sequences (ECMA-48: CUP moves the cursor, SGR sets colours)."""
        for numbers, command, plain in _TOKEN.findall(data):
            if command == "H":
                row, _, column = (numbers or "1;1").partition(";")
                self._y, self._x = int(row) - 1, int(column or 1) - 1
            for character in plain:
                if character == "\n":
                    self._y, self._x = self._y + 1, 0
                elif 0 <= self._y < self._rows and 0 <= self._x < self._columns:
                    self._grid[self._y][self._x] = character
                    self._x += 1

    def text(self) -> str:
        """The text on the screen, a line a row, without spaces at the ends."""
        return "".join("".join(row).rstrip() + "\n" for row in self._grid)
