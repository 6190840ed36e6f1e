"""Advice after a pass: what to work on first, what to do about it, and a drill that trains it.

Advice follows habits (:mod:`trainer.marking.habits`) before single notes, as a teacher names the
cause that many notes share. A drill is proposed only if it is no harder than the one just played.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass

from trainer.drill import Drill, describe_aim
from trainer.marking import Habit, Mark, Remark, Result, aim_score, find_habits
from trainer.report.drill_choice import best_drill
from trainer.report.formatting import sentence_text
from trainer.report.grades import FAULT_BELOW
from trainer.report.remedies import REMEDIES, a4_text, remark_habit, skipped_steps
from trainer.report.solo_report import solo_name

MAX_ADVICE = 3
"""Maximum number of pieces of advice; more would not be read."""
MIN_LOST_POINTS = 15.0
"""Fewest points that a single step has lost where it is named, beside the habits."""


@dataclass(frozen=True, slots=True)
class Advice:
    """A piece of advice.

    Attributes:
        focus: what to work on.
        reason: what to do about it.
        drill: title of a drill that trains it; empty if the shelf has none at the player's level.
        steps: indices of the steps that show it.
    """

    focus: str
    reason: str
    drill: str = ""
    steps: tuple[int, ...] = ()


def advise(
    result: Result, shelf: Sequence[Drill], passed: Set[str] = frozenset()
) -> tuple[Advice, ...]:
    """Return advice on a pass, the most urgent first.

    Args:
        result: the marks.
        shelf: the available drills.
        passed: names of drills that the player has passed; none of them is proposed.
    """
    open_drills = [drill for drill in shelf if drill.name not in passed]
    remarks = result.performance.remarks if result.performance else ()
    skipped = skipped_steps((remark.kind, remark.step, remark.size) for remark in remarks)
    habits = [
        habit
        for habit in find_habits(result)
        if habit.name != "notes missing" or not {mark.step.index for mark in habit.marks} <= skipped
    ]
    on_habits = [_on_habit(habit, result, open_drills) for habit in habits]
    on_remarks = [*_on_remarks(remarks, result, open_drills)]
    explained = {id(mark) for habit in habits for mark in habit.marks}
    rest = [
        mark
        for mark in result.marks
        if id(mark) not in explained and mark.step.index not in skipped
    ]
    pieces = [*_on_solos(result), *on_habits, *on_remarks, *_on_steps(rest)]
    if not pieces and not result.passed:
        pieces = _on_failure(result)
    return tuple(pieces[:MAX_ADVICE])


def wanted_skills(result: Result) -> frozenset[str]:
    """Return the skills of drills that :func:`advise` may propose."""
    remarks = result.performance.remarks if result.performance else ()
    names = {habit.name for habit in find_habits(result)}
    names |= {remark_habit(remark.kind, remark.size) for remark in remarks}
    return frozenset(skill for name in names - {""} for skill in REMEDIES[name].skills)


def _on_failure(result: Result) -> list[Advice]:
    """Advice on a pass that failed without a fault that stands out: there is always some."""
    drill, pieces = result.drill, []
    count = sum(not step.call for step in drill.steps)
    if len(result.marks) < count:
        played = f"{len(result.marks)} of {count} steps were played."
        pieces.append(Advice(played, "Play it to its end, slower if need be."))
    if result.extras:
        pieces.append(Advice(result.extras[0].sentence, "Play only what the tab says."))
    for aim in drill.aims:
        score = aim_score(drill, aim, result.marks, result.solos)
        if score is not None and score < drill.goal.pass_mark:
            focus = f"The drill is for {describe_aim(aim)}: {int(score)} of 100."
            pieces.append(Advice(focus, "Play slower, and listen to that alone."))
    weakest = result.weakest
    if weakest is not None and (not pieces or weakest.score < FAULT_BELOW):
        pieces.append(_on_step(weakest))
    return pieces


def _on_habit(habit: Habit, result: Result, shelf: Sequence[Drill]) -> Advice:
    remedy = REMEDIES[habit.name]
    focus = remedy.focus.format(size=f"{habit.size:.0f}")
    if len(habit.marks) < habit.of:
        focus = f"{focus.removesuffix('.')} ({len(habit.marks)} of {habit.of} notes)."
    steps = tuple(mark.step.index for mark in habit.marks)
    best = best_drill(remedy, [mark.step for mark in habit.marks], result.drill, shelf)
    reason = remedy.remedy.format(a4=a4_text(habit.name, habit.size))
    return Advice(focus, reason, best.title if best else "", steps)


def _on_remarks(
    remarks: Sequence[Remark], result: Result, shelf: Sequence[Drill]
) -> Iterator[Advice]:
    """Yield advice on what no mark states, such as a stop: one piece for each kind."""
    seen: set[str] = set()
    for remark in remarks:
        name = remark_habit(remark.kind, remark.size)
        if not name or name in seen:
            continue
        seen.add(name)
        remedy = REMEDIES[name]
        best = best_drill(remedy, (), result.drill, shelf)
        steps = () if remark.step is None else (remark.step,)
        yield Advice(
            sentence_text(remark.sentence), remedy.remedy, best.title if best else "", steps
        )


def _on_solos(result: Result) -> list[Advice]:
    """Advice on the solos: the criterion of each that lost most, one for each criterion."""
    by_criterion: dict[str, Advice] = {}
    for mark in sorted(result.solos, key=lambda mark: min(mark.criteria.values())):
        name = min(mark.criteria, key=mark.criteria.__getitem__)
        if mark.criteria[name] <= 100.0 - MIN_LOST_POINTS:
            focus = f"{solo_name(mark, result.drill).capitalize()}: {mark.sentence}."
            advice = Advice(focus, "Play those bars again with only that in mind.")
            by_criterion.setdefault(name, advice)
    return list(by_criterion.values())


def _on_steps(marks: Sequence[Mark]) -> list[Advice]:
    """Advice on the steps that lost most, one for each tab."""
    weak = sorted(
        (mark for mark in marks if mark.score <= 100.0 - MIN_LOST_POINTS),
        key=lambda mark: mark.score,
    )
    by_tab: dict[str, Mark] = {}
    for mark in weak:
        by_tab.setdefault(mark.step.tab, mark)
    return [_on_step(mark) for mark in by_tab.values()]


def _on_step(mark: Mark) -> Advice:
    return Advice(
        f"{mark.step.tab} in bar {mark.step.bar}: {mark.sentence}.",
        "Play that bar alone, slowly, until it is easy.",
        steps=(mark.step.index,),
    )
