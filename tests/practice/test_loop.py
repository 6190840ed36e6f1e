"""Passages heard again and again: their pitch, time and seams, and the ways to ask for them.

Pitch is checked with Praat (by way of parselmouth, from PyPI), which knows nothing of this trainer.
"""

from __future__ import annotations

import shlex
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import parselmouth
import pytest
import soundfile as sf
from textual.pilot import Pilot

from devtools import scripted
from tests.support.command_line import Trainer
from tests.support.pilots import LARGE, SMALL, Puppet, run, until
from tests.support.pilots import text as shown
from tests.support.pulse import Pulse
from tests.support.readings import reading
from tests.support.terminal import Terminal
from tests.support.waiting import in_real_time
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.widgets.loop_strip import OFF, SOUNDS, LoopState, loop_text
from trainer.cli.exit_codes import ExitCode
from trainer.cli.loop import apply_typed_change
from trainer.harp import Harp
from trainer.practice import (
    LoopStarted,
    Notice,
    PassStarted,
    Plan,
    PlayLoop,
    ReadingHeard,
    TakeFailed,
    TakeFinished,
)
from trainer.sound import MicrophoneSpec, RecordingSpec, SoundError
from trainer.sound.passage import (
    LoopGenerator,
    Passage,
    RenderedPassage,
    render_passage,
    validate_passage,
)

RATE = 48_000
HZ = 440.0


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Four seconds of three partials, with a click at each half second."""
    t = np.arange(4 * RATE) / RATE
    sound = sum(0.1 / k * np.sin(2 * np.pi * k * HZ * t) for k in (1, 2, 3))
    for half in range(1, 8):
        sound[half * RATE // 2 : half * RATE // 2 + 24] += 0.6
    path = tmp_path_factory.mktemp("loop") / "note.wav"
    sf.write(path, sound, RATE)
    return path


def praat_hz(samples: np.ndarray, rate: int) -> float:
    sound = parselmouth.Sound(samples.astype(float), rate)
    pitch = sound.to_pitch_ac(pitch_floor=75.0, pitch_ceiling=1500.0)
    frequencies = pitch.selected_array["frequency"]
    return float(np.median(frequencies[frequencies > 0.0]))


@pytest.mark.parametrize("speed", [0.4, 0.5, 0.7, 0.85, 1.0, 1.2])
@pytest.mark.parametrize("half_steps", [0.0, -3.0, 2.0, 0.5])
def test_a_passage_has_the_speed_and_pitch_asked_for(
    recording: Path, speed: float, half_steps: float
) -> None:
    passage = Passage(recording, 1.05, 1.45, speed, half_steps)
    made = render_passage(passage)
    assert len(made.samples) == round(0.4 / speed * RATE)
    off = 1200.0 * np.log2(praat_hz(made.samples, RATE) / HZ) - 100.0 * half_steps
    print(f"{speed} {half_steps}: {off:+.2f} cents")
    assert abs(off) < 1.0


@pytest.mark.parametrize("speed", [0.5, 0.7, 1.2])
def test_attacks_stay_in_their_places(recording: Path, speed: float) -> None:
    made = render_passage(Passage(recording, 0.25, 3.75, speed))
    sharp = np.abs(np.diff(made.samples))
    for half in range(1, 8):
        at = (half * 0.5 - 0.25) / speed
        around = sharp[round((at - 0.04) * RATE) : round((at + 0.04) * RATE)]
        late_s = np.argmax(around) / RATE - 0.04
        assert abs(late_s) < 0.015
        assert np.max(around) > 5.0 * np.median(around)


def test_at_its_own_speed_and_pitch_it_is_the_recording(recording: Path) -> None:
    made = render_passage(Passage(recording, 1.0, 2.0))
    was = sf.read(recording, dtype="float32")[0][RATE : 2 * RATE]
    np.testing.assert_allclose(made.samples[800:-800], was[800:-800], atol=1e-6)
    at_other = render_passage(Passage(recording, 1.05, 1.45), 44_100)
    assert abs(1200.0 * np.log2(praat_hz(at_other.samples, 44_100) / HZ)) < 0.5


def test_the_count_in_beats_at_the_speed_that_is_heard(recording: Path) -> None:
    passage = Passage(recording, 1.0, 2.0, 0.5, tempo=120.0, count_in=4)
    made = render_passage(passage)
    assert passage.lead_s == 4.0
    assert len(made.lead) == 4 * RATE
    starts = [np.argmax(np.abs(made.lead[beat * RATE :]) > 0.01) for beat in range(4)]
    assert max(starts) < 20


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"last": 1.1}, "a passage from 1 to 1.1 s cannot be played"),
        ({"first": -1.0}, "cannot be played"),
        ({"last": 700.0}, "cannot be played"),
        ({"speed": 0.3}, "a speed of 30 % is out of range; take 40 to 120 %"),
        ({"half_steps": 25.0}, "25 half steps is too far"),
        ({"first": 50.0, "last": 60.0}, "note.wav is 4.0 s long; nothing is in it from second 50"),
        ({"path": Path("none.wav")}, "none.wav"),
    ],
)
def test_what_cannot_be_heard_is_told(
    recording: Path, changes: dict[str, object], complaint: str
) -> None:
    passage = replace(Passage(recording, 1.0, 2.0), **changes)  # type: ignore[arg-type]
    with pytest.raises(SoundError, match=complaint):
        render_passage(passage)


def test_rounds_join_without_a_gap_and_one_fades_before_the_next() -> None:
    first = RenderedPassage(
        np.full(50, 0.5, np.float32), np.arange(1.0, 101.0, dtype=np.float32), 1000
    )
    looped = LoopGenerator(20)
    out = np.zeros(30, np.float32)
    assert looped.mix_into(out, 0) is None
    assert not out.any()
    looped.set_passage(first)
    heard, begun = [], []
    for start in range(30, 630, 40):
        out = np.zeros(40, np.float32)
        begun.append(looped.mix_into(out, start))
        heard.append(out)
    assert [bar for bar in begun if bar is not None] == [30]
    line = np.concatenate(heard)
    assert (line[:50] == 0.5).all()
    np.testing.assert_array_equal(line[50:550].reshape(5, 100), np.tile(first.samples, (5, 1)))
    looped.set_passage(None)
    out = np.zeros(100, np.float32)
    looped.mix_into(out, 630)
    assert out[:19].all()
    assert not out[20:].any()


def test_wishes_that_are_typed(recording: Path, capsys: pytest.CaptureFixture[str]) -> None:
    now = Passage(recording, 1.0, 2.0)
    assert apply_typed_change(now, "60%") == replace(now, speed=0.6)
    assert apply_typed_change(now, " 0.5 - 3.25 ") == replace(now, first=0.5, last=3.25)
    assert apply_typed_change(now, "-3") == replace(now, half_steps=-3.0)
    assert apply_typed_change(now, "+0.5") == replace(now, half_steps=0.5)
    assert apply_typed_change(now, "faster") is None
    assert apply_typed_change(now, "20%") == now
    assert "speed of 20 % is out of range" in capsys.readouterr().err
    with pytest.raises(SoundError):
        validate_passage(replace(now, speed=2.0))


def test_one_round_is_written_by_the_command(
    trainer: Trainer,
    recording: Path,
    tmp_path: Path,
) -> None:
    out = tmp_path / "slow.wav"
    words = ("--from", "1", "--to", "2", "--speed", "50", "--played-on", "C", "--harp", "A")
    answer = trainer("loop", str(recording), *words, "--count-in", "0", "--out", str(out))
    assert (answer.code, answer.err) == (0, f"Wrote {out}: 2.0 s.\n")
    sound, rate = sf.read(out)
    assert len(sound) == 2 * rate
    off = 1200.0 * np.log2(praat_hz(sound, rate) / HZ)
    assert abs(off + 300.0) < 2.0
    again = trainer("loop", str(recording), "--out", str(out))
    assert again.code == ExitCode.BAD_INPUT
    wrong = trainer("loop", str(recording), "--out", str(tmp_path / "x.nothing"))
    assert wrong.code == ExitCode.BAD_INPUT
    assert "cannot be written" in wrong.err
    assert trainer("loop", "none.wav").code == ExitCode.BAD_INPUT
    late = trainer("loop", str(recording), "--from", "9")
    assert late.code == ExitCode.BAD_INPUT
    assert "cannot be played" in late.err


# --- the screen -----------------------------------------------------------------------------

PLAN = Plan(Harp.of("A"), MicrophoneSpec())


def test_the_screen_asks_for_the_passage_and_shows_its_position(recording: Path) -> None:
    passage = Passage(recording, 1.0, 2.0, 0.5, count_in=2, tempo=120.0)

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        app = pilot.app
        app.push_screen(LoopScreen(app.session, passage, -3.0))  # type: ignore[attr-defined]
        await until(pilot, lambda: "█" in shown(pilot))
        await pilot.press("space")
        await until(pilot, lambda: "it plays once the microphone is open" in shown(pilot))
        assert puppet.asked == []
        puppet.queue.append(PassStarted(None, 0, 0, "the microphone", False))
        await until(pilot, lambda: "listening" in shown(pilot))
        assert puppet.asked == [PlayLoop(passage)]
        await until(pilot, lambda: "getting ready" in shown(pilot))
        puppet.queue.append(LoopStarted(passage, 0))
        for at, words in (
            (RATE, "count-in 1 of 2"),  # 60 beats a minute, at half the speed
            (RATE * 3 // 2, "count-in 2 of 2"),
            (RATE * 3, "round 1,   1.50 s"),
            (RATE * 9 // 2, "round 2,   1.25 s"),
        ):
            puppet.queue.append(ReadingHeard(reading("-4", sample=at - 1)))
            await until(pilot, lambda words=words: words in shown(pilot))  # type: ignore[misc]
        await pilot.press("k")
        assert puppet.asked[-1] == PlayLoop(replace(passage, half_steps=-3.0))
        await until(pilot, lambda: "3 half steps down" in shown(pilot))
        await pilot.press("k", "down", "left_curly_bracket", "c")
        wanted = replace(passage, speed=0.45, first=0.9, count_in=0)
        assert puppet.asked[-1] == PlayLoop(wanted)
        puppet.queue.append(Notice("the file is gone"))
        await until(pilot, lambda: "× the file is gone" in shown(pilot))
        await pilot.press("space")
        assert puppet.asked[-1] == PlayLoop(wanted)
        await pilot.press("space")
        assert puppet.asked[-1] == PlayLoop(None)
        puppet.queue += [TakeFailed("the microphone is gone"), TakeFinished()]
        await until(pilot, lambda: "--no-listen" in shown(pilot))
        assert "the microphone is gone" in shown(pilot)

    for size in (SMALL, LARGE):
        run(test, replace(PLAN, drill=None), size=size)


def test_the_passage_in_words_and_its_place() -> None:
    passage = Passage(Path("x.wav"), 4.0, 6.0, 0.5, 1.0, tempo=60.0, count_in=2)
    assert loop_text(passage) == "4.00 to 6.00 s   50 % speed   1 half step up   count-in 2"
    state = LoopState(passage, 10.0, (), SOUNDS, 3.9)
    assert (state.place, state.rounds) == (None, 0)
    assert replace(state, played=6.0).place == pytest.approx(5.0)
    assert replace(state, played=9.0).rounds == 2
    assert replace(state, phase=OFF, played=None).place is None


@pytest.mark.needs_pulse
@in_real_time
def test_a_passage_is_played_at_its_speed_and_pitch_and_reported(
    pulse: Pulse,
    recording: Path,
) -> None:
    """What comes back from the null sink is the passage, three half steps down."""
    code = """
import json, sys
from pathlib import Path
import numpy as np
from trainer.harp import Harp
from trainer.practice import PlayLoop, LoopStarted, Plan, run_take
from trainer.sound import MicrophoneSpec
from trainer.sound import Passage
passage = Passage(Path(sys.argv[1]), 1.05, 1.45, 0.5, -3.0)
wishes = [PlayLoop(passage)]
begins, samples = None, []
plan = Plan(Harp.of("A"), MicrophoneSpec(), save=Path(sys.argv[2]))
def asked():
    return wishes.pop(0) if wishes else None
def stopping():
    return begins is not None and heard > begins + 3 * 48000
heard = 0
for event in run_take(plan, stopping, asked):
    if isinstance(event, LoopStarted):
        begins = event.begins
    if type(event).__name__ == "ReadingHeard":
        heard = event.reading.heard
print(json.dumps(begins))
"""
    take = recording.with_name("take.flac")
    take.unlink(missing_ok=True)  # of an attempt before
    with pulse.hiss():
        begins = pulse.run(code, str(recording), str(take))
    sound, rate = sf.read(take)
    mine = sound[:, 0] if sound.ndim > 1 else sound
    part = mine[begins + rate // 2 : begins + 2 * rate]
    off = 1200.0 * np.log2(praat_hz(part, rate) / HZ) + 300.0
    print(f"{off:+.2f} cents")
    assert abs(off) < 2.0
    before = mine[max(0, begins - rate // 5) : max(0, begins - rate // 20)]
    assert np.sqrt(np.mean(before**2)) < 0.05 * np.sqrt(np.mean(part**2))


@pytest.mark.needs_pulse
@pytest.mark.needs_tmux
def test_the_command_loops_in_a_terminal_and_takes_typed_wishes(
    pulse: Pulse,
    terminal: Terminal,
    recording: Path,
) -> None:
    env = {k: pulse.env[k] for k in ("HOME", "XDG_RUNTIME_DIR", "PULSE_SERVER", "PATH")}
    words = ["env", *(f"{name}={value}" for name, value in env.items())]
    command = [*words, sys.executable, "-m", "trainer", "loop", str(recording)]
    with pulse.hiss(), pulse.logs_on_failure():
        terminal.start(shlex.join([*command, "--from", "1", "--to", "2"]))
        terminal.wait_for("space plays it")
        terminal.wait_for("listening")
        terminal.keys("Space")
        terminal.wait_for("round 1")
        terminal.keys("Down", "Down", "}")
        terminal.wait_for("1.00 to 2.10 s 60 % speed .* round 1")
        terminal.keys("q")
        terminal.wait_for("exit code 0")


def test_a_take_is_looped_from_its_result_and_its_sound_stays(
    recording: Path, tmp_path: Path
) -> None:
    """Playing along is another take, which leaves its sound where the one before had it."""
    scratch = tmp_path / "sound.flac"
    scratch.write_bytes((Path(__file__).parent.parent / "reeds" / "phrase.flac").read_bytes())

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        script = [event for _, event in scripted.scripted_events(puppet_plan)]
        await pilot.press("space")
        puppet.queue += [*script[:-1], TakeFinished(sound=str(scratch))]
        await until(pilot, lambda: isinstance(pilot.app.screen, ResultScreen))
        result = pilot.app.screen
        await pilot.press("w")
        await until(pilot, lambda: isinstance(pilot.app.screen, LoopScreen))
        scratch.unlink()  # as the listener does when the next take begins
        puppet.queue.append(PassStarted(None, 0, 0, "the microphone", False))
        await until(pilot, lambda: "listening" in shown(pilot))
        await pilot.press("space")
        asked = puppet.asked[-1]
        assert isinstance(asked, PlayLoop)
        assert asked.passage is not None
        assert asked.passage.path != scratch
        assert asked.passage.path.exists()
        assert asked.passage.last - asked.passage.first >= 3.0
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is result)
        await pilot.press("a")
        heard = puppet.plans[-1].source
        assert isinstance(heard, RecordingSpec)
        assert heard.path == asked.passage.path
        puppet.queue.append(TakeFinished())
        await until(pilot, lambda: result.playing is None)
        await pilot.press("escape")
        passage = asked.passage.path
        await until(pilot, lambda: not passage.exists())

    puppet_plan = Plan(Harp.of("C"), MicrophoneSpec(), drill=scripted.DRILL)
    run(test, puppet_plan)
