"""Finding where a player begins: what the journal knows, and the levels that are stored in it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from trainer.app.daily_set_view import load_daily_set_view, selected_harp
from trainer.coach import DrillTraits, PlacementTest, available_traits, place_by_hand
from trainer.drill import Drill, Shelf
from trainer.practice import Plan
from trainer.settings import load_settings
from trainer.store import Journal, Placement


@dataclass(frozen=True, slots=True)
class Beginning:
    """What is known before a player says where to begin.

    Attributes:
        is_new: whether the player has neither takes nor levels.
        skills: the main skills of the drills, with the level of the hardest; easier ones first.
    """

    is_new: bool
    skills: tuple[tuple[str, int], ...]


def load_beginning(plan: Plan, shelf: Sequence[Drill]) -> Beginning:
    """Load what the journal knows of the player, and the skills of the shelf.

    Args:
        plan: names the journal and the player; the settings fill in what it leaves open.
        shelf: the available drills.

    Raises:
        JournalError: the journal cannot be read.
        HarpError: the harp of the settings is not available.
    """
    settings = load_settings()
    player = plan.player or settings.player.name
    with Journal(plan.journal or settings.journal.file) as journal:
        takes = journal.takes(player=player, steps=False)
        is_new = not takes and not journal.placements(player)
    hardest: dict[str, int] = {}
    for drill in shelf:
        for skill in drill.skills[:1]:
            hardest[skill] = max(hardest.get(skill, 0), drill.level)
    return Beginning(is_new, tuple(sorted(hardest.items(), key=lambda each: (each[1], each[0]))))


def load_placement_test(plan: Plan, shelf: Sequence[Drill]) -> PlacementTest:
    """Return a new placement of the player; arguments and errors as in `load_beginning`."""
    return PlacementTest(_traits(plan, shelf))


def name_levels(plan: Plan, shelf: Sequence[Drill], skills: Iterable[str]) -> list[Placement]:
    """Store the levels of skills that the player names; else as in `load_beginning`."""
    placements = place_by_hand(_traits(plan, shelf), skills, date.today())
    save_levels(plan, shelf, placements)
    return placements


def save_levels(plan: Plan, shelf: Sequence[Drill], placements: Iterable[Placement]) -> None:
    """Store levels, and choose the rest of today's set again; else as in `load_beginning`."""
    settings = load_settings()
    with Journal(plan.journal or settings.journal.file) as journal:
        journal.save_placements(plan.player or settings.player.name, placements)
    load_daily_set_view(plan, shelf, is_fresh=True)


def _traits(plan: Plan, shelf: Sequence[Drill]) -> list[DrillTraits]:
    settings = load_settings()
    player = plan.player or settings.player.name
    with Journal(plan.journal or settings.journal.file) as journal:
        harp, _ = selected_harp(journal, settings)
        drills = Shelf(tuple(shelf), ())
        return available_traits(journal, player, date.today(), drills, harp)
