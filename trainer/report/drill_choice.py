"""Which drill trains a habit best."""

from __future__ import annotations

from collections.abc import Sequence

from trainer.drill import Drill, Step
from trainer.harp import Tab
from trainer.report.remedies import Remedy

MIN_NOTES_FRACTION = 0.5
"""Fraction of the different notes of a fault that a drill must have to train it (by judgment)."""

MAX_NOTES = 4
"""Most different notes that a fault can be of; a fault of more is of playing in general (by
judgment)."""


def best_drill(
    remedy: Remedy, steps: Sequence[Step], played: Drill, shelf: Sequence[Drill]
) -> Drill | None:
    """Return the drill that trains a habit best; None if none does.

    It is for the same tuning, at the level of the drill just played or below it, and never that
    drill. Where the fault is of certain notes, it has most of them. A drill whose main skill is the
    one that trains the habit best comes first; then the one with the most of the faulty notes, then
    the one nearest to the player's level.

    Args:
        remedy: of the habit.
        steps: those that show it.
        played: the drill that was played.
        shelf: the available drills, without those that have been passed.
    """
    tabs = {tab for step in steps for tab in step.tabs} if remedy.of_notes else set[Tab]()
    if len(tabs) > MAX_NOTES:
        tabs = set()
    fitting = [
        drill
        for drill in shelf
        if drill.name != played.name
        and drill.tuning == played.tuning
        and drill.level <= played.level
        and not set(remedy.skills).isdisjoint(drill.skills)
        and _notes_fraction(drill, tabs) >= MIN_NOTES_FRACTION
    ]

    def fitness(drill: Drill) -> tuple[int, float, int]:
        return -_skill_rank(drill, remedy.skills), _steps_fraction(drill, tabs), drill.level

    return max(fitting, key=fitness, default=None)


def _notes_fraction(drill: Drill, tabs: set[Tab]) -> float:
    """Return the fraction of some notes that occur in a drill; 1 for no notes."""
    occurring = {tab for step in drill.steps for tab in step.tabs}
    return len(tabs & occurring) / len(tabs) if tabs else 1.0


def _steps_fraction(drill: Drill, tabs: set[Tab]) -> float:
    """Return the fraction of a drill's steps that have some notes, to a tenth."""
    matches = [bool(tabs & set(step.tabs)) for step in drill.steps]
    return round(sum(matches) / max(1, len(matches)), 1)


def _skill_rank(drill: Drill, skills: Sequence[str]) -> int:
    """Return the place of a drill's skills among those that are wanted; 0 is the best."""
    return min(i for i, skill in enumerate(skills) if skill in drill.skills)
