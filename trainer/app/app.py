"""The app: the session, the timer that polls it, and the stack of screens."""

from __future__ import annotations

import asyncio
import gc
import time
from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.filter import LineFilter
from textual.notifications import SeverityLevel
from textual.timer import Timer

from trainer.app.command_palette import KeyCommands
from trainer.app.driver import terminal_driver
from trainer.app.output_filter import PrintableFilter
from trainer.app.practice_layout import TALL_ROWS
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.take_base import TakeScreen
from trainer.app.screens.too_small import TooSmallScreen, fits
from trainer.app.screens.transcript import TranscriptScreen
from trainer.app.session import ListenerLike, Session
from trainer.app.theme import COLOUR_REMOVER, apply_theme
from trainer.app.transcript_file import TranscriptFile
from trainer.drill import Drill
from trainer.practice import Plan
from trainer.sound import Passage
from trainer.store import take_notices

PRINTABLE = PrintableFilter()
SCREEN_FRAME_S = 1 / 60
"""Time between two frames, in seconds."""
POLL_INTERVAL_S = 1 / 240
"""Time between two polls of the session, in seconds. A note that has just begun is shown at once,
not at the next frame."""
CHECK_S = 1.0
"""Time between two looks at the terminal and the journal, in seconds."""
NOTICE_S = 20.0
"""Time for which a message about the journal is shown, in seconds: it names files."""


class TrainerApp(App[None]):
    """The trainer as a full-screen app.

    Args:
        listener: plays plans and reports events. Whoever made it closes it after the app, which may
            leave a take running.
        shelf: the available drills.
        plan: the first plan; without a drill, the app only listens.
        autostart: whether to start the plan at once, unless another screen opens above it.
        today: whether to open the daily set first.
        guide: whether to open the first-run guide first; it ends at the daily set if `today` is
            set, too.
        theme: name of one of :data:`trainer.app.theme.THEMES`.
        motion: ``full``, or ``reduced`` for no animation and a needle in whole cents.
        loop: a passage to loop and the half steps from its harp to the plan's; None for none.
        transcript: a recording to open as tab; None for none.

    Raises:
        HarpError: the harp cannot play the plan's drill.
    """

    TITLE = "Harp trainer"
    CSS_PATH = "app.tcss"
    COMMANDS: ClassVar = {KeyCommands}
    COMMAND_PALETTE_BINDING = "ctrl+p"
    VERTICAL_BREAKPOINTS = [(0, "-short"), (TALL_ROWS, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark", "help", "help", key_display="?", tooltip="this page"),
        Binding("q", "quit", "quit", tooltip="quit"),
        Binding(
            "ctrl+p",
            "command_palette",
            "find",
            show=False,
            tooltip="find a command by its name",
        ),
    ]

    def __init__(
        self,
        listener: ListenerLike,
        shelf: Sequence[Drill],
        plan: Plan,
        autostart: bool = False,
        today: bool = False,
        guide: bool = False,
        theme: str = "dark",
        motion: str = "full",
        loop: tuple[Passage, float] | None = None,
        transcript: TranscriptFile | None = None,
    ) -> None:
        super().__init__(driver_class=terminal_driver())
        apply_theme(self, theme)
        if motion == "reduced":
            self.animation_level = "none"
        self.session = Session(listener, plan, self._wake)
        self._shelf = shelf
        self._autostart = autostart
        self._today = today
        self._guide = guide
        self._first_loop = loop
        self._first_transcript = transcript
        self._poll_timer: Timer | None = None
        self._next_frame = 0.0
        self._events_loop: asyncio.AbstractEventLoop | None = None
        self._must_leave = False

    def on_mount(self) -> None:
        """Push the first screen and create the poll timer."""
        self._events_loop = asyncio.get_running_loop()
        if self._must_leave:
            self.exit()
            return
        self.set_interval(CHECK_S, self._check_surroundings)
        self._poll_timer = self.set_interval(POLL_INTERVAL_S, self._tick, pause=True)
        plan = self.session.plan
        if self._first_loop is not None:
            self.push_screen(LoopScreen(self.session, *self._first_loop, can_write_down=True))
        elif self._first_transcript is not None:
            self.push_screen(TranscriptScreen(self.session, plan, self._first_transcript))
        elif plan.drill is None:
            self.push_screen(ListenScreen(self.session))
        else:
            practice = PracticeScreen(self.session, self._shelf)
            self.push_screen(practice)
            if self._today:
                self.call_after_refresh(practice.action_today)
            if self._guide:  # above today, where it ends
                self.call_after_refresh(practice.action_guide)
            if self._autostart and not (self._today or self._guide):
                self.session.start(plan)
        self.call_after_refresh(_freeze_garbage)

    async def action_quit(self) -> None:
        """Stop the running take and leave."""
        self.session.stop()
        self.exit()

    def leave(self) -> None:
        """Leave without stopping the take: it is ended from outside, as everything is.

        May be called at any time, by a handler of signals, too.
        """
        self._must_leave = True
        if self._events_loop is not None:
            self._events_loop.call_soon_threadsafe(self.exit)

    def _check_surroundings(self) -> None:
        """Leave where the terminal is gone, and report what happened to the journal.

        Not every system sends a signal when a terminal is closed.
        """
        if getattr(self._driver, "is_gone", False):
            self.exit()
        for sentence in take_notices():
            self.notify(sentence, severity="warning", timeout=NOTICE_S)

    def on_resize(self, event: events.Resize) -> None:
        """Cover the screens while the window is too small."""
        small = isinstance(self.screen, TooSmallScreen)
        if fits(event.size) and small:
            self.pop_screen()
        elif not fits(event.size) and not small:
            self.push_screen(TooSmallScreen())

    def get_line_filters(self) -> Sequence[LineFilter]:
        """Return the filters of all lines; the plain theme removes colours."""
        filters = [*super().get_line_filters(), PRINTABLE]
        return [*filters, COLOUR_REMOVER] if self.theme == "plain" else filters

    def notify(
        self,
        message: str,
        *,
        title: str = "",
        severity: SeverityLevel = "information",
        timeout: float | None = None,
        markup: bool = False,
    ) -> None:
        """Show a message; text in brackets is text, as in the messages about fields of files."""
        super().notify(message, title=title, severity=severity, timeout=timeout, markup=markup)

    def action_help(self) -> None:
        """Open the help page."""
        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen(self.screen))

    def _wake(self) -> None:
        if self._poll_timer is not None:
            self._poll_timer.resume()

    def _tick(self) -> None:
        """Poll the session; show the take once a frame, or at once where it is urgent.

        The timer is paused while no take runs.
        """
        urgent = self.session.poll()
        now = time.monotonic()
        due = (
            now >= self._next_frame + (SCREEN_FRAME_S if urgent else -POLL_INTERVAL_S / 2)
            or not self.session.busy
        )
        if due:
            # A deadline, not an interval: timers fire a little late, and intervals add that up.
            self._next_frame += SCREEN_FRAME_S
            if self._next_frame < now:
                self._next_frame = now + SCREEN_FRAME_S
        for screen in reversed(self.screen_stack):
            if isinstance(screen, TakeScreen):
                if due:
                    screen.show(self.session.take)
                elif urgent:
                    screen.show_urgent(self.session.take)
                break
        if not self.session.busy and self._poll_timer is not None:
            self._poll_timer.pause()


def _freeze_garbage() -> None:
    """Exempt the app's objects from garbage collection.

    A collection that walks them stops the screen for 20 to 40 ms.
    """
    gc.collect()
    gc.freeze()
