"""The daily set as the screen shows it, read from the journal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from trainer.coach import DailySet, open_daily_set
from trainer.drill import Drill, Shelf
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.reedcare import select_harp
from trainer.settings import Settings, load_settings
from trainer.sound import PlayerSpec
from trainer.store import Journal, sources_that_count

RECENT_TAKES = 8
"""Takes of a drill whose scores are shown."""
CALENDAR_WEEKS = 5
"""Weeks in the calendar, this one included."""


@dataclass(frozen=True, slots=True)
class DailySetView:
    """A daily set with recent scores.

    Attributes:
        day: the set.
        recent: scores of the last whole takes of each drill by its name, oldest first.
        harp: name of the harp that the settings ask for; empty where each drill has its own.
        practised: days of the calendar on which the player played.
    """

    day: DailySet
    recent: Mapping[str, tuple[float, ...]]
    harp: str = ""
    practised: frozenset[date] = frozenset()


def load_daily_set_view(
    plan: Plan, shelf: Sequence[Drill], *, is_fresh: bool = False
) -> DailySetView:
    """Load the player's daily set and how far it has been played.

    Args:
        plan: names the journal and the player; the settings fill in what it leaves open. Takes of
            the built-in player count only if it is the plan's source.
        shelf: the available drills.
        is_fresh: whether what has not been played is chosen again.

    Raises:
        JournalError: the journal cannot be read.
        HarpError: the harp of the settings is not available.
    """
    settings = load_settings()
    player = plan.player or settings.player.name
    with Journal(plan.journal or settings.journal.file) as journal:
        drills, today = Shelf(tuple(shelf), ()), date.today()
        stored = journal.day(player, today)  # a command may have made it for other minutes
        minutes = stored[0] if stored else settings.practice.minutes
        counting = sources_that_count(in_demo=isinstance(plan.source, PlayerSpec))
        harp, own_name = selected_harp(journal, settings)
        day = open_daily_set(
            journal, player, today, minutes, drills, harp, counting, is_fresh=is_fresh
        )
        recent = {entry.drill: _scores(journal, player, entry.drill) for entry in day.entries}
        takes = journal.takes(player=player, since=calendar_start(today), steps=False)
        practised = frozenset(take.day for take in takes if take.source in counting)
    return DailySetView(day, recent, own_name or (harp.name if harp else ""), practised)


def selected_harp(journal: Journal, settings: Settings) -> tuple[Harp | None, str | None]:
    """Return the harp that the settings ask for, and its name if it is an own one.

    Raises:
        HarpError: it is not available.
    """
    is_set = settings.harp.key or settings.harp.name
    return select_harp(journal, settings, None) if is_set else (None, None)


def calendar_start(today: date) -> date:
    """Return the first day of the calendar, a Monday."""
    return today - timedelta(days=today.weekday(), weeks=CALENDAR_WEEKS - 1)


def _scores(journal: Journal, player: str, drill: str) -> tuple[float, ...]:
    takes = journal.takes(player=player, drill=drill, steps=False)
    return tuple(take.score for take in takes if take.whole)[-RECENT_TAKES:]
