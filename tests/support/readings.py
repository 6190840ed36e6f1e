"""Readings for tests that need no audio."""

from __future__ import annotations

from trainer.drill import BeatClock
from trainer.ear import Reading
from trainer.harp import Harp, Tab

RATE = 48_000
HARP = Harp.of("C")
CLOCK = BeatClock(3 * RATE, 80.0, RATE)
"""A clock with a count-in of four beats at 80 beats a minute."""


def reading(
    tab: str,
    off: float = 0.0,
    *,
    beat: float = 0.0,
    sample: int | None = None,
    leak: tuple[int, float] | None = None,
    also: tuple[str, ...] = (),
) -> Reading:
    """Make a reading of a tab entry with an offset in cents."""
    entry = Tab.parse(tab)
    sample = CLOCK.sample(beat) if sample is None else sample
    return Reading(
        sample,
        sample,
        RATE,
        hz=HARP.hz(entry) * 2 ** (off / 1200),
        level_db=-12.0,
        sounding=True,
        tab=entry,
        cents=off,
        also=tuple(Tab.parse(text) for text in also),
        breath=entry.breath,
        holes=(entry.hole,) if leak is None else tuple(sorted((entry.hole, leak[0]))),
        leak_hole=leak[0] if leak else None,
        leak_db=leak[1] if leak else None,
        levels=((entry.hole, 0.0), *((leak,) if leak else ())),
    )


def silence(sample: int) -> Reading:
    return Reading(sample, sample, RATE, level_db=-70.0)
