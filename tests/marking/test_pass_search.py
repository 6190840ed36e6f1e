"""Finding passes of a drill among heard notes."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from tests.support.synthetic_takes import HARP, RATE, drill_of
from trainer.ear import HeardNote
from trainer.ear.motion import Motion
from trainer.harp import Tab
from trainer.marking import StartError, find_passes, find_start

WALK = drill_of("4:1 -4:1 5:1 -5:1 | 6:1 -5:1 5:1 -4:1", tempo=120.0)
BEAT = RATE // 2
TABS = ("4", "-4", "5", "-5", "6", "-5", "5", "-4")


def heard(tab: str, beat: float) -> HeardNote:
    entry, start = Tab.parse(tab), round(beat * BEAT)
    return HeardNote(
        start, start + BEAT // 2, RATE, entry, HARP.hz(entry), 0.0, HARP.same_pitch(entry),
        (entry.hole,), None, None, -20.0, (), Motion(), None,
    )  # fmt: skip


def walk(at: float, *, late: Iterable[float] = (), count: int = 8) -> list[HeardNote]:
    """A pass that starts on a beat, each step some beats late."""
    offsets = [*late, *[0.0] * 8]
    return [heard(tab, at + i + offsets[i]) for i, tab in enumerate(TABS[:count])]


def zero(notes: list[HeardNote]) -> float:
    return find_start(notes, WALK, HARP, 120.0, RATE).zero / BEAT


def zeros(notes: list[HeardNote]) -> list[float]:
    return [clock.zero / BEAT for clock in find_passes(notes, WALK, HARP, 120.0, RATE)]


@pytest.mark.parametrize("at", [0.0, 2.5, 7.0])
def test_a_pass_starts_where_its_notes_are(at: float) -> None:
    assert zero(walk(at)) == pytest.approx(at)


def test_noodling_does_not_move_the_start() -> None:
    noodling = [heard(tab, 0.4 * i) for i, tab in enumerate(("4", "5", "4", "-4"))]
    assert zero([*noodling, *walk(6.0)]) == pytest.approx(6.0)


@pytest.mark.parametrize("first", [1, 3, 5])
def test_the_first_steps_may_be_missing(first: int) -> None:
    assert zero(walk(2.0)[first:]) == pytest.approx(2.0)


def test_the_median_lateness_is_taken_out() -> None:
    """The first note is early, the others are on time."""
    assert zero(walk(3.0, late=[-0.2])) == pytest.approx(3.0)
    assert zero(walk(3.0, late=[0.0, 0.1, 0.2, 0.1, 0.1, 0.1, 0.1, 0.3])) == pytest.approx(3.1)
    # No single note is at the median.
    assert zero(walk(3.0, late=[0.0, 0.2, 0.0, 0.2, 0.0, 0.2, 0.1, 0.1])) == pytest.approx(3.1)


def test_notes_near_their_beats_count_for_more() -> None:
    """Two places with all notes: in the second they are nearer to their beats."""
    rough = walk(0.0, late=[0.0, 0.3, -0.3, 0.3, -0.3, 0.3, -0.3, 0.3])
    assert zero([*rough, *walk(20.0)]) == pytest.approx(20.0)
    assert zero([*walk(0.0), *walk(20.0, late=[0.0, *[0.3, -0.3] * 3, 0.3])]) == 0.0


def test_a_bend_or_another_hole_of_the_same_pitch_is_taken_for_its_step() -> None:
    drill = drill_of("-4:1 -2:1 5:1 -5:1", tempo=120.0)
    notes = [heard(tab, 1.0 + i) for i, tab in enumerate(("-4'", "3", "5", "-5"))]
    assert find_start(notes, drill, HARP, 120.0, RATE).zero == BEAT
    wrong = [heard(tab, 1.0 + i) for i, tab in enumerate(("7", "8", "9", "10"))]
    with pytest.raises(StartError, match="cannot be found"):
        find_start(wrong, drill, HARP, 120.0, RATE)


def test_too_little_of_a_drill_is_not_found() -> None:
    assert zero(walk(1.0, count=3)) == 1.0
    with pytest.raises(StartError, match="cannot be found"):
        zero(walk(1.0, count=2))
    with pytest.raises(StartError, match="no note is heard"):
        zero([])


def test_every_pass_is_found_in_order() -> None:
    assert zeros([*walk(1.0), *walk(12.0, late=[0.1]), *walk(24.0)]) == [1.0, 12.0, 24.0]


def test_passes_that_follow_each_other_at_once_are_found() -> None:
    assert zeros([*walk(1.0), *walk(9.0)]) == [1.0, 9.0]


def test_a_false_start_is_no_pass() -> None:
    assert zeros([*walk(1.0, count=5), *walk(9.0)]) == [9.0]
    assert zeros([*walk(1.0), *walk(12.0, count=5)]) == [1.0]
    assert zeros([*walk(1.0, count=6), *walk(12.0)]) == [1.0, 12.0]  # 6 of 8 are enough


def test_the_first_note_of_a_pass_does_not_complete_a_false_start() -> None:
    """Five notes, and the next pass begins where the sixth would be, with the same note."""
    drill = drill_of("4:1 -4:1 5:1 -5:1 | 6:1 4:1 5:1 -4:1", tempo=120.0)
    tabs = ("4", "-4", "5", "-5", "6", "4", "5", "-4")
    notes = [heard(tab, 1.0 + i) for i, tab in enumerate(tabs[:5])]
    notes += [heard(tab, 6.0 + i) for i, tab in enumerate(tabs)]
    clocks = find_passes(notes, drill, HARP, 120.0, RATE)
    assert [clock.zero / BEAT for clock in clocks] == [6.0]


# Chords that are written by one hole: either neighbour may be heard as their note

PAIRS = drill_of("-4:1{chord} 5:1{chord} -6:1{chord} 4:1{chord}", tempo=120.0)


def pairs_heard(shift: int, at: float) -> list[HeardNote]:
    """Notes of the chords' neighbours, `shift` holes above the written ones."""
    notes = []
    for step in PAIRS.steps:
        (written,) = step.first
        entry = Tab(written.hole + shift, written.breath)
        notes.append(heard(str(entry), at + float(step.start)))
    return notes


@pytest.mark.parametrize("shift", [-1, 0, 1])
def test_a_chord_is_found_by_its_hole_or_by_either_neighbour(shift: int) -> None:
    clock = find_start(pairs_heard(shift, 2.5), PAIRS, HARP, 120.0, RATE)
    assert clock.zero / BEAT == pytest.approx(2.5)


@pytest.mark.parametrize("shift", [-2, 2])
def test_a_chord_is_not_found_two_holes_away(shift: int) -> None:
    with pytest.raises(StartError):
        find_start(pairs_heard(shift, 2.5), PAIRS, HARP, 120.0, RATE)


def test_the_neighbour_of_a_single_note_is_another_note() -> None:
    single = drill_of("-4:1 5:1 -6:1 4:1", tempo=120.0)
    with pytest.raises(StartError):
        find_start(pairs_heard(-1, 2.5), single, HARP, 120.0, RATE)
