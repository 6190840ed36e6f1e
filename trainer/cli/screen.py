"""Opening the live screen."""

from __future__ import annotations

import os
import sys

from trainer.practice import Plan
from trainer.sound.passage import Passage


def can_show_screen() -> bool:
    """Whether there is a terminal that the live screen can be painted on and keys come from."""
    known = sys.platform == "win32" or os.environ.get("TERM", "") not in ("", "dumb", "unknown")
    return known and sys.stdout.isatty() and sys.stdin.isatty()


def run_app(
    plan: Plan,
    *,
    autostart: bool = False,
    today: bool = False,
    loop: tuple[Passage, float] | None = None,
) -> None:
    """Open the app on a plan, on the day's set, or on a passage to loop and the half steps by which
    that comes to the harp in hand, and stay until the player leaves.

    Before the day's set, somebody who has no settings yet is guided to a microphone that works.
    """
    from trainer.core.logs import start_logging
    from trainer.drill import read_shelf
    from trainer.practice import Listener
    from trainer.settings import resolve_settings

    found = resolve_settings()
    look = found.settings.screen
    start_logging(console=False)

    # The listener's process must be started before the app takes over the terminal.
    listener = Listener()
    try:
        from trainer.app.app import TrainerApp
        from trainer.app.theme import effective_theme

        shelf = read_shelf().drills
        if plan.drill is not None and plan.drill.name not in {drill.name for drill in shelf}:
            shelf = (plan.drill, *shelf)
        TrainerApp(
            listener,
            shelf,
            plan,
            autostart=autostart,
            today=today,
            guide=today and not found.file.exists(),
            theme=effective_theme(look.theme),
            motion=look.motion,
            loop=loop,
        ).run()
    finally:
        listener.close()
