"""What a plan says of a take, apart from its tolerance."""

from __future__ import annotations

from dataclasses import replace

import pytest

from trainer.drill import Climb, parse_drill
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec, PlayerSpec

HEAD = 'title = "T"\nharp = "C"\ntempo = 72\n'
TAB = "r:4 | 4:4 | 5:2 6:2 | -6:4 |"
DRILL = parse_drill(f'{HEAD}tab = """\n{TAB}\n"""\n', "t")
LIVE = Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL)
CLIMB = Climb(by=4.0, to=90.0)


@pytest.mark.parametrize(
    ("plan", "loops"),
    [
        (LIVE, False),
        (replace(LIVE, loop=True), True),
        (replace(LIVE, drill=replace(DRILL, loop=(2, 3))), True),
        (replace(LIVE, drill=replace(DRILL, loop=(2, 3)), loop=False), False),
        (replace(LIVE, drill=replace(DRILL, loop=(2, 3)), source=PlayerSpec()), False),
        (replace(LIVE, climb=CLIMB), True),
        (replace(LIVE, drill=replace(DRILL, climb=CLIMB)), True),
        (replace(LIVE, drill=replace(DRILL, climb=CLIMB), climb=Climb(0.0, 72.0)), False),
        (replace(LIVE, drill=None), False),
        (replace(LIVE, drill=None, loop=True), True),
    ],
)
def test_a_live_take_loops_as_the_player_or_else_the_drill_says(plan: Plan, loops: bool) -> None:
    assert plan.loops is loops


def test_the_bars_are_those_of_the_player_or_of_the_drills_loop() -> None:
    looped = replace(LIVE, drill=replace(DRILL, loop=(2, 3)))
    assert LIVE.played_bars is None
    assert looped.played_bars == (2, 3)
    assert replace(looped, loop=False).played_bars is None
    assert replace(looped, bars=(1, 2)).played_bars == (1, 2)


def test_a_count_in_leads_to_the_bar_of_a_step_and_first_to_a_bar_of_rests() -> None:
    assert LIVE.entry_bar(0) == 1  # the first bar that is played begins with rests
    assert [LIVE.entry_bar(step) for step in (1, 2, 3)] == [3, 3, 4]
    part = replace(LIVE, bars=(2, 4))
    assert part.entry_bar(0) == 2
    assert part.entry_bar(3) == 4


def test_the_first_tempo_is_the_players_or_else_the_drills() -> None:
    assert LIVE.first_tempo == 72.0
    assert replace(LIVE, tempo=66.0).first_tempo == 66.0
    assert replace(LIVE, drill=None).first_tempo == 60.0


def test_a_climb_by_nothing_is_none() -> None:
    assert LIVE.ladder is None
    assert replace(LIVE, climb=CLIMB).ladder == CLIMB
    assert replace(LIVE, climb=Climb(0.0, 72.0)).ladder is None
