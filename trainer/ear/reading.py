"""What the ear says."""

from __future__ import annotations

from dataclasses import dataclass, field

from trainer.harp import Breath, Tab


@dataclass(frozen=True, slots=True)
class Reading:
    """What was heard at one moment.

    Attributes:
        sample: centre of the stretch that was analysed, in samples of the source.
        heard: number of the first sample after the last one used; what a live run has by then.
        rate: samples a second.
        hz: f0 of the main reed; None when nothing sounds or no pitch can be trusted yet.
        level_db: RMS level of the last 10 ms or so, dB re full scale; at least -120.
        sounding: whether the level gate is open (there is sound, pitched or not).
        onset: number of the first sample of the current attack, when this reading is the first
            to know of it; otherwise None.
        tab: the tab entry nearest to what sounds, on the holes that sound; None without pitch.
        cents: hz from that entry's target, positive is sharp; None without pitch.
        also: other tab entries of the same pitch (draw 2 and blow 3), which sound alone cannot
            tell from `tab`.
        breath: the direction of breath; None when it cannot be told or nothing sounds.
        holes: numbers of the holes that sound, ascending; empty when not known.
        leak_db: level of the loudest other hole relative to the main one, in dB (negative is
            quieter); None when no other hole is heard above the floor of what can be measured.
        leak_hole: the number of that hole.
        pitches: (hole, f0 in Hz) of each reed that sounds, the main one first, as far as they were
            followed.
        levels: for the ten-hole strip, (hole, dB relative to the main hole) of each hole that
            could be measured in this breath direction.
    """

    sample: int
    heard: int
    rate: int
    hz: float | None = None
    level_db: float = -120.0
    sounding: bool = False
    onset: int | None = None
    tab: Tab | None = None
    cents: float | None = None
    also: tuple[Tab, ...] = ()
    breath: Breath | None = None
    holes: tuple[int, ...] = ()
    leak_db: float | None = None
    leak_hole: int | None = None
    pitches: tuple[tuple[int, float], ...] = ()
    levels: tuple[tuple[int, float], ...] = field(default=())

    @property
    def time(self) -> float:
        """Centre of what was analysed, in seconds."""
        return self.sample / self.rate

    @property
    def heard_at(self) -> float:
        """End of the last sample used, in seconds."""
        return self.heard / self.rate

    @property
    def clean(self) -> bool | None:
        """Whether one hole sounds alone; None when no hole is known to sound."""
        return len(self.holes) == 1 if self.holes else None
