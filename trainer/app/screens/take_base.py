"""Base class of the screens that follow a take."""

from __future__ import annotations

from rich.style import Style
from textual.geometry import Region
from textual.screen import Screen
from textual.strip import Strip

from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState

NOTICE_S = 8.0
"""Time a notice stays on the screen, in seconds; a short form stays in the status line."""


class TakeScreen(Screen[None]):
    """A screen that shows the current take.

    Args:
        session: the take and its listener.
    """

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self._noticed = ""

    def show(self, take: TakeState) -> None:
        """Show a take. Called at every frame while one runs."""
        self.set_class(take.phase in (Phase.NO_SOUND, Phase.FAILED), "-trouble")
        if take.messages.notice and take.messages.notice != self._noticed:
            self.notify(take.messages.notice, severity="warning", timeout=NOTICE_S)
        self._noticed = take.messages.notice

    def show_urgent(self, take: TakeState) -> None:
        """Show what changes first when a note begins; drawing the trace may take 8 ms."""

    def on_mount(self) -> None:
        """Show the current take once the widgets have a size."""
        self.call_after_refresh(lambda: self.show(self.session.take))

    def render_lines(self, crop: Region) -> list[Strip]:
        """Return blank lines: widgets cover the screen, and rendering it costs time."""
        background = self.background_colors[1]
        strip = Strip.blank(crop.width, Style(bgcolor=background.hex6))
        for line_filter in self.get_line_filters():
            strip = strip.apply_filter(line_filter, background)
        return [strip] * crop.height
