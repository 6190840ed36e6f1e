"""Where the clock is free: when a step counts as held."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest

from tests.support.step_histories import HOP, note, with_leak
from tests.support.synthetic_takes import HARP, RATE, drill_of
from trainer.drill import Drill, Goal
from trainer.ear import Reading
from trainer.marking import FreeMarker, Mark


def free(tab: str, hold: float = 0.5) -> Drill:
    return replace(drill_of(tab), free=True, goal=Goal(hold=hold))


def play(drill: Drill, *pieces: Sequence[Reading]) -> tuple[FreeMarker, list[tuple[float, Mark]]]:
    """A marker after some readings, and its marks with the time in ms at which they came."""
    marker = FreeMarker(drill, HARP, RATE)
    marks = [
        (1000.0 * r.sample / RATE, mark)
        for piece in pieces
        for r in piece
        for mark in marker.observe(r)
    ]
    return marker, marks


def times(marks: Sequence[tuple[float, Mark]]) -> list[float]:
    return [round(time) for time, _ in marks]


def silence(start_ms: float, count: int) -> list[Reading]:
    first = round(start_ms * RATE / 1000.0)
    return [Reading(first + i * HOP, first + i * HOP, RATE) for i in range(count)]


def offs(count: int, off: Callable[[int], float] = lambda i: 0.0) -> list[float]:
    return [off(i) for i in range(count)]


def test_a_step_is_held_for_the_goals_time() -> None:
    marker, marks = play(free("4:1"), note("4", offs(200)))
    assert times(marks) == [500]
    assert marks[0][1].measured.tries == 1
    assert marks[0][1].measured.late_ms is None
    assert (marker.done, marker.reached) == (True, 1)


@pytest.mark.parametrize(("off", "is_held"), [(10.0, True), (-9.0, True), (10.5, False)])
def test_a_step_is_held_within_tolerance(off: float, is_held: bool) -> None:
    _, marks = play(free("-5:1"), note("-5", offs(200, lambda i: off - 0.001)))
    assert bool(marks) is is_held


@pytest.mark.parametrize(("dropout", "held_at"), [(12, 500), (13, 0)])
def test_a_dropout_of_60_ms_counts_as_held(dropout: int, held_at: int) -> None:
    """Sharp from 200 ms on; where that is too long, the time starts again after it."""
    cents = offs(300, lambda i: 40.0 if 40 <= i < 40 + dropout else 0.0)
    _, marks = play(free("-5:1"), note("-5", cents))
    again = 5 * (40 + dropout) + 500 - 5
    assert times(marks) == [held_at or again]


def test_a_step_is_not_held_by_a_dropout() -> None:
    """Out of tune at the moment at which the time is over."""
    cents = offs(300, lambda i: 40.0 if 98 <= i < 103 else 0.0)
    _, marks = play(free("-5:1"), note("-5", cents))
    assert times(marks) == [515]


def test_an_attack_starts_the_step_again() -> None:
    _, marks = play(free("4:1"), note("4", offs(60)), note("4", offs(200), start_ms=300.0))
    assert times(marks) == [795]
    assert marks[0][1].measured.tries == 2
    assert marks[0][1].sentence.endswith("; after 2 tries")


def test_attacks_within_80_ms_are_one_try() -> None:
    _, marks = play(free("4:1"), note("4", offs(15)), note("4", offs(200), start_ms=75.0))
    assert marks[0][1].measured.tries == 1
    _, marks = play(free("4:1"), note("4", offs(17)), note("4", offs(200), start_ms=85.0))
    assert marks[0][1].measured.tries == 2


def test_the_same_note_again_needs_a_new_attack() -> None:
    drill = free("4:1 4:1")
    held = note("4", offs(400))
    assert times(play(drill, held)[1]) == [500]
    again = note("4", offs(200), start_ms=2000.0)
    assert times(play(drill, held, again)[1]) == [500, 2495]
    # Sound out of silence counts as an attack, detected or not.
    soft = note("4", offs(200), start_ms=3000.0, attack=False)
    assert times(play(drill, held, silence(2000.0, 200), soft)[1]) == [500, 3495]


def test_another_note_may_follow_by_a_slur() -> None:
    slurred = note("5", offs(200), start_ms=1000.0, attack=False)
    assert times(play(free("4:1 5:1"), note("4", offs(200)), slurred)[1]) == [500, 1495]


def test_a_slurred_step_begins_where_the_pitch_changes() -> None:
    slurred = note("5", offs(200), start_ms=1000.0, attack=False)
    mark = play(free("4:1 5:1"), note("4", offs(200)), slurred)[1][1][1]
    assert mark.measured.settle_ms == pytest.approx(0.0, abs=30.0)
    assert abs(mark.measured.scoop_cents or 0.0) < 5.0


@pytest.mark.parametrize(("off", "count"), [(-19.0, 1), (-21.0, 2)])
def test_a_slur_needs_more_than_two_tolerances(off: float, count: int) -> None:
    slurred = [*offs(110), *offs(200, lambda i: off)]
    assert len(play(free(f"-4:1 -4@{off:g}:1"), note("-4", slurred))[1]) == count


def test_a_chord_needs_its_holes_and_no_others() -> None:
    reading = [with_leak(r, 4, -1.0) for r in note("-5", offs(200))]
    assert len(play(free("-4+5:1"), reading)[1]) == 1
    assert play(free("-4+5:1"), [with_leak(r, 6, -1.0) for r in reading])[1] == []
    assert play(free("-4+5:1"), note("-5", offs(200)))[1] == []


def test_a_note_that_must_be_a_chord_needs_a_second_hole() -> None:
    alone = note("-5", offs(200))
    assert play(free("{chord} -5:1"), alone)[1] == []
    assert len(play(free("{chord} -5:1"), [with_leak(r, 4, -3.0) for r in alone])[1]) == 1


@pytest.mark.parametrize(
    ("leak", "is_held"), [(-30.0, True), (-25.0, True), (-24.0, False), (-12.0, False)]
)
def test_a_note_that_must_be_clean_must_not_leak(leak: float, is_held: bool) -> None:
    leaking = [with_leak(r, 4, leak, sounds=False) for r in note("-5", offs(200))]
    assert bool(play(free("{clean} -5:1"), leaking)[1]) is is_held
    assert len(play(free("-5:1"), leaking)[1]) == 1
    assert len(play(free("{clean} -5:1"), note("-5", offs(200)))[1]) == 1


def test_a_vibrato_is_held_for_three_cycles_within_its_swing() -> None:
    drill = free("-4':1{vibrato 4 25}", hold=0.2)
    cents = offs(400, lambda i: 30.0 if i % 2 else -30.0)
    assert times(play(drill, note("-4'", cents))[1]) == [750]


def test_a_vibrato_of_a_natural_note_is_held_within_its_dips() -> None:
    drill = free("-4:1{vibrato 4 25}", hold=0.2)
    dips = offs(400, lambda i: 5.0 if i % 2 else -55.0)
    assert times(play(drill, note("-4", dips))[1]) == [750]
    swings = offs(400, lambda i: 30.0 if i // 20 % 2 else -30.0)
    assert play(drill, note("-4", swings))[1] == []


@pytest.mark.parametrize(("depth", "points"), [(100.0, 100.0), (40.0, 34.0), (0.0, 0.0)])
def test_a_fall_is_judged_when_the_note_has_ended(depth: float, points: float) -> None:
    """Held for 1 s, then falling for 0.25 s, half a beat; the mark comes with the silence."""
    drill = free("-4:2{fall 1/2 100} 4:1")
    falling = [-0.5 * depth * (1.0 - math.cos(math.pi * i / 50.0)) for i in range(50)]
    pieces = note("-4", offs(200) + falling), silence(1250.0, 40)
    ((at, mark),) = play(drill, *pieces)[1]
    assert at == 1250.0
    assert mark.measured.cents == pytest.approx(0.0, abs=1.0)
    assert mark.criteria["motion"] == pytest.approx(points, abs=6.0)
    marker, marks = play(drill, pieces[0])  # the take ends with the note
    assert not marks
    assert marker.result().marks[0].criteria["motion"] == pytest.approx(points, abs=6.0)


def test_a_note_with_a_fall_ends_where_the_next_one_begins() -> None:
    drill = free("-4:2{fall 1/2 100} -5:1")
    slurred = note("-5", offs(200), start_ms=1000.0, attack=False)
    attacked = note("-5", offs(200), start_ms=1000.0)
    assert times(play(drill, note("-4", offs(200)), attacked)[1]) == [1000, 1495]
    assert times(play(drill, note("-4", offs(200)), slurred)[1]) == [1095, 1490]


def test_a_shake_is_held_on_either_of_its_sounds() -> None:
    drill = free("-4<>5:2", hold=0.2)
    lower, upper = ([0.0] * 16, [300.0] * 16)
    turns = note("-4", (lower + upper) * 8)
    (mark,) = play(drill, turns)[1]
    assert mark[0] == pytest.approx(1000.0 * 4.0 / 6.0, abs=10.0)
    assert mark[1].measured.shake_hz == pytest.approx(6.25, rel=0.02)


def test_the_first_sound_of_a_glide_is_touched_and_its_last_held() -> None:
    glide = [*offs(40, lambda i: -100.0), *offs(20, lambda i: -50.0), *offs(200)]
    _, marks = play(free("-4'>-4:2"), note("-4", glide))
    assert times(marks) == [5 * 60 + 500 - 5]
    assert marks[0][1].measured.stray_cents is None
    touched = [*offs(21, lambda i: -100.0), *offs(300)]
    assert len(play(free("-4'>-4:2"), note("-4", touched))[1]) == 1
    untouched = [*offs(20, lambda i: -100.0), *offs(300)]
    assert play(free("-4'>-4:2"), note("-4", untouched))[1] == []


def test_a_glide_does_not_stop_on_the_way_and_a_ladder_does() -> None:
    passing = [*offs(120, lambda i: 0.0), *offs(20, lambda i: -100.0), *offs(120, lambda i: -200.0)]
    assert len(play(free("-3>-3'>-3'':3"), note("-3", passing))[1]) == 1
    assert play(free("-3=-3'=-3'':3"), note("-3", passing))[1] == []
    resting = [*offs(120), *offs(120, lambda i: -100.0), *offs(120, lambda i: -200.0)]
    ((_, mark),) = play(free("-3=-3'=-3'':3"), note("-3", resting))[1]
    assert mark.measured.rungs == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)


def test_a_stopped_pass_has_a_mark_for_each_step_that_was_due() -> None:
    marker, _ = play(free("4:1 5:1 6:1"), note("4", offs(200)))
    result = marker.result()
    assert [mark.sentence for mark in result.marks][1:] == ["not played"] * 2
    assert result.score == pytest.approx(100.0 / 3.0)
    part = marker.result(upto=1)
    assert (part.score, part.passed, part.unplayed) == (100.0, False, 2)
    assert [mark.step.index for mark in marker.result(upto=2).marks] == [0, 1]
