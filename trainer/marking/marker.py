"""Marking a pass against a clock: readings in, marks out."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import dropwhile

from trainer.drill import Clock, Drill, Goal, Solo, Step, format_sound
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking.common_lateness import explain_common_lateness, judge_common_lateness
from trainer.marking.criteria import can_be_judged, criterion_scores
from trainer.marking.extra_notes import find_extra_notes
from trainer.marking.follower import Follower, Segment, is_held_on
from trainer.marking.loudness import accent_db
from trainer.marking.mark import Mark, Measured, Result
from trainer.marking.measurement import measure_step
from trainer.marking.parameters import MARKER, ONSET
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.score import pass_score, step_score
from trainer.marking.sentence import mark_sentence
from trainer.marking.solo_mark import SoloMark
from trainer.marking.solo_marker import SoloMarker
from trainer.marking.split_evidence import explain_splits, splits_without_upper_hole
from trainer.marking.target import StepTarget
from trainer.marking.tuning_sentence import explain_tuning


class Marker:
    """Marks one pass through a drill.

    The same readings give the same marks, live or from a file. Marks reported during the pass
    follow from what is the best path so far; the result follows from the whole pass.
    """

    def __init__(
        self,
        drill: Drill,
        harp: Harp,
        clock: Clock,
        first: int = 0,
        last: int | None = None,
        *,
        skipped: Collection[int] = (),
        solos: Sequence[Solo] = (),
    ) -> None:
        """Start before the first step.

        Args:
            drill: the drill.
            harp: the harp it is played on.
            clock: when the drill's beats fall.
            first: index of the first step to mark.
            last: index after the last step to mark; None marks all from `first`.
            skipped: indices of steps that are known to have been left out.
            solos: the drill's solos that are played in the pass, in order.

        Raises:
            HarpError: the harp cannot play one of the steps.
        """
        self._drill, self._harp, self._clock = drill, harp, clock
        steps = drill.steps[first:last]
        self._targets = [
            StepTarget.of(step, harp, clock)
            for step in steps
            if not step.call and step.index not in skipped
        ]
        self._skipped = [step for step in steps if step.index in skipped]
        self._calls = [
            (clock.sample(step.start), clock.sample(step.end)) for step in steps if step.call
        ]
        self._solos = SoloMarker(drill, harp, clock, solos)
        self._calls = sorted([*self._calls, *self._solos.spans])
        self._follower = Follower(self._targets, clock.rate, calls=self._calls)
        self._history = ReadingHistory()
        self._reported: dict[int, Segment | None] = {}
        """Segment of each step that was reported, by index; None for one reported as missed."""
        self._measured: dict[tuple[int, int, int, str | None], Measured] = {}
        """Figures by step, first and last reading and what may be held on, so that the result
        measures few anew."""
        self._figures: dict[Step, Measured] = {}
        """Latest figures of each step."""
        self._lag = round(MARKER.lag_s * clock.rate)
        longest_s = max(clock.beat_s(drill.start), clock.beat_s(drill.end))
        self._patience = round(MARKER.patience_beats * longest_s * clock.rate)

    def observe(self, reading: Reading) -> list[Mark]:
        """Take the next reading.

        Returns:
            Marks of the steps that are now known to be over, in order. A later mark of the same
            step replaces an earlier one.
        """
        reading = self._solos.observe(reading)
        self._history.append(reading)
        self._follower.decode(reading)
        if len(self._history) % MARKER.frames_between_checks:
            return []
        news = self._news(reading.sample)
        newest = next(self._follower.current_path(), None)
        reached = -1 if newest is None else newest.step
        return [self._mark(step, news[step], is_skipped=step < reached) for step in sorted(news)]

    def ended_solos(self) -> list[SoloMark]:
        """Marks of the solos that have ended since the last call."""
        return self._solos.ended()

    @property
    def late(self) -> int:
        """How late the player is, in samples, if steps are still to come; else 0."""
        newest = next(self._follower.current_path(), None)
        if newest is None or newest.step == len(self._targets) - 1:
            return 0
        return max(0, round(newest.lateness))

    def result(
        self,
        before: tuple[Mark, ...] = (),
        upto: int | None = None,
        earlier_solos: tuple[SoloMark, ...] = (),
    ) -> Result:
        """Result of the pass so far, with a mark for each step of the range.

        Args:
            before: marks of steps before the range, from a pass that this one continues.
            upto: index of the first step that was not due when the pass was stopped. None marks
                the whole range.
            earlier_solos: marks of solos before the range, from the same pass as `before`.
        """
        segments = self._follower.final_path()
        played = {segment.step: segment for segment in segments}
        newest = max(played, default=-1)
        due = [
            i for i, target in enumerate(self._targets) if upto is None or target.step.index < upto
        ]
        for i in due:  # all before the first mark: an accent is compared with the notes around it
            self._measure_heard(i, played.get(i), is_skipped=i < newest)
        marks = before + self._with_skipped(
            [self._mark(i, played.get(i), is_skipped=i < newest) for i in due]
        )
        marks = self._with_split_evidence(marks)
        extras = find_extra_notes(self._history, segments, self._targets, self._clock, self._calls)
        solos = (*earlier_solos, *self._solos.marks())
        score = pass_score(self._drill, marks, extras, solos)
        unplayed = len(self._targets) - len(due) + self._solos.unfinished
        result = Result(
            drill=self._drill,
            harp=self._harp.name,
            tempo=self._clock.tempo,
            marks=marks,
            score=score,
            passed=score >= self._drill.goal.pass_mark and not unplayed,
            extras=tuple(extras),
            unplayed=unplayed,
            solos=solos,
        )
        judged = judge_common_lateness(result, self._harp)
        return explain_common_lateness(explain_tuning(judged, self._harp))

    def _with_split_evidence(self, marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
        """Marks, with those of splits judged by what the whole pass says of their upper holes."""
        lacking = splits_without_upper_hole(marks, self._harp, self._clock.rate)
        judged = [
            self._make_mark(mark.step, lacking[mark.step.index])
            if mark.step.index in lacking
            else mark
            for mark in marks
        ]
        return explain_splits(judged, lacking, self._harp)

    def _with_skipped(self, marks: list[Mark]) -> tuple[Mark, ...]:
        """Marks with those of the steps that were left out, in order."""
        marks += [self._make_mark(step, Measured(), is_skipped=True) for step in self._skipped]
        return tuple(sorted(marks, key=lambda mark: mark.step.index))

    def _news(self, now: int) -> dict[int, Segment | None]:
        """Steps that are known to be over and were not reported yet, by index.

        The value is the step's segment; None where the step was missed.
        """
        news: dict[int, Segment | None] = {}
        sure_by = now - self._lag
        sample = self._history.sample
        upto = self._first_possible(next(self._segments_before(sure_by), None), now)
        for segment in self._segments_before(sure_by):
            news |= self._missed(segment.step + 1, upto)
            reported = self._reported.get(segment.step)
            if reported is segment:
                break
            if segment.end < len(self._history) and sample[segment.end] <= sure_by:
                bounds = (segment.start, segment.end)
                if reported is None or (reported.start, reported.end) != bounds:
                    news[segment.step] = segment
                self._reported[segment.step] = segment
            upto = segment.step
        else:
            news |= self._missed(0, upto)
        self._reported |= news
        return news

    def _segments_before(self, sample: int) -> Iterator[Segment]:
        """Segments, newest first, whose first reading is not after a sample."""
        at = self._history.sample
        return dropwhile(lambda s: at[s.start] > sample, self._follower.current_path())

    def _missed(self, first: int, end: int) -> dict[int, Segment | None]:
        """Steps of a range that were not reported as missed yet."""
        reported = self._reported
        return {i: None for i in range(first, end) if i not in reported or reported[i] is not None}

    def _first_possible(self, newest: Segment | None, now: int) -> int:
        """Index of the first step that may still be played, given how late the player is."""
        step, late = 0, 0
        if newest is not None:
            step = newest.step + 1
            start = int(self._history.sample[newest.start])
            late = max(0, start - self._targets[newest.step].at)
        while step < len(self._targets) and self._targets[step].end + late + self._patience < now:
            step += 1
        return step

    def _mark(self, step: int, segment: Segment | None, *, is_skipped: bool) -> Mark:
        target = self._targets[step]
        measured = self._measure_heard(step, segment, is_skipped=is_skipped)
        if target.step.accent:
            measured = replace(measured, accent_db=accent_db(target.step, self._figures))
        return self._make_mark(target.step, measured, is_skipped=is_skipped)

    def _make_mark(self, step: Step, measured: Measured, *, is_skipped: bool = False) -> Mark:
        beat_ms = 1000.0 * self._clock.beat_s(step.start)
        return make_mark(
            step, measured, self._drill.goal, beat_ms, harp=self._harp, is_skipped=is_skipped
        )

    def _measure_heard(self, step: int, segment: Segment | None, *, is_skipped: bool) -> Measured:
        """Figures of a step; none of one that was skipped, or of which too little was heard."""
        target, measured = self._targets[step], Measured()
        if segment is not None:
            played = self._measure(step, segment)
            if can_be_judged(target.step, played) or not is_skipped or self._has_attack(segment):
                measured = played
        self._figures[target.step] = measured
        return measured

    def _measure(self, step: int, segment: Segment) -> Measured:
        held_on = self._held_on(step, segment)
        key = step, segment.start, segment.end, held_on
        if key in self._measured:
            return self._measured[key]
        previous = self._targets[step - 1].step if step else None
        following = self._targets[step + 1].step if step + 1 < len(self._targets) else None
        measured = measure_step(
            self._targets[step],
            self._history,
            segment,
            self._clock.rate,
            self._drill.goal.tolerance,
            held_on=held_on,
            previous=previous,
            following=following,
        )
        if segment.end + ONSET.slur_frames <= len(self._history):
            self._measured[key] = measured
        return measured

    def _held_on(self, step: int, segment: Segment) -> str | None:
        """Tab of the sound before a step, where that may be held on."""
        before = self._targets[step - 1] if step else None
        if before is None or not is_held_on(segment, self._targets[step], before):
            return None
        return format_sound(before.step.last)

    def _has_attack(self, segment: Segment) -> bool:
        """Whether an attack falls into a segment; else it may be the end of the step before."""
        return bool((self._history.onset[segment.start : segment.end] >= 0).any())


def make_mark(
    step: Step,
    measured: Measured,
    goal: Goal,
    beat_ms: float,
    *,
    harp: Harp | None = None,
    is_skipped: bool = False,
) -> Mark:
    """The mark of a step, from its figures.

    Args:
        step: the step.
        measured: its figures.
        goal: the drill's goal.
        beat_ms: length of a beat in milliseconds.
        harp: the harp, whose reeds say which notes can sag; None where it is not known.
        is_skipped: whether a later step was played; used where this one was not.
    """
    criteria = criterion_scores(step, measured, goal, beat_ms)
    return Mark(
        step=step,
        score=step_score(step, measured, criteria, goal),
        criteria=criteria,
        measured=measured,
        sentence=mark_sentence(
            step,
            measured,
            criteria,
            goal=goal,
            harp=harp,
            beat_ms=beat_ms,
            is_skipped=is_skipped,
        ),
    )
