"""A player who keeps their own time, followed while they play."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import (
    Event,
    Notice,
    PassEnded,
    PassStarted,
    Plan,
    PositionChanged,
    StepMarked,
    TakeFinished,
    follow_obstacle,
    run_take,
    saved_tolerance,
)
from trainer.practice.conductor import Conductor
from trainer.report.result_report import result_data
from trainer.sound import BuiltInPlayer, PlayerSpec, RecordingSpec, SourceSpec

DRILL = find_drill("harbour-bell")
HARP = Harp.of("C")
RATE = 48_000
PLAYED = list(DRILL.step_range(1, 3))
HESITANT = PlayerSpec(hesitate={5: 600.0}, rush=1.1)


def follow(source: SourceSpec, **options: object) -> list[Event]:
    return list(run_take(Plan(HARP, source, drill=DRILL, follow=True, **options)))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Event], Path]:
    """Three bars with a stop of 0.6 s before the third, followed live, and the saved file."""
    path = tmp_path_factory.mktemp("takes") / "take.flac"
    return follow(HESITANT, bars=(1, 3), save=path), path


def results(events: list[Event]) -> list[dict[str, object]]:
    return [result_data(event.result) for event in events if isinstance(event, PassEnded)]


def test_the_marks_are_those_of_the_saved_recording(live: tuple[list[Event], Path]) -> None:
    events, path = live
    (result,) = results(events)
    plan = Plan(HARP, RecordingSpec(path), drill=DRILL, tolerance=saved_tolerance(path, DRILL))
    assert results(list(run_take(plan))) == [result]
    assert result["score"] > 98.0  # type: ignore[operator]
    assert not result["has_click"]


def test_there_is_no_click_and_the_cursor_walks_step_by_step(
    live: tuple[list[Event], Path],
) -> None:
    events, _ = live
    (started,) = [event for event in events if isinstance(event, PassStarted)]
    assert started.clock is None
    moves = [event.position for event in events if isinstance(event, PositionChanged)]
    assert [position.step for position in moves if position] == PLAYED
    clocks = [position.clock for position in moves[3:] if position]
    tempos = [clock.beat_s(DRILL.steps[-1].start) for clock in clocks]
    assert tempos == pytest.approx([60.0 / DRILL.tempo] * len(tempos), rel=0.15)


def test_each_step_is_marked_while_the_player_plays(live: tuple[list[Event], Path]) -> None:
    events, _ = live
    ends = [i for i, event in enumerate(events) if isinstance(event, PassEnded)]
    marks = [event.mark for event in events[: ends[0]] if isinstance(event, StepMarked)]
    assert {mark.step.index for mark in marks} == set(PLAYED)
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    for mark in marks:
        final = result.marks[mark.step.index]
        assert mark.criteria["pitch"] == pytest.approx(final.criteria["pitch"], abs=1.0)
        assert mark.score == pytest.approx(final.score, abs=8.0)


def test_a_take_ends_by_itself_after_the_last_step_of_a_pass(tmp_path: Path) -> None:
    player = BuiltInPlayer(DRILL, HARP, bars=(1, 2))
    sound = np.concatenate([block.samples for block in player.blocks()])
    last = sound[player.clock.sample(DRILL.steps[3].start) - RATE // 10 :]
    sound = np.concatenate([last, np.zeros(3 * RATE), sound])  # the end is tried first
    path = tmp_path / "long.wav"
    sf.write(path, np.concatenate([sound, np.zeros(20 * RATE)]), RATE)
    events = follow(RecordingSpec(path), bars=(1, 2))
    (result,) = results(events)
    assert result["score"] > 98.0  # type: ignore[operator]
    readings = [event for event in events if type(event).__name__ == "ReadingHeard"]
    assert len(readings) < 200 * (len(sound) / RATE + 4.0)
    assert isinstance(events[-1], TakeFinished)


def test_a_take_that_is_stopped_counts_up_to_where_it_was(tmp_path: Path) -> None:
    path = tmp_path / "take.flac"
    plan = Plan(HARP, HESITANT, drill=DRILL, bars=(1, 3), follow=True, save=path)
    marked: list[int] = []
    events = []
    for event in run_take(plan, lambda: len(marked) >= 5):
        events.append(event)
        if isinstance(event, StepMarked):
            marked.append(event.mark.step.index)
    (result,) = results(events)
    assert result["unplayed"] == len(PLAYED) - len(result["steps"]) > 0  # type: ignore[arg-type]
    assert not result["passed"]
    saved = Plan(HARP, RecordingSpec(path), drill=DRILL, tolerance=saved_tolerance(path, DRILL))
    assert results(list(run_take(saved))) == [result]


def test_a_take_that_is_stopped_at_once_has_no_result() -> None:
    conductor = Conductor(Plan(HARP, PlayerSpec(), drill=DRILL, follow=True), RATE)
    conductor.begin_following(range(len(DRILL.steps)))
    assert conductor.running
    assert list(conductor.stop(0)) == [Notice("too little was played to mark it")]
    assert not conductor.running


def test_another_harp_is_named(live: tuple[list[Event], Path]) -> None:
    _, path = live
    plan = Plan(Harp.of("D"), RecordingSpec(path), drill=DRILL, follow=True)
    (notice,) = [event.sentence for event in run_take(plan) if isinstance(event, Notice)]
    assert notice == "you play on another harp than D; choose it with --harp 'C'"


@pytest.mark.parametrize("name", ["pilot-calls", "bends-that-wait"])
def test_a_drill_that_cannot_be_followed_is_played_as_it_is(name: str) -> None:
    drill = find_drill(name)
    assert name in follow_obstacle(drill)
    assert not Plan(HARP, PlayerSpec(), drill=drill, follow=True).follows
