"""Splits whose upper hole cannot be heard: what the pass and the harp say of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pytest

from trainer.drill import Drill, find_drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Mark, Measured, Result, make_mark
from trainer.marking.split_evidence import explain_splits, splits_without_upper_hole
from trainer.practice.proof import perform
from trainer.sound import Fault
from trainer.sound.performer import performance

RATE = 48_000
EXACT = {str(sign) + str(hole): 0.0 for sign in ("", "-") for hole in range(1, 11)}
SPLITS = parse_drill(
    'title = "T"\nabout = "Trains."\nharp = "C"\ntempo = 60\n'
    'tab = """\n1+4:2 2+5:2 | 3+6:2 1+4:2 | 3+4:2 r:2 |\n"""\n[aim]\nholes = ["splits"]\n',
    "t",
)


def harp_of(offsets: Mapping[str, float] | None = None) -> Harp:
    return Harp.of("C", offsets={**EXACT, **offsets} if offsets is not None else None)


def marks_of(hidden: Sequence[int], seconds: float = 1.9) -> list[Mark]:
    """Marks of a pass in which the upper holes of some steps were not heard."""
    marks = []
    for step in SPLITS.steps:
        holes = tuple(tab.hole for tab in step.last)
        is_hidden = step.index in hidden
        figures = Measured(
            start=0,
            end=round(seconds * RATE),
            cents=0.0,
            holes=holes[:1] if is_hidden else holes,
            hidden=holes[1:] if is_hidden else (),
        )
        marks.append(make_mark(step, figures, SPLITS.goal, 1000.0))
    return marks


def lacking(hidden: Sequence[int], harp: Harp, seconds: float = 1.9) -> list[int]:
    return sorted(splits_without_upper_hole(marks_of(hidden, seconds), harp, RATE))


def test_a_split_that_beats_elsewhere_in_the_pass_lacks_its_hole() -> None:
    assert lacking([3], harp_of()) == [3]


def test_a_split_may_be_too_short_to_beat_though_a_longer_one_did() -> None:
    marks = marks_of([3])
    measured = replace(marks[3].measured, end=round(1.0 * RATE))
    marks[3] = replace(marks[3], measured=measured)
    assert not splits_without_upper_hole(marks, harp_of(), RATE)


def test_a_split_that_never_beats_cannot_be_told_where_others_do() -> None:
    assert lacking([1], harp_of()) == []


def test_several_splits_of_which_none_beats_are_taken_for_single_holes() -> None:
    assert lacking([0, 1, 2, 3], harp_of()) == [0, 1, 2, 3]
    assert lacking([0, 1, 3], harp_of()) == []  # two different ones, and the third beats


def test_a_harp_that_is_measured_as_exact_cannot_beat() -> None:
    assert lacking([0, 1, 2, 3], harp_of({})) == []


@pytest.mark.parametrize(("cents", "seconds", "is_told"), [
    (5.0, 1.9, True), (-5.0, 1.9, True), (2.0, 1.9, False), (5.0, 0.9, False), (12.0, 0.9, True),
])  # fmt: skip
def test_a_measured_pair_is_told_where_it_beats_fast_enough(
    cents: float, seconds: float, is_told: bool
) -> None:
    assert lacking([0, 3], harp_of({"4": cents}), seconds) == ([0, 3] if is_told else [])


def test_the_sentence_says_what_to_do_once() -> None:
    explained = explain_splits(marks_of([1, 2]), {}, harp_of())
    advice = "measure the harp, or take one whose octaves beat"
    assert [advice in mark.sentence for mark in explained] == [False, True, False, False, False]
    assert "not judged: hole 5 cannot be heard without beats" in explained[1].sentence
    assert explain_splits(marks_of([1]), {}, harp_of({}))[1].sentence.endswith(
        "; take one whose octaves beat"
    )


# With sound


@pytest.fixture(scope="module")
def drill() -> Drill:
    octaves = find_drill("octave-splits")
    return replace(octaves, tightening=None)


def passed(drill: Drill, harp: Harp, *, alone: bool = False) -> Result:
    faults = {step.index: Fault(alone=True) for step in drill.steps if step.is_chord and alone}
    return perform(drill, harp, faults)


def test_lower_holes_alone_do_not_pass(drill: Drill) -> None:
    result = passed(drill, harp_of(), alone=True)
    assert result.score <= drill.goal.pass_mark - 10.0
    assert any("missing; if it sounds, measure the harp" in m.sentence for m in result.marks)


def test_a_harp_measured_as_exact_can_pass(drill: Drill, monkeypatch: pytest.MonkeyPatch) -> None:
    exact = replace(performance.PARAMETERS, octave_cents=0.0)
    monkeypatch.setattr(performance, "PARAMETERS", exact)
    result = passed(drill, harp_of({}))
    assert result.passed
    assert any("take one whose octaves beat" in mark.sentence for mark in result.marks)


def test_on_a_harp_measured_to_beat_lower_holes_alone_do_not_pass(drill: Drill) -> None:
    offsets = {str(sign) + str(hole): 6.0 for sign in ("", "-") for hole in range(4, 8)}
    result = passed(drill, harp_of(offsets), alone=True)
    assert result.score <= drill.goal.pass_mark - 10.0
