"""Too small: a sentence that covers the screens while the window is too small."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.geometry import Size
from textual.screen import Screen
from textual.widgets import Static

MIN_SIZE = Size(80, 24)
"""Smallest window of the screens, in columns and rows."""


def fits(size: Size) -> bool:
    """Return whether the screens fit a window."""
    return size.width >= MIN_SIZE.width and size.height >= MIN_SIZE.height


def size_message(size: Size) -> str:
    """Return the sentence for a window that is too small."""
    return (
        f"Enlarge the window to {MIN_SIZE.width} columns and {MIN_SIZE.height} rows (now "
        f"{size.width} and {size.height}), use smaller letters, or start with --plain."
    )


class TooSmallScreen(Screen[None]):
    """Covers all screens while the window is too small; a running take goes on."""

    def compose(self) -> ComposeResult:
        """Yield the sentence."""
        yield Static(id="small")

    def on_resize(self) -> None:
        """Update the size in the sentence."""
        self.query_one("#small", Static).update(size_message(self.app.size))
