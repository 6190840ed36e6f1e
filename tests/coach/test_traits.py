"""What drills train, from drills of a few steps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

from tests.support.synthetic_takes import drill_of
from trainer.coach import DrillTraits, TraitKind
from trainer.drill import DEFAULT_WEIGHTS, Drill, Goal, parse_drill
from trainer.harp import Harp


def drill(
    tab: str, *, tempo: float = 60.0, weights: Mapping[str, float] | None = None, **changes: Any
) -> Drill:
    written = drill_of(tab, tempo=tempo)
    goal = Goal(weights={**DEFAULT_WEIGHTS, **(weights or {})})
    return replace(written, goal=goal, **changes)


def traits(tab: str, **options: Any) -> DrillTraits:
    return DrillTraits.of(drill(tab, **options), Harp.of())


def criterion(name: str, tab: str, **options: Any) -> float:
    return traits(tab, **options).trains.get((TraitKind.CRITERION, name), 0.0)


def test_an_entry_is_trained_wherever_it_sounds() -> None:
    trains = traits("4:1 4+5:1 -4'>-4:1 -4:1").trains
    entries = {name: part for (kind, name), part in trains.items() if kind is TraitKind.ENTRY}
    assert entries == {"4": 0.5, "5": 0.25, "-4'": 0.25, "-4": 0.5}


def test_the_main_skill_counts_whole_and_the_others_half() -> None:
    trains = traits("4:4", skills=("bends", "time", "breath")).trains
    skills = [trains[TraitKind.SKILL, name] for name in ("bends", "time", "breath")]
    assert skills == [1.0, 0.5, 0.5]


@pytest.mark.parametrize(
    ("name", "tab", "part"),
    [
        ("pitch", "4:2 -4':2", 0.5),
        ("pitch", "4:2 -4@-20:2", 0.5),
        ("steadiness", "4:1.5 5:1 6:1.5", 2 / 3),
        ("steadiness", "-4'>-4:4", 0.0),
        ("attack", "4:2 -4':2", 0.5),
        ("attack", "-4'>-4:4", 0.0),
        ("motion", "4:1 -4'>-4:1 -4:2{vibrato 5 20}", 2 / 3),
        ("motion", "4<>5:1 ^5 4:1 -4:1{dip} 4:1", 0.75),
        ("motion", "4:1 4>5:1 6:2", 1 / 3),
        ("articulation", "4:1{staccato} 4:1 -4:1{slap} -4:1", 0.5),
        ("dynamics", "4:1{accent} 4:1 -4:1{swell} -4:1", 0.5),
        ("cleanness", "4:1 4:1 5:1 4+5:1", 0.5),
        ("cleanness", "4:1 {clean} 4:1 4:1 {} 4:1", 0.5),
        ("cleanness", "4:1 {blur} 5:1 6:1 7:1", 0.0),
        ("time", "4:1 5:0.5 4:0.5 6:2", 0.25),
        ("time", "4:0.4 5:1.6 6:2", 2 / 3),
        ("time", "4:0.6 5:1.4 6:2", 1 / 3),
    ],
)
def test_a_criterion_is_trained_where_it_is_tested(name: str, tab: str, part: float) -> None:
    """At tempo 60, a beat is a second."""
    assert criterion(name, tab) == pytest.approx(part)


def test_the_calls_of_the_trainer_train_nothing() -> None:
    written = drill("4:1 -4':1 5:1")
    calls = tuple(replace(step, call=step.index == 1) for step in written.steps)
    own = DrillTraits.of(replace(written, steps=calls), Harp.of())
    assert own.trains == pytest.approx(traits("4:1 5:1").trains)
    assert own.strain == 0.0


def test_a_criterion_without_weight_is_not_trained() -> None:
    assert criterion("pitch", "-4':4") == 1.0
    assert criterion("pitch", "-4':4", weights={"pitch": 0.0}) == 0.0


def test_where_the_clock_is_free_time_is_not_trained() -> None:
    assert criterion("time", "4:0.5 5:0.5 6:3", free=True) == 0.0


@pytest.mark.parametrize(
    ("tab", "strain"),
    [
        ("4:1 5:1", 0.0),
        ("-4':1 5:1", 0.5),
        ("6o:1 5:1", 0.5),
        ("4+5:1 4+5+6:1", 0.0),
        ("1+3:1 4+5:1", 0.5),
        ("1+4:1 1+3:1", 1.0),
    ],
)
def test_bends_overblows_and_splits_strain_the_lips(tab: str, strain: float) -> None:
    assert traits(tab).strain == strain


@pytest.mark.parametrize(
    ("tab", "tempo", "suits"),
    [
        ("4:1 5:1 6:1 4:1", 60, True),
        ("4:1 6:1 4:1", 60, True),
        ("4:1 7:1 4:1", 60, False),
        ("4:1 -4':1", 60, False),
        ("4:1 4+5:1", 60, False),
        ("4:1 4>5:1", 60, False),
        ("4:1 4<>5:3", 60, False),
        ("4:1 5:1 6:1 4:1", 80, True),
        ("4:1 5:1 6:1 4:1", 81, False),
    ],
)
def test_a_warm_up_is_natural_close_and_slow(tab: str, tempo: int, suits: bool) -> None:
    assert traits(tab, tempo=tempo).is_warm_up is suits


def test_a_take_lasts_as_long_as_its_drill_with_the_count_in() -> None:
    text = 'title = "T"\nharp = "C"\ntempo = 60\ntab = "4:4 | 5:4"\n'
    written = parse_drill(text, "t")
    assert DrillTraits.of(written, Harp.of()).take_s == pytest.approx(4.0 + 8.0 + 1.0)
    free = traits("4:1 5:1 6:2", free=True)
    assert free.take_s == pytest.approx(3 * (0.5 + 2.0) + 1.0)


def test_music_is_told_by_its_skills() -> None:
    assert traits("4:4", skills=("breath", "phrases")).is_music
    assert not traits("4:4", skills=("breath",)).is_music
