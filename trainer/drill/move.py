"""Moving a drill to another harp.

By holes, as players mean it by default: the tab stays, the pitches move. A harp in another key
plays it as it is; one in another tuning may lack a bend that it asks for.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from trainer.drill.errors import DrillError, Problem
from trainer.drill.model import Drill, Step
from trainer.harp import Harp, HarpError


def unplayable(steps: Iterable[Step], harp: Harp) -> tuple[Problem, ...]:
    """A problem for each thing in the steps that the harp cannot play."""
    problems: dict[Problem, None] = {}
    for step in steps:
        for message in _cannot(step, harp):
            problems[Problem(step.line, step.column, len(step.text), message)] = None
    return tuple(problems)


def _cannot(step: Step, harp: Harp) -> list[str]:
    messages = []
    for tab in step.tabs:
        try:
            harp.midi(tab)
        except HarpError as error:
            messages.append(str(error))
    if step.either and not messages and step.either not in harp.same_pitch(step.first[0]):
        messages.append(
            f"{step.first[0]} and {step.either} are different notes on a {harp.name} harp; write "
            "the one that is meant"
        )
    return messages


def on_harp(drill: Drill, harp: Harp) -> Drill:
    """The drill as it is played on another harp, by holes.

    Raises:
        DrillError: the harp cannot play it; every step that it cannot play is told.
    """
    problems = unplayable((*drill.steps, *drill.second), harp)
    if problems:
        raise DrillError.of(drill.name, problems)
    return replace(drill, key=harp.key.name, tuning=harp.tuning.name)
