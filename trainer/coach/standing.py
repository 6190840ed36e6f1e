"""Where a player stands in the course."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from trainer.coach.parameters import SELECTION
from trainer.drill import Stage
from trainer.store import PLAYER_SOURCES, TakeRecord


@dataclass(frozen=True, slots=True)
class StageStanding:
    """What a player has reached in a stage.

    Attributes:
        stage: the stage.
        passed: names of its drills that the player has ever passed.
        waits_for: names of the stages that must be done before it opens; empty if it is open.
    """

    stage: Stage
    passed: frozenset[str]
    waits_for: tuple[str, ...]

    @property
    def is_done(self) -> bool:
        """Whether enough of its drills have been passed to open what follows.

        One drill may always be missing, unless it is the only one: a player may be stuck on it.
        """
        count = len(self.stage.drills)
        enough = min(math.ceil(SELECTION.level_done * count), max(count - 1, min(count, 1)))
        return len(self.passed) >= enough

    @property
    def next_drill(self) -> str | None:
        """The first of its drills that was never passed; None if it is not open or complete."""
        if self.waits_for:
            return None
        return next((name for name in self.stage.drills if name not in self.passed), None)


def playable_course(stages: Sequence[Stage], drills: Collection[str]) -> tuple[Stage, ...]:
    """Return the course with the drills that a player can play; a stage may be left without any.

    Args:
        stages: the course.
        drills: names of the drills that the player's harps can play.
    """
    return tuple(
        replace(stage, drills=tuple(name for name in stage.drills if name in drills))
        for stage in stages
    )


def closed_drills(
    stages: Sequence[Stage], drills: Collection[str], passed: Collection[str]
) -> frozenset[str]:
    """Return the names of the drills whose stage waits for another one.

    A stage of which a drill has been passed is open, as an advanced player may pass one.

    Args:
        stages: the course.
        drills: names of the drills that the player can play.
        passed: names of those that the player has ever passed, or that count as passed.
    """
    return frozenset(
        name
        for standing in course_standing(playable_course(stages, drills), passed)
        if standing.waits_for and not standing.passed
        for name in standing.stage.drills
    )


def passed_drills(
    takes: Iterable[TakeRecord], sources: Collection[str] = PLAYER_SOURCES
) -> frozenset[str]:
    """Return the names of the drills that a player has passed, in whole takes from some sources."""
    return frozenset(
        take.drill for take in takes if take.whole and take.passed and take.source in sources
    )


def course_standing(stages: Sequence[Stage], passed: Collection[str]) -> tuple[StageStanding, ...]:
    """Return the standing in each stage.

    Args:
        stages: the course.
        passed: names of the drills that the player has ever passed.
    """
    standings: dict[str, StageStanding] = {}
    for stage in stages:
        waits_for = tuple(name for name in stage.after if not standings[name].is_done)
        done = frozenset(name for name in stage.drills if name in passed)
        standings[stage.name] = StageStanding(stage, done, waits_for)
    return tuple(standings.values())
