"""Readings in, marks out: the follower, the figures and the formula together."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import dropwhile

from trainer.drill import BeatClock, Drill, Goal, Step
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking.extra_notes import find_extra_notes
from trainer.marking.follower import Follower, Segment
from trainer.marking.mark import Mark, Measured, Result
from trainer.marking.measurement import measure_step
from trainer.marking.onset import SEEN_BEYOND
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.score import can_be_judged, criterion_scores, step_score, total_score
from trainer.marking.sentence import mark_sentence
from trainer.marking.target import StepTarget

LAG_S = 0.2
"""How long the follower must have left a step, or been in a later one, to be taken at its word."""
PATIENCE_BEATS = 1.0
"""How long after its end a step that nobody has played counts as missed."""
_TELL_EVERY = 4
"""Readings, 20 ms, between looks at what is over."""


class Marker:
    """Marks one pass through a drill.

    The same readings give the same marks, however they come in. Marks told while a pass goes on
    are what looks best by then; the result looks at the whole.
    """

    def __init__(
        self, drill: Drill, harp: Harp, clock: BeatClock, first: int = 0, last: int | None = None
    ) -> None:
        """Start before the first step.

        Args:
            drill: what is to be played.
            harp: the harp in hand.
            clock: where the drill's beats fall.
            first, last: range of step indices in play, `last` not included; None plays to the end.

        Raises:
            HarpError: the harp cannot play one of the steps.
        """
        self._drill, self._harp, self._clock = drill, harp, clock
        steps = drill.steps[first:last]
        self._targets = [StepTarget.of(step, harp, clock) for step in steps if not step.call]
        self._calls = [
            (clock.sample(step.start), clock.sample(step.end)) for step in steps if step.call
        ]
        self._follower = Follower(self._targets, clock.rate)
        self._history = ReadingHistory()
        self._told: dict[int, Segment | None] = {}
        self._measured: dict[tuple[int, int, int], Measured] = {}
        """By step and its first and last reading: the result finds most steps as they were told."""
        self._lag = round(LAG_S * clock.rate)
        self._patience = round(PATIENCE_BEATS * 60.0 / clock.tempo * clock.rate)

    def observe(self, reading: Reading) -> list[Mark]:
        """Take the next reading.

        Returns:
            marks of the steps that are now known to be over, in order; a later mark of the same
            step replaces an earlier one.
        """
        self._history.append(reading)
        self._follower.decode(reading)
        if len(self._history) % _TELL_EVERY:
            return []
        news = self._news(reading.sample)
        newest = next(self._follower.latest(), None)
        reached = -1 if newest is None else newest.step
        return [self._mark(step, news[step], skipped=step < reached) for step in sorted(news)]

    @property
    def late(self) -> int:
        """How late the player is by now, in samples, if steps are still to come; else 0."""
        newest = next(self._follower.latest(), None)
        if newest is None or newest.step == len(self._targets) - 1:
            return 0
        return max(0, round(newest.late))

    def result(self, before: tuple[Mark, ...] = (), upto: int | None = None) -> Result:
        """What the pass has earned by now; every step of the range has a mark.

        Args:
            before: marks of steps before the range, from a pass that this one takes up.
            upto: index of the first step that was not due when the pass was stopped; None marks
                the whole range.
        """
        segments = self._follower.segments()
        played = {segment.step: segment for segment in segments}
        newest = max(played, default=-1)
        due = [
            i for i, target in enumerate(self._targets) if upto is None or target.step.index < upto
        ]
        marks = before + tuple(self._mark(i, played.get(i), skipped=i < newest) for i in due)
        extras = find_extra_notes(self._history, segments, self._targets, self._clock, self._calls)
        score = total_score(marks, extras)
        return Result(
            drill=self._drill,
            harp=self._harp.name,
            tempo=self._clock.tempo,
            marks=marks,
            score=score,
            passed=score >= self._drill.goal.pass_mark,
            extras=tuple(extras),
        )

    def _news(self, now: int) -> dict[int, Segment | None]:
        """Steps that were played or missed, where that is known by now and was not told yet."""
        news: dict[int, Segment | None] = {}
        sure_by = now - self._lag
        sample = self._history.sample
        upto = self._given_up(next(self._begun(sure_by), None), now)
        for segment in self._begun(sure_by):
            news |= self._missed(segment.step + 1, upto)
            told = self._told.get(segment.step)
            if told is segment:
                break
            if segment.end < len(self._history) and sample[segment.end] <= sure_by:
                if told is None or (told.start, told.end) != (segment.start, segment.end):
                    news[segment.step] = segment
                self._told[segment.step] = segment
            upto = segment.step
        else:
            news |= self._missed(0, upto)
        self._told |= news
        return news

    def _begun(self, sure_by: int) -> Iterator[Segment]:
        """The segments, newest first, that the follower has been in since before a sample."""
        sample = self._history.sample
        return dropwhile(lambda s: sample[s.start] > sure_by, self._follower.latest())

    def _missed(self, first: int, last: int) -> dict[int, Segment | None]:
        told = self._told
        return {i: None for i in range(first, last) if i not in told or told[i] is not None}

    def _given_up(self, newest: Segment | None, now: int) -> int:
        """First step that may still come, by the clock and by how late the player is."""
        step, late = 0, 0
        if newest is not None:
            step = newest.step + 1
            start = int(self._history.sample[newest.start])
            late = max(0, start - self._targets[newest.step].at)
        while step < len(self._targets) and self._targets[step].end + late + self._patience < now:
            step += 1
        return step

    def _mark(self, step: int, segment: Segment | None, *, skipped: bool) -> Mark:
        target, goal = self._targets[step], self._drill.goal
        measured = Measured()
        if segment is not None:
            played = self._measure(step, segment)
            if can_be_judged(target.step, played) or not skipped or self._begins(segment):
                measured = played
        return make_mark(target.step, measured, goal, 60_000.0 / self._clock.tempo, skipped=skipped)

    def _measure(self, step: int, segment: Segment) -> Measured:
        known = step, segment.start, segment.end
        if known in self._measured:
            return self._measured[known]
        rate, tolerance = self._clock.rate, self._drill.goal.tolerance
        measured = measure_step(self._targets[step], self._history, segment, rate, tolerance)
        if segment.end + SEEN_BEYOND <= len(self._history):
            self._measured[known] = measured
        return measured

    def _begins(self, segment: Segment) -> bool:
        """Whether anything begins in a segment, and it is not what the step before left ringing."""
        return bool((self._history.onset[segment.start : segment.end] >= 0).any())


def make_mark(
    step: Step, measured: Measured, goal: Goal, beat_ms: float, *, skipped: bool = False
) -> Mark:
    """The mark of a step, from what was measured of it.

    Args:
        step: what was asked for.
        measured: what was played.
        goal: the drill's.
        beat_ms: length of a beat.
        skipped: of a step that was not played, whether a later one was.
    """
    parts = criterion_scores(step, measured, goal, beat_ms)
    return Mark(
        step=step,
        score=step_score(step, measured, parts, goal),
        criteria=parts,
        measured=measured,
        sentence=mark_sentence(step, measured, parts, skipped=skipped),
    )
