"""Drills are proved by the built-in player; `benchmarks.points` proves the whole shelf."""

from __future__ import annotations

import pytest

from trainer.drill import Drill, find_drill, move_to_harp, parse_drill
from trainer.harp import Harp
from trainer.practice.proof import MIN_DISTANCE, MIN_FAULTLESS, perform, prove
from trainer.sound import Fault

SAMPLE = (
    "octave-splits",
    "harbour-bell",
    "slide-across",
    "lamp-on-the-swell",
)
"""A drill for each kind of fault."""


@pytest.mark.parametrize("name", SAMPLE)
def test_a_drill_cannot_be_passed_while_its_aim_is_missed(name: str) -> None:
    drill = find_drill(name)
    trials = prove(drill, Harp.of(drill.key, drill.tuning))
    assert len(trials) > len(drill.aims)
    assert all(trial.holds for trial in trials), trials


def test_chords_of_a_low_harp_whose_reeds_beat_slowly_are_in_time() -> None:
    harp = Harp.of("low C")
    assert perform(move_to_harp(find_drill("goods-train"), harp), harp, {}).score >= MIN_FAULTLESS


HEAD = 'title = "T"\nharp = "C"\ntempo = 90\ntab = """\n4:1 5:1 6:1 -6:1 |\n"""\n'


def test_a_drill_that_is_passed_while_its_aim_is_missed_does_not_prove() -> None:
    goal = '[aim]\ncleanness = ["bar 1"]\n[goal]\npass_mark = 30\n'
    faultless, gross, _ = prove(parse_drill(f"{HEAD}{goal}", "t"), Harp.of("C"))
    assert faultless.holds
    assert gross.score >= 30.0
    assert not gross.holds


def test_without_an_aim_there_is_nothing_to_miss() -> None:
    (faultless,) = prove(parse_drill(HEAD, "t"), Harp.of("C"))
    assert faultless.holds


def test_a_fault_beside_the_aim_costs_less_than_in_it() -> None:
    drill = find_drill("half-step-on-four")
    bends = {step.index: Fault(cents=40.0) for step in drill.aims[0].steps(drill.steps)}
    others = {step.index: Fault(cents=-40.0) for step in drill.steps if step.index not in bends}
    assert _score(drill, others) >= drill.goal.pass_mark
    assert _score(drill, bends) <= drill.goal.pass_mark - MIN_DISTANCE


def _score(drill: Drill, faults: dict[int, Fault]) -> float:
    return perform(drill, Harp.of("C"), faults).score
