"""When each drill is due again, by spaced repetition.

Intervals come from FSRS, the free spaced repetition scheduler, through its library ``fsrs``. Its
constants were fitted to vocabulary cards and are left unchanged: no such fit for motor skills of
the mouth is known. A card is never stored but computed from the takes, so the journal cannot
contradict itself, and takes imported from another machine count.

A drill has one review a day, however many takes there were: what is played in a row is remembered
for the day, which is little evidence for the next week. The rating follows from the day's whole
takes, the drill's pass mark p and the room above it, r = 100 - p:

    Again   the first take did not pass: the drill was forgotten, even if it came back
    Hard    the best take is under p + r / 10, so that the next might not pass, or was slower than
            the drill, or marked with a wider tolerance
    Good    the best take is up to p + 3 r / 4
    Easy    the best take is above that, and the tolerance is the drill's narrowest

FSRS counts every rating but Again as remembered, and only a day's first take can show that.

Days count, not hours: every review is at noon UTC of the player's own day, so that neither the hour
nor the time zone changes what is due. A drill being learnt comes back the next day.

The constants are in :class:`trainer.coach.parameters.ReviewParameters`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache

from fsrs import Card, Rating, Scheduler

from trainer.coach.parameters import PLATEAU, REVIEW
from trainer.coach.plateau import Plateau, find_plateau
from trainer.coach.tolerance import is_wider, present_tolerance
from trainer.drill import Drill
from trainer.store import PLAYER_SOURCES, TakeRecord

_SCHEDULER = Scheduler(
    learning_steps=(timedelta(days=1),),
    relearning_steps=(timedelta(days=1),),
    maximum_interval=REVIEW.max_interval_days,
    enable_fuzzing=False,
)
_Reviews = tuple[tuple[date, Rating], ...]


@dataclass(frozen=True, slots=True)
class DrillStatus:
    """What a player has reached on a drill before a day begins.

    Attributes:
        drill: name of the drill.
        days: number of days with a whole take.
        last: the last of these days.
        score: score of the best whole take of that day, 0 to 100.
        best: score of the best whole take of all.
        passed: whether `score` reached the pass mark.
        ever_passed: whether `best` did.
        due: the day on which the drill is due again.
        recall: probability that it is still remembered, 0 to 1, by FSRS.
        is_easy: whether `score` was well above the pass mark, where a review is rated Easy.
        began_well: whether the first take of all passed.
        plateau: the plateau that it is on; None for none.
    """

    drill: str
    days: int
    last: date
    score: float
    best: float
    passed: bool
    ever_passed: bool
    due: date
    recall: float
    is_easy: bool = False
    began_well: bool = False
    plateau: Plateau | None = None


def drill_statuses(
    takes: Iterable[TakeRecord],
    drills: Mapping[str, Drill],
    day: date,
    marked: Iterable[TakeRecord] = (),
) -> dict[str, DrillStatus]:
    """Status of each drill before a day, by name; a drill without a whole take has none.

    Args:
        takes: takes of one player, in the order in which they were played. Only whole takes that
            the player played before the day count; those of some bars count for plateaus.
        drills: the drills of the shelf, by name.
        day: the day.
        marked: recent takes with their steps, from which a plateau's hardest bars are found.
    """
    by_drill: dict[str, dict[date, list[TakeRecord]]] = {}
    of_bars: dict[str, list[TakeRecord]] = {}
    for take in takes:
        if take.day >= day or take.source not in PLAYER_SOURCES or take.drill not in drills:
            continue
        if take.whole:
            by_drill.setdefault(take.drill, {}).setdefault(take.day, []).append(take)
        elif take.bars is not None:
            of_bars.setdefault(take.drill, []).append(take)
    with_steps: dict[str, list[TakeRecord]] = {}
    for take in marked:
        if take.whole and take.day < day and take.source in PLAYER_SOURCES:
            with_steps.setdefault(take.drill, []).append(take)
    statuses = {}
    for name, days in by_drill.items():
        plateau = None
        if len(days) >= PLATEAU.min_days:
            parts, marks = of_bars.get(name, ()), with_steps.get(name, ())
            plateau = find_plateau(drills[name], days, day, parts, marks)
        statuses[name] = _status(drills[name], days, day, plateau)
    return statuses


def rate_day(
    drill: Drill, takes: Sequence[TakeRecord], earlier: Iterable[TakeRecord] = ()
) -> Rating:
    """Rating of a day's whole takes of a drill, one or more, in the order they were played.

    Args:
        drill: the drill.
        takes: the takes of the day.
        earlier: the takes before the day; they decide the tolerance at which it began.
    """
    earlier = tuple(earlier)
    pass_mark, best = drill.goal.pass_mark, _best(takes)
    room = 100.0 - pass_mark
    if takes[0].score < pass_mark:
        return Rating.Again
    is_slow = not drill.free and best.tempo < REVIEW.min_tempo_ratio * drill.tempo
    is_slow = is_slow or is_wider(best, present_tolerance(drill, earlier))
    if is_slow or best.score < pass_mark + REVIEW.hard_below * room:
        return Rating.Hard
    is_easy = _is_easy(drill, best.score)
    is_narrowest = present_tolerance(drill, earlier) <= drill.goal.tolerance
    return Rating.Easy if is_easy and is_narrowest else Rating.Good


def _is_easy(drill: Drill, score: float) -> bool:
    pass_mark = drill.goal.pass_mark
    return score > pass_mark + REVIEW.easy_above * (100.0 - pass_mark)


def _status(
    drill: Drill, days: Mapping[date, list[TakeRecord]], today: date, plateau: Plateau | None
) -> DrillStatus:
    in_order = sorted(days)
    reviews, earlier = [], list[TakeRecord]()
    for day in in_order:
        reviews.append((day, rate_day(drill, days[day], earlier)))
        earlier += days[day]
    card = _card(tuple(reviews))
    bests = [_best(days[day]).score for day in in_order]
    return DrillStatus(
        drill=drill.name,
        days=len(in_order),
        last=in_order[-1],
        score=bests[-1],
        best=max(bests),
        passed=bests[-1] >= drill.goal.pass_mark,
        ever_passed=max(bests) >= drill.goal.pass_mark,
        due=card.due.date(),
        recall=_SCHEDULER.get_card_retrievability(card, _noon(today)),
        is_easy=_is_easy(drill, bests[-1]),
        began_well=days[in_order[0]][0].score >= drill.goal.pass_mark,
        plateau=plateau,
    )


def _best(takes: Iterable[TakeRecord]) -> TakeRecord:
    return max(takes, key=lambda take: take.score)


@lru_cache(maxsize=4096)
def _card(reviews: _Reviews) -> Card:
    """The card after some reviews; cached, because most drills are not played on most days."""
    card = Card(card_id=0)  # without an id, the card takes one from the clock, and waits for it
    for day, rating in reviews:
        card, _ = _SCHEDULER.review_card(card, rating, _noon(day))
    return card


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)
