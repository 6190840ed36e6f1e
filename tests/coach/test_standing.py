"""Where a player stands in the course."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from tests.support.command_line import Trainer
from trainer.coach import course_standing, passed_drills
from trainer.drill import Stage, find_drill
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
