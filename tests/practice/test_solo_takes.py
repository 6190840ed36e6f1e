"""Takes with solos: played by the built-in player, saved and marked again, stopped and resumed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from trainer.drill import BeatClock, Drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import PassEnded, Plan, SoloMarked, TakeFailed
from trainer.practice.conductor import Conductor
from trainer.practice.passes import Pass, saved_passes
from trainer.practice.plan import follow_obstacle
from trainer.practice.session import run_take
from trainer.sound import PlayerSpec, RecordingSpec, open_source, trainer_notes
from trainer.sound.accompaniment import Accompaniment

HARP = Harp.of("C")
RATE = 48_000
DRILL = parse_drill(
    """title = "T"
harp = "C"
tempo = 180
position = 2
tab = \"\"\"
-2:4 | solo:4 | solo:4 | -2:4 |
\"\"\"
[ground]
play = "bass"
chords = "I7 | IV7 |"
[solo]
scale = "major pentatonic"
range = 5
[aim]
scale = ["solos"]
phrases = ["solos"]
""",
    "short-solo",
)


def play(
    source: PlayerSpec | RecordingSpec, save: Path | None = None
) -> tuple[Result, list[object]]:
    events = list(run_take(Plan(HARP, source, drill=DRILL, save=save, count_in=1)))
    assert not [event for event in events if isinstance(event, TakeFailed)]
    (result,) = (event.result for event in events if isinstance(event, PassEnded))
    return result, events


def test_a_solo_is_marked_live_and_again_from_its_file(tmp_path: Path) -> None:
    path = tmp_path / "take.flac"
    result, events = play(PlayerSpec(), path)
    assert result.passed
    assert result.score >= 98.0
    assert [mark.step.tab for mark in result.marks] == ["-2", "-2"]
    assert not result.extras
    (live,) = (event.mark for event in events if isinstance(event, SoloMarked))
    assert live.criteria == result.solos[0].criteria
    again, _ = play(RecordingSpec(path))
    assert (again.score, again.solos) == (result.score, result.solos)
    source = open_source(RecordingSpec(path))
    assert [each.bars for each in saved_passes(source.tags, DRILL)] == [(1, 4)]
    assert saved_passes({**source.tags, "passes": [{"bars": [0, 9]}]}, DRILL) == ()
    source.close()


def test_a_missed_aim_of_a_solo_fails_the_pass() -> None:
    result, _ = play(PlayerSpec(solo_faults={"phrases": 1.0}))
    assert not result.passed
    assert result.solos[0].criteria["phrases"] < 50.0
    assert all(mark.score >= 98.0 for mark in result.marks)


def test_a_pass_interrupted_in_a_solo_resumes_with_it() -> None:
    conductor = Conductor(Plan(HARP, PlayerSpec(), drill=DRILL), RATE)
    clock = DRILL.clock(RATE)
    conductor.begin(Pass.of(DRILL, clock, range(2), 0))
    assert conductor.passes[0].close > clock.sample(16)
    for beat, bar in ((5, 2), (13, 4)):
        assert conductor.resume_bar(1, clock.sample(beat)) == bar
    assert "with a click" in follow_obstacle(DRILL)


def test_the_ground_sounds_on_its_beats_at_its_level() -> None:
    def played(drill: Drill, db: float | None) -> np.ndarray:
        sound = np.zeros(4 * RATE, np.float32)
        accompaniment = Accompaniment(RATE)
        accompaniment.add(HARP, BeatClock(RATE, 60, RATE), trainer_notes(drill, (1, 1), db))
        accompaniment.mix(sound, 0, lambda sample: sample)
        return sound

    sound = played(DRILL, 0.0)
    assert not sound[: RATE - 1].any()
    assert np.sqrt(np.mean(sound[RATE : RATE + 4_800] ** 2)) == pytest.approx(0.065, rel=0.1)
    spectrum = np.abs(np.fft.rfft(sound[RATE : 2 * RATE]))
    assert abs(int(spectrum.argmax()) - 98) <= 1  # G2, the root of the first chord
    assert np.allclose(played(DRILL, -20.0), sound / 10.0, atol=1e-6)
    assert not played(DRILL, None).any()
