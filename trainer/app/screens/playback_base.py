"""Base class of the screens that play sound without marking it."""

from __future__ import annotations

from textual.content import Content
from textual.screen import Screen, ScreenResultType
from textual.timer import Timer
from textual.widgets import Static

from trainer.app.playback import Playback
from trainer.app.session import TAKE_RUNS, Session
from trainer.practice import Plan

PLAYBACK_POLL_S = 0.1
"""Time between two polls while something plays, in seconds."""


class PlaybackScreen(Screen[ScreenResultType]):
    """A screen with a line, ``#sound``, that names what is playing.

    Args:
        session: its listener plays while no take runs; None to play nothing.
    """

    CAUTION = ""
    """Text of the line while nothing plays."""

    def __init__(self, session: Session | None) -> None:
        super().__init__()
        self._session = session
        self._playback = None if session is None else Playback(session.listener)
        self._poll_timer: Timer | None = None
        self._results: list[ScreenResultType] = []
        self._playing_text = ""

    @property
    def playing(self) -> Plan | None:
        """The plan that is playing; None for none."""
        return None if self._playback is None else self._playback.plan

    def play(self, plan: Plan, words: str) -> None:
        """Play a plan, unless a take is running.

        Args:
            plan: the plan.
            words: text of the line while it plays.
        """
        if self._session is None or self._playback is None or self._session.busy:
            self.set_line(f"× {TAKE_RUNS}")
            return
        self._playback.start(plan)
        self._playing_text = words
        self._update_line()
        if self.playing is not None:
            self._poll_timer = self.set_interval(PLAYBACK_POLL_S, self._poll)

    def stop_playback(self) -> None:
        """End playback soon."""
        if self._playback is not None:
            self._playback.stop()

    def leave(self, result: ScreenResultType) -> None:
        """Dismiss the screen with a result, once playback has ended."""
        if self.playing is None:
            self.dismiss(result)
        else:
            self._results = [result]
            self.stop_playback()

    def set_line(self, words: str) -> None:
        """Set the text of the line."""
        self.query_one("#sound", Static).update(Content(words))

    def _poll(self) -> None:
        """Poll playback; stop polling once it has ended."""
        if self._playback is None or self._playback.poll():
            return
        if self._poll_timer is not None:
            self._poll_timer.stop()
            self._poll_timer = None
        if self._results:
            self.dismiss(self._results[0])
        else:
            self._update_line()

    def _update_line(self) -> None:
        trouble = "" if self._playback is None else self._playback.trouble
        if self.playing is not None:
            self.set_line(f"♪ {self._playing_text}")
        else:
            self.set_line(f"× {trouble}" if trouble else self.CAUTION)
