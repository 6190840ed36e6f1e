"""A note assembled from readings."""

from __future__ import annotations

from dataclasses import dataclass

from trainer.ear.motion import Modulation, Motion
from trainer.harp import Tab


@dataclass(frozen=True, slots=True)
class HeardNote:
    """A note from onset to offset: the same holes and breath, with any glide inside it.

    Attributes:
        start, end: first sample, and first sample after the last.
        rate: samples per second.
        tab: the entry that was held longest.
        hz: median f0 while `tab` was held.
        cents: deviation of `hz` from the target of `tab`.
        also: other entries of the same pitch as `tab`.
        holes: holes that sounded for more than half of the note.
        leak_db, leak_hole: median leak while held, as in :class:`Reading`.
        level_db: maximum level, dB re full scale.
        path: (sample, f0 in Hz) of each reading with a pitch, in order.
        motion: scoop, settling, drift, wobble, vibrato and glide.
        tremolo: regular modulation of the level in plus and minus dB; None if there is none.
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
        """Whether exactly one hole sounded."""
        return len(self.holes) == 1
