"""Screens as stored text.

A screen that is meant to look different now: run with HARP_TRAINER_RENEW=1, read what git says has
changed in tests/snapshots, and commit it.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

from textual.pilot import Pilot

from tests.support.pilots import POLL_S, WAIT_S

SNAPSHOTS = Path(__file__).parent.parent / "snapshots"
RENEW = "HARP_TRAINER_RENEW"
SIZES = [(80, 24), (120, 40), (200, 60)]
STILL_S = 0.5
"""Time in seconds for which a screen must not change before it is stored."""


def text(pilot: Pilot[None]) -> str:
    """Text of the screen, a line a row, without spaces at the ends."""
    strips = pilot.app.screen._compositor.render_strips()
    return "".join(f"{strip.text.rstrip()}\n" for strip in strips)


async def hold(name: str, pilot: Pilot[None], look: Callable[[Pilot[None]], str] = text) -> None:
    """Wait until a screen is as it is stored, or store it if `RENEW` is set."""
    path = SNAPSHOTS / f"{name}.txt"
    stored = path.read_text(encoding="utf-8") if path.exists() else ""
    end = time.monotonic() + WAIT_S
    while not os.environ.get(RENEW) and look(pilot) != stored and time.monotonic() < end:
        await pilot.pause(POLL_S)
    screen = look(pilot)
    if os.environ.get(RENEW):
        before = ""
        while screen != before:  # a busy machine paints late
            await pilot.pause(STILL_S)
            before, screen = screen, look(pilot)
        SNAPSHOTS.mkdir(exist_ok=True)
        path.write_text(screen, encoding="utf-8")
        return
    assert path.exists(), f"{path} is missing; {RENEW}=1 makes it"
    assert screen == stored, f"{name} looks different; see {__file__}"
