"""Marks of a pass in which nearly all notes are late or early alike.

Then the cause is the latency, the count-in or the beat that the player joined, not each note. The
first note says so, with what to do; each is judged against the common lateness. The pass still
answers for it: see :mod:`trainer.marking.score`.
"""

from __future__ import annotations

from dataclasses import replace

from trainer.harp import Harp
from trainer.marking.criteria import criterion_scores, late_points
from trainer.marking.habits import time_habit
from trainer.marking.mark import Mark, Result
from trainer.marking.parameters import HABITS
from trainer.marking.score import pass_score, step_score
from trainer.marking.sentence import mark_sentence


def judge_common_lateness(result: Result, harp: Harp) -> Result:
    """The result of a pass, its times judged against the lateness that nearly all notes share.

    Args:
        result: the result, of a pass with a click.
        harp: the harp it was played on.
    """
    habit = time_habit(result.drill, result.marks)
    if habit is None:
        return result
    late_ms = habit.size if habit.name == "all late" else -habit.size
    least = min(late_points(late_ms, result.beat_ms(mark.step)) for mark in habit.marks)
    if least >= HABITS.common_late_points:
        return result
    judged = tuple(_judge(mark, late_ms, result, harp) for mark in result.marks)
    score = pass_score(result.drill, judged, result.extras, result.solos)
    passed = score >= result.drill.goal.pass_mark and not result.unplayed
    return replace(result, marks=judged, score=score, passed=passed)


def explain_common_lateness(result: Result) -> Result:
    """The result of a pass; the first note judged against a common lateness says what to do."""
    marks = list(result.marks)
    for i, mark in enumerate(marks):
        late_ms = mark.measured.common_late_ms
        if late_ms:
            side, todo = ("late", "lean into the beat")
            if late_ms < 0.0:
                side, todo = ("early", "wait for the count-in to end")
            cause = (
                f"everything was {abs(late_ms):.0f} ms {side}: measure the latency with 'trainer "
                f"sound calibrate'; if that is right, {todo}"
            )
            # A pass that goes on after its microphone was lost is explained again.
            if not mark.sentence.startswith("everything was "):
                marks[i] = replace(mark, sentence=f"{cause}; {mark.sentence}")
            return replace(result, marks=tuple(marks))
    return result


def _judge(mark: Mark, late_ms: float, result: Result, harp: Harp) -> Mark:
    """A mark, its time judged against a common lateness in milliseconds."""
    if "time" not in mark.criteria or mark.measured.late_ms is None:
        return mark
    goal, beat_ms = result.drill.goal, result.beat_ms(mark.step)
    points = late_points(late_ms, beat_ms)
    measured = replace(mark.measured, common_late_ms=late_ms, common_late_points=points)
    criteria = criterion_scores(mark.step, measured, goal, beat_ms)
    return replace(
        mark,
        measured=measured,
        criteria=criteria,
        score=step_score(mark.step, measured, criteria, goal),
        sentence=mark_sentence(
            mark.step, measured, criteria, goal=goal, harp=harp, beat_ms=beat_ms
        ),
    )
