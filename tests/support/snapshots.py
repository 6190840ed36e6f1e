"""Screens as stored text.

A screen that is meant to look different now: run with HARP_TRAINER_RENEW=1, read what git says has
changed in tests/snapshots, and commit it.
"""

from __future__ import annotations

import os
from pathlib import Path

from textual.pilot import Pilot

SNAPSHOTS = Path(__file__).parent.parent / "snapshots"
RENEW = "HARP_TRAINER_RENEW"
SIZES = [(80, 24), (120, 40), (200, 60)]


def text(pilot: Pilot[None]) -> str:
    """Text of the screen, a line a row, without spaces at the ends."""
    strips = pilot.app.screen._compositor.render_strips()
    return "".join(f"{strip.text.rstrip()}\n" for strip in strips)


def hold(name: str, screen: str) -> None:
    """Compare a screen with the stored one, or store it if `RENEW` is set."""
    path = SNAPSHOTS / f"{name}.txt"
    if os.environ.get(RENEW):
        SNAPSHOTS.mkdir(exist_ok=True)
        path.write_text(screen, encoding="utf-8")
    assert path.exists(), f"{path} is missing; {RENEW}=1 makes it"
    assert screen == path.read_text(encoding="utf-8"), f"{name} looks different; see {__file__}"
