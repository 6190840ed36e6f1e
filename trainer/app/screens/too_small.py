"""Too small: one sentence, until there is room again."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.geometry import Size
from textual.screen import Screen
from textual.widgets import Static

MIN_SIZE = Size(80, 24)


def fits(size: Size) -> bool:
    """Whether the screens fit."""
    return size.width >= MIN_SIZE.width and size.height >= MIN_SIZE.height


def size_message(size: Size) -> str:
    """What is the matter, and the way out."""
    return (
        f"This window has {size.width} columns and {size.height} rows, and the trainer needs "
        f"{MIN_SIZE.width} and {MIN_SIZE.height}: make it larger or its letters smaller, "
        "or start with --plain."
    )


class TooSmallScreen(Screen[None]):
    """Covers everything while the terminal is too small; a take goes on beneath."""

    def compose(self) -> ComposeResult:
        """The sentence."""
        yield Static(id="small")

    def on_resize(self) -> None:
        """Name the size as it is."""
        self.query_one("#small", Static).update(size_message(self.app.size))
