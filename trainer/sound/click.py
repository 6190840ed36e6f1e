"""The metronome's click, and the beats on which it sounds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Samples
from trainer.drill import BeatClock, Drill, TempoMap

_LENGTH_S = 0.03
"""Length of a click, in seconds."""
_DECAY_S = 0.006
"""Time constant of its exponential decay, in seconds."""
_ACCENT_HZ, _PLAIN_HZ = 2000.0, 1500.0
"""Frequencies of accented and other clicks. Chosen above the notes of most drills."""
_ACCENT_PEAK, _PLAIN_PEAK = 0.3, 0.18
"""Peak amplitudes relative to full scale."""


def click(rate: int, *, accented: bool) -> Samples:
    """Return one click: a short decaying burst, accented on the first beat of a bar.

    Returns:
        float32, shape (n,), 30 ms at `rate` samples per second, peak below -10 dBFS.
    """
    t = np.arange(round(_LENGTH_S * rate)) / rate
    hz, peak = (_ACCENT_HZ, _ACCENT_PEAK) if accented else (_PLAIN_HZ, _PLAIN_PEAK)
    envelope = np.exp(-t / _DECAY_S) * (1.0 - t / _LENGTH_S)
    return np.asarray(peak * envelope * np.sin(2 * np.pi * hz * t), dtype=np.float32)


def mix(out: Samples, first: int, samples: Samples, at: int) -> None:
    """Add samples to a stretch of output, as far as they fall into it.

    Args:
        out: frames, shape (n,), of which the first has the number `first`; changed.
        first: that number.
        samples: what is heard from frame `at` on, shape (m,).
        at: may lie outside the stretch.
    """
    a, b = max(first, at), min(first + len(out), at + len(samples))
    if a < b:
        out[a - first : b - first] += samples[a - at : b - at]


@dataclass(frozen=True, slots=True)
class ClickTrack:
    """The beats of a pass that click.

    Attributes:
        tempo: beats per minute.
        meter_beats: beats in a bar; the first of each is accented.
        count_in: beats of count-in.
        beats: number of beats that click after the count-in; 0 for the count-in alone.
        first: the drill's beat that follows the count-in; 0 unless the pass begins later or the
            drill has a pick-up.
        swing, change: as in :class:`trainer.drill.BeatClock`.
        silent: whether only the count-in clicks, because a recording has the beat.
    """

    tempo: float
    meter_beats: int
    count_in: int
    beats: int
    first: int = 0
    swing: float = 1.0
    change: TempoMap | None = None
    silent: bool = False

    @classmethod
    def of(
        cls,
        drill: Drill,
        tempo: float | None = None,
        bars: tuple[int, int] | None = None,
        count_in: int | None = None,
    ) -> ClickTrack:
        """Return all beats of a drill.

        Args:
            drill: the drill.
            tempo: beats per minute; None takes the drill's own.
            bars: first and last bar to play, counted from 1; None takes all.
            count_in: beats before the first; None is one bar, and before a pick-up also the rest
                of its bar.
        """
        first_bar, last_bar = bars or (1, drill.bars)
        first = drill.entry_beat(first_bar)
        return cls(
            tempo=drill.tempo if tempo is None else tempo,
            meter_beats=drill.meter[0],
            count_in=drill.count_in_beats(first_bar) if count_in is None else count_in,
            beats=last_bar * drill.meter[0] - first,
            first=first,
            swing=drill.swing,
            change=drill.tempo_map,
            silent=drill.recording is not None,
        )

    def clock(self, zero: int, rate: int) -> BeatClock:
        """Return the clock of a pass whose beat 0 falls on the sample `zero`."""
        return BeatClock(zero, self.tempo, rate, self.swing, self.change)

    def clock_from(self, sample: int, rate: int) -> BeatClock:
        """Return the clock of a pass whose first click falls on a sample."""
        return self.clock(sample - self.clock(0, rate).sample(self.start), rate)

    @property
    def start(self) -> int:
        """The beat of the first click."""
        return self.first - self.count_in

    @property
    def end(self) -> int:
        """The beat after the last click."""
        return self.first + self.beats

    def beats_from(self, zero: int, rate: int) -> Iterator[tuple[int, bool]]:
        """Yield the sample of each click and whether it is accented, with beat 0 on `zero`."""
        clock = self.clock(zero, rate)
        for beat in range(self.start, self.first if self.silent else self.end):
            yield clock.sample(beat), beat % self.meter_beats == 0
