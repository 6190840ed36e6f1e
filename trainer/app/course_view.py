"""The course as the screen shows it, read from the journal."""

from __future__ import annotations

from trainer.coach import StageStanding, course_standing, passed_drills
from trainer.drill import read_course
from trainer.practice import Plan
from trainer.settings import load_settings
from trainer.sound import PlayerSpec
from trainer.store import Journal, sources_that_count


def load_course(plan: Plan) -> tuple[StageStanding, ...]:
    """Load the player's standing in each stage of the course.

    Args:
        plan: names the journal and the player; the settings fill in what it leaves open. Takes of
            the built-in player count only if it is the plan's source.

    Raises:
        JournalError: the journal cannot be read.
    """
    settings = load_settings()
    player = plan.player or settings.player.name
    counting = sources_that_count(in_demo=isinstance(plan.source, PlayerSpec))
    with Journal(plan.journal or settings.journal.file) as journal:
        takes = journal.takes(player=player, steps=False)
    return course_standing(read_course(), passed_drills(takes, counting))
