"""Opening the live screen."""

from __future__ import annotations

import os
import sys
from dataclasses import replace

from trainer.practice import Plan
from trainer.sound import Passage


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
) -> None:
    """Run the app until the player leaves.

    Args:
        plan: the first plan.
        autostart: whether to start it at once.
        today: whether to open on the daily set; without a settings file, the microphone guide
            comes first.
        loop: a passage to loop, and the half steps from it to the selected harp.
    """
    from trainer.core.logs import start_logging
    from trainer.drill import read_shelf
    from trainer.practice import HandsFree, Listener
    from trainer.settings import resolve_settings

    resolved = resolve_settings()
    look = resolved.settings.screen
    start_logging(console=False)

    # Start the listener's process before the app takes over the terminal.
    listener = Listener()
    try:
        from trainer.app import TrainerApp, effective_theme

        shelf = read_shelf().drills
        if plan.drill is not None and plan.drill.name not in {drill.name for drill in shelf}:
            shelf = (plan.drill, *shelf)
        if resolved.settings.practice.hands_free and not plan.follow:
            plan = replace(plan, hands_free=HandsFree())
        TrainerApp(
            listener,
            shelf,
            plan,
            autostart=autostart,
            today=today,
            guide=today and not resolved.file.exists(),
            theme=effective_theme(look.theme),
            motion=look.motion,
            loop=loop,
        ).run()
    finally:
        listener.close()
