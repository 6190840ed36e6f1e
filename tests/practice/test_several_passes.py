"""A recording in which a drill is played more than once: every pass is found and marked."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import PassEnded, Plan, run_take
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, Recording, RecordingSpec

DRILL = find_drill("harbour-bell")
RATE = 48_000
ALL = {step.index for step in DRILL.steps}


def played(faults: dict[int, Fault], seed: int = 1) -> np.ndarray:
    """One playing of it, without the room of a count-in."""
    player = BuiltInPlayer(DRILL, Harp.of("C"), spec=PlayerSpec(faults=faults, seed=seed))
    sound = np.concatenate([block.samples for block in player.blocks()])
    return sound[player.clock.zero - RATE // 20 :]


def marked(path: Path, *parts: np.ndarray) -> list[Result]:
    sf.write(path, np.concatenate(parts), RATE)
    events = run_take(Plan(Harp.of("C"), RecordingSpec(path), drill=DRILL))
    return [event.result for event in events if isinstance(event, PassEnded)]


def room(seconds: float) -> np.ndarray:
    return np.random.default_rng(1).normal(0.0, 1e-4, round(seconds * RATE)).astype(np.float32)


def test_each_pass_is_marked_and_a_false_start_is_none(tmp_path: Path) -> None:
    false_start = played({index: Fault(skip=True) for index in ALL - {0, 1, 2}})
    flat = played({4: Fault(cents=-25.0)})
    right = played({}, seed=2)
    results = marked(
        tmp_path / "x.wav", room(1), false_start[: 3 * RATE], room(1), flat, room(2.3), right
    )
    assert len(results) == 2
    assert results[0].marks[4].measured.cents == pytest.approx(-25.0, abs=3.0)
    assert results[1].score > 99.5 > results[0].score
    for result in results:
        assert not result.extras
        assert all(mark.measured.start is not None for mark in result.marks)


def test_passes_that_follow_each_other_in_time_are_separated(tmp_path: Path) -> None:
    bars = round(DRILL.bars * DRILL.meter[0] * 60.0 / DRILL.tempo * RATE)
    leaking, clean = played({2: Fault(leak_db=-12.0)}), played({}, seed=3)
    results = marked(tmp_path / "x.wav", room(1), leaking[:bars], clean[RATE // 20 :])
    assert [result.marks[2].score > 99.5 for result in results] == [False, True]


def test_one_pass_stays_one(tmp_path: Path) -> None:
    (result,) = marked(tmp_path / "x.wav", room(1), played({}))
    assert result.score > 98.0


def test_a_long_recording_is_heard_twice_and_marked_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is remembered from looking for the passes is what would be heard again."""
    path = tmp_path / "two.wav"
    parts = (
        room(1.0),
        played({2: Fault(cents=-20.0)}),
        room(2.0),
        played({4: Fault(leak_db=-9.0)}),
    )
    once = marked(path, *parts)
    monkeypatch.setattr("trainer.practice.session.pass_finding.MAX_KEPT_S", 1.0)
    assert marked(path, *parts) == once
    assert len(once) == 2
    read = Recording(path)
    whole = read.whole()
    read.close()
    again = Recording(path)
    np.testing.assert_array_equal(whole, np.concatenate([b.samples for b in again.blocks()]))
    again.close()
