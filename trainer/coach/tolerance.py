"""The tolerance that a player has reached on a drill that tightens.

It is never stored but computed from the takes, as a drill's due day is.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from trainer.coach.sources import PLAYER_SOURCES
from trainer.drill import Drill

if TYPE_CHECKING:
    from trainer.store import TakeRecord


def present_tolerance(drill: Drill, takes: Iterable[TakeRecord]) -> float:
    """Tolerance in cents at which a player plays a drill now.

    Args:
        drill: the drill, as its file has it.
        takes: takes of one player; only passes of the whole drill count, and the built-in player's
            do not.
    """
    if drill.tightening is None:
        return drill.goal.tolerance
    passes = sum(
        take.passed and take.whole and take.drill == drill.name and take.source in PLAYER_SOURCES
        for take in takes
    )
    return drill.tightening.tolerance_after(passes)
