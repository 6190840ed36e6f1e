"""What was played is heard again through a real output, the step that was asked for and no more."""

from __future__ import annotations

import pickle
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from tests.support.pulse import SINK, Pulse
from tests.support.waiting import in_real_time
from trainer.app.playback import PLAYBACK_MARGIN_S, bar_playback_plan, step_playback_plan
from trainer.app.take_state import TakeState
from trainer.core.types import Floats
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.marking import Mark, Measured
from trainer.practice import PassEnded, PassStarted, Plan, ReadingHeard, TakeFinished, run_take
from trainer.sound import PlayerSpec, RecordingSpec

RATE = 48_000
DRILL = find_drill("harbour-bell")

HEAR = """
import json, pickle, sys
from trainer.practice import TakeFailed, run_take
plan = pickle.loads(bytes.fromhex(sys.argv[1]))
failed = [event.sentence for event in run_take(plan) if isinstance(event, TakeFailed)]
print(json.dumps(failed))
"""


def take(folder: Path) -> TakeState:
    """A take of the built-in player, as the app knows it when it is over."""
    plan = Plan(Harp.of("C"), PlayerSpec(), drill=DRILL)
    known = TakeState(plan)
    for event in run_take(Plan(Harp.of("C"), PlayerSpec(), drill=DRILL, scratch=folder)):
        known.apply(event)
    return known


def test_the_sound_of_a_take_is_left_until_the_next(tmp_path: Path) -> None:
    known = take(tmp_path)
    assert known.outcome.audio == str(tmp_path / "take.flac")
    again = take(tmp_path)
    assert again.outcome.audio == known.outcome.audio
    assert [path.name for path in tmp_path.iterdir()] == ["take.flac"]


def test_a_take_of_a_recording_is_heard_from_the_recording(tmp_path: Path) -> None:
    flac = take(tmp_path).outcome.audio
    assert flac is not None
    events = list(run_take(Plan(Harp.of("C"), RecordingSpec(Path(flac)), drill=DRILL)))
    assert events[-1] == TakeFinished(None, flac)
    assert any(isinstance(event, PassStarted) for event in events)
    assert any(isinstance(event, PassEnded | ReadingHeard) for event in events)


def test_a_step_that_was_not_played_cannot_be_heard(tmp_path: Path) -> None:
    known = take(tmp_path)
    missed = Mark(DRILL.steps[0], 0.0, {}, Measured(), "not played")
    assert step_playback_plan(known, missed) is None
    known.outcome.audio = None
    assert step_playback_plan(known, known.sheet.by_step[0]) is None


def test_a_step_is_heard_as_it_should_sound_by_its_bar(tmp_path: Path) -> None:
    known = take(tmp_path)
    plan = bar_playback_plan(known, known.sheet.by_step[4].step.bar)
    assert plan is not None
    assert plan.bars == (DRILL.steps[4].bar,) * 2
    assert isinstance(plan.source, PlayerSpec)
    assert plan.source.aloud
    assert plan.journal is None


def test_hearing_a_bar_as_meant_leaves_the_sound_of_the_take(tmp_path: Path) -> None:
    known = take(tmp_path)
    assert known.outcome.audio is not None
    before = Path(known.outcome.audio).read_bytes()
    plan = bar_playback_plan(known, known.sheet.by_step[4].step.bar)
    assert plan is not None
    silent = replace(plan, source=PlayerSpec(), scratch=tmp_path)
    assert list(run_take(silent))[-1] == TakeFinished(None, None)
    assert Path(known.outcome.audio).read_bytes() == before


@pytest.mark.needs_pulse
@in_real_time
def test_what_is_heard_is_the_step(pulse: Pulse, tmp_path: Path) -> None:
    known = take(tmp_path)
    mark = known.sheet.by_step[4]  # the half-step bend on four
    plan = step_playback_plan(known, mark)
    assert plan is not None
    start, end = mark.measured.start, mark.measured.end
    assert start is not None
    assert end is not None
    sound, _ = sf.read(known.outcome.audio)
    margin = round(PLAYBACK_MARGIN_S * RATE)
    wanted = sound[start - margin : end + margin]
    played = played_by(pulse, plan, tmp_path)
    assert likeness_of(played, wanted) > 0.99
    loud = np.flatnonzero(np.abs(played) > 0.02)
    assert len(wanted) / RATE > (loud[-1] - loud[0]) / RATE > (end - start) / RATE


def played_by(pulse: Pulse, plan: Plan, folder: Path) -> Floats:
    """Run a plan, and return what comes out of the sound system."""
    heard = folder / "heard.wav"
    listen = ["parec", f"--device={SINK}.monitor", "--channels=1", f"--rate={RATE}"]
    recorder = subprocess.Popen([*listen, "--file-format=wav", str(heard)], env=pulse.env)
    assert pulse.run(HEAR, pickle.dumps(plan).hex()) == []
    recorder.terminate()
    recorder.wait(10)
    return np.asarray(sf.read(heard)[0])


def likeness_of(played: Floats, wanted: Floats) -> float:
    """Correlation of a sound with where it fits best into another, without its ends."""
    size = 1 << (len(played) + len(wanted)).bit_length()
    cross = np.fft.irfft(np.fft.rfft(played, size) * np.conj(np.fft.rfft(wanted, size)))
    at = int(np.argmax(cross[: len(played)]))
    got = played[at : at + len(wanted)]
    inner = slice(RATE // 10, len(got) - RATE // 10)
    return float(np.corrcoef(got[inner], wanted[inner])[0, 1])
