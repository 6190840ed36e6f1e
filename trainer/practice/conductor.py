"""The conductor: readings in, events out, one pass after another.

It knows the sample clock but not where the sound comes from, so a saved take is marked by the very
code that marked it while it was played.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from trainer.drill import BeatClock, Clock, Drill
from trainer.ear import Reading
from trainer.marking import (
    FreeMarker,
    LiveFollower,
    Mark,
    Marker,
    OtherPitchError,
    Position,
    SoloMark,
    StartError,
)
from trainer.practice.events import (
    BeatReached,
    Event,
    Notice,
    PassEnded,
    PositionChanged,
    ReadingHeard,
    SoloMarked,
    StepMarked,
)
from trainer.practice.passes import OwnTime, Pass
from trainer.practice.plan import Plan

MAX_WAIT_S = 6.0
"""Longest time by which a pass is extended for a player who is late, in seconds. Chosen."""


class Conductor:
    """Leads through the passes of one take.

    Attributes:
        passes: the passes begun so far, the newest last.
        passed: whether each pass that has ended reached the drill's pass mark.
        own_time: how the take was played without a click; None with one.
    """

    def __init__(self, plan: Plan, rate: int) -> None:
        """`rate` in samples per second."""
        self.passes: list[Pass] = []
        self.passed: list[bool] = []
        self.own_time: OwnTime | None = None
        self._plan = plan
        self._rate = rate
        self._marker: Marker | FreeMarker | None = None
        self._count_in = 0
        self._entry = 0
        """The drill's beat that the count-in of the pass leads to."""
        self._clock: Clock = BeatClock(0, 60.0, rate)
        self._earlier_marks: tuple[Mark, ...] = ()
        self._earlier_solos: tuple[SoloMark, ...] = ()
        """Marks of the interrupted pass that the current one continues."""
        self._beat = 0
        self._follower: LiveFollower | None = None
        self._position: Position | None = None

    @property
    def running(self) -> bool:
        """Whether a pass is being played."""
        return self._marker is not None or self._follower is not None

    def begin(self, next_pass: Pass) -> None:
        """Begin a pass; the one before it must have ended."""
        assert self._plan.drill is not None
        self._clock = next_pass.clock(self._rate)
        self._marker = self._make_marker(self._plan.drill, next_pass)
        continues = bool(self.passes) and self.passes[-1].broken
        earlier = self._earlier_marks if continues else ()
        self._earlier_marks = tuple(mark for mark in earlier if mark.step.index < next_pass.first)
        bars = next_pass.bars
        bar = bars[0] if bars else self._plan.entry_bar(next_pass.first)
        solos = self._earlier_solos if continues else ()
        self._earlier_solos = tuple(each for each in solos if max(1, each.solo.bar) < bar)
        self._count_in = self._plan.count_in or self._plan.drill.count_in_beats(bar)
        self._entry = self._plan.drill.entry_beat(bar)
        self._beat = -self._count_in - 1
        self.passes.append(next_pass)

    def _make_marker(self, drill: Drill, next_pass: Pass) -> Marker | FreeMarker:
        harp, first, last = self._plan.harp, next_pass.first, next_pass.last
        if drill.free:
            return FreeMarker(drill, harp, self._rate, first, last)
        performance = next_pass.performance
        skipped = performance.skipped if performance else ()
        solos = drill.solos_in(next_pass.bars) if next_pass.bars else ()
        return Marker(drill, harp, self._clock, first, last, skipped=skipped, solos=solos)

    def begin_following(self, steps: range) -> None:
        """Begin to follow a player who keeps their own time.

        Args:
            steps: indices of the steps of a pass.
        """
        plan, drill = self._plan, self._plan.drill
        assert drill is not None
        self.own_time = OwnTime(plan.first_tempo, steps.start, steps.stop)
        self._follower = LiveFollower(drill, plan.harp, plan.first_tempo, self._rate, steps)

    def advance(self, sample: int) -> Iterator[Event]:
        """End the pass if it has run its course by a sample."""
        if self._follower is not None:
            if self._follower.is_full:
                yield Notice("a take in your own time ends after ten minutes; start the next one")
            if self._follower.done or self._follower.is_full:
                yield from self._end_following(self._follower)
            return
        marker, current = self._marker, self.passes[-1] if self.passes else None
        if marker is None or current is None:
            return
        if isinstance(marker, FreeMarker):
            if marker.done:
                self._cut(sample, marker.reached, broken=False)
                yield from self._end()
        elif sample > current.close:
            limit = min(marker.late, round(MAX_WAIT_S * self._rate))
            if current.waits and sample <= current.close + limit:
                return
            self.passes[-1] = replace(current, close=sample - 1, waits=False)
            yield from self._end()

    def conduct(self, reading: Reading) -> Iterator[Event]:
        """Yield the events that a reading brings: itself, a beat, marks."""
        if self._follower is not None:
            yield ReadingHeard(reading)
            yield from self._follow(self._follower, reading)
            return
        marker = self._marker
        yield ReadingHeard(reading, marker.held_s if isinstance(marker, FreeMarker) else 0.0)
        if self._marker is None or reading.heard <= self.passes[-1].begin:
            return
        if isinstance(self._marker, Marker):
            yield from self._beats(reading)
        performance = self.passes[-1].performance
        if performance is not None and not performance.counts(reading.sample):
            reading = silent(reading)
        for mark in self._marker.observe(reading):
            yield StepMarked(mark)
        if isinstance(self._marker, Marker):
            for solo_mark in self._marker.ended_solos():
                yield SoloMarked(solo_mark)

    def _beats(self, reading: Reading) -> Iterator[Event]:
        beat = math.floor(self._clock.beat(reading.heard)) - self._entry
        if beat > self._beat and beat >= -self._count_in:
            self._beat = beat
            yield BeatReached(beat)

    def finish(self) -> Iterator[Event]:
        """End the pass with the end of the sound; steps still to come count as missed."""
        if self._follower is not None:
            yield from self._end_following(self._follower)
        if self._marker is not None:
            yield from self._end()

    def stop(self, sample: int) -> Iterator[Event]:
        """Stop the pass at a sample before it has run its course; only steps due by then count."""
        if self._follower is not None:
            yield from self._end_following(self._follower, stopped=not self._follower.done)
        elif self._marker is not None:
            self._cut(sample, self._first_unfinished(sample), broken=False)
            yield from self._end()

    def _follow(self, follower: LiveFollower, reading: Reading) -> Iterator[Event]:
        """Yield provisional marks, and where the player is if that has changed."""
        for mark in follower.observe(reading):
            yield StepMarked(mark)
        if follower.position is not self._position:
            self._position = follower.position
            yield PositionChanged(follower.position)

    def _end_following(self, follower: LiveFollower, *, stopped: bool = False) -> Iterator[Event]:
        """Mark what was followed as a recording of it is marked, now that all of it is known."""
        assert self.own_time is not None
        self._follower = None
        self.own_time = replace(self.own_time, stopped=stopped)
        try:
            to_come = self.own_time.passes(follower.passes())
        except OtherPitchError as error:
            choose = f"choose it with --harp '{error.harp}'" if error.harp else "choose yours"
            yield Notice(f"you play on another harp than {self._plan.harp.name}; {choose}")
            return
        except StartError:
            yield Notice("too little was played to mark it")
            return
        for reading in follower.readings:
            yield from _results(self.advance(reading.heard))
            if not self.running:
                if not to_come:
                    return
                self.begin(to_come.pop(0))
            list(self.conduct(reading))
        yield from _results(self.finish())

    def resume_step(self, sample: int, bars_back: int = 0) -> int:
        """Return the index of the step from which a pass interrupted at a sample resumes.

        It is the first step of the bar that was reached, or of an earlier bar, but never lies
        before the first step that is played.

        Args:
            sample: where the pass is interrupted.
            bars_back: number of bars to go back; bars in which no step begins do not count.
        """
        drill = self._plan.drill
        assert drill is not None
        current = self.passes[-1]
        first = drill.step_range(*(self._plan.played_bars or (1, drill.bars))).start
        bars = [step.bar for step in drill.steps[first : current.last]]
        reached = bars[min(self._first_unfinished(sample), current.last - 1) - first]
        candidates = sorted({bar for bar in bars if bar <= reached})
        bar = candidates[max(0, len(candidates) - 1 - bars_back)]
        least = first if bars_back else max(first, current.first)
        return max(least, first + bars.index(bar))

    def interrupt(self, sample: int, bars_back: int = 0) -> int:
        """Interrupt the pass at a sample: the sound is lost, or the player asked for it.

        Returns:
            The index of the step from which it resumes, as :meth:`resume_step`.
        """
        assert self._marker is not None
        step = self.resume_step(sample, bars_back)
        self._cut(sample, step, broken=True)
        list(self._end())
        return step

    def resume_bar(self, step: int, sample: int) -> int:
        """Return the bar in which a pass interrupted at a sample resumes, given its first step.

        It is the bar of a solo that was played then and leads to the step, else that of the step.
        """
        drill = self._plan.drill
        assert drill is not None
        following = drill.steps[step]
        before = drill.steps[step - 1].end if step else drill.start
        for solo in drill.solos:
            leads_to_it = before <= solo.start < following.start
            if leads_to_it and self._clock.sample(solo.end) > sample:
                return max(1, solo.bar)
        return max(1, following.bar)

    def _end(self) -> Iterator[Event]:
        assert self._marker is not None
        current = self.passes[-1]
        if isinstance(self._marker, Marker):
            result = self._marker.result(self._earlier_marks, current.upto, self._earlier_solos)
        else:
            result = self._marker.result(self._earlier_marks, current.upto)
        result = replace(result, performance=current.performance)
        self._marker = None
        if current.broken:
            self._earlier_marks, self._earlier_solos = result.marks, result.solos
        elif result.marks or result.solos:
            self.passed.append(result.passed)
            yield PassEnded(result)

    def _cut(self, sample: int, upto: int, *, broken: bool) -> None:
        """Shorten the current pass to end at a sample, before the step `upto`."""
        current = self.passes[-1]
        upto = max(current.first, min(current.upto, upto))
        self.passes[-1] = replace(current, close=sample, upto=upto, broken=broken)

    def _first_unfinished(self, sample: int) -> int:
        """Return the first step of the pass that had not ended by a sample."""
        assert self._plan.drill is not None
        current = self.passes[-1]
        if isinstance(self._marker, FreeMarker):
            return self._marker.reached
        steps = self._plan.drill.steps[current.first : current.last]
        ended = sum(self._clock.sample(step.end) <= sample for step in steps)
        return current.first + ended


def _results(events: Iterator[Event]) -> Iterator[PassEnded]:
    return (event for event in events if isinstance(event, PassEnded))


def silent(reading: Reading) -> Reading:
    """Return a reading as if nothing had sounded."""
    return Reading(reading.sample, reading.heard, reading.rate)
