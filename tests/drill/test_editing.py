"""Correct a drill note by note."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest

from trainer.drill import (
    DrillError,
    DrillRecording,
    EditedDrill,
    EditHistory,
    Step,
    find_unplayable,
    parse_drill,
    target_pitches,
    write_drill,
    written_harp,
)
from trainer.harp import Harp, Tab

HALF = Fraction(1, 2)
DRILL = replace(
    parse_drill(
        'title = "From the quay"\nharp = "C"\ntempo = 90\n'
        'tab = """\n4:1 -4:1/2 -4\':1/2 r:1 5+6:1 | -2\'\'>-2:2 6:1 r:1 |\n"""\n'
        '[remarks]\n"bar 1 note 2" = "Draw from low down."\n',
        "quay",
    ),
    recording=DrillRecording("quay.wav", (0.5, 1.2, 1.9), doubtful=(3, 5)),
)
START = EditedDrill(DRILL)


def tab(state: EditedDrill) -> str:
    return " ".join(f"{step.tab}:{step.beats}" for step in state.drill.steps)


@pytest.mark.parametrize(
    ("cursor", "change", "written"),
    [
        (0, lambda s: s.on_next_hole(1), "5:1"),
        (2, lambda s: s.on_next_hole(1), "-5:1/2"),  # hole 5 does not bend a half step
        (3, lambda s: s.on_next_hole(-1), "4+5:1"),
        (4, lambda s: s.on_next_hole(1), "-3''>-3:2"),
        (1, lambda s: s.on_other_breath(), "4:1/2"),
        (4, lambda s: s.on_other_breath(), "2:2"),
        (1, lambda s: s.bent(1), "-4':1/2"),
        (2, lambda s: s.bent(-1), "-4:1/2"),
        (0, lambda s: s.bent(-1), "4o:1"),
        (0, lambda s: s.lengthened(HALF / 2), "4:5/4"),
        (2, lambda s: s.lengthened(HALF), "-4':1"),
        (0, lambda s: s.lengthened(-HALF), "4:1/2"),
        (5, lambda s: s.shifted(HALF), "6:1"),
        (1, lambda s: s.split(), "-4:1/4"),
        (4, lambda s: s.split(), "-2'':1"),
        (1, lambda s: s.joined(), "-4>-4':1"),
        (0, lambda s: s.joined(), "4:3/2"),
        (2, lambda s: s.added(HALF), "-4':1/2"),
        (0, lambda s: s.deleted(), "-4:1/2"),
    ],
)
def test_each_correction_changes_the_note_at_the_cursor(
    cursor: int, change: Callable[[EditedDrill], EditedDrill], written: str
) -> None:
    state = change(START.at(cursor))
    assert f"{state.step.tab}:{state.step.beats}" == written
    assert tab(START) == "4:1 -4:1/2 -4':1/2 5+6:1 -2''>-2:2 6:1"


def test_a_note_takes_its_time_from_its_neighbours_and_never_overlaps() -> None:
    assert tab(START.lengthened(Fraction(1, 4))).startswith("4:5/4 -4:1/4 -4':1/2")
    assert tab(START.at(1).shifted(-HALF)).startswith("4:1/2 -4:1/2 -4':1/2")
    with pytest.raises(DrillError, match="no room: -4 beside it"):
        START.lengthened(Fraction(1, 2))  # nothing of -4 would be left
    with pytest.raises(DrillError, match="no rest on either side"):
        START.at(1).added(HALF)
    with pytest.raises(DrillError, match="too short: delete it"):
        START.lengthened(-Fraction(1))


def test_a_note_that_moves_before_bar_1_is_a_pick_up_and_the_last_bar_stays_full() -> None:
    early = START.shifted(-HALF)
    assert early.drill.start == -HALF
    assert early.step.bar == 0
    late = START.at(5).lengthened(Fraction(2))
    assert late.drill.end == 12
    for state in (early, late):
        drill = state.drill
        assert parse_drill(write_drill(drill), drill.name) == drill


def test_impossible_notes_are_refused_with_a_reason() -> None:
    for state, change, reason in (
        (START.at(2), lambda s: s.bent(1), "-4' is as far as hole 4 goes"),
        (START.at(3), lambda s: s.bent(1), "is a chord: only"),
        (START.at(4), lambda s: s.bent(1), "split -2''>-2 first"),
        (START, lambda s: s.on_next_hole(7), "holes 1 to 10"),
        (START.at(5), lambda s: s.joined(), "no note after it"),
        (START, lambda s: s.shifted(Fraction(-4)), "shorter than a bar"),
    ):
        with pytest.raises(DrillError, match=reason):
            change(state)


def test_doubts_and_remarks_stay_with_their_notes() -> None:
    assert [START.at(place).at_next_doubtful().cursor for place in (0, 2, 4)] == [2, 4, 2]
    state = START.split()
    assert state.doubtful == {3, 5}
    assert [(remark.bar, remark.note) for remark in state.drill.remarks] == [(1, 3)]
    assert state.at(3).bent(-1).doubtful == {5}
    assert state.at(5).checked().doubtful == {3}
    assert state.at(3).deleted().doubtful == {4}
    with pytest.raises(DrillError, match="no note is doubtful"):
        replace(START, drill=replace(DRILL, recording=None)).at_next_doubtful()


def test_another_harp_keeps_every_pitch_and_what_it_lacks_is_doubtful() -> None:
    pitches = [target_pitches(step, written_harp(DRILL)) for step in DRILL.steps]
    state = START.on_harp(Harp.of("B"))
    assert state.drill.key == "B"
    assert not find_unplayable(state.drill.steps, Harp.of("B"))
    assert len(state.drill.steps) == len(DRILL.steps)
    assert state.drill.recording is not None
    for step, wanted in zip(state.drill.steps, pitches, strict=True):
        if step.index not in state.doubtful:
            assert target_pitches(step, Harp.of("B")) == wanted
    assert state.doubtful > START.doubtful  # the chord is none of a B harp
    assert state.on_harp(Harp.of("C")).drill == DRILL
    corrected = state.on_next_hole(1)
    assert corrected.on_harp(Harp.of("C")).drill != DRILL


def test_the_other_part_is_corrected_in_its_place() -> None:
    with pytest.raises(DrillError, match="no part 2"):
        START.with_other_part()
    second = (Step(0, ((Tab.parse("6"),),), Fraction(1), Fraction(2), 1),)
    assert DRILL.recording is not None
    recording = replace(DRILL.recording, second_doubtful=(1,))
    state = EditedDrill(replace(DRILL, second=second, recording=recording), cursor=1)
    swapped = state.with_other_part()
    assert tab(swapped).startswith("6:2")
    assert [step.sounds for step in swapped.drill.second] == [s.sounds for s in DRILL.steps]
    assert swapped.doubtful == {0}
    corrected = swapped.on_next_hole(1)
    assert tab(corrected).startswith("7:2")
    back = corrected.with_other_part()
    assert back.drill.steps == DRILL.steps
    assert back.doubtful == START.doubtful
    assert back.drill.recording == DRILL.recording  # the other part was checked
    assert back.drill.second[0].first[0].hole == 7
    assert all(remark.note == 0 for remark in back.drill.remarks)
    assert parse_drill(write_drill(back.drill), DRILL.name) == back.drill


def test_undo_and_redo_walk_through_the_corrections() -> None:
    history = EditHistory(START)
    assert not history.undo()
    history.correct(history.now.on_next_hole(1))
    history.move(history.now.at(3))
    history.correct(history.now.deleted())
    assert history.undo()
    assert tab(history.now).startswith("5:1")
    assert history.undo()
    assert history.now.drill == DRILL
    assert history.redo()
    assert history.redo()
    assert not history.redo()
    assert len(history.now.drill.steps) == 5
    history.undo()
    history.correct(history.now.on_next_hole(-1))
    assert not history.redo()


def test_whatever_is_corrected_can_be_written_and_played() -> None:
    dice = random.Random(23)
    steps = [Fraction(1, n) for n in (1, 2, 3, 4)]
    changes: list[Callable[[EditedDrill], EditedDrill]] = [
        lambda s: s.on_next_hole(dice.choice((-1, 1))),
        lambda s: s.on_other_breath(),
        lambda s: s.bent(dice.choice((-1, 1))),
        lambda s: s.lengthened(dice.choice((-1, 1)) * dice.choice(steps)),
        lambda s: s.shifted(dice.choice((-1, 1)) * dice.choice(steps)),
        lambda s: s.added(dice.choice(steps)),
        lambda s: s.split(),
        lambda s: s.joined(),
        lambda s: s.deleted() if dice.random() < 0.3 else s.checked(),
        lambda s: s.on_harp(Harp.of(dice.choice(("C", "F", "Bb", "low D")))),
    ]
    state, done = START, 0
    for number in range(400):
        state = state.at(dice.randrange(len(state.drill.steps)))
        try:
            state = dice.choice(changes)(state)
            done += 1
        except DrillError:
            continue
        drill = state.drill
        assert not find_unplayable(drill.steps, written_harp(drill))
        ordered = zip(drill.steps, drill.steps[1:], strict=False)
        assert all(step.end <= after.start for step, after in ordered)
        if number % 10 == 0:
            assert parse_drill(write_drill(drill), drill.name) == drill
    assert done > 200
