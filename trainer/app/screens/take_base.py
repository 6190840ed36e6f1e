"""Base class of the screens that follow a take."""

from __future__ import annotations

from collections.abc import Callable

from rich.style import Style
from textual.geometry import Region
from textual.screen import Screen
from textual.strip import Strip
from textual.timer import Timer

from trainer.app.practice_layout import ScreenRows, listening_layout
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.status_line import StatusLine, StatusState, rows_needed
from trainer.practice import Plan

MESSAGE_S = 8.0
"""Time for which a message fills the status line, in seconds; a short form stays."""
MAX_MESSAGE_ROWS = 2
"""Maximum rows of a message."""
WAITS_FOR_MICROPHONE = "it plays once the microphone is open"
"""Shown where :meth:`TakeScreen.once_listening` waits."""


class TakeScreen(Screen[None]):
    """A screen that shows the current take.

    Messages stand in the status line: a toast would cover the holes in a small window.

    Args:
        session: the take and its listener.
    """

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self._status = StatusLine(id="status")
        self._noticed = ""
        self._message = ""
        self._message_timer: Timer | None = None
        self._deferred: Callable[[], None] | None = None
        """What waits for the microphone, see :meth:`once_listening`."""
        self._layout_shown: ScreenRows | None = None

    def show(self, take: TakeState) -> None:
        """Show a take. Called at every frame while one runs."""
        was_trouble = self.has_class("-trouble")
        trouble = take.phase in (Phase.NO_SOUND, Phase.FAILED)
        self.set_class(trouble, "-trouble")
        notice, self._noticed = self._noticed, take.messages.notice
        if trouble and not was_trouble:
            self.say("")  # new trouble is read first; what is said after it is shown
        elif self._noticed and self._noticed != notice:
            self.say(f"! {self._noticed}")
        status = StatusState.of(take, self._message)
        rows = rows_needed(status, self.size.width, MAX_MESSAGE_ROWS)
        self.set_class(status.whole and rows > 1, "-message")
        self._status.show(status)
        if take.phase is Phase.FAILED:
            self._deferred = None
        elif take.phase is Phase.LISTENING and self._deferred is not None:
            act, self._deferred = self._deferred, None
            self.say("")
            act()

    def once_listening(self, act: Callable[[], None], plan: Plan) -> bool:
        """Do something that sounds: now, or as soon as the microphone is open.

        Args:
            act: what to do; the last one that waits is done.
            plan: plan to listen by if nothing runs.

        Returns:
            Whether it was done at once.
        """
        if self.session.busy and self.session.take.phase is Phase.LISTENING:
            act()
            return True
        if not self.session.busy:
            self.session.start(plan)
        self._deferred = act
        return False

    @property
    def status_rows(self) -> int:
        """Rows of the status line: trouble gets the rows that it needs."""
        return 3 if self.has_class("-trouble") else 2 if self.has_class("-message") else 1

    def lay_out(self, layout: ScreenRows) -> None:
        """Give the parts their rows, if they have changed: each change lays all out anew."""
        if layout != self._layout_shown:
            self._layout_shown = layout
            self.styles.grid_rows = layout.css

    def lay_out_listening(self, *, strip: int = 0, tone: bool = False) -> None:
        """Give the parts of a screen without a drill their rows, see :func:`listening_layout`."""
        self.lay_out(
            listening_layout(
                self.size.height,
                strip=strip,
                tone=tone,
                status=self.status_rows,
                trouble=self.has_class("-trouble"),
            )
        )

    def on_resize(self) -> None:
        """Lay out the new size."""
        self.call_after_refresh(lambda: self.show(self.session.take))

    def say(self, sentence: str) -> None:
        """Show a message in the status line for a while; an empty one ends it."""
        self._message = sentence
        if self._message_timer is not None:
            self._message_timer.stop()
            self._message_timer = None
        if sentence:
            self._message_timer = self.set_timer(MESSAGE_S, self._end_message)

    def _end_message(self) -> None:
        self._message = ""
        self.show(self.session.take)

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
