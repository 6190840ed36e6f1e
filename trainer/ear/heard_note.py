"""A note, as the ear says what was played."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.ear.motion import Modulation, Motion
from trainer.harp import Tab


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One note: the same holes in one breath from an onset to its end, glides inside it included.

    Attributes:
        start, end: first sample, and first sample after it.
        rate: samples a second.
        tab: the entry on which it was held longest.
        hz: median f0 of the part held on `tab`.
        cents: that, from the target of `tab`.
        also: entries of the same pitch as `tab`.
        holes: the holes that sounded for most of it.
        leak_db, leak_hole: median leak while held, as in :class:`Reading`.
        level_db: loudest level, dB re full scale.
        path: (sample, hz) of each reading with a pitch, in order.
        motion: its scoop, settling, drift, wobble, vibrato and glide.
        tremolo: regular swing of its level in plus and minus dB, if it has one.
    """

    start: int
    end: int
    rate: int
    tab: Tab
    hz: float
    cents: float
    also: tuple[Tab, ...]
    holes: tuple[int, ...]
    leak_db: float | None
    leak_hole: int | None
    level_db: float
    path: tuple[tuple[int, float], ...]
    motion: Motion
    tremolo: Modulation | None

    @property
    def clean(self) -> bool:
        """Whether one hole sounded alone."""
        return len(self.holes) == 1
