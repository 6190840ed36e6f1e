"""What is due: when each drill should come back, by spaced repetition.

The times come from FSRS, the free spaced repetition scheduler, through its library ``fsrs``; its
constants were fitted to vocabulary cards, because no such fit for skills of the mouth is known,
and are left as they are. A card is never stored: it is reckoned again from the takes, so the
journal cannot contradict itself, and takes that are brought in from another machine count.

One drill and day make one review, however many takes there were: what is practised in a row is
remembered for the day and says little of the next week. The rating is that of the day's whole
takes, by the drill's pass mark p and the room above it, 100 - p:

    Again   the first did not pass: it was lost, even if it was found again
    Hard    the best is under p + room / 10, so that the next might not have passed; or it was
            slower than the drill
    Good    the best is up to p + 3/4 room
    Easy    the best is above that

FSRS counts every rating but Again as remembered, and only the first take of a day can tell that.

Days count, not hours: every review is at noon UTC of the player's own day, so that neither the
hour nor the time zone changes what is due. What is being learnt comes back the next day, and
nothing stays away for longer than `ReviewParameters.max_interval_days`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache

from fsrs import Card, Rating, Scheduler

from trainer.coach.parameters import REVIEW
from trainer.coach.sources import PLAYER_SOURCES
from trainer.drill import Drill
from trainer.store.records import TakeRecord

_SCHEDULER = Scheduler(
    learning_steps=(timedelta(days=1),),
    relearning_steps=(timedelta(days=1),),
    maximum_interval=REVIEW.max_interval_days,
    enable_fuzzing=False,
)
_Reviews = tuple[tuple[date, Rating], ...]


@dataclass(frozen=True, slots=True)
class DrillStatus:
    """How a drill stands with a player before a day begins.

    Attributes:
        drill: its name.
        days: days on which it was played whole.
        last: the last of them.
        score: the best whole take of that day, 0 to 100.
        best: the best of all.
        passed: whether `score` reached the pass mark.
        ever: whether `best` did.
        due: the day on which it should come back.
        recall: how likely it is still there, 0 to 1, by FSRS.
    """

    drill: str
    days: int
    last: date
    score: float
    best: float
    passed: bool
    ever: bool
    due: date
    recall: float


def drill_statuses(
    takes: Iterable[TakeRecord], drills: Mapping[str, Drill], day: date
) -> dict[str, DrillStatus]:
    """How each drill stands before a day, by its name; those never played whole are not in it.

    Args:
        takes: takes of one player, in the order in which they were played; what is not the
            player's own, not whole or not before the day does not count.
        drills: the drills at hand by their names.
        day: the day.
    """
    by_drill: dict[str, dict[date, list[TakeRecord]]] = {}
    for take in takes:
        if take.whole and take.day < day and take.source in PLAYER_SOURCES and take.drill in drills:
            by_drill.setdefault(take.drill, {}).setdefault(take.day, []).append(take)
    return {name: _standing(drills[name], days, day) for name, days in by_drill.items()}


def rating(drill: Drill, takes: Sequence[TakeRecord]) -> Rating:
    """The rating of a day's whole takes of a drill, one or more, in the order they were played."""
    passing, best = drill.goal.pass_mark, _best(takes)
    room = 100.0 - passing
    if takes[0].score < passing:
        return Rating.Again
    slow = not drill.free and best.tempo < REVIEW.min_tempo_ratio * drill.tempo
    if slow or best.score < passing + REVIEW.hard_below * room:
        return Rating.Hard
    return Rating.Good if best.score <= passing + REVIEW.easy_above * room else Rating.Easy


def _standing(drill: Drill, days: Mapping[date, list[TakeRecord]], day: date) -> DrillStatus:
    in_order = sorted(days)
    card = _card(tuple((one, rating(drill, days[one])) for one in in_order))
    bests = [_best(days[one]).score for one in in_order]
    return DrillStatus(
        drill=drill.name,
        days=len(in_order),
        last=in_order[-1],
        score=bests[-1],
        best=max(bests),
        passed=bests[-1] >= drill.goal.pass_mark,
        ever=max(bests) >= drill.goal.pass_mark,
        due=card.due.date(),
        recall=_SCHEDULER.get_card_retrievability(card, _noon(day)),
    )


def _best(takes: Iterable[TakeRecord]) -> TakeRecord:
    return max(takes, key=lambda take: take.score)


@lru_cache(maxsize=4096)
def _card(reviews: _Reviews) -> Card:
    """The card after some reviews; kept, because most drills are not played on most days."""
    card = Card(card_id=0)  # one that is given none waits for the clock to give it one
    for day, rated in reviews:
        card, _ = _SCHEDULER.review_card(card, rated, _noon(day))
    return card


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)
