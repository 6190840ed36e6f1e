"""Where a player stands in the course."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from tests.support.command_line import Trainer
from trainer.coach import course_standing, passed_drills
from trainer.coach.standing import closed_drills
from trainer.drill import Stage, find_drill, read_course, read_shelf
from trainer.store import HarpTag, Journal, TakeRecord, journal_path

STAGES = (
    Stage("first", "Begin.", (), ("a", "b", "c")),
    Stage("left", "Go left.", ("first",), ("d",)),
    Stage("both", "Join.", ("first", "left"), ("e", "f")),
)


def take(drill: str = "a", **changes: Any) -> TakeRecord:
    record = TakeRecord(
        id=drill,
        player="you",
        began=datetime(2026, 5, 14, 18, tzinfo=UTC),
        day=date(2026, 5, 14),
        drill=drill,
        title="T",
        skills=(),
        harp=HarpTag("C"),
        tempo=60.0,
        source="microphone",
        score=90.0,
        passed=True,
        whole=True,
        seconds=10.0,
    )
    return replace(record, **changes)


@pytest.mark.parametrize("changes", [{"passed": False}, {"whole": False}, {"source": "player"}])
def test_only_the_players_own_whole_passes_count(changes: dict[str, Any]) -> None:
    assert passed_drills([take("a"), take("b", **changes)]) == {"a"}


def test_a_stage_opens_when_most_of_all_before_it_is_passed() -> None:
    def waits(*passed: str) -> list[tuple[str, ...]]:
        return [standing.waits_for for standing in course_standing(STAGES, passed)]

    assert waits() == [(), ("first",), ("first", "left")]
    assert waits("a") == [(), ("first",), ("first", "left")]
    assert waits("a", "b") == [(), (), ("left",)]
    assert waits("a", "b", "d") == [(), (), ()]
    assert waits("d") == [(), ("first",), ("first",)]


def test_the_next_drill_is_the_first_that_was_never_passed() -> None:
    first, left, _ = course_standing(STAGES, {"a", "c"})
    assert (first.next_drill, first.is_done) == ("b", True)
    assert left.next_drill == "d"
    complete, *_ = course_standing(STAGES, {"a", "b", "c"})
    assert complete.next_drill is None
    *_, locked = course_standing(STAGES, ())
    assert locked.next_drill is None


@pytest.mark.parametrize("only_standard", [True, False])
def test_no_drill_of_the_course_is_locked_for_ever(only_standard: bool) -> None:
    """Whoever passes all that is open, or all but one, reaches every drill."""
    levels = {
        drill.name: drill.level
        for drill in read_shelf().drills
        if drill.tuning == "richter" or not only_standard
    }
    for stuck in (None, *list(levels)[::4]):
        passed: set[str] = set()
        while new := open_drills(levels, passed) - passed - {stuck}:
            passed |= new
        assert passed == set(levels) - {stuck}


def open_drills(levels: Mapping[str, int], passed: set[str]) -> set[str]:
    """Drills in open stages, below whose level two thirds of those of each level are passed."""
    closed = closed_drills(read_course(), levels, passed)
    is_open = {name: level for name, level in levels.items() if name not in closed}
    highest = 0
    for level in sorted(set(is_open.values())):
        highest = level
        of_level = {name for name in is_open if is_open[name] == level}
        if 3 * len(passed & of_level) < 2 * len(of_level):
            break
    return {name for name in is_open if is_open[name] <= highest}


def test_a_stage_is_open_once_a_drill_of_it_was_passed() -> None:
    assert closed_drills(STAGES, "abcdef", ()) == set("def")
    assert closed_drills(STAGES, "abcdef", ("e",)) == {"d"}
    assert closed_drills(STAGES, "cdef", ("c",)) == set("ef")


def test_the_command_shows_goals_and_the_players_place(trainer: Trainer) -> None:
    with Journal(journal_path()) as journal:
        for name in ("first-clean-notes", "long-level-tones"):
            journal.add(take(name, title=find_drill(name).title))
    text = trainer("drill", "course", "--player", "you").out
    assert "1. First breath (2 of 5)" in text
    assert "• first-clean-notes" in text
    assert "▸ tide-in-tide-out" in text
    assert "opens after first breath" in text
    assert max(map(len, text.splitlines())) <= 80
    stages = json.loads(trainer("drill", "course", "--player", "you", "--format", "json").out)
    assert [stage["open"] for stage in stages[:2]] == [True, False]
    assert [drill["passed"] for drill in stages[0]["drills"]] == [True, False, True, False, False]
