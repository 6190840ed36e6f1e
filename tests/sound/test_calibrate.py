"""The round trip from click to microphone: on made sound, and through the virtual microphone.

Delays are put in by a phase ramp, exact to any fraction of a sample, or by a delay line between
the virtual microphone and whoever listens to it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.support.pulse import Pulse
from tests.support.sound_system import stand_in
from tests.support.waiting import in_real_time
from trainer.cli import main
from trainer.cli.exit_codes import ExitCode
from trainer.sound import SoundError
from trainer.sound.click import click
from trainer.sound.round_trip import (
    PARAMETERS,
    estimate_round_trip,
)
from trainer.store import (
    Journal,
)

Sound = NDArray[np.float64]
EARLY = (0.0031, -0.5), (0.0074, 0.6), (0.0113, 0.45)
"""Walls and a table: seconds after the straight way, and strength."""


def clicks_heard(
    delay_ms: float,
    rate: int = 48_000,
    *,
    noise_db: float = -30.0,
    missing: tuple[int, ...] = (),
    jitter_ms: float = 0.0,
    room: bool = True,
    seed: int = 1,
) -> tuple[Sound, list[int]]:
    """Clicks as they come back, and when each was handed over.

    Args:
        delay_ms: their round trip.
        rate: samples a second.
        noise_db: noise of a room, pink, under the RMS of a click's first 12 ms.
        missing: clicks that are not heard.
        jitter_ms: standard deviation of each click's own delay.
        room: whether walls and a small loudspeaker are in the way.
        seed: of the noise.
    """
    rng = np.random.default_rng(seed)
    apart = round(60.0 / PARAMETERS.tempo * rate)
    due = [round(0.3 * rate) + i * apart for i in range(PARAMETERS.clicks)]
    count = due[-1] + round((PARAMETERS.max_s + 0.2) * rate)
    hz = np.fft.rfftfreq(count, 1.0 / rate)
    shape = click(rate, accented=True).astype(float)
    spectrum = np.zeros(len(hz), complex)
    for i, at in enumerate(due):
        if i not in missing:
            pulse = np.zeros(count)
            pulse[at : at + len(shape)] = shape
            own = (delay_ms + rng.normal(0.0, jitter_ms)) / 1000.0
            spectrum += np.fft.rfft(pulse) * np.exp(-2j * np.pi * hz * own)
    if room:
        walls = sum(size * np.exp(-2j * np.pi * hz * late) for late, size in EARLY)
        speaker = (1j * hz / (1j * hz + 300.0)) ** 2 / (1.0 + 1j * hz / 12_000.0)
        spectrum *= (1.0 + walls) * speaker
    heard = 0.2 * np.fft.irfft(spectrum, count)
    level = 0.2 * float(np.sqrt(np.mean(shape[: round(0.012 * rate)] ** 2)))
    pink = np.fft.irfft(np.fft.rfft(rng.standard_normal(count)) / np.sqrt(hz + 50.0), count)
    return heard + pink / pink.std() * level * 10.0 ** (noise_db / 20.0), due


class TestRoundTrip:
    @pytest.mark.parametrize("rate", [48_000, 44_100, 16_000])
    @pytest.mark.parametrize("delay_ms", [0.4, 12.345, 87.6, 431.2])
    def test_a_known_delay_comes_back(self, rate: int, delay_ms: float) -> None:
        heard, due = clicks_heard(delay_ms, rate)
        trip = estimate_round_trip(heard, due, rate)
        assert trip.latency_ms == pytest.approx(delay_ms, abs=0.2)
        assert trip.spread_ms < 0.1
        assert trip.heard == PARAMETERS.clicks

    @pytest.mark.parametrize("noise_db", [-20.0, -10.0, -5.0])
    def test_noise_does_not_move_it(self, noise_db: float) -> None:
        errors = []
        for seed in range(6):
            heard, due = clicks_heard(60.0, noise_db=noise_db, seed=seed)
            errors.append(estimate_round_trip(heard, due, 48_000).latency_ms - 60.0)
        print(f"noise {noise_db:.0f} dB: off by {max(map(abs, errors)):.3f} ms at most")
        assert max(map(abs, errors)) < 0.3

    def test_it_does_not_matter_which_way_the_wave_is_turned(self) -> None:
        heard, due = clicks_heard(60.0)
        assert estimate_round_trip(-heard, due, 48_000) == estimate_round_trip(heard, due, 48_000)

    def test_missed_clicks_and_a_slammed_door_do_not_move_it(self) -> None:
        heard, due = clicks_heard(60.0, missing=(0, 4, 5, 9))
        door = np.random.default_rng(3).standard_normal(20_000) * np.exp(-np.arange(20_000) / 3e3)
        heard[due[2] + 500 : due[2] + 20_500] += 0.3 * door
        trip = estimate_round_trip(heard, due, 48_000)
        assert trip.latency_ms == pytest.approx(60.0, abs=0.2)
        assert 7 <= trip.heard <= 8

    def test_jitter_is_reported_as_spread(self) -> None:
        heard, due = clicks_heard(60.0, jitter_ms=1.5, seed=2)
        trip = estimate_round_trip(heard, due, 48_000)
        assert trip.latency_ms == pytest.approx(60.0, abs=1.5)
        assert 0.7 < trip.spread_ms < 3.0

    @pytest.mark.parametrize(
        ("changes", "complaint"),
        [
            (
                {"missing": range(PARAMETERS.clicks)},
                "turn the output up",
            ),
            ({"noise_db": 15.0}, "the clicks were not heard"),
            ({"missing": range(1, PARAMETERS.clicks)}, "the clicks were not heard"),
            ({"missing": range(5, PARAMETERS.clicks)}, "only 5 of 12 clicks were heard clearly"),
            ({"jitter_ms": 12.0, "seed": 2}, "at times too far apart"),
            ({"jitter_ms": 40.0}, "at times too far apart"),
        ],
    )
    def test_unreliable_clicks_are_refused(self, changes: dict[str, Any], complaint: str) -> None:
        heard, due = clicks_heard(60.0, **changes)
        with pytest.raises(SoundError, match=complaint) as error:
            estimate_round_trip(heard, due, 48_000)
        assert "\n" not in str(error.value)

    def test_speech_is_no_click(self) -> None:
        """Bursts at random, as of a consonant, and hum."""
        for seed in range(10):
            rng = np.random.default_rng(seed)
            heard, due = clicks_heard(60.0, missing=tuple(range(PARAMETERS.clicks)), seed=seed)
            heard += 0.02 * np.sin(2 * np.pi * 120.0 * np.arange(len(heard)) / 48_000)
            for at in rng.integers(0, len(heard) - 3000, 40):
                burst = rng.standard_normal(3000) * np.exp(-np.arange(3000) / 400.0)
                heard[at : at + 3000] += 0.1 * burst
            with pytest.raises(SoundError):
                estimate_round_trip(heard, due, 48_000)

    def test_silence_is_told(self) -> None:
        _, due = clicks_heard(60.0)
        with pytest.raises(SoundError, match="not heard"):
            estimate_round_trip(np.zeros(due[-1] + 4800), due, 48_000)


@dataclass
class Answer:
    """What a command answered."""

    code: int
    out: str
    err: str


@pytest.fixture
def trainer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Callable[..., Answer]:
    """Runs a command in this process, as ``trainer WORDS`` would, with a journal of its own."""
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "journal.sqlite"))

    def run(*words: str) -> Answer:
        monkeypatch.setattr(sys, "argv", ["trainer", *words])
        capfd.readouterr()
        code: Any = 0
        try:
            main()
        except SystemExit as end:
            code = end.code or 0
        return Answer(int(code), *capfd.readouterr())

    return run


def test_a_missing_device_is_an_error(
    trainer: Callable[..., Answer], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", stand_in())
    answer = trainer("sound", "calibrate", "--device", "none")
    assert answer.code == ExitCode.NO_SOUND
    assert "no input is called 'none'; choose one of: 0 usb mic" in answer.err
    answer = trainer("sound", "calibrate", "--latency", "40")
    assert answer.code == ExitCode.NO_SOUND
    assert "the microphone usb mic cannot be opened" in answer.err
    with Journal(tmp_path / "journal.sqlite") as journal:
        assert journal.calibrations() == []


# --- through PortAudio and PulseAudio -------------------------------------------------------

DELAYED = """
import json, sys
from dataclasses import replace
import numpy as np
from trainer.sound import MicrophoneSpec
from trainer.sound import round_trip
from trainer.sound.sources import microphone

class Delayed(microphone.Microphone):
    # A delay line between the device and whoever listens: exact, whatever the sound system does.
    def blocks(self):
        line = np.zeros(round(added_ms / 1000.0 * self.rate), dtype=np.float32)
        for block in super().blocks():
            line = np.concatenate([line, block.samples])
            out, line = line[: len(block.samples)], line[len(block.samples) :]
            yield replace(block, samples=out)

round_trip.Microphone = Delayed
measured = []
for added_ms in map(float, sys.argv[2:]):
    pair, trip = round_trip.measure_round_trip(MicrophoneSpec(), int(sys.argv[1]))
    measured.append([pair.input, pair.output, pair.rate, trip.latency_ms, trip.heard])
print(json.dumps(measured))
"""


@pytest.mark.needs_pulse
@in_real_time
def test_delays_that_are_added_come_back(pulse: Pulse) -> None:
    clicks, latencies_ms = 6, []
    for name, output, rate, latency, heard in pulse.run(DELAYED, str(clicks), "0", "37", "180"):
        assert (name, output, rate) == ("default", "default", 48_000)
        assert heard >= clicks / 2
        latencies_ms.append(latency)
    print("latencies with 0, 37 and 180 ms added:", latencies_ms)
    assert np.diff(latencies_ms) == pytest.approx([37.0, 180.0 - 37.0], abs=2.0)


COMMAND = """
import sys
from trainer.cli import main
sys.argv = ["trainer", "sound", "calibrate", "--format", "json", *sys.argv[1:]]
main()
"""
ON_THE_BEAT = """
import json, sys
from pathlib import Path
import numpy as np
from trainer.store import Journal
from trainer.store import with_calibrated_latency
from trainer.sound import ClickTrack, Microphone, MicrophoneSpec
with Journal(Path(sys.argv[1])) as journal:
    spec = with_calibrated_latency(journal, MicrophoneSpec())
microphone = Microphone(spec)
track = ClickTrack(tempo=240, meter_beats=4, count_in=4, beats=4)
clock, blocks = microphone.start_clock(track), []
for block in microphone.blocks():
    blocks.append(block.samples)
    if block.end > clock.sample(5):
        break
microphone.close()
sound = np.abs(np.concatenate(blocks))
late = []
for beat in range(-4, 4):
    due = clock.sample(beat)
    loud = np.flatnonzero(sound[due - 6000 : due + 6000] > 0.02)
    late.append(float(loud[0] - 6000) / 48 if len(loud) else None)
print(json.dumps([spec.latency_ms, late]))
"""


@pytest.mark.needs_pulse
@in_real_time
def test_with_the_measured_latency_clicks_come_back_on_their_beats(
    pulse: Pulse,
    tmp_path: Path,
) -> None:
    path = tmp_path / "journal.sqlite"
    pulse.env["TRAINER_JOURNAL"] = str(path)
    running = pulse.start(COMMAND)
    out, _ = running.communicate(timeout=120)
    assert running.returncode == 0
    data = json.loads(out)
    assert data["clicks"] == PARAMETERS.clicks
    assert not data["by_hand"]
    latency, late = pulse.run(ON_THE_BEAT, str(path))
    assert latency == data["latency_ms"]
    heard = [ms for ms in late if ms is not None]
    print(f"{latency:.1f} ms; late by, ms: {[round(ms, 2) for ms in heard]}")
    assert len(heard) >= 6
    assert abs(float(np.median(heard))) < 2.0

    running = pulse.start(COMMAND, "--latency", "55")
    assert running.wait(30) == 0
    assert pulse.run(ON_THE_BEAT, str(path))[0] == 55.0


@pytest.mark.needs_pulse
def test_clicks_that_go_elsewhere_are_not_heard(pulse: Pulse, tmp_path: Path) -> None:
    """As with headphones on the ears."""
    pulse.env["TRAINER_JOURNAL"] = str(tmp_path / "journal.sqlite")
    pulse.pactl("load-module", "module-null-sink", "sink_name=headphones", "rate=48000")
    pulse.pactl("set-default-sink", "headphones")
    try:
        with pulse.hiss():
            running = pulse.start(COMMAND)
            assert running.wait(60) == ExitCode.BAD_INPUT
    finally:
        pulse.pactl("set-default-sink", "vmic")
    with Journal(tmp_path / "journal.sqlite") as journal:
        assert journal.calibrations() == []
