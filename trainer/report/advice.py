"""What to work on after a take: where most was lost, and the drill that trains it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trainer.drill import Drill
from trainer.marking import Mark, Result

MOST = 3
WORDS = {
    "pitch": "pitch",
    "steadiness": "holding it steady",
    "attack": "the way into the note",
    "motion": "the way from note to note",
    "cleanness": "one hole alone",
    "time": "time",
}
SKILLS = {
    "pitch": ("half-step bends", "deep bends", "blow bends", "bend control"),
    "steadiness": ("bend control", "steadiness", "vibrato and wah"),
    "attack": ("bend control", "no scoop"),
    "motion": ("bend control", "moves"),
    "cleanness": ("single notes", "cleanness", "moves"),
    "time": ("rhythm",),
}
"""Skills under which the drills stand that train a part of a mark."""
LEAST = 2.0
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


def advice(result: Result, shelf: Sequence[Drill]) -> tuple[Advice, ...]:
    """The things that cost most, the dearest first.

    Args:
        result: the marks.
        shelf: the drills at hand.
    """
    whole = sum(float(mark.step.beats) for mark in result.marks) or 1.0
    lost: dict[tuple[str, str], tuple[float, Mark]] = {}
    for mark in result.marks:
        weights = {part: result.drill.goal.weights[part] for part in mark.parts}
        total = sum(weights.values()) or 1.0
        for part, earned in mark.parts.items():
            share = float(mark.step.beats) / whole * weights[part] / total
            points = (100.0 - earned) * share
            before, _ = lost.get((part, mark.step.tab), (0.0, mark))
            lost[part, mark.step.tab] = (before + points, mark)
    dearest = sorted(lost.items(), key=lambda item: -item[1][0])
    return tuple(
        Advice(
            f"{tab}: {WORDS[part]}.",
            f"It cost {points:.0f} of 100 points; {mark.sentence}.",
            _drill(part, mark, result.drill, shelf),
        )
        for (part, tab), (points, mark) in dearest[:MOST]
        if points >= LEAST
    )


def _drill(part: str, mark: Mark, played: Drill, shelf: Sequence[Drill]) -> str:
    """The title of an easy drill that trains a part, with as much of the step's notes as can be."""
    wanted = set(mark.step.tabs)

    def fits(drill: Drill) -> tuple[bool, float, int]:
        steps = [set(step.tabs) & wanted for step in drill.steps]
        share = sum(map(bool, steps)) / max(1, len(steps))
        return any(skill in SKILLS[part] for skill in drill.skills), share, -drill.level

    others = [drill for drill in shelf if drill.name != played.name]
    best = max(others, key=fits, default=None)
    return best.title if best is not None and fits(best)[0] else ""
