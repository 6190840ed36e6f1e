"""What all screens that follow a take have in common."""

from __future__ import annotations

from rich.style import Style
from textual.geometry import Region
from textual.screen import Screen
from textual.strip import Strip

from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState

NOTICE_S = 8.0
"""How long a notice stays over the screen; in short it stands in the status line."""


class TakeScreen(Screen[None]):
    """A screen that shows the take in hand.

    Args:
        session: the take and its listener.
    """

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self._noticed = ""

    def show(self, take: TakeState) -> None:
        """Show a take as it stands. Called at every frame while one runs."""
        self.set_class(take.phase in (Phase.NO_SOUND, Phase.FAILED), "-trouble")
        if take.messages.notice and take.messages.notice != self._noticed:
            self.notify(take.messages.notice, severity="warning", timeout=NOTICE_S)
        self._noticed = take.messages.notice

    def hurry(self, take: TakeState) -> None:
        """Show only what a beginning note changes first: the trace may take 8 ms to be drawn."""

    def on_mount(self) -> None:
        """Show what there is once the widgets have a size."""
        self.call_after_refresh(lambda: self.show(self.session.take))

    def render_lines(self, crop: Region) -> list[Strip]:
        """Nothing: it is all widgets, and need not be rendered line by line at every frame."""
        background = self.background_colors[1]
        strip = Strip.blank(crop.width, Style(bgcolor=background.hex6))
        for line_filter in self.get_line_filters():
            strip = strip.apply_filter(line_filter, background)
        return [strip] * crop.height
