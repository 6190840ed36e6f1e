"""The day's set for the screen: read from the journal of a plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from trainer.coach import PLAYER_SOURCES, DailySet, open_daily_set
from trainer.drill import Drill, Shelf
from trainer.practice import Plan
from trainer.settings import load_settings
from trainer.sound import PlayerSpec
from trainer.store import Journal

RECENT_TAKES = 8
"""Last takes of a drill that are shown."""


@dataclass(frozen=True, slots=True)
class DailySetView:
    """What the screen shows of a day.

    Attributes:
        day: the set.
        recent: scores of the last whole takes of each of its drills, the oldest first.
    """

    day: DailySet
    recent: Mapping[str, tuple[float, ...]]


def load_daily_set_view(plan: Plan, shelf: Sequence[Drill]) -> DailySetView:
    """The set of the player's day, as far as it has been played.

    Args:
        plan: whose journal it is; without one, that of the settings. Where the built-in player
            plays, its takes count.
        shelf: the drills at hand.

    Raises:
        JournalError: the journal cannot be read.
    """
    settings = load_settings()
    player = plan.player or settings.player.name
    with Journal(plan.journal or settings.journal.file) as journal:
        drills, today = Shelf(tuple(shelf), ()), date.today()
        made = journal.day(player, today)  # perhaps for other minutes, by the command
        minutes = made[0] if made else settings.practice.minutes
        counting = (
            (*PLAYER_SOURCES, "player") if isinstance(plan.source, PlayerSpec) else PLAYER_SOURCES
        )
        day = open_daily_set(journal, player, today, minutes, drills, counted_sources=counting)
        recent = {entry.drill: _scores(journal, player, entry.drill) for entry in day.entries}
    return DailySetView(day, recent)


def _scores(journal: Journal, player: str, drill: str) -> tuple[float, ...]:
    takes = journal.takes(player=player, drill=drill, steps=False)
    return tuple(take.score for take in takes if take.whole)[-RECENT_TAKES:]
