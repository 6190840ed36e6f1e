"""The first week of new players, as a teacher would plan it (common practice)."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from benchmarks.learner import LEARNERS, PlannedDay, first_week, shelf_traits, week_table
from trainer.coach import Reason
from trainer.coach.parameters import SELECTION
from trainer.coach.standing import closed_drills
from trainer.coach.traits import SINGLE_NOTES
from trainer.drill import read_course

TRAITS = shelf_traits()
BY_NAME = {trait.drill.name: trait for trait in TRAITS}
MINUTES = (5.0, 10.0, 20.0, 45.0)


@pytest.fixture(
    scope="module",
    params=[(kind, minutes) for kind in ("usual", "slow", "uneven") for minutes in MINUTES],
    ids=lambda param: f"{param[0]}, {param[1]:g} min",
)
def week(request: pytest.FixtureRequest) -> list[PlannedDay]:
    kind, minutes = request.param
    return first_week(TRAITS, 0, LEARNERS[kind], minutes)


def days_with_passed(week: list[PlannedDay]) -> Iterator[tuple[PlannedDay, set[str]]]:
    """Each day with the drills that were passed before it."""
    passed: set[str] = set()
    for day in week:
        yield day, set(passed)
        passed |= {take.drill for take in day.takes if take.passed}


def test_the_first_day_has_few_drills_of_the_first_level(week: list[PlannedDay]) -> None:
    entries = week[0].entries
    assert 0 < len(entries) <= 3
    assert {BY_NAME[entry.drill].drill.level for entry in entries} == {1}


def test_no_bend_comes_before_single_notes_were_passed(week: list[PlannedDay]) -> None:
    for day, passed in days_with_passed(week):
        if any(BY_NAME[entry.drill].has_bends for entry in day.entries):
            assert any(SINGLE_NOTES in BY_NAME[name].drill.skills for name in passed)


def test_every_day_starts_with_what_suits_cold_lips(week: list[PlannedDay]) -> None:
    for day in week:
        assert BY_NAME[day.entries[0].drill].is_warm_up


def test_every_day_has_something_that_was_passed_before(week: list[PlannedDay]) -> None:
    for day, passed in days_with_passed(week):
        assert not passed or passed & {entry.drill for entry in day.entries}


def test_every_day_has_at_most_one_new_skill(week: list[PlannedDay]) -> None:
    known: set[str] = set()
    for day in week:
        skills = {BY_NAME[entry.drill].main_skill for entry in day.entries}
        assert len(skills - known) <= 1
        known |= skills


def test_new_drills_are_few_and_stages_and_levels_follow_each_other(week: list[PlannedDay]) -> None:
    for day, passed in days_with_passed(week):
        new = [entry for entry in day.entries if entry.reason is Reason.NEW]
        assert len(new) <= SELECTION.new_per_day
        closed = closed_drills(read_course(), BY_NAME, passed)
        assert not closed & {entry.drill for entry in new}
        is_open = [t for t in TRAITS if t.drill.name not in closed]
        reached = max((BY_NAME[name].drill.level for name in passed), default=0)
        for entry in new:
            if BY_NAME[entry.drill].drill.level <= reached:
                continue  # a level is open once a drill of it was passed
            below = [t for t in is_open if t.drill.level < BY_NAME[entry.drill].drill.level]
            for level in {t.drill.level for t in below}:
                names = {t.drill.name for t in below if t.drill.level == level}
                assert len(names & passed) >= SELECTION.level_done * len(names)


def test_the_minutes_are_kept(week: list[PlannedDay], request: pytest.FixtureRequest) -> None:
    minutes = request.node.callspec.params["week"][1]
    for day in week:
        planned = sum(entry.seconds for entry in day.entries) / 60.0
        # Longer than 20 minutes, a first week is not filled: it would need more that is new.
        assert 0.5 * min(minutes, 20.0) <= planned <= minutes


def test_the_week_is_printed_with_its_reasons() -> None:
    lines = week_table(first_week(TRAITS, 0, days=2), TRAITS).splitlines()
    assert lines[0].split() == ["day", "drill", "level", "best", "for", "why"]
    assert lines[1].startswith("  1 first-clean-notes          1")
    assert lines[1].endswith("new      level 1, where the course begins")
    assert " warm-up  easy on the lips; " in lines[4]
