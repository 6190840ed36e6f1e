"""Recordings without a click, from their sound."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import PassEnded, Plan, TakeFailed, run_take
from trainer.practice.events import Notice
from trainer.report.result_report import remarks_sentence, result_data
from trainer.sound import BuiltInPlayer, PlayerSpec, RecordingSpec

DRILL = find_drill("harbour-bell")
RATE = 48_000


@pytest.fixture(scope="module")
def hesitating(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A take on a D harp, 8 % fast, with a stop of 0.6 s before bar 3."""
    player = BuiltInPlayer(
        DRILL, Harp.of("D"), tempo=DRILL.tempo * 1.08, spec=PlayerSpec(hesitate={5: 600.0})
    )
    sound = np.concatenate([block.samples for block in player.blocks()])
    path = tmp_path_factory.mktemp("takes") / "take.wav"
    sf.write(path, sound[player.clock.zero - RATE // 2 :], RATE)
    return path


def test_the_players_own_beat_and_stops_are_followed(hesitating: Path) -> None:
    events = list(run_take(Plan(Harp.of("D"), RecordingSpec(hesitating), drill=DRILL)))
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert result.score > 98.0
    assert result.tempo == pytest.approx(DRILL.tempo * 1.08, abs=0.3)
    assert remarks_sentence(result) == ("At 104 instead of 96; stopped for 0.6 s before bar 3.")
    data = result_data(result)
    assert not data["has_click"]
    assert data["asked_tempo"] == DRILL.tempo
    assert [remark["kind"] for remark in data["remarks"]] == ["tempo", "stop"]
    assert [each["is_pass"] for each in data["tries"]] == [True]
    tempos = [point["tempo"] for point in data["tempo_curve"]]
    assert tempos == pytest.approx([DRILL.tempo * 1.08] * len(tempos), rel=0.01)


def test_with_a_click_time_is_judged_against_it(hesitating: Path) -> None:
    plan = Plan(Harp.of("D"), RecordingSpec(hesitating), drill=DRILL, click=True)
    results = [event.result for event in run_take(plan) if isinstance(event, PassEnded)]
    for result in results:
        assert result.performance is None
        assert result.tempo == DRILL.tempo
        assert result.score < 90.0


@pytest.mark.parametrize("part", ["call", "ground"])
def test_a_drill_in_which_the_trainer_plays_is_judged_against_its_beat(
    hesitating: Path, part: str
) -> None:
    if part == "call":
        steps = (replace(DRILL.steps[0], call=True), *DRILL.steps[1:])
        drill = replace(DRILL, steps=steps)
    else:
        drill = replace(DRILL, ground=find_drill("over-to-you").ground)
    plan = Plan(Harp.of("D"), RecordingSpec(hesitating), drill=drill)
    results = [event.result for event in run_take(plan) if isinstance(event, PassEnded)]
    assert results
    assert [result.performance for result in results] == [None] * len(results)


def test_another_harp_is_named_and_marked_if_wanted(hesitating: Path) -> None:
    plan = Plan(Harp.of("C"), RecordingSpec(hesitating), drill=DRILL)
    (failed,) = [event for event in run_take(plan) if isinstance(event, TakeFailed)]
    assert "on a harp in D" in failed.sentence
    wanted = Plan(Harp.of("C"), RecordingSpec(hesitating), drill=DRILL, as_played=True)
    events = list(run_take(wanted))
    (notice,) = [event for event in events if isinstance(event, Notice)]
    assert notice.sentence == "marked on a harp in D, as it is played"
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert result.harp == "D"
    assert result.score > 98.0
