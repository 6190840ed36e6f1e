"""Six weeks of two players, day by day: an advanced player, and a beginner who is stuck on a drill.

The players are made here: a drill's score rises with its takes, or does not. The constants of the
daily set were not chosen on them.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from statistics import fmean

import pytest

from benchmarks.learner import shelf_traits
from tests.coach.test_day import TODAY, take
from trainer.coach import (
    DURATION,
    DrillTraits,
    Reason,
    SetEntry,
    Wishes,
    choose_entries,
    drill_statuses,
)
from trainer.coach.parameters import SELECTION
from trainer.store import Placement, TakeRecord

TRAITS = shelf_traits()
BY_NAME = {traits.drill.name: traits for traits in TRAITS}
MINUTES = 20.0
STUCK = "long-level-tones"
DAYS = 42
Score = Callable[[random.Random, DrillTraits, int, float], float]
"""Score of a take, from the number of earlier takes and the tempo's ratio to the drill's."""


@dataclass(frozen=True)
class Played:
    """A day as it was played.

    Attributes:
        entries: its set.
        last: score of each entry's drill before the day.
        is_due: whether it was due.
        seconds: time of real play, with count-ins, pauses and reading.
    """

    entries: tuple[SetEntry, ...]
    last: dict[str, float]
    is_due: dict[str, bool]
    seconds: float


def play(score: Score, placements: dict[str, Placement] | None = None) -> list[Played]:
    """Play the set of each day until every entry is done."""
    rng = random.Random(1)
    takes: list[TakeRecord] = []
    counts: dict[str, int] = {}
    drills = {name: traits.drill for name, traits in BY_NAME.items()}
    days = []
    for number in range(DAYS):
        day = TODAY + timedelta(days=number)
        statuses = drill_statuses(takes, drills, day)
        entries = choose_entries(
            TRAITS, statuses, {}, day, MINUTES, wishes=Wishes(None, placements or {})
        )
        seconds = 0.0
        for entry in entries:
            traits = BY_NAME[entry.drill]
            ratio = (entry.tempo or traits.drill.tempo) / traits.drill.tempo
            seconds += DURATION.read_s if entry.drill in statuses else DURATION.read_new_s
            scores: list[float] = []
            while not entry.is_done(scores):
                count = counts.get(entry.drill, 0)
                scores.append(min(max(score(rng, traits, count, ratio), 0.0), 100.0))
                counts[entry.drill] = count + 1
                tempo = ratio * traits.drill.tempo
                takes.append(take(traits.drill, day, scores[-1], tempo=tempo))
                seconds += traits.take_s / ratio + DURATION.between_takes_s
        known = {entry.drill for entry in entries} & statuses.keys()
        days.append(
            Played(
                entries,
                {name: statuses[name].score for name in known},
                {name: statuses[name].due <= day for name in known},
                seconds,
            )
        )
    return days


def learning(rng: random.Random, traits: DrillTraits, count: int, ratio: float) -> float:
    return 70.0 - 2.0 * traits.drill.level + 6.0 * min(count, 5) + rng.gauss(0.0, 5.0)


def advanced(rng: random.Random, traits: DrillTraits, count: int, ratio: float) -> float:
    ceiling = 97.5 if traits.drill.level <= 7 else 75.0 + 3.0 * min(count, 6)
    return ceiling + rng.gauss(0.0, 1.0)


def beginner_with_one_stuck(
    rng: random.Random, traits: DrillTraits, count: int, ratio: float
) -> float:
    if traits.drill.name == STUCK:
        return 41.0 + rng.gauss(0.0, 4.0)
    return learning(rng, traits, count, ratio)


@pytest.fixture(scope="module")
def master() -> list[Played]:
    skills = {traits.main_skill for traits in TRAITS}
    return play(advanced, {skill: Placement(skill, 7, TODAY) for skill in skills})


@pytest.fixture(scope="module")
def beginner() -> list[Played]:
    return play(beginner_with_one_stuck)


def test_twenty_minutes_are_twenty_minutes(beginner: list[Played], master: list[Played]) -> None:
    for name, days in (("beginner", beginner), ("advanced", master)):
        played = [day.seconds / 60.0 for day in days]
        print(f"{name}: {fmean(played):.1f} minutes, {min(played):.1f} to {max(played):.1f}")
        assert fmean(played) == pytest.approx(MINUTES, rel=0.15)
        most = SELECTION.min_drills + MINUTES / SELECTION.minutes_per_drill
        assert all(len(day.entries) <= most for day in days)


def test_what_is_known_comes_rarely(beginner: list[Played], master: list[Played]) -> None:
    for days in (beginner, master):
        for day in days:
            fillers = [
                entry
                for entry in day.entries
                if entry.reason in (Reason.KEEP, Reason.DUE)
                and day.last.get(entry.drill, 0.0) > 95.0
                and not day.is_due[entry.drill]
            ]
            assert len(fillers) <= SELECTION.easy_drills


def test_an_advanced_player_is_not_sent_through_the_course(master: list[Played]) -> None:
    levels = [
        BY_NAME[entry.drill].drill.level
        for day in master[:7]
        for entry in day.entries
        if entry.reason is Reason.NEW
    ]
    assert levels
    assert min(levels) > 7
    of_first = [BY_NAME[entry.drill].drill.level for entry in master[0].entries]
    assert fmean(of_first) > 4


def test_a_beginner_gets_new_drills_in_the_order_of_the_course(beginner: list[Played]) -> None:
    levels = [
        BY_NAME[entry.drill].drill.level
        for day in beginner
        for entry in day.entries
        if entry.reason is Reason.NEW
    ]
    assert levels[0] == 1
    assert max(levels[:6]) <= 2
    assert len(levels) > 20


def test_what_is_stuck_is_slower_then_rests_and_the_set_says_so(beginner: list[Played]) -> None:
    of_days = [{entry.drill: entry for entry in day.entries} for day in beginner]
    slower = [day[STUCK] for day in of_days if STUCK in day and day[STUCK].tempo]
    assert len(slower) >= 3  # then the next way of making it easier is tried
    assert all("slower, at" in entry.why and "at 4" in entry.why for entry in slower)
    resting = [
        entry
        for day in of_days
        for entry in day.values()
        if entry.why.startswith(f"instead of {BY_NAME[STUCK].drill.title}")
    ]
    assert resting
    assert len([day for day in of_days if STUCK in day]) < DAYS - 5
