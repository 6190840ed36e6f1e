"""When marks are reported during a pass, and which notes are extra."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from tests.support.step_histories import HOP, TEMPO, history_of, note, target_of
from tests.support.synthetic_takes import (
    HARP,
    LEAD_BEATS,
    RATE,
    Fault,
    clock_of,
    drill_of,
    notes_of,
    readings_of,
)
from trainer.drill import BeatClock, Drill
from trainer.ear import Reading
from trainer.marking import ExtraNote, Mark, Marker
from trainer.marking.extra_notes import find_extra_notes
from trainer.marking.follower import Segment

WALK = drill_of("4:1 -4:1 5:1 -5:1 | 6:1 -5:1 5:1 -4:1 | 4:1", tempo=120.0)
BEAT = RATE // 2
"""Samples in a beat of the walk."""


def observed(drill: Drill, readings: Sequence[Reading]) -> tuple[Marker, list[tuple[int, Mark]]]:
    """A marker after some readings, and what it reported, each with the sample of its reading."""
    marker = Marker(drill, HARP, clock_of(drill))
    reports = [(r.sample, mark) for r in readings for mark in marker.observe(r)]
    return marker, reports


# --- reports ----------------------------------------------------------------------------------


@pytest.mark.parametrize("skipped", [[0], [0, 1], [3, 4], [0, 1, 4]])
def test_skipped_steps_are_reported_during_the_pass(skipped: list[int]) -> None:
    notes = notes_of(WALK, {i: Fault(skip=True) for i in skipped})
    marker, reports = observed(WALK, readings_of(notes))
    last = {mark.step.index: mark for _, mark in reports}
    assert sorted(last) == list(range(9))
    assert [mark.sentence for mark in marker.result().marks if mark.step.index in skipped] == (
        ["skipped"] * len(skipped)
    )
    # What is given up before a later note is heard is reported as not played.
    assert {last[i].sentence for i in skipped} <= {"skipped", "not played"}
    if skipped in ([0], [3, 4]):
        assert {last[i].sentence for i in skipped} == {"skipped"}
    assert all(last[i].score == 0.0 for i in skipped)


def test_a_step_is_reported_once_a_fifth_of_a_second_after_it_ended() -> None:
    _, reports = observed(WALK, readings_of(notes_of(WALK)))
    assert [mark.step.index for _, mark in reports] == list(range(9))
    for sample, mark in reports:
        assert mark.measured.end is not None
        assert 0.19 * RATE <= sample - mark.measured.end <= 0.25 * RATE


def test_a_step_that_is_not_played_is_reported_a_beat_after_its_end() -> None:
    """Then as not played, because no later one was."""
    notes = notes_of(WALK)[:4]
    silence = [Reading(i * HOP, i * HOP, RATE) for i in range(LEAD_BEATS * 100 + 400, 2000)]
    _, reports = observed(WALK, [*readings_of(notes)[:500], *silence])
    first = next((sample, mark) for sample, mark in reports if mark.step.index == 4)
    assert first[1].sentence == "not played"
    assert first[0] == pytest.approx((LEAD_BEATS + 6) * BEAT, abs=6 * HOP)


def test_steps_of_a_late_player_are_not_reported_before_they_are_played() -> None:
    """Three beats late from the start: two steps are given up before the first note."""
    notes = notes_of(WALK, beats=lambda step: float(step.start) + 3.0)
    _, reports = observed(WALK, readings_of(notes))
    missed = [mark.step.index for _, mark in reports if mark.sentence == "not played"]
    assert missed == [0, 1]
    assert len(reports) == 11


def test_a_touch_with_an_attack_is_too_short_and_not_skipped() -> None:
    readings = readings_of(notes_of(WALK, {3: Fault(skip=True)}))
    at = (LEAD_BEATS + 3) * BEAT
    touch = note("-5", [0.0] * 3, start_ms=1000.0 * at / RATE)
    by_sample = {reading.sample: reading for reading in [*readings, *touch]}
    marker, _ = observed(WALK, [by_sample[sample] for sample in sorted(by_sample)])
    assert marker.result().marks[3].sentence == "too short to judge"


def test_the_last_step_is_too_short_and_not_skipped_even_without_an_attack() -> None:
    """Slurred to for 15 ms, where the recording ends."""
    drill = drill_of("4:1 -4:1", tempo=120.0)
    start_ms = 500.0 * LEAD_BEATS
    readings = [
        *note("4", [0.0] * 98, start_ms=start_ms),
        *note("-4", [0.0] * 3, start_ms=start_ms + 490.0, attack=False),
    ]
    marker, _ = observed(drill, readings)
    assert marker.result().marks[1].sentence == "too short to judge"


def test_lateness_is_that_of_the_newest_step_until_the_last_one_begins() -> None:
    notes = notes_of(WALK, beats=lambda step: float(step.start) + 0.5)
    readings = readings_of(notes)
    half_way, _ = observed(WALK, readings[: (LEAD_BEATS + 5) * 100])
    assert half_way.late == pytest.approx(0.5 * BEAT, abs=2 * HOP)
    whole, _ = observed(WALK, readings)
    assert whole.late == 0
    early, _ = observed(
        WALK, readings_of(notes_of(WALK, beats=lambda step: float(step.start) - 0.3))[:500]
    )
    assert early.late == 0


def test_only_steps_that_were_due_are_in_the_result_of_a_stopped_pass() -> None:
    marker, _ = observed(WALK, readings_of(notes_of(WALK))[:500])
    assert [mark.step.index for mark in marker.result(upto=4).marks] == [0, 1, 2, 3]
    stopped = marker.result(upto=4)
    assert (stopped.score, stopped.passed) == (100.0, False)
    assert stopped.unplayed == len(WALK.steps) - 4
    whole = marker.result(upto=len(WALK.steps))
    assert (whole.unplayed, whole) == (0, marker.result())
    before = marker.result(upto=2).marks
    assert [mark.step.index for mark in marker.result(before, upto=2).marks] == [0, 1, 0, 1]


def test_the_pass_mark_itself_passes() -> None:
    drill = replace(WALK, goal=replace(WALK.goal, pass_mark=100.0))
    marker, _ = observed(drill, readings_of(notes_of(drill)))
    result = marker.result()
    assert (result.score, result.passed) == (100.0, True)


# --- extra notes ------------------------------------------------------------------------------

CLOCK = BeatClock(RATE, TEMPO, RATE)
"""The step is due a second after the first reading."""


def extras(
    *pieces: Sequence[Reading], played: tuple[int, int], ignored: tuple[tuple[int, int], ...] = ()
) -> list[ExtraNote]:
    """Extra notes where one step of a second, draw 4, was played from reading to reading."""
    target = replace(target_of("-4:1"), at=RATE, end=2 * RATE)
    segment = Segment(0, *played, 0.0, None)
    readings = {r.sample: r for r in _silence(600)} | {r.sample: r for p in pieces for r in p}
    history = history_of([readings[sample] for sample in sorted(readings)])
    return find_extra_notes(history, [segment], [target], CLOCK, ignored)


def _silence(count: int) -> list[Reading]:
    return [Reading(i * HOP, i * HOP, RATE) for i in range(count)]


STEP = note("-4", [0.0] * 120, start_ms=1000.0)
"""Readings 200 to 319."""


def extra(
    start_ms: float, count: int = 20, tab: str = "6", *, attack: bool = True
) -> list[Reading]:
    return note(tab, [0.0] * count, start_ms=start_ms, attack=attack)


def test_a_note_after_a_step_is_extra() -> None:
    (extra_notes,) = extras(STEP, extra(1700.0), played=(200, 320))
    assert (extra_notes.start, extra_notes.end) == (340 * HOP, 359 * HOP)
    assert extra_notes.beats == pytest.approx(0.095)
    assert (extra_notes.after, extra_notes.heard) == (0, "6")
    assert extra_notes.sentence == "extra note after step 1: blow 6"


@pytest.mark.parametrize(("count", "is_extra"), [(16, False), (17, True)])
def test_a_note_of_less_than_80_ms_is_a_slip(count: int, is_extra: bool) -> None:
    assert bool(extras(STEP, extra(1700.0, count), played=(200, 320))) is is_extra


@pytest.mark.parametrize(("start_ms", "is_extra"), [(350.0, False), (500.0, True), (800.0, True)])
def test_half_a_beat_before_the_first_step_a_note_is_extra(start_ms: float, is_extra: bool) -> None:
    extra_notes = extras(extra(start_ms), STEP, played=(200, 320))
    assert [(extra_note.after, extra_note.sentence) for extra_note in extra_notes] == (
        [(None, "extra note before the first step: blow 6")] if is_extra else []
    )


def test_only_what_sounds_within_half_a_beat_of_the_first_step_counts() -> None:
    """Of 140 ms, 55 are within it, which is too short."""
    assert extras(extra(420.0, 28), STEP, played=(200, 320)) == []


def test_after_the_last_step_nothing_is_extra() -> None:
    assert extras(STEP, extra(2100.0), played=(200, 320)) == []


def test_what_the_trainer_plays_is_not_extra() -> None:
    note_, span = extra(1700.0), ((340 * HOP, 359 * HOP),)
    assert extras(STEP, note_, played=(200, 320), ignored=span) == []
    assert len(extras(STEP, note_, played=(200, 320), ignored=((0, HOP),))) == 1


def test_the_end_of_a_step_is_not_extra_without_an_attack() -> None:
    """The step's own note goes on after its segment."""
    assert extras(STEP, played=(200, 290)) == []
    attacked = [*STEP[:90], replace(STEP[90], onset=STEP[90].sample), *STEP[91:]]
    assert len(extras(attacked, played=(200, 290))) == 1


def test_another_note_that_follows_without_an_attack_is_extra() -> None:
    slurred = extra(1600.0, attack=False)
    assert [extra_note.heard for extra_note in extras(STEP, slurred, played=(200, 320))] == ["6"]
    late = extra(1700.0, tab="-4", attack=False)
    assert [extra_note.heard for extra_note in extras(STEP, late, played=(200, 320))] == ["-4"]


def test_without_steps_nothing_is_extra() -> None:
    assert find_extra_notes(history_of(STEP), [], [target_of("-4:1")], CLOCK) == []
