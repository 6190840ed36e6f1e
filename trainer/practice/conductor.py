"""The conductor: readings in, events out, one pass after another.

It knows the sample clock and nothing of where the sound comes from, so a saved take is marked by
the very code that marked it while it was played.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from trainer.drill import BeatClock, Drill
from trainer.ear import Reading
from trainer.marking import FreeMarker, Mark, Marker
from trainer.practice.events import BeatReached, Event, PassEnded, ReadingHeard, StepMarked
from trainer.practice.passes import Pass
from trainer.practice.plan import Plan

WAITS_S = 6.0
"""So long a pass waits at most for a player who is late."""


class Conductor:
    """Leads through the passes of one take.

    Attributes:
        passes: those begun so far, the newest last.
        passed: whether each of those that are over reached the drill's pass mark.
    """

    def __init__(self, plan: Plan, rate: int) -> None:
        """`rate` in samples a second."""
        self.passes: list[Pass] = []
        self.passed: list[bool] = []
        self._plan = plan
        self._rate = rate
        self._marker: Marker | FreeMarker | None = None
        self._count_in = 0
        self._entry = 0
        """The drill's beat that the count-in of the pass leads to."""
        self._clock = BeatClock(0, 60.0, rate)
        self._kept: tuple[Mark, ...] = ()
        self._beat = 0

    @property
    def running(self) -> bool:
        """Whether a pass is being played."""
        return self._marker is not None

    def begin(self, one: Pass) -> None:
        """Begin a pass; the one before it must be over."""
        assert self._plan.drill is not None
        self._clock = one.clock(self._rate)
        self._marker = self._marker_of(self._plan.drill, one)
        broken = bool(self.passes) and self.passes[-1].broken
        self._kept = tuple(m for m in self._kept if m.step.index < one.first) if broken else ()
        bar = self._plan.entered(one.first)
        self._count_in = self._plan.count_in or self._plan.drill.count_in_beats(bar)
        self._entry = self._plan.drill.entry_beat(bar)
        self._beat = -self._count_in - 1
        self.passes.append(one)

    def _marker_of(self, drill: Drill, one: Pass) -> Marker | FreeMarker:
        harp = self._plan.harp
        if drill.free:
            return FreeMarker(drill, harp, self._rate, one.first, one.last)
        return Marker(drill, harp, self._clock, one.first, one.last)

    def advance(self, heard: int) -> Iterator[Event]:
        """End the pass if it has run its course by a sample."""
        marker, now = self._marker, self.passes[-1] if self.passes else None
        if marker is None or now is None:
            return
        if isinstance(marker, FreeMarker):
            if marker.done:
                self._cut(heard, marker.reached, broken=False)
                yield from self._end()
        elif heard > now.close:
            if now.waits and heard <= now.close + min(marker.late, round(WAITS_S * self._rate)):
                return
            self.passes[-1] = replace(now, close=heard - 1, waits=False)
            yield from self._end()

    def feed(self, reading: Reading) -> Iterator[Event]:
        """What one more reading brings."""
        yield ReadingHeard(reading)
        if self._marker is None or reading.heard <= self.passes[-1].begin:
            return
        if isinstance(self._marker, Marker):
            yield from self._beats(reading)
        for mark in self._marker.observe(reading):
            yield StepMarked(mark)

    def _beats(self, reading: Reading) -> Iterator[Event]:
        beat = math.floor(self._clock.beat(reading.heard)) - self._entry
        if beat > self._beat and beat >= -self._count_in:
            self._beat = beat
            yield BeatReached(beat)

    def finish(self) -> Iterator[Event]:
        """The sound is over: end the pass that is being played, whatever is still to come."""
        if self._marker is not None:
            yield from self._end()

    def stop(self, heard: int) -> Iterator[Event]:
        """Stop at a sample, before the pass has run its course; only what was due counts."""
        if self._marker is not None:
            self._cut(heard, self._due(heard), broken=False)
            yield from self._end()

    def resumes(self, heard: int, back: int = 0) -> int:
        """The index of the step from which the pass that was broken off at a sample goes on.

        It is the first of the bar that was reached, or of one that comes before it, but of none
        before the first that is played.

        Args:
            heard: the sample.
            back: how many bars to go back; bars in which nothing begins do not count.
        """
        drill = self._plan.drill
        assert drill is not None
        now = self.passes[-1]
        first = drill.step_range(*(self._plan.played_bars or (1, drill.bars))).start
        bars = [step.bar for step in drill.steps[first : now.last]]
        reached = bars[min(self._due(heard), now.last - 1) - first]
        before = sorted({bar for bar in bars if bar <= reached})
        bar = before[max(0, len(before) - 1 - back)]
        least = first if back else max(first, now.first)
        return max(least, first + bars.index(bar))

    def break_off(self, heard: int, back: int = 0) -> int:
        """Break off at a sample: the sound is gone, or the player asked for it.

        Returns:
            the index of the step from which to go on, as :meth:`resumes`.
        """
        assert self._marker is not None
        again = self.resumes(heard, back)
        self._cut(heard, again, broken=True)
        list(self._end())
        return again

    def _end(self) -> Iterator[Event]:
        assert self._marker is not None
        now = self.passes[-1]
        result = self._marker.result(self._kept, now.upto)
        self._marker = None
        if now.broken:
            self._kept = result.marks
        elif result.marks:
            self.passed.append(result.passed)
            yield PassEnded(result)

    def _cut(self, heard: int, upto: int, *, broken: bool) -> None:
        now = self.passes[-1]
        upto = max(now.first, min(now.upto, upto))
        self.passes[-1] = replace(now, close=heard, upto=upto, broken=broken)

    def _due(self, heard: int) -> int:
        """The first step of the pass that was not over by a sample."""
        assert self._plan.drill is not None
        now = self.passes[-1]
        if isinstance(self._marker, FreeMarker):
            return self._marker.reached
        steps = self._plan.drill.steps[now.first : now.last]
        over = sum(self._clock.sample(step.end) <= heard for step in steps)
        return now.first + over
