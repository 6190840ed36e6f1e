"""Advice after a take: where most points were lost, and which drill trains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.drill import Drill
from trainer.marking import Mark, Result
from trainer.report.losses import losses

MAX_ADVICE = 3
"""Maximum number of pieces of advice; more would not be read."""
CRITERION_SKILLS = {
    "pitch": ("half-step bends", "deep bends", "blow bends", "bend control"),
    "steadiness": ("bend control", "steadiness", "vibrato and wah"),
    "attack": ("bend control", "no scoop"),
    "motion": ("bend control", "moves"),
    "cleanness": ("single notes", "cleanness", "moves"),
    "time": ("rhythm",),
}
"""Skills of the shelf's drills that train each criterion."""


@dataclass(frozen=True, slots=True)
class Advice:
    """A piece of advice.

    Attributes:
        focus: what to work on: the note and the criterion that lost points.
        reason: how many points it lost, and how.
        drill: title of a drill that trains it; empty if the shelf has none.
    """

    focus: str
    reason: str
    drill: str = ""


def advise(result: Result, shelf: Sequence[Drill]) -> tuple[Advice, ...]:
    """Return advice on the largest losses, the largest first.

    Args:
        result: the marks.
        shelf: the available drills.
    """
    worst: dict[tuple[str, str], Mark] = {}
    for mark in result.marks:
        for criterion, score in mark.criteria.items():
            before = worst.get((criterion, mark.step.tab))
            if before is None or score < before.criteria[criterion]:
                worst[criterion, mark.step.tab] = mark
    steps = [(mark.step.tab, float(mark.step.beats), mark.criteria) for mark in result.marks]
    advice = []
    for loss in losses(steps, result.drill.goal.weights)[:MAX_ADVICE]:
        mark = worst[loss.criterion, loss.tab]
        reason = f"It cost {loss.points:.0f} of 100 points; {mark.sentence}."
        drill = _drill_title(loss.criterion, mark, result.drill, shelf)
        advice.append(Advice(f"{loss.phrase}.", reason, drill))
    return tuple(advice)


def _drill_title(criterion: str, mark: Mark, played: Drill, shelf: Sequence[Drill]) -> str:
    """Return the title of the drill that trains a criterion best; empty if none does.

    The best has the largest share of steps with notes of the marked step; among equals, the
    easiest wins.
    """
    wanted = set(mark.step.tabs)

    def fitness(drill: Drill) -> tuple[bool, float, int]:
        matches = [bool(set(step.tabs) & wanted) for step in drill.steps]
        trains = any(skill in CRITERION_SKILLS[criterion] for skill in drill.skills)
        return trains, sum(matches) / max(1, len(matches)), -drill.level

    others = [drill for drill in shelf if drill.name != played.name]
    best = max(others, key=fitness, default=None)
    return best.title if best is not None and fitness(best)[0] else ""
