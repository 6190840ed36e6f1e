"""A drill whose tempo changes: the count-in, the player, the marks and saved takes keep to it."""

from __future__ import annotations

from pathlib import Path

import pytest
import soundfile as sf

from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import PassEnded, Plan, run_take
from trainer.sound import PlayerSpec, RecordingSpec, SourceSpec

DRILL = parse_drill(
    'title = "T"\nharp = "C"\ntempo = 100\ntempo_to = 200\n'
    'tab = """|: -4:1 5:0.5 -4:0.5 4:1 -4:1 | -5:1 -4:1 4:0.5 -4:0.5 -3:1 :|"""\n',
    "quickening",
)


def marked(
    source: SourceSpec, *, bars: tuple[int, int] | None = None, save: Path | None = None
) -> Result:
    plan = Plan(Harp.of("C"), source, drill=DRILL, bars=bars, save=save)
    (ended,) = [event for event in run_take(plan) if isinstance(event, PassEnded)]
    return ended.result


def assert_in_time(result: Result) -> None:
    assert result.score >= 98.0
    for mark in result.marks:
        assert mark.measured.late_ms == pytest.approx(0.0, abs=12.0)
        assert mark.criteria["time"] == 100.0


def test_the_built_in_player_keeps_to_it_and_so_do_marks_and_saved_takes(tmp_path: Path) -> None:
    saved, plain = tmp_path / "saved.flac", tmp_path / "plain.wav"
    played = marked(PlayerSpec(), save=saved)
    assert_in_time(played)
    first, last = played.marks[0], played.marks[-1]
    assert first.measured.start is not None
    assert last.measured.start is not None
    beats = float(last.step.start - first.step.start)
    mean_tempo = 60.0 * beats / ((last.measured.start - first.measured.start) / 48_000)
    assert 135.0 < mean_tempo < 150.0
    assert marked(RecordingSpec(saved)) == played
    # Without the tags of a saved take, the drill is searched for.
    sf.write(plain, *sf.read(saved))
    assert_in_time(marked(RecordingSpec(plain)))


def test_later_bars_are_played_and_marked_at_their_own_tempo() -> None:
    result = marked(PlayerSpec(), bars=(3, 3))
    assert_in_time(result)
    assert result.beat_ms(DRILL.steps[0]) == pytest.approx(600.0)
    assert result.beat_ms(result.marks[0].step) == pytest.approx(400.0)
