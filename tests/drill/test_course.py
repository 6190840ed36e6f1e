"""The course holds the whole shelf, in an order in which it can be learnt."""

from __future__ import annotations

from statistics import mean

from tests.support import shelf
from trainer.drill import read_course

STAGES = read_course()
BY_NAME = {stage.name: stage for stage in STAGES}
DRILLS = {drill.name: drill for drill in shelf.SHELF.drills}


def test_each_drill_is_in_one_stage() -> None:
    placed = [name for stage in STAGES for name in stage.drills]
    assert sorted(placed) == sorted(DRILLS)


def test_stages_open_after_earlier_ones_only() -> None:
    for i, stage in enumerate(STAGES):
        assert set(stage.after) <= {earlier.name for earlier in STAGES[:i]}
    assert not STAGES[0].after


def test_what_opens_a_stage_is_easier_than_the_stage() -> None:
    def level(name: str) -> float:
        return mean(DRILLS[drill].level for drill in BY_NAME[name].drills)

    for stage in STAGES:
        assert all(level(before) <= level(stage.name) for before in stage.after), stage.name


def test_a_stage_does_not_begin_with_its_hardest_drill() -> None:
    for stage in STAGES:
        levels = [DRILLS[name].level for name in stage.drills]
        assert levels[0] <= mean(levels)


def test_goals_are_a_sentence() -> None:
    for stage in STAGES:
        assert stage.goal.endswith(".")
        assert 20 <= len(stage.goal) <= 110


def test_the_stops_of_holes_two_and_three_come_floor_first() -> None:
    """Common practice: the floor of 2 before its ledge, the half step on 3 last."""
    order = [name for stage in STAGES for name in stage.drills]
    first = {
        entry: min(
            order.index(name)
            for name in order
            if any(entry == step.tab for step in DRILLS[name].steps)
            and DRILLS[name].skills[0] in ("deep bends", "half-step bends")
        )
        for entry in ("-2'", "-2''", "-3'", "-3''", "-3'''")
    }
    assert first["-2''"] < first["-2'"]
    assert first["-3'''"] < first["-3'"]
    assert first["-3''"] < first["-3'"]


def test_a_beginner_has_tunes_and_calls_at_the_first_level() -> None:
    first = [drill for drill in DRILLS.values() if drill.level == 1]
    assert any(step.call for drill in first for step in drill.steps)
    tunes = [drill for drill in first if drill.skills[0] == "first tunes"]
    assert tunes
    for drill in tunes:
        assert 2 <= drill.bars <= 4
        assert 3 <= len({step.tab for step in drill.steps}) <= 5
