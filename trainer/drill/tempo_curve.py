"""The beats of a player who keeps their own time, on the sample clock."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction
from operator import itemgetter

from trainer.drill.clock import BeatClock


@dataclass(frozen=True, slots=True)
class TempoCurve:
    """Maps the beats of one pass to samples where the player keeps their own tempo.

    It warps a written clock. Between its knots the tempo is constant; where the player stopped,
    went back or skipped, time jumps. It can be used wherever a
    :class:`~trainer.drill.BeatClock` can.

    Attributes:
        written: the drill's clock with beat 0 at sample 0: swing and written changes of tempo.
        knots: (written sample, played sample) in ascending order, two at least. Played samples
            leave out the jumps.
        jumps: (written sample, delay in samples) in ascending order of all that is played from
            that place on; negative is earlier.
    """

    written: BeatClock
    knots: tuple[tuple[int, int], ...]
    jumps: tuple[tuple[int, int], ...] = ()

    @property
    def rate(self) -> int:
        """Sample rate in hertz."""
        return self.written.rate

    @property
    def swing(self) -> float:
        """Duration of the first half of a beat over the second, 1 or more."""
        return self.written.swing

    @property
    def tempo(self) -> float:
        """The written tempo as it was played, in beats per minute, to a tenth: without jumps."""
        (first, begin), (last, end) = self.knots[0], self.knots[-1]
        return round(self.written.tempo * (last - first) / (end - begin), 1)

    @property
    def zero(self) -> int:
        """Sample of beat 0."""
        return self.sample(0)

    def sample(self, beat: Fraction | float) -> int:
        """Return the sample of a beat, after any jump at that beat."""
        place = self.written.sample(beat)
        return self._even(place) + self._jumped(place)

    def span(self, start: Fraction | float, end: Fraction | float) -> tuple[int, int]:
        """Return the samples of a note's start and end.

        The end is where the note should end had the player not stopped.
        """
        first, last = self.written.sample(start), self.written.sample(end)
        jumped = self._jumped(first)
        return self._even(first) + jumped, self._even(last) + jumped

    def beat(self, sample: int) -> float:
        """Return the beat of a sample, without swing; it stands still where the player stopped."""
        left = float(sample)
        place = self._written(left)
        for at, length in self.jumps:
            if self._written(left) < at:
                break
            left = max(float(self._even(at)), left - length)
            place = max(float(at), self._written(left))
        return self.written.beat(round(place))

    def beat_s(self, beat: Fraction | float) -> float:
        """Return the duration in seconds of a beat at the tempo that holds there."""
        return self.written.beat_s(beat) * self.slowness(beat)

    def slowness(self, beat: Fraction | float) -> float:
        """Return the played duration of a beat over the written one."""
        place = self.written.sample(beat)
        (first, begin), (last, end) = self._segment(0, place)
        return (end - begin) / (last - first)

    def _segment(self, column: int, place: float) -> tuple[tuple[int, int], tuple[int, int]]:
        """Return the knots around a place in a column; the outermost ones beyond them."""
        after = bisect_right(self.knots, place, key=itemgetter(column))
        i = min(max(after, 1), len(self.knots) - 1)
        return self.knots[i - 1], self.knots[i]

    def _even(self, place: int) -> int:
        """Return the played sample of a written one, without jumps."""
        (first, begin), (last, end) = self._segment(0, place)
        return begin + round((place - first) * (end - begin) / (last - first))

    def _written(self, sample: float) -> float:
        """Return the written sample of a played one, without jumps."""
        (first, begin), (last, end) = self._segment(1, sample)
        return first + (sample - begin) * (last - first) / (end - begin)

    def _jumped(self, place: int) -> int:
        return sum(length for at, length in self.jumps if at <= place)


Clock = BeatClock | TempoCurve
"""What maps beats to samples."""
