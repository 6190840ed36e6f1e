"""What to work on after a take: where most was lost, and the drill that trains it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from trainer.drill import Drill
from trainer.marking import Mark, Result

MAX_ADVICE = 3
CRITERION_PHRASES = {
    "pitch": "pitch",
    "steadiness": "holding it steady",
    "attack": "the way into the note",
    "motion": "the way from note to note",
    "cleanness": "one hole alone",
    "time": "time",
}
CRITERION_SKILLS = {
    "pitch": ("half-step bends", "deep bends", "blow bends", "bend control"),
    "steadiness": ("bend control", "steadiness", "vibrato and wah"),
    "attack": ("bend control", "no scoop"),
    "motion": ("bend control", "moves"),
    "cleanness": ("single notes", "cleanness", "moves"),
    "time": ("rhythm",),
}
"""Skills under which the drills stand that train a part of a mark."""
MIN_LOSS_POINTS = 2.0
"""Points of the total; what lost less is not worth a word."""


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to work on.

    Attributes:
        what: a part of the marks, and the note it was lost on.
        why: how much that cost.
        drill: title of the drill that trains it; empty where none is at hand.
    """

    what: str
    why: str
    drill: str = ""


def advise(result: Result, shelf: Sequence[Drill]) -> tuple[Advice, ...]:
    """The things that cost most, the dearest first.

    Args:
        result: the marks.
        shelf: the drills at hand.
    """
    worst: dict[tuple[str, str], Mark] = {}
    for mark in result.marks:
        for part, earned in mark.criteria.items():
            before = worst.get((part, mark.step.tab))
            if before is None or earned < before.criteria[part]:
                worst[part, mark.step.tab] = mark
    steps = [(mark.step.tab, float(mark.step.beats), mark.criteria) for mark in result.marks]
    told = []
    for (part, tab), points in losses(steps, result.drill.goal.weights)[:MAX_ADVICE]:
        mark = worst[part, tab]
        why = f"It cost {points:.0f} of 100 points; {mark.sentence}."
        drill = _drill(part, mark, result.drill, shelf)
        told.append(Advice(f"{tab}: {CRITERION_PHRASES[part]}.", why, drill))
    return tuple(told)


def losses(
    steps: Iterable[tuple[str, float, Mapping[str, float]]],
    weights: Mapping[str, float],
    least: float = MIN_LOSS_POINTS,
) -> list[tuple[tuple[str, str], float]]:
    """What was lost of the total, by part of the marks and by note, the dearest first.

    Args:
        steps: tab, beats and parts of each step that was marked.
        weights: of the parts.
        least: points of the total; what cost less is left out.

    Returns:
        a part and a tab, and the points that they cost.
    """
    known = list(steps)
    whole = sum(beats for _, beats, _ in known) or 1.0
    lost: dict[tuple[str, str], float] = {}
    for tab, beats, parts in known:
        total = sum(weights[part] for part in parts) or 1.0
        for part, earned in parts.items():
            points = (100.0 - earned) * beats / whole * weights[part] / total
            lost[part, tab] = lost.get((part, tab), 0.0) + points
    dearest = sorted(lost.items(), key=lambda item: -item[1])
    return [(key, points) for key, points in dearest if points >= least]


def _drill(part: str, mark: Mark, played: Drill, shelf: Sequence[Drill]) -> str:
    """The title of an easy drill that trains a part, with as much of the step's notes as can be."""
    wanted = set(mark.step.tabs)

    def fits(drill: Drill) -> tuple[bool, float, int]:
        steps = [set(step.tabs) & wanted for step in drill.steps]
        share = sum(map(bool, steps)) / max(1, len(steps))
        return any(skill in CRITERION_SKILLS[part] for skill in drill.skills), share, -drill.level

    others = [drill for drill in shelf if drill.name != played.name]
    best = max(others, key=fits, default=None)
    return best.title if best is not None and fits(best)[0] else ""
