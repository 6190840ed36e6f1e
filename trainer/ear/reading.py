"""The ear's estimate for one instant."""

from __future__ import annotations

from dataclasses import dataclass, field

from trainer.harp import Breath, Tab


@dataclass(frozen=True, slots=True)
class Reading:
    """Pitch, level and sounding holes at one instant.

    Attributes:
        sample: centre of the analysis window, in source samples.
        heard: first source sample after the last one used. A live run has received the samples
            before it.
        rate: source samples per second.
        hz: f0 of the main reed; None if nothing sounds or no pitch is reliable yet.
        level_db: RMS level of the last 10 ms, dB re full scale, -120 at least.
        sounding: whether the level gate is open. The sound may have no pitch.
        onset: first source sample of the current attack, in the first reading that knows of it;
            otherwise None.
        tab: tab entry nearest to the pitch, on the holes that sound; None without a pitch.
        cents: deviation of `hz` from that entry, positive is sharp; None without a pitch.
        also: other entries of the same pitch (draw 2 and blow 3), which sound alone cannot
            distinguish from `tab`.
        breath: direction of the breath; None if nothing sounds or the sound does not show it.
        holes: numbers of the sounding holes, ascending; empty if unknown.
        leak_db: level of the loudest other hole relative to the main one, dB, negative is
            quieter; None if no other hole is above the measurement floor.
        leak_hole: number of that hole.
        pitches: (hole, f0 in Hz) of each sounding reed that was tracked, the main one first.
        levels: (hole, dB relative to the main hole) of each hole that could be measured in this
            breath, for the ten-hole strip.
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
        """Centre of the analysis window in seconds."""
        return self.sample / self.rate

    @property
    def heard_at(self) -> float:
        """End of the samples used, in seconds."""
        return self.heard / self.rate

    @property
    def clean(self) -> bool | None:
        """Whether exactly one hole sounds; None if no sounding hole is known."""
        return len(self.holes) == 1 if self.holes else None
