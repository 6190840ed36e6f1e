"""The tolerance that a player has reached on a drill that tightens.

It is never stored but computed from the takes, as a drill's due day is.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from trainer.drill import Drill
from trainer.store import PLAYER_SOURCES

if TYPE_CHECKING:
    from trainer.store import TakeRecord

_ROUNDING_CENTS = 0.05


def present_tolerance(drill: Drill, takes: Iterable[TakeRecord]) -> float:
    """Tolerance in cents at which a player plays a drill now.

    Args:
        drill: the drill, as its file has it.
        takes: takes of one player; only passes of the whole drill count, at the tolerance reached
            or a narrower one, and the built-in player's do not.
    """
    if drill.tightening is None:
        return drill.goal.tolerance
    passes = 0
    for take in takes:
        reached = drill.tightening.tolerance_after(passes)
        passes += (
            take.passed
            and take.whole
            and take.drill == drill.name
            and take.source in PLAYER_SOURCES
            and not is_wider(take, reached)
        )
    return drill.tightening.tolerance_after(passes)


def is_wider(take: TakeRecord, tolerance: float) -> bool:
    """Whether a take was marked at a wider tolerance than one in cents, as far as is known."""
    return take.tolerance is not None and take.tolerance > tolerance + _ROUNDING_CENTS
