"""Which pass comes next, and when its beats begin."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime

from trainer.drill import BeatClock, Clock, Drill
from trainer.practice.conductor import Conductor
from trainer.practice.events import Event, Notice, PassStarted
from trainer.practice.passes import Pass, saved_passes
from trainer.practice.plan import Plan
from trainer.practice.session.pass_finding import PassFinder
from trainer.practice.tempo_ladder import TempoLadder
from trainer.sound import Source

AHEAD_S = 0.9
"""Time before a pass ends at which the next one of a loop is scheduled, in seconds. Chosen longer
than the output is filled ahead, so that its clicks are in time."""


class PassScheduler:
    """Begins the passes of a take, one after another.

    Attributes:
        pass_began: when the current pass began, with a time zone.
        held: whether no further pass of a loop begins.
    """

    def __init__(
        self, plan: Plan, source: Source, conductor: Conductor, finder: PassFinder
    ) -> None:
        self.pass_began = datetime.now().astimezone()
        self.held = False
        self._plan, self._source = plan, source
        self._conductor, self._finder = conductor, finder
        climb = plan.ladder if plan.loops else None
        self._ladder = TempoLadder(climb, plan.first_tempo) if climb else None
        self._recorded: list[Pass] = []
        """Passes of a recording that are still to come."""
        self._scheduled: BeatClock | None = None
        """The clock of the next pass, if that is scheduled already."""

    def begin_first(self) -> Iterator[Event]:
        """Begin the first pass; without a drill, begin to listen."""
        drill, source = self._plan.drill, self._source
        if drill is None:
            yield self._started(None, range(0))
            return
        steps = self._steps(drill)
        if self._plan.follows:
            yield self._started(None, steps)
            self.pass_began = datetime.now().astimezone()
            self._conductor.begin_following(steps)
            return
        if drill.free:
            first, *self._recorded = saved_passes(source.tags, drill) or [
                Pass.free(drill, steps, 0)
            ]
        elif source.can_start_passes:
            first = self._timed_pass(drill, source.first_pass(), steps, 0)
            if source.advice:
                yield Notice(source.advice)
        else:
            first, *self._recorded = self._finder.find(drill, steps)
        yield from self._begin(first)

    def look_ahead(self, sample: int) -> None:
        """Schedule the next pass of a loop in time for its count-in to follow on the last bar.

        Where the tempo depends on how a pass ends, the next one is scheduled only after that.
        """
        plan, source = self._plan, self._source
        if self.held or not (plan.is_seamless and plan.drill and self._conductor.running):
            return
        if self._scheduled is not None or plan.drill.free or not source.can_start_passes:
            return
        if sample > self._conductor.passes[-1].close - round(AHEAD_S * source.rate):
            self._scheduled = source.next_pass(seamless=True)

    def begin_next(self, *, stopping: Callable[[], bool]) -> Iterator[Event]:
        """Begin another pass, if there is one."""
        drill, source = self._plan.drill, self._source
        assert drill is not None
        if self._recorded:
            yield from self._begin(self._recorded.pop(0))
            return
        if self.held or not (source.can_start_passes and self._plan.loops) or stopping():
            return
        begin = self._conductor.passes[-1].close
        if drill.free:
            yield from self._begin(Pass.free(drill, self._steps(drill), begin))
            return
        clock = self._scheduled or source.next_pass(self._next_tempo())
        self._scheduled = None
        yield from self._begin(self._timed_pass(drill, clock, self._steps(drill), begin))

    def begin_now(self, sample: int) -> Iterator[Event]:
        """Begin a pass at a sample, the first or another, in place of whatever sounds."""
        drill = self._plan.drill
        assert drill is not None
        steps = self._steps(drill)
        if drill.free:
            yield from self._begin(Pass.free(drill, steps, sample))
            return
        clock = self._source.resume_pass(self._bars(drill), self._next_tempo())
        yield from self._begin(self._timed_pass(drill, clock, steps, sample))

    def resume(self, step: int, sample: int) -> Iterator[Event]:
        """Begin a pass from a step at once, in place of the one interrupted at a sample."""
        drill = self._plan.drill
        assert drill is not None
        steps = range(step, self._conductor.passes[-1].last)
        if drill.free:
            yield from self._begin(Pass.free(drill, steps, sample))
            return
        bars = (
            self._conductor.resume_bar(step, self._conductor.passes[-1].close),
            self._bars(drill)[1],
        )
        clock = self._source.resume_pass(bars, self.tempo)
        yield from self._begin(self._timed_pass(drill, clock, steps, sample, bars))

    def listen_again(self) -> Iterator[Event]:
        """Begin to listen again, without a drill or to a player who is followed."""
        drill = self._plan.drill
        yield self._started(None, range(0) if drill is None else self._steps(drill))

    def forget_scheduled(self) -> None:
        """Forget the next pass: the current one is interrupted before it."""
        self._scheduled = None

    @property
    def tempo(self) -> float | None:
        """Beats per minute of the current pass; None for the tempo of the plan."""
        return self._ladder.tempo if self._ladder else None

    def _next_tempo(self) -> float | None:
        """Beats per minute of the next pass, given how the last one ended."""
        if self._ladder and self._conductor.passed:
            self._ladder.count_pass(self._conductor.passed[-1])
        return self.tempo

    def _timed_pass(
        self,
        drill: Drill,
        clock: BeatClock,
        steps: range,
        begin: int,
        bars: tuple[int, int] | None = None,
    ) -> Pass:
        """Return a pass; it waits for a late player unless the next one follows in time."""
        bars = bars or self._bars(drill)
        return Pass.of(drill, clock, steps, begin, bars, waits=not self._plan.is_seamless)

    def _begin(self, next_pass: Pass) -> Iterator[Event]:
        clock = next_pass.clock(self._source.rate)
        yield self._started(clock, range(next_pass.first, next_pass.last))
        self.pass_began = datetime.now().astimezone()
        self._conductor.begin(next_pass)

    def _started(self, clock: Clock | None, steps: range) -> PassStarted:
        source, drill = self._source, self._plan.drill
        if drill is not None and drill.free:
            clock = None
        return PassStarted(clock, steps.start, steps.stop, source.name, source.clicks_audible)

    def _bars(self, drill: Drill) -> tuple[int, int]:
        return self._plan.played_bars or (1, drill.bars)

    def _steps(self, drill: Drill) -> range:
        return drill.step_range(*self._bars(drill))
