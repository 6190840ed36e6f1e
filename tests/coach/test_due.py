"""Ratings and statuses of a drill, take by take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from fsrs import Rating

from trainer.coach import DrillStatus, drill_statuses
from trainer.coach.due import rate_day
from trainer.drill import Drill, Tightening, parse_drill
from trainer.store import HarpTag, TakeRecord

TODAY = date(2026, 5, 14)
DRILL = parse_drill('title = "T"\nharp = "C"\ntempo = 60\ntab = "4 -4 5 -5"\n', "t")
"""Its pass mark is 80: the room above it is 20."""


def take(score: float, days_ago: int = 3, **changes: Any) -> TakeRecord:
    day = TODAY - timedelta(days=days_ago)
    record = TakeRecord(
        id=f"{day}-{score}",
        player="Marit",
        began=datetime(day.year, day.month, day.day, 18, tzinfo=UTC),
        day=day,
        drill="t",
        title="T",
        skills=(),
        harp=HarpTag("C"),
        tempo=60.0,
        source="microphone",
        score=score,
        passed=score >= 80.0,
        whole=True,
        seconds=10.0,
    )
    return replace(record, **changes)


def status(takes: Sequence[TakeRecord]) -> DrillStatus:
    return drill_statuses(takes, {"t": DRILL}, TODAY)["t"]


@pytest.mark.parametrize(
    ("scores", "rating"),
    [
        ([79.9], Rating.Again),
        ([79.0, 99.0], Rating.Again),  # lost at first
        ([80.0], Rating.Hard),  # the pass mark itself passes
        ([81.9], Rating.Hard),
        ([82.0], Rating.Good),
        ([95.0], Rating.Good),
        ([95.1], Rating.Easy),
        ([85.0, 60.0, 99.0, 70.0], Rating.Easy),  # the first passed, and the best counts
    ],
)
def test_a_day_is_rated_by_its_first_take_and_its_best(scores: list[float], rating: Rating) -> None:
    assert rate_day(DRILL, [take(score) for score in scores]) is rating


@pytest.mark.parametrize(("tempo", "rating"), [(57.0, Rating.Easy), (56.9, Rating.Hard)])
def test_a_slow_take_is_hard_unless_the_clock_is_free(tempo: float, rating: Rating) -> None:
    takes = [take(99.0, tempo=tempo)]
    assert rate_day(DRILL, takes) is rating
    free: Drill = replace(DRILL, free=True)
    assert rate_day(free, takes) is Rating.Easy


@pytest.mark.parametrize(
    ("passes", "rating"), [(0, Rating.Good), (1, Rating.Good), (2, Rating.Easy)]
)
def test_a_take_is_not_easy_before_the_tolerance_is_narrowest(passes: int, rating: Rating) -> None:
    drill = replace(DRILL, tightening=Tightening(start=20.0, by=5.0, to=10.0))
    assert rate_day(drill, [take(99.0)], [take(90.0, 5)] * passes) is rating


def test_a_status_has_the_last_day_and_the_best_of_all() -> None:
    reached = status([take(95.0, 9), take(70.0, 5), take(75.0, 5), take(60.0, 5)])
    assert (reached.days, reached.last) == (2, TODAY - timedelta(days=5))
    assert (reached.score, reached.best) == (75.0, 95.0)
    assert (reached.passed, reached.ever_passed) == (False, True)
    back = status([take(60.0, 9), take(80.0, 5)])
    assert (back.passed, back.ever_passed, back.score) == (True, True, 80.0)


def test_days_count_in_order_however_the_takes_come() -> None:
    takes = [take(70.0, 9), take(90.0, 6), take(85.0, 2)]
    assert status(takes[::-1]) == status(takes)


def test_a_take_of_the_day_itself_is_no_review_yet() -> None:
    assert drill_statuses([take(90.0, 0)], {"t": DRILL}, TODAY) == {}
    assert status([take(90.0, 1), take(10.0, 0)]).score == 90.0
