"""The whole path with the built-in player: its known faults come back in the marks.

The bounds are those the project set itself: cents within 3, leaks within 3 dB, lateness within
15 ms. (Recorded reeds are in test_recorded.py.)
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from trainer.drill import Drill, find_drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Mark, Result
from trainer.practice import (
    BeatReached,
    Event,
    PassEnded,
    PassStarted,
    Plan,
    ReadingHeard,
    StepMarked,
    TakeFailed,
    TakeFinished,
    run_take,
    typical_faults,
)
from trainer.sound import Fault, PlayerSpec, RecordingSpec

WALK = parse_drill(
    '''
title = "Out along the pier"
harp = "C"
tempo = 90
tab = """
-4:1 4:1 -3:1 -4':1 | 5:1 -5:1/2 6:1/2 -6:1 r:1 | -2:1 -2':1 2:1 -1:1 | 8:1 -8:1 8':1 r:1 |
"""
''',
    "pier",
)


def played(faults: dict[int, Fault], drill: Drill = WALK, key: str = "C") -> Result:
    events = list(run_take(Plan(Harp.of(key), PlayerSpec(faults=faults), drill=drill, count_in=1)))
    assert not [event for event in events if isinstance(event, TakeFailed)]
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    return result


def by_step(result: Result) -> dict[int, Mark]:
    return {mark.step.index: mark for mark in result.marks}


CENTS = (-35.0, -18.0, -6.0, 7.0, 22.0)
LEAKS_DB = (-24.0, -18.0, -12.0, -6.0)


def cycled(values: tuple[float, ...], shift: int) -> dict[int, float]:
    """A value for each step; shifted, each step gets each value."""
    return {step.index: values[(step.index + shift) % len(values)] for step in WALK.steps}


@pytest.mark.parametrize(("key", "shift"), [("C", 0), ("C", 2), ("low F", 1), ("F#", 3)])
def test_cents_come_back(key: str, shift: int) -> None:
    asked = cycled(CENTS, shift)
    faults = {index: Fault(cents=cents) for index, cents in asked.items()}
    for mark in played(faults, key=key).marks:
        assert mark.measured.cents == pytest.approx(asked[mark.step.index], abs=3.0), mark


@pytest.mark.parametrize(
    ("key", "shift"), [("C", 0), ("C", 1), ("C", 2), ("C", 3), ("low F", 0), ("low F", 2)]
)
def test_leaks_come_back(key: str, shift: int) -> None:
    asked = cycled(LEAKS_DB, shift)
    faults = {index: Fault(leak_db=db) for index, db in asked.items()}
    for mark in played(faults, key=key).marks:
        hole = mark.step.first[0].hole
        assert mark.measured.leak_hole == (hole - 1 if hole > 1 else 2), mark
        assert mark.measured.leak_db == pytest.approx(asked[mark.step.index], abs=3.0), mark


@pytest.mark.parametrize("late_ms", [-70.0, 30.0, 110.0])
def test_lateness_comes_back_on_beats_and_off_them(late_ms: float) -> None:
    faults = {step.index: Fault(late_ms=late_ms) for step in WALK.steps}
    for mark in played(faults).marks:
        assert mark.measured.late_ms == pytest.approx(late_ms, abs=15.0), mark


@pytest.mark.parametrize("wobble", [4.0, 12.0])
def test_wobble_comes_back(wobble: float) -> None:
    faults = {step.index: Fault(wobble_cents=wobble) for step in WALK.steps if step.beats >= 1}
    marks = by_step(played(faults))
    for index in faults:
        assert marks[index].measured.wobble_cents == pytest.approx(wobble, rel=0.25, abs=1.0)


def test_a_scoop_costs_the_attack_and_is_measured() -> None:
    marks = by_step(played({3: Fault(scoop_cents=80.0, scoop_ms=250.0)}))
    scooped = marks[3]
    assert scooped.criteria["attack"] < 80.0
    assert 120.0 <= (scooped.measured.settle_ms or 0.0) <= 300.0
    assert scooped.measured.scoop_cents == pytest.approx(80.0, abs=30.0)
    assert marks[2].criteria["attack"] > 95.0


def test_wrong_and_skipped_steps_cost_themselves_alone() -> None:
    marks = by_step(played({1: Fault(instead="-5"), 6: Fault(skip=True), 8: Fault(cents=-18.0)}))
    assert marks[1].score == 0.0
    assert marks[1].measured.heard == "-5"
    assert marks[1].sentence.startswith("played -5 instead of 4")
    assert marks[6].sentence == "skipped"
    assert marks[6].score == 0.0
    assert marks[8].measured.cents == pytest.approx(-18.0, abs=3.0)
    others = [mark.score for index, mark in marks.items() if index not in (1, 6, 8)]
    assert min(others) >= 95.0


@pytest.mark.parametrize("key", ["low F", "F#"])
def test_a_performance_without_fault_earns_full_marks(key: str) -> None:
    assert played({}, find_drill("harbour-bell"), key).score >= 98.0


def test_the_demo_shows_typical_faults() -> None:
    bell = find_drill("harbour-bell")
    result = played(typical_faults(bell), bell)
    sentences = " ".join(mark.sentence for mark in result.marks)
    assert 60.0 < result.score < 98.0
    assert "leaking" in sentences
    assert "sharp" in sentences


def test_a_take_is_a_stream_in_order() -> None:
    events = list(run_take(Plan(Harp.of("C"), PlayerSpec(), drill=WALK, count_in=3)))
    assert isinstance(events[0], PassStarted)
    assert isinstance(events[-1], TakeFinished)
    beats = [event.number for event in events if isinstance(event, BeatReached)]
    assert beats == sorted(beats)
    assert beats[:4] == [-3, -2, -1, 0]
    readings = [event.reading for event in events if isinstance(event, ReadingHeard)]
    assert all(a.heard < b.heard for a, b in pairwise(readings))
    marked = [event.mark.step.index for event in events if isinstance(event, StepMarked)]
    assert set(marked) == {step.index for step in WALK.steps}


def marks_of(events: list[Event]) -> list[Result]:
    return [event.result for event in events if isinstance(event, PassEnded)]


@pytest.mark.parametrize("bars", [None, (2, 3)])
def test_a_saved_take_gets_the_same_marks_to_the_last_digit(
    tmp_path: Path, bars: tuple[int, int] | None
) -> None:
    source = PlayerSpec(faults={1: Fault(cents=-18.0), 5: Fault(leak_db=-12.0, late_ms=40.0)})
    plan = Plan(Harp.of("C"), source, drill=WALK, bars=bars, save=tmp_path / "take.flac")
    live = marks_of(list(run_take(plan)))
    again = Plan(Harp.of("C"), RecordingSpec(tmp_path / "take.flac"), drill=WALK)
    assert marks_of(list(run_take(again))) == live


def test_a_looped_and_stopped_take_gets_the_same_marks(tmp_path: Path) -> None:
    plan = Plan(
        Harp.of("C"),
        PlayerSpec(faults={0: Fault(cents=12.0)}),
        drill=WALK,
        bars=(1, 2),
        loop=True,
        save=tmp_path / "loop.flac",
    )
    readings = 0

    def stopping() -> bool:
        return readings > 4_200

    live: list[Event] = []
    for event in run_take(plan, stopping):
        readings += isinstance(event, ReadingHeard)
        live.append(event)
    assert len(marks_of(live)) == 3
    assert len(marks_of(live)[-1].marks) < len(marks_of(live)[0].marks)
    again = Plan(Harp.of("C"), RecordingSpec(tmp_path / "loop.flac"), drill=WALK)
    assert marks_of(list(run_take(again))) == marks_of(live)


def test_a_recording_without_a_start_time_is_followed(tmp_path: Path) -> None:
    import soundfile

    faults = {1: Fault(cents=-18.0), 4: Fault(late_ms=60.0), 9: Fault(leak_db=-12.0)}
    take = tmp_path / "take.flac"
    list(run_take(Plan(Harp.of("C"), PlayerSpec(faults=faults), drill=WALK, save=take)))
    samples, rate = soundfile.read(take)
    lead = 0.0003 * np.random.default_rng(3).standard_normal(round(1.7 * rate))
    soundfile.write(tmp_path / "phone.wav", np.concatenate([lead, samples]), rate)
    source = RecordingSpec(tmp_path / "phone.wav")
    (result,) = marks_of(list(run_take(Plan(Harp.of("C"), source, drill=WALK))))
    marks = by_step(result)
    assert marks[1].measured.cents == pytest.approx(-18.0, abs=3.0)
    assert marks[4].measured.late_ms == pytest.approx(60.0, abs=15.0)
    assert marks[9].measured.leak_db == pytest.approx(-12.0, abs=3.0)
    assert min(mark.score for i, mark in marks.items() if i not in faults) >= 95.0


def test_a_recording_without_the_drill_fails(tmp_path: Path) -> None:
    import soundfile

    soundfile.write(tmp_path / "quiet.wav", np.zeros(96_000), 48_000)
    plan = Plan(Harp.of("C"), RecordingSpec(tmp_path / "quiet.wav"), drill=WALK)
    events = list(run_take(plan))
    (failed,) = [event for event in events if isinstance(event, TakeFailed)]
    assert "no note is heard" in failed.sentence


def test_playing_in_another_key_moves_the_drill_by_holes() -> None:
    result = played({}, replace(WALK, key="C"), "A")
    assert result.score >= 98.0
    assert result.harp == "A"
