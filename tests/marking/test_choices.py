"""Ladders that are let go early, notes that may be left out, and notes that are bent or not."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.support.performed_takes import performed
from tests.support.step_histories import note
from tests.support.synthetic_takes import HARP, clock_of, drill_of, notes_of, readings_of
from trainer.drill import Drill, Goal, parse_drill
from trainer.harp import Harp
from trainer.marking import FreeMarker, Marker, Result
from trainer.marking.score import aim_points
from trainer.practice.proof import perform
from trainer.sound import Fault


def drill_with(tab: str, aim: str = 'pitch = ["all"]') -> Drill:
    head = 'title = "T"\nabout = "Trains."\nharp = "C"\ntempo = 75\n'
    return parse_drill(f'{head}tab = """\n{tab}\n"""\n[aim]\n{aim}\n', "t")


# Ladders

LADDER = drill_with("-3=-3'=-3'':3 r:1 |", 'pitch = ["ladders"]')


@pytest.mark.parametrize(("short_ms", "known"), [(0.0, 3), (300.0, 3), (900.0, 2), (1700.0, 1)])
def test_a_ladder_that_is_let_go_early_is_judged_by_the_rungs_that_were_reached(
    short_ms: float, known: int
) -> None:
    result = perform(LADDER, Harp.of("C"), {0: Fault(short_ms=short_ms)})
    (mark,) = result.marks
    assert [rung is not None for rung in mark.measured.rungs] == [i < known for i in range(3)]
    most = 100.0 if known == 3 else 50.0
    assert mark.criteria["pitch"] == pytest.approx(min(100.0 * known / 3, most), abs=3.0)
    assert ("missing" in mark.sentence) is (known < 3)
    assert result.passed is (known == 3)


@pytest.mark.parametrize(("short_ms", "known"), [(300.0, 3), (900.0, 2), (1700.0, 1)])
def test_what_rings_on_in_a_room_is_no_rung(short_ms: float, known: int) -> None:
    (mark,) = performed(LADDER, {0: Fault(short_ms=short_ms)}, distance_m=1.0).marks
    assert [rung is not None for rung in mark.measured.rungs] == [i < known for i in range(3)]
    missing = {3: "in tune", 2: "a whole step missing", 1: "a half step missing"}
    assert missing[known] in mark.sentence


# Optional notes

OPTIONAL = drill_of("4:1 -4:1{optional} 5:1 -5:1")


def marks_of(drill: Drill, skipped: int | None = None) -> Result:
    marker = Marker(drill, HARP, clock_of(drill))
    notes = [played for i, played in enumerate(notes_of(drill)) if i != skipped]
    for reading in readings_of(notes):
        marker.observe(reading)
    return marker.result()


def test_an_optional_note_that_is_left_out_neither_earns_nor_costs() -> None:
    result = marks_of(OPTIONAL, skipped=1)
    left_out = result.marks[1]
    assert left_out.sentence == "left out: optional"
    assert not left_out.criteria
    assert aim_points(left_out, "pitch") is None
    assert result.score == pytest.approx(100.0)
    assert marks_of(OPTIONAL, skipped=2).score == pytest.approx(75.0)


def test_an_optional_note_that_is_played_is_marked() -> None:
    assert marks_of(OPTIONAL).marks[1].sentence == "in tune, clean, in time"


def test_without_a_clock_an_optional_note_does_not_hold_up_the_drill() -> None:
    drill = replace(OPTIONAL, free=True, goal=Goal(hold=0.5))
    marker = FreeMarker(drill, HARP, 48_000)
    notes = [
        note(tab, [0.0] * 140, start_ms=1000.0 * place)
        for place, tab in enumerate(["4", "5", "-5"])
    ]
    marks = [mark for played in notes for reading in played for mark in marker.observe(reading)]
    assert [mark.step.index for mark in marks] == [0, 1, 2, 3]
    assert marks[1].sentence == "left out: optional"
    assert marker.done
    assert marker.result().score >= 95.0


# Bent or not

CHOICE = drill_with("-3/-3':1 4:1 -4'/-4:1 4:1 |")


def test_either_note_of_a_choice_is_right() -> None:
    assert perform(CHOICE, Harp.of("C"), {}).score >= 98.0
    other = {0: Fault(instead="-3'"), 2: Fault(instead="-4")}
    result = perform(CHOICE, Harp.of("C"), other)
    assert result.score >= 98.0
    assert [mark.measured.heard for mark in result.marks] == ["-3'", "4", "-4", "4"]


def test_the_note_that_was_chosen_is_the_one_that_is_judged() -> None:
    shallow = perform(CHOICE, Harp.of("C"), {0: Fault(instead="-3'@+30")}).marks[0]
    assert shallow.measured.cents == pytest.approx(30.0, abs=3.0)
    assert shallow.sentence.startswith("not deep enough (30 cents above the half step)")
    natural = perform(CHOICE, Harp.of("C"), {0: Fault(cents=-30.0)}).marks[0]
    assert natural.measured.cents == pytest.approx(-30.0, abs=3.0)
    assert natural.sentence.startswith("30 cents flat")


def test_a_third_note_is_wrong() -> None:
    mark = perform(CHOICE, Harp.of("C"), {0: Fault(instead="-3'''")}).marks[0]
    assert mark.score == 0.0


def test_without_a_clock_either_note_of_a_choice_is_held() -> None:
    drill = replace(drill_of("-3/-3':1 4:1"), free=True, goal=Goal(hold=0.5))
    for played in ("-3", "-3'"):
        marker = FreeMarker(drill, HARP, 48_000)
        marks = [mark for r in note(played, [0.0] * 140) for mark in marker.observe(r)]
        assert [mark.measured.heard for mark in marks] == [played]
        assert marks[0].score >= 95.0
