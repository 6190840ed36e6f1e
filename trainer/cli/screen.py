"""Opening the live screen."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from dataclasses import replace
from types import FrameType
from typing import TYPE_CHECKING

import typer

from trainer.cli.terminal_guard import SIGNAL_EXIT
from trainer.core.system import ENDING_SIGNALS, handle_signals

if TYPE_CHECKING:
    from trainer.app import TranscriptFile
    from trainer.practice import Event, Listener, Plan
    from trainer.sound import Passage

QUIET_S = 1.0
"""Time for which saving a take needs no word, in seconds."""


def can_show_screen() -> bool:
    """Return whether input and output are a terminal that can show the app."""
    known = sys.platform == "win32" or os.environ.get("TERM", "") not in ("", "dumb", "unknown")
    return known and sys.stdout.isatty() and sys.stdin.isatty()


def run_app(
    plan: Plan,
    *,
    autostart: bool = False,
    today: bool = False,
    loop: tuple[Passage, float] | None = None,
    transcript: TranscriptFile | None = None,
) -> None:
    """Run the app until the player leaves.

    Args:
        plan: the first plan.
        autostart: whether to start it at once.
        today: whether to open on the daily set; without a settings file, the microphone guide
            comes first.
        loop: a passage to loop, and the half steps from it to the selected harp.
        transcript: a recording to open as tab.
    """
    from trainer.core.logs import start_logging
    from trainer.drill import read_shelf
    from trainer.practice import HandsFree, Listener, adopt_cut_off_takes
    from trainer.settings import resolve_settings
    from trainer.store import Journal, JournalError

    resolved = resolve_settings()
    look = resolved.settings.screen
    start_logging(console=False)

    if plan.journal is not None:
        with contextlib.suppress(JournalError), Journal(plan.journal) as journal:
            adopt_cut_off_takes(journal, plan.sound_mb)
    ended_by = 0

    def end(number: int, frame: FrameType | None) -> None:
        nonlocal ended_by
        ended_by = number
        if app is not None:
            app.leave()

    app = None
    # Start the listener's process before the app takes over the terminal.
    listener = Listener()
    with handle_signals(end, signal.SIGINT, *ENDING_SIGNALS):
        from trainer.app import TrainerApp, effective_theme

        shelf = read_shelf().drills
        if plan.drill is not None and plan.drill.name not in {drill.name for drill in shelf}:
            shelf = (plan.drill, *shelf)
        if resolved.settings.practice.hands_free and not plan.follow:
            plan = replace(plan, hands_free=HandsFree())
        app = TrainerApp(
            listener,
            shelf,
            plan,
            autostart=autostart,
            today=today,
            guide=today and not resolved.file.exists(),
            theme=effective_theme(look.theme),
            motion=look.motion,
            loop=loop,
            transcript=transcript,
        )
        try:
            if not ended_by:
                app.run()
        finally:
            close_listener(listener)
    if ended_by:
        raise typer.Exit(SIGNAL_EXIT + ended_by)


def close_listener(listener: Listener) -> None:
    """Wait until the running take is saved, and show that; Ctrl-C gives it up."""
    from trainer.practice import Notice, SavingProgress, TakeFinished

    given_up = shown = False
    began = time.monotonic()

    def give_up(number: int, frame: FrameType | None) -> None:
        nonlocal given_up
        given_up = True
        listener.give_up()

    def show(event: Event) -> None:
        nonlocal shown
        if isinstance(event, Notice):
            _tell(event.sentence)
        elif isinstance(event, SavingProgress) and time.monotonic() > began + QUIET_S:
            shown = True
            _tell(f"\rSaving the take: {event.fraction:.0%} (Ctrl-C gives it up)", end="")
        elif isinstance(event, TakeFinished) and shown:
            _tell("")

    with handle_signals(give_up, signal.SIGINT):
        listener.close(show)
    if given_up:
        _tell("\nGiven up: the sound is in a file whose name ends in .part.flac.")


def _tell(text: str, end: str = "\n") -> None:
    """Write to standard error, which may be a terminal that is gone."""
    with contextlib.suppress(OSError):
        print(text, file=sys.stderr, end=end, flush=True)
