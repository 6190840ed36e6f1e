"""Draw 2 straight after blow 3, or the reverse: the same pitch goes on, and it is never "skipped".

Played by the built-in player and marked as a recording, dry in one breath and in a modelled living
room at 1.2 m; the model (`tests.support.living_room`) is none that the marks were made with.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.support.living_room import in_living_room
from tests.support.step_histories import note
from tests.support.synthetic_takes import HARP, Note, clock_of, drill_of, notes_of, readings_of
from trainer.drill import Drill, Goal, find_drill, parse_drill
from trainer.harp import Harp
from trainer.marking import FreeMarker, Mark, Marker, Result
from trainer.marking.score import aim_points
from trainer.practice import PassEnded, Plan, run_take
from trainer.sound import Fault, PlayerSpec, RecordingSpec
from trainer.sound.sources.player import BuiltInPlayer

TURNS = parse_drill(
    'title = "T"\nharp = "C"\ntempo = 100\n'
    'tab = """\n3:0.5 -2:0.5 3:1 -2:1 4:1 | -2\'>-2:2 3:1 -2:1 | -3:1 3:1 -2:2 |\n"""\n',
    "turns",
)
MISSED = {"skipped", "not played", "too short to judge"}


def played_in(where: str, drill: Drill, path: Path, overlap_ms: float = 0.0) -> Result:
    """Marks of a recording of a faultless pass: in one breath, or in the room, or both."""
    faults = {step.index: Fault(gap_ms=-overlap_ms) for step in drill.steps}
    harp = Harp.of(drill.key)
    player = BuiltInPlayer(drill, harp, spec=PlayerSpec(faults=faults if "breath" in where else {}))
    clock = player.clock
    samples = np.concatenate([block.samples for block in player.blocks()]).astype(float)
    if "room" in where:
        samples = in_living_room(samples, player.rate)
    soundfile.write(path, samples, player.rate, subtype="PCM_24")
    plan = Plan(harp, RecordingSpec(path), drill=drill, start=clock.zero / player.rate)
    return [event.result for event in run_take(plan) if isinstance(event, PassEnded)][-1]


@pytest.fixture(scope="module")
def in_one_breath(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return played_in("one breath", TURNS, tmp_path_factory.mktemp("turns") / "take.wav")


def test_the_same_pitch_in_one_breath_is_never_skipped(in_one_breath: Result) -> None:
    assert not [mark for mark in in_one_breath.marks if mark.sentence in MISSED]
    assert in_one_breath.score >= 98.0


@pytest.mark.parametrize(
    ("drill", "where"),
    [(TURNS, "room"), (TURNS, "one breath in a room"), (find_drill("low-water"), "room")],
)
def test_the_same_pitch_in_a_room_is_never_skipped(
    drill: Drill, where: str, tmp_path: Path
) -> None:
    result = played_in(where, drill, tmp_path / "take.wav")
    assert not [mark for mark in result.marks if mark.sentence in MISSED]
    assert result.score >= 95.0


def test_what_cannot_be_told_neither_earns_nor_costs(in_one_breath: Result) -> None:
    turns = [mark for mark in in_one_breath.marks if mark.measured.held_on]
    # After the glide, step 7, an attack may be heard.
    assert {mark.step.index for mark in turns} | {6} == {1, 2, 3, 6, 7, 10}
    for mark in turns:
        assert {"time", "attack"}.isdisjoint(mark.criteria)
        assert aim_points(mark, "time") is None
        assert mark.score >= 95.0
        assert mark.sentence.endswith(f"; after {mark.measured.held_on} its start cannot be heard")


def test_a_chord_line_without_gaps_is_followed(tmp_path: Path) -> None:
    """Chords of one pitch, draw 1 and 2 or blow 2 and 3, overlap; repeats sound held on."""
    tab = "{chord} |: -2:1 -2:0.5 -2:0.5 3:1 r:1 :|"
    drill = parse_drill(f'title = "T"\nharp = "C"\ntempo = 132\ntab = """\n{tab}\n"""\n', "engine")
    marks = played_in("one breath", drill, tmp_path / "take.wav", overlap_ms=60.0).marks
    assert {mark.step.index for mark in marks if mark.measured.held_on} <= {1, 2, 5, 6}
    changes = [mark for mark in marks if mark.step.index in (0, 3, 4, 7)]
    assert [mark.measured.heard for mark in changes] == ["-2", "3", "-2", "3"]
    assert all(abs(mark.measured.late_ms or 0.0) <= 150.0 for mark in changes)
    assert not [mark for mark in marks if mark.sentence in MISSED]


# Without sound


def marks_of(drill: Drill, notes: list[Note]) -> list[Mark]:
    marker = Marker(drill, HARP, clock_of(drill))
    for reading in readings_of(notes):
        marker.observe(reading)
    return list(marker.result().marks)


def turned(tab: str) -> list[Mark]:
    """Marks of a drill whose first two notes are one, held on without an attack."""
    drill = drill_of(tab)
    notes = notes_of(drill)
    notes[0].end = notes[1].end
    return marks_of(drill, [notes[0], *notes[2:]])


@pytest.mark.parametrize("tab", ["-2:1 3:1 4:1 -4:1", "3:1 -2:1 4:1 -4:1", "-2'>-2:2 3:1 -4:1"])
def test_the_start_of_the_second_hole_is_not_judged(tab: str) -> None:
    second = turned(tab)[1]
    assert second.measured.held_on is not None
    assert second.measured.late_ms is None
    assert second.score == pytest.approx(100.0)


def test_the_same_note_held_on_is_a_fault() -> None:
    first, second, *rest = turned("4:1 4:1 5:1 -4:1")
    assert second.criteria["time"] == second.criteria["attack"] == 0.0
    assert second.score <= 50.0
    assert aim_points(second, "time") == 0.0
    assert second.sentence == "held over from the note before; start it again"
    assert min(mark.score for mark in (first, *rest)) >= 95.0


def test_a_rest_in_place_of_the_second_note_is_skipped() -> None:
    drill = drill_of("-2:1 3:1 4:1 -4:1")
    notes = notes_of(drill)
    marks = marks_of(drill, [notes[0], *notes[2:]])
    assert marks[1].sentence == "skipped"


def test_an_attack_tells_when_the_second_note_starts() -> None:
    drill = drill_of("-2:1 3:1 4:1 -4:1")
    late = notes_of(drill, gap_ms=0.0)
    late[0].end += 60.0
    late[1].start += 60.0
    marks = marks_of(drill, late)
    assert marks[1].measured.held_on is None
    assert marks[1].measured.late_ms == pytest.approx(60.0, abs=6.0)


def test_without_a_clock_the_second_hole_counts_as_held_on() -> None:
    drill = replace(drill_of("3:1 -2:1 4:1"), free=True, goal=Goal(hold=0.5))
    marker = FreeMarker(drill, HARP, 48_000)
    marks = [mark for reading in note("3", [0.0] * 400) for mark in marker.observe(reading)]
    assert [mark.measured.held_on for mark in marks] == [None, "3"]
    assert marks[1].sentence.endswith("; after 3 its start cannot be heard")
