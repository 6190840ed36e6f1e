"""Solos: each fault lowers its own criterion, and nothing is won by playing nothing."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from benchmarks.solos import BY_NATURE, Composer, degenerate, form
from trainer.drill import SOLO_CRITERIA, Solo
from trainer.harp import Harp
from trainer.marking import SoloMark
from trainer.marking.parameters import SOLO
from trainer.marking.solo_measurement import phrases_of, strong_beats
from trainer.marking.solo_notes import nearest_part

HARP = Harp.of("C")
SEEDS = range(900, 904)


def composer(seed: int) -> Composer:
    return Composer(form(seed), HARP, seed)


def mark(seed: int, criterion: str = "", size: float = 0.0) -> SoloMark:
    made = composer(seed)
    return made.mark(made.solo(criterion, size))


@pytest.mark.parametrize("criterion", SOLO_CRITERIA)
def test_more_of_a_fault_earns_less_on_its_criterion_and_the_same_on_others(criterion: str) -> None:
    untouched = set(SOLO_CRITERIA) - {criterion} - BY_NATURE.get(criterion, frozenset())
    for seed in SEEDS:
        right, half, all_ = (mark(seed, criterion, size) for size in (0.0, 0.5, 1.0))
        points = [each.criteria[criterion] for each in (right, half, all_)]
        assert points[0] >= 95.0
        assert points[0] >= points[1] - 1.0 >= points[2] - 2.0
        assert points[2] < 60.0
        assert all(abs(all_.criteria[name] - right.criteria[name]) < 5.0 for name in untouched)
        assert all_.sentences[criterion] != right.sentences[criterion]


def test_who_does_nothing_of_what_is_asked_misses_something_altogether() -> None:
    for seed in SEEDS:
        made = composer(seed)
        for name, notes in degenerate(made.drill, made).items():
            least = min(made.mark(notes).criteria.values())
            assert least < made.drill.goal.pass_mark - 30.0, name


def test_an_empty_solo_earns_nothing_and_says_so() -> None:
    empty = composer(900).mark([])
    assert empty.score == 0.0
    assert set(empty.criteria.values()) == {0.0}
    assert "nothing was heard" in empty.sentence


def test_bends_that_are_forgiven_have_the_points_of_the_tolerance() -> None:
    made = composer(900)
    notes = made.solo("pitch", 1.0)
    brief = made.drill.brief
    assert brief is not None
    made.drill = replace(made.drill, brief=replace(brief, bends_off=0))
    strict = made.mark(notes).criteria["pitch"]
    made.drill = replace(made.drill, brief=replace(brief, bends_off=99))
    assert made.mark(notes).criteria["pitch"] > strict
    assert SOLO.forgiven_points == 85.0


def test_a_phrase_takes_its_bars_with_its_rest() -> None:
    made = composer(900)
    lengths = {}
    for last in (6.5, 7.0, 7.9):
        notes = [n for n in made.as_heard(made.solo("", 0.0), steady=True) if n.beat < 4.0]
        notes[-1] = replace(notes[-1], beats=last - notes[-1].beat)
        (phrase,) = phrases_of(notes, made.drill)
        lengths[last] = phrase.fit
    assert lengths[6.5] == lengths[7.0] == 1.0
    assert lengths[7.9] < 0.2


@pytest.mark.parametrize(
    ("meter", "beats"),
    [((4, 4), [0, 2]), ((3, 4), [0]), ((6, 8), [0, 3]), ((12, 8), [0, 3, 6, 9]), ((2, 4), [0])],
)
def test_strong_beats(meter: tuple[int, int], beats: list[int]) -> None:
    solo = Solo(Fraction(meter[0]), Fraction(meter[0]))
    assert strong_beats(solo, meter) == [meter[0] + beat for beat in beats]


def test_a_swung_half_is_in_time() -> None:
    drill = replace(form(900), swing=2.0, tempo=60.0)
    clock = drill.clock(48_000)
    assert nearest_part(clock.sample(Fraction(3, 2)), clock, 2) == (1.5, 0)
    beat, late = nearest_part(clock.sample(2) + 4_800, clock, 2)
    assert beat == pytest.approx(2.075)
    assert late == 4_800
