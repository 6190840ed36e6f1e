"""The aims of a drill decide its mark."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trainer.drill import Aim, Drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Mark, Measured, aim_score, make_mark, mean_score, pass_score

HARP = Harp.of("C")
GOOD: dict[str, object] = {
    "start": 0,
    "end": 24_000,
    "late_ms": 0.0,
    "cents": 0.0,
    "wobble_cents": 0.0,
    "drift_cents": 0.0,
    "scoop_cents": 0.0,
    "settle_ms": 20.0,
}


def drill_of(tab: str, aim: str) -> Drill:
    head = 'title = "T"\nabout = "Trains."\nharp = "C"\ntempo = 60\n'
    return parse_drill(f'{head}tab = """\n{tab}\n"""\n[aim]\n{aim}\n', "t")


def marks_of(drill: Drill, faults: dict[int, dict[str, object]]) -> list[Mark]:
    """Marks of a pass without faults, but for those of some steps."""
    marks = []
    for step in drill.steps:
        figures = {**GOOD, "holes": tuple(tab.hole for tab in step.last)}
        fault = faults.get(step.index, {})
        measured = Measured() if "skip" in fault else Measured(**(figures | fault))  # type: ignore[arg-type]
        marks.append(make_mark(step, measured, drill.goal, 1000.0, harp=HARP))
    return marks


def score(drill: Drill, faults: dict[int, dict[str, object]]) -> float:
    return pass_score(drill, marks_of(drill, faults))


BENDS = drill_of("-4:1 -4':1 4:1 -4':1 |", 'pitch = ["bends"]')
SHALLOW = {"cents": 40.0, "scoop_cents": 40.0}


def test_a_faultless_pass_has_100() -> None:
    assert score(BENDS, {}) == pytest.approx(100.0)


def test_a_missed_aim_cannot_pass() -> None:
    assert score(BENDS, {1: SHALLOW, 3: SHALLOW}) < BENDS.goal.pass_mark - 10.0


def test_the_aim_is_the_mean_of_its_steps() -> None:
    marks = marks_of(BENDS, {1: {"cents": 20.0, "scoop_cents": 20.0}})
    assert aim_score(BENDS, BENDS.aims[0], marks) == pytest.approx(75.0)  # 50 and 100 points


def test_what_is_beside_the_aim_costs_at_most_a_fifth() -> None:
    beside = {0: {"skip": 1}, 2: {"skip": 1}}
    marks = marks_of(BENDS, beside)
    assert mean_score(marks) == pytest.approx(50.0)
    assert score(BENDS, beside) == pytest.approx(90.0)
    assert score(BENDS, {0: SHALLOW}) > score(BENDS, {1: SHALLOW})


def test_the_least_of_the_aims_counts() -> None:
    drill = drill_of("-4':1 r:0.5 4:0.5 4:1 r:1 |", 'pitch = ["bends"]\ntime = ["off-beats"]')
    early = {"late_ms": -125.0}
    assert score(drill, {1: early}) < 60.0
    assert score(drill, {1: early, 0: SHALLOW}) <= score(drill, {0: SHALLOW})


@pytest.mark.parametrize("figure", ["cents", "late_ms", "wobble_cents"])
def test_more_fault_never_earns_more(figure: str) -> None:
    aim = {"cents": "pitch", "late_ms": "time", "wobble_cents": "steadiness"}[figure]
    drill = drill_of("-4:1 -4':1 4:1 -4':1 |", f'{aim} = ["bends"]')
    scores = [score(drill, {1: {figure: size}, 3: {figure: size}}) for size in range(0, 200, 5)]
    assert scores == sorted(scores, reverse=True)


WORSE: dict[str, Callable[[float], dict[str, object]]] = {
    "pitch": lambda size: {"cents": 70.0 * size, "scoop_cents": 70.0 * size},
    "wobble": lambda size: {"wobble_cents": 40.0 * size},
    "drift": lambda size: {"drift_cents": -90.0 * size},
    "scoop": lambda size: {"scoop_cents": -120.0 * size, "settle_ms": 600.0 * size},
    "leak": lambda size: {"leak_db": -48.0 * (1.0 - size), "leak_hole": 6},
    "time": lambda size: {"late_ms": -300.0 * size},
    "short": lambda size: (
        {"held_fraction": 1.0 - size}
        | ({"wobble_cents": None, "drift_cents": None} if size > 0.9 else {})
    ),
}
"""Figures of faults of a size from 0 to 1; a note cut very short is too short for a wobble."""


@given(st.data())
@settings(max_examples=80)
def test_more_faults_of_any_kind_never_earn_more(data: st.DataObject) -> None:
    """Any faults on any steps, then a larger or further one on one of them."""
    criteria = ["pitch", "steadiness", "attack", "cleanness", "time", "articulation"]
    aims = data.draw(st.lists(st.sampled_from(criteria), min_size=0, max_size=2, unique=True))
    drill = drill_of("-4:1 -4':1 4:1 -4':1 |", "\n".join(f'{name} = ["bends"]' for name in aims))
    size = st.floats(0.0, 1.0)
    kinds = st.dictionaries(st.sampled_from(sorted(WORSE)), size, max_size=3)
    drawn = data.draw(st.dictionaries(st.integers(0, 3), kinds, max_size=4))
    step, kind = data.draw(st.integers(0, 3)), data.draw(st.sampled_from(sorted(WORSE)))
    before = drawn.get(step, {}).get(kind, 0.0)
    more = {**drawn, step: {**drawn.get(step, {}), kind: data.draw(st.floats(before, 1.0))}}

    def with_faults(sizes: dict[int, dict[str, float]]) -> float:
        faults: dict[int, dict[str, object]] = {}
        for index in range(4):
            by_kind = sizes.get(index, {})
            figures: dict[str, object] = {"held_fraction": 1.0}  # measured, with a fault or without
            for name in sorted(by_kind, key=lambda name: (name == "short", name == "scoop")):
                figures |= WORSE[name](by_kind[name])
            if isinstance(figures.get("cents"), float) and "scoop" in by_kind:
                figures["scoop_cents"] = 70.0 * by_kind["pitch"] - 120.0 * by_kind["scoop"]
            faults[index] = figures
        return score(drill, faults)

    assert with_faults(more) <= with_faults(drawn) + 1e-6


def test_cutting_an_unsteady_note_short_gains_nothing() -> None:
    drill = drill_of("-4:1 -4':1 4:1 -4':1 |", 'steadiness = ["bends"]')
    touched = {"held_fraction": 0.05, "wobble_cents": None, "drift_cents": None}
    assert score(drill, {1: touched}) <= score(drill, {1: {"wobble_cents": 40.0}})


def test_a_missed_step_has_nothing_of_the_aim() -> None:
    assert score(BENDS, {1: {"skip": 1}}) == pytest.approx(50.0 * (0.8 + 0.2 * 0.75))


def test_a_wrong_note_has_nothing_of_any_aim() -> None:
    drill = drill_of("-4:1 -4':1 4:1 -4':1 |", 'cleanness = ["bends"]')
    wrong = {1: {"heard": "-5", "cents": 0.0}}
    assert aim_score(drill, drill.aims[0], marks_of(drill, wrong)) == pytest.approx(50.0)


SPLITS = drill_of("1+4:1 2+5:1 3+6:1 4:1 |", 'holes = ["splits"]')


def test_a_split_without_beats_neither_earns_nor_costs() -> None:
    hidden = {0: {"holes": (1,), "hidden": (4,)}}
    assert score(SPLITS, hidden) == pytest.approx(100.0)


def test_where_no_split_can_be_heard_the_rest_of_the_drill_decides() -> None:
    hidden = {i: {"holes": (i + 1,), "hidden": (i + 4,)} for i in range(3)}
    assert score(SPLITS, hidden) == pytest.approx(100.0)
    late = {i: {**figures, "late_ms": 250.0} for i, figures in hidden.items()}
    assert score(SPLITS, late) < SPLITS.goal.pass_mark


def test_a_chord_with_a_missing_hole_misses_the_aim() -> None:
    drill = drill_of("4+5+6:2 3+4:1 r:1 |", 'holes = ["chords"]')
    marks = marks_of(drill, {0: {"holes": (4, 5)}})
    assert aim_score(drill, drill.aims[0], marks) == pytest.approx((200.0 / 3.0 + 100.0) / 2.0)


def test_a_bend_attacked_from_above_is_scooped_however_short() -> None:
    drill = drill_of("r:1 -4':3 |", 'attack = ["bends"]')
    quick = {"scoop_cents": 100.0, "settle_ms": 60.0}
    assert score(drill, {0: quick}) < 40.0
    assert score(drill, {0: {**quick, "is_slurred": True}}) == pytest.approx(100.0)
    assert score(drill, {0: {"scoop_cents": -100.0, "settle_ms": 60.0}}) == pytest.approx(100.0)


def test_a_part_of_a_drill_is_marked_by_the_aims_that_were_due() -> None:
    later = drill_of("4:1 4:1 4:1 4:1 | -4':1 r:3 |", 'pitch = ["bends"]')
    marks = marks_of(later, {})[:4]
    assert pass_score(later, marks) == pytest.approx(mean_score(marks))


def test_an_aim_without_marks_has_no_score() -> None:
    assert aim_score(BENDS, Aim("pitch", ("bends",)), []) is None
