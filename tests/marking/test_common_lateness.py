"""Passes in which everything is late or early alike, played by the built-in player."""

from __future__ import annotations

from functools import cache

import pytest

from trainer.drill import Drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Result, find_habits
from trainer.marking.common_lateness import explain_common_lateness
from trainer.practice import PassEnded, Plan, run_take
from trainer.sound import Fault, PlayerSpec

TAB = """
tab = "4:1 -4:1 5:1 -5:1 | 6:1 -5:1 5:1 -4:1 |"
"""
HEAD = 'title = "Bollards"\nharp = "C"\ntempo = 80\n'
TIMED = parse_drill(f'{HEAD}{TAB}[aim]\ntime = ["all"]\n', "timed")
PITCHED = parse_drill(f'{HEAD}{TAB}[aim]\npitch = ["all"]\n', "pitched")
PLAIN = parse_drill(f"{HEAD}{TAB}", "plain")


@cache
def played(drill: Drill, late_ms: float, other: tuple[tuple[int, float], ...] = ()) -> Result:
    """Result of a pass with a lateness on every step, and other ones on some."""
    faults = {step.index: Fault(late_ms=late_ms) for step in drill.steps}
    faults |= {index: Fault(late_ms=value) for index, value in other}
    events = run_take(Plan(Harp.of("C"), PlayerSpec(faults=faults), drill=drill))
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    return result


@pytest.mark.parametrize("late_ms", [-645.0, 150.0])
def test_it_is_named_once_and_fails_what_trains_time(late_ms: float) -> None:
    result = played(TIMED, late_ms)
    side = "early" if late_ms < 0 else "late"
    first, *rest = result.marks
    size = float(first.sentence.split("everything was ")[1].split(" ms")[0])
    assert size == pytest.approx(abs(late_ms), abs=15.0)
    assert "'trainer sound calibrate'" in first.sentence
    assert explain_common_lateness(result) == result, "once is enough"
    assert not [mark.sentence for mark in rest if side in mark.sentence or " ms" in mark.sentence]
    assert not result.passed
    assert all(mark.score > 90.0 for mark in result.marks)  # each is even with the others
    assert find_habits(result)[0].name == f"all {side}"


def test_other_aims_can_be_met() -> None:
    assert played(PITCHED, -645.0).passed
    assert not played(PLAIN, -645.0).passed
    assert played(PLAIN, -645.0).score <= 50.0


def test_a_note_that_is_off_beside_the_others_says_so() -> None:
    result = played(TIMED, 200.0, ((3, 320.0),))
    assert "ms late against the others" in result.marks[3].sentence
    assert result.marks[3].criteria["time"] < 85.0
    assert result.marks[3].measured.late_ms == pytest.approx(320.0, abs=15.0)
    assert result.marks[3].measured.common_late_ms == pytest.approx(200.0, abs=15.0)


@pytest.mark.parametrize(
    ("late_ms", "other"), [(20.0, ()), (0.0, tuple((i, 150.0) for i in range(0, 8, 2)))]
)
def test_what_is_in_time_or_uneven_is_judged_as_it_is(
    late_ms: float, other: tuple[tuple[int, float], ...]
) -> None:
    result = played(TIMED, late_ms, other)
    assert not any(mark.measured.common_late_ms for mark in result.marks)
    assert "everything" not in result.marks[0].sentence
