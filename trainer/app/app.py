"""The app: it owns the session, the clock that polls it, and the stack of screens."""

from __future__ import annotations

import gc
import time
from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.filter import LineFilter
from textual.timer import Timer

from trainer.app.palette import KeyCommands
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.take_base import TakeScreen
from trainer.app.screens.too_small import TooSmallScreen, fits
from trainer.app.session import ListenerLike, Session
from trainer.app.theme import COLOUR_REMOVER, apply_theme
from trainer.drill import Drill
from trainer.practice import Plan
from trainer.sound.passage import Passage

SCREEN_FRAME_S = 1 / 60
POLL_INTERVAL_S = 1 / 240
"""How often events are taken in; what is urgent among them is not kept for the next frame."""


class TrainerApp(App[None]):
    """The trainer on a screen.

    Args:
        listener: what plays plans and tells what happens. It is closed when the app ends.
        shelf: the drills at hand.
        plan: what is to be played first; without a drill, the app only listens.
        autostart: whether to begin at once.
        today: whether the day's set comes first.
        guide: whether the first-run guide comes before all.
        theme: which of :data:`trainer.app.theme.THEMES`.
        motion: ``full``, or ``reduced``: nothing glides, and the needle goes in whole cents.

    Raises:
        HarpError: the harp cannot play the plan's drill.
    """

    TITLE = "Harp trainer"
    CSS_PATH = "app.tcss"
    COMMANDS: ClassVar = {KeyCommands}
    COMMAND_PALETTE_BINDING = "ctrl+p"
    VERTICAL_BREAKPOINTS = [(0, "-short"), (34, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("question_mark", "help", "help", key_display="?", tooltip="this page"),
        Binding("q", "quit", "quit", tooltip="quit"),
        Binding(
            "ctrl+p",
            "command_palette",
            "find",
            show=False,
            tooltip="find any of these by typing its words",
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
    ) -> None:
        super().__init__()
        apply_theme(self, theme)
        if motion == "reduced":
            self.animation_level = "none"
        self.session = Session(listener, plan, self._wake)
        self._shelf = shelf
        self._autostart = autostart
        self._today = today
        self._guide = guide
        self._passage = loop
        self._clock: Timer | None = None
        self._next_frame = 0.0

    def on_mount(self) -> None:
        """Put up the first screen and start the clock."""
        self._clock = self.set_interval(POLL_INTERVAL_S, self._tick, pause=True)
        plan = self.session.plan
        if self._passage is not None:
            self.push_screen(LoopScreen(self.session, *self._passage))
        elif plan.drill is None:
            self.push_screen(ListenScreen(self.session))
        else:
            practice = PracticeScreen(self.session, self._shelf)
            self.push_screen(practice)
            if self._guide:
                self.call_after_refresh(practice.action_guide)
            elif self._today:
                self.call_after_refresh(practice.action_today)
            if self._autostart:
                self.session.start(plan)
        self.call_after_refresh(_freeze)

    def on_unmount(self) -> None:
        """Let go of the listener."""
        self.session.close()

    def on_resize(self, event: events.Resize) -> None:
        """Say so when there is no room, and go on when there is."""
        small = isinstance(self.screen, TooSmallScreen)
        if fits(event.size) and small:
            self.pop_screen()
        elif not fits(event.size) and not small:
            self.push_screen(TooSmallScreen())

    def get_line_filters(self) -> Sequence[LineFilter]:
        """What is done to every line before it is shown: in the plain theme, colours go."""
        filters = super().get_line_filters()
        return [*filters, COLOUR_REMOVER] if self.theme == "plain" else filters

    def action_help(self) -> None:
        """The keys and the words."""
        if not isinstance(self.screen, HelpScreen):
            self.push_screen(HelpScreen(self.screen))

    def _wake(self) -> None:
        if self._clock is not None:
            self._clock.resume()

    def _tick(self) -> None:
        """Take in what is new and show it, at every frame or at once where it is urgent; nothing
        is done while no take runs."""
        urgent = self.session.poll()
        now = time.monotonic()
        due = (
            now >= self._next_frame + (SCREEN_FRAME_S if urgent else -POLL_INTERVAL_S / 2)
            or not self.session.busy
        )
        if due:
            # By deadlines, because turns come a little late, and intervals would add that up.
            self._next_frame += SCREEN_FRAME_S
            if self._next_frame < now:
                self._next_frame = now + SCREEN_FRAME_S
        for screen in reversed(self.screen_stack):
            if isinstance(screen, TakeScreen):
                if due:
                    screen.show(self.session.take)
                elif urgent:
                    screen.hurry(self.session.take)
                break
        if not self.session.busy and self._clock is not None:
            self._clock.pause()


def _freeze() -> None:
    """Keep the collector from walking the app's objects again and again: it would stop the
    screen for 20 to 40 ms each time."""
    gc.collect()
    gc.freeze()
