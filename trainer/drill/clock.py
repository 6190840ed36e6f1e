"""Conversion between beats and samples."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class TempoChange:
    """An even change of tempo, beat by beat, with a steady tempo before and after.

    At beat b of the span the tempo is T(b) = T0 (1 + g u), with u = (b - start) / (end - start) and
    g = ratio - 1. A beat lasts 1 / T(b), so that the time from the start of the span, counted in
    beats of the first tempo, is the integral of db / (1 + g u) = (end - start) / g ln(1 + g u).
    :meth:`elapsed` is that, and :meth:`beat` its inverse.

    Attributes:
        start, end: beats between which the tempo changes, `start` before `end`.
        ratio: the last tempo over the first, positive and not 1.
    """

    start: float
    end: float
    ratio: float

    @property
    def _beats(self) -> float:
        return self.end - self.start

    @property
    def _elapsed_at_end(self) -> float:
        return self.start + self._beats / (self.ratio - 1.0) * math.log(self.ratio)

    def elapsed(self, beat: float) -> float:
        """Return the time of a beat, in beats of the first tempo; up to `start` it is the beat."""
        if beat <= self.start:
            return beat
        if beat >= self.end:
            return self._elapsed_at_end + (beat - self.end) / self.ratio
        gain = self.ratio - 1.0
        grown = math.log1p(gain * (beat - self.start) / self._beats)
        return self.start + self._beats / gain * grown

    def beat(self, elapsed: float) -> float:
        """Return the beat at a time of :meth:`elapsed`."""
        if elapsed <= self.start:
            return elapsed
        if elapsed >= self._elapsed_at_end:
            return self.end + (elapsed - self._elapsed_at_end) * self.ratio
        gain = self.ratio - 1.0
        grown = math.expm1(gain * (elapsed - self.start) / self._beats)
        return self.start + self._beats / gain * grown

    def factor(self, beat: float) -> float:
        """Return the tempo at a beat over the first tempo."""
        place = min(max((beat - self.start) / self._beats, 0.0), 1.0)
        return 1.0 + (self.ratio - 1.0) * place


@dataclass(frozen=True, slots=True)
class RecordedTempo:
    """The tempo of a recording, which has its own at each beat.

    Between its beats the tempo is constant; before the first and after the last beat it is that of
    the nearest ones. Its members are those of :class:`TempoChange`.

    Attributes:
        first: the number of the first beat.
        times: (n,), n at least 2, the time of each consecutive beat in beats of the clock's tempo,
            ascending.
    """

    first: int
    times: tuple[float, ...]

    def elapsed(self, beat: float) -> float:
        """Return the time of a beat, in beats of the clock's tempo."""
        place = beat - self.first
        i = min(max(math.floor(place), 0), len(self.times) - 2)
        return self.times[i] + (place - i) * (self.times[i + 1] - self.times[i])

    def beat(self, elapsed: float) -> float:
        """Return the beat at a time of :meth:`elapsed`."""
        i = min(max(bisect_right(self.times, elapsed) - 1, 0), len(self.times) - 2)
        part = (elapsed - self.times[i]) / (self.times[i + 1] - self.times[i])
        return self.first + i + part

    def factor(self, beat: float) -> float:
        """Return the tempo at a beat over the clock's tempo."""
        return 1.0 / (self.elapsed(math.floor(beat) + 1.0) - self.elapsed(math.floor(beat)))


TempoMap = TempoChange | RecordedTempo
"""How a tempo differs from beat to beat."""


@dataclass(frozen=True, slots=True)
class BeatClock:
    """Maps the beats of one pass to samples.

    Everything musical runs on the sample clock, so that a beat is the same sample live and from a
    file.

    Attributes:
        zero: sample of beat 0.
        tempo: beats per minute; with a change of tempo, those before it, and with a recording's
            tempo, the usual ones.
        rate: sample rate in hertz.
        swing: duration of the first half of a beat over the second, 1 or more.
        change: how the tempo changes; None where it is steady.
    """

    zero: int
    tempo: float
    rate: int
    swing: float = 1.0
    change: TempoMap | None = None

    def sample(self, beat: Fraction | float) -> int:
        """Return the sample of a beat, swing included."""
        place = self._swung(beat)
        if self.change:
            place = self.change.elapsed(place) - self.change.elapsed(0.0)
        return self.zero + round(place * 60.0 / self.tempo * self.rate)

    def span(self, start: Fraction | float, end: Fraction | float) -> tuple[int, int]:
        """Return the samples of a note's start and end."""
        return self.sample(start), self.sample(end)

    def beat(self, sample: int) -> float:
        """Return the beat of a sample, without swing; negative during the count-in."""
        place = (sample - self.zero) / self.rate * self.tempo / 60.0
        return self.change.beat(place + self.change.elapsed(0.0)) if self.change else place

    def beat_s(self, beat: Fraction | float) -> float:
        """Return the duration in seconds of a beat at the tempo that holds there."""
        factor = self.change.factor(float(beat)) if self.change else 1.0
        return 60.0 / (self.tempo * factor)

    def _swung(self, beat: Fraction | float) -> float:
        """Return a beat with swing: binary parts of a beat are moved, thirds are not."""
        exact = Fraction(beat)
        if self.swing == 1.0 or exact.denominator & (exact.denominator - 1):
            return float(beat)
        whole, part = divmod(float(beat), 1.0)
        half = self.swing / (1.0 + self.swing)
        late = 2.0 * part * half if part <= 0.5 else 1.0 - 2.0 * (1.0 - part) * (1.0 - half)
        return whole + late
