"""What screens have in common on which something is heard that nobody marks."""

from __future__ import annotations

from textual.content import Content
from textual.screen import Screen, ScreenResultType
from textual.timer import Timer
from textual.widgets import Static

from trainer.app.playback import Playback
from trainer.app.session import Session
from trainer.practice import Plan

PLAYBACK_POLL_S = 0.1
"""How often it is asked whether something is still heard; only while it is."""
PLAYBACK_BUSY = "A take is running. Go back with esc, stop it with space, and this can be heard."


class PlaybackScreen(Screen[ScreenResultType]):
    """A screen with a line, ``#sound``, that says what is heard.

    Args:
        session: through whose listener it is heard, while no take runs; None for nothing.
    """

    CAUTION = ""
    """What the line says while all is still."""

    def __init__(self, session: Session | None) -> None:
        super().__init__()
        self._session = session
        self._hearing = None if session is None else Playback(session.listener)
        self._asking: Timer | None = None
        self._leaving: list[ScreenResultType] = []
        self._told = ""

    @property
    def heard(self) -> Plan | None:
        """What is heard now."""
        return None if self._hearing is None else self._hearing.plan

    def hear(self, plan: Plan, words: str) -> None:
        """Let a plan be heard, unless a take is running.

        Args:
            plan: what is heard.
            words: what the line says meanwhile.
        """
        if self._session is None or self._hearing is None or self._session.busy:
            self.tell(PLAYBACK_BUSY)
            return
        self._hearing.start(plan)
        self._told = words
        self._tell_sound()
        if self.heard is not None:
            self._asking = self.set_interval(PLAYBACK_POLL_S, self._ask)

    def quiet(self) -> None:
        """Let what is heard end soon."""
        if self._hearing is not None:
            self._hearing.stop()

    def leave(self, wish: ScreenResultType) -> None:
        """Go, once the listener is free for the next take."""
        if self.heard is None:
            self.dismiss(wish)
        else:
            self._leaving = [wish]
            self.quiet()

    def tell(self, words: str) -> None:
        """Say something in the line."""
        self.query_one("#sound", Static).update(Content(words))

    def _ask(self) -> None:
        """See whether it is still heard; when it is over, nothing is asked any more."""
        if self._hearing is None or self._hearing.poll():
            return
        if self._asking is not None:
            self._asking.stop()
            self._asking = None
        if self._leaving:
            self.dismiss(self._leaving[0])
        else:
            self._tell_sound()

    def _tell_sound(self) -> None:
        trouble = "" if self._hearing is None else self._hearing.trouble
        if self.heard is not None:
            self.tell(f"♪ {self._told}")
        else:
            self.tell(f"× {trouble}" if trouble else self.CAUTION)
