"""What all screens that follow a take have in common."""

from __future__ import annotations

from textual.screen import Screen

from trainer.app.session import Session
from trainer.app.take import Take


class LiveScreen(Screen[None]):
    """A screen that shows the take in hand.

    Args:
        session: the take and its listener.
    """

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session

    def show(self, take: Take) -> None:
        """Show a take as it stands. Called at every frame while one runs."""
        raise NotImplementedError

    def on_mount(self) -> None:
        """Show what there is once the widgets have a size."""
        self.call_after_refresh(lambda: self.show(self.session.take))
