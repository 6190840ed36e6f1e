"""The day's set for the screen: read from the journal of a plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from trainer.drill import Drill, Shelf
from trainer.journal import Journal
from trainer.journal.day import DaySet, set_for
from trainer.practice import Plan
from trainer.settings import load_settings


def day_set(plan: Plan, shelf: Sequence[Drill]) -> DaySet:
    """The set of the player's day, as far as it has been played.

    Args:
        plan: whose journal it is; without one, that of the settings.
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
        return set_for(journal, player, today, minutes, drills)
