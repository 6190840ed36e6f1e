"""The microphone: through real PortAudio where there is a sound system, else on a stand-in."""

from __future__ import annotations

import builtins
import json
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import parselmouth
import pytest
import soundfile as sf

from tests.support.waiting import in_real_time
from trainer.drill import BeatClock, Drill, parse_drill
from trainer.harp import Harp, HarpError, Tab
from trainer.sound import (
    REFERENCE_LEAD_S,
    ClickTrack,
    DeviceError,
    DrillSetup,
    Microphone,
    MicrophoneSpec,
    SoundError,
    SourceGapError,
    SourceLost,
    accompaniment_steps,
)
from trainer.sound.devices import Device, find_devices, match_device
from trainer.sound.output_mixer import OutputMixer
from trainer.sound.sources.microphone import MicrophoneParameters
from trainer.sound.stream_timing import StreamTiming

if TYPE_CHECKING:
    from tests.support.pulse import Pulse


RATE = 48_000


# --- through PortAudio and PulseAudio -------------------------------------------------------


RECORD = """
import json, sys
import numpy as np
from trainer.sound import *
microphone = Microphone(MicrophoneSpec(clicks=False))
print("listening", flush=True)
blocks, end = [], 0
for block in microphone.blocks():
    assert block.start == end
    blocks.append(block.samples)
    end = block.end
    if end > float(sys.argv[2]) * microphone.rate:
        break
microphone.close()
np.save(sys.argv[1], np.concatenate(blocks))
print(json.dumps([microphone.name, microphone.rate, microphone.lost, microphone.overflows]))
"""


@pytest.mark.needs_pulse
@in_real_time
def test_all_that_is_played_arrives(pulse: Pulse, tmp_path: Path) -> None:
    # A sine of known pitch in noise, so that no stretch is like another.
    sine = np.sin(2 * np.pi * 623.7 * np.arange(2 * RATE) / RATE)
    noise = np.random.default_rng(7).uniform(-1, 1, 2 * RATE)
    played = np.rint(8000 * sine + 500 * noise).astype(np.int16)
    lead = np.zeros(RATE // 4, np.int16)  # the sink may drop the first moment of a stream
    sf.write(tmp_path / "played.wav", np.append(lead, played), RATE, subtype="PCM_16")

    listening = pulse.start(RECORD, str(tmp_path / "heard.npy"), "3.5")
    assert listening.stdout is not None
    assert listening.stdout.readline() == "listening\n"
    pulse.play(tmp_path / "played.wav")
    out, _ = listening.communicate(timeout=120)
    name, rate, lost, overflows = json.loads(out)

    assert (name, rate, lost, overflows) == ("microphone default", RATE, 0, 0)
    heard = np.load(tmp_path / "heard.npy")
    size = len(heard) + len(played)
    spectra = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(noise, size))
    first = int(np.argmax(np.fft.irfft(spectra, size)))
    # Sample for sample, so none is missing or doubled; within two steps of 16 bits.
    aligned = heard[first : first + len(played)] * 32768
    assert np.max(np.abs(aligned - played)) <= 2.0

    sound = parselmouth.Sound(heard[first + 4800 : first + 2 * RATE - 4800].astype(float), RATE)
    pitch = sound.to_pitch_ac(pitch_floor=400.0, pitch_ceiling=900.0).selected_array["frequency"]
    assert 1200 * np.log2(np.median(pitch[pitch > 0]) / 623.7) == pytest.approx(0, abs=0.2)


CLICK = """
import json, sys
import numpy as np
from trainer.sound import *
microphone = Microphone(MicrophoneSpec(latency_ms=float(sys.argv[1]) if sys.argv[1:] else None))
assert microphone.clicks_audible
track = ClickTrack(tempo=240, meter_beats=4, count_in=4, beats=4)
clock, blocks = microphone.start_clock(track), []
for block in microphone.blocks():
    blocks.append(block.samples)
    if block.end > clock.sample(5):
        break
microphone.close()
sound = np.abs(np.concatenate(blocks))
found = []
for beat in range(-4, 4):
    due = clock.sample(beat)
    near = sound[due - 6000 : due + 6000]
    loud = np.flatnonzero(near > 0.05)
    found.append([float(loud[0] - 6000) / 48 if len(loud) else None, float(near.max())])
print(json.dumps(found))
"""


def clicks_heard(pulse: Pulse, *latency_ms: str) -> list[tuple[float, float]]:
    """Lateness in ms and peak of each click."""
    clicks = pulse.run(CLICK, *latency_ms)
    assert all(late is not None for late, _ in clicks), clicks
    return [(late, peak) for late, peak in clicks]


@pytest.mark.needs_pulse
@in_real_time
def test_clicks_come_back_on_their_beats(pulse: Pulse) -> None:
    clicks = clicks_heard(pulse)
    late_ms, peaks = zip(*clicks, strict=True)
    print("clicks late by, ms:", [round(late, 1) for late in late_ms])
    assert all(abs(late) < 15.0 for late in late_ms)
    accents = [peak > 0.25 for peak in peaks]
    assert accents == [True, False, False, False] * 2


CUE = """
import json, sys
import numpy as np
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.sound import *
drill = parse_drill(sys.argv[1], "jetty")
harp = Harp.of("C")
microphone = open_source(MicrophoneSpec(clicks=False), drill=drill, harp=harp)
assert microphone.plays_steps and not microphone.clicks_audible
clock, heard, own = microphone.first_pass(), [], []
for block in microphone.blocks():
    heard.append(block.samples)
    own.append(np.zeros(len(block.samples)) if block.reference is None else block.reference)
    if block.end > clock.sample(4):
        break
microphone.close()
heard, own = np.concatenate(heard), np.concatenate(own)
late = []
for step in drill.steps[:2]:
    due = clock.sample(step.start)
    loud = np.flatnonzero(np.abs(heard[due - 6000 : due + 6000]) > 0.01)
    late.append((int(loud[0]) - 6000) / 48)
# Where what was played fits best into what was heard, and how much it leaves of it.
size = 2 * len(heard)
fit = np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(own, size)))
lag = int(np.argmax(fit))
assert 0 < lag < 12000
left = heard[lag:] - own[: len(own) - lag]
print(json.dumps([late, lag / 48, float(np.std(left) / np.std(heard)), float(np.std(heard))]))
"""
CALLS = """
title = "From one jetty to the other"
harp = "C"
tempo = 120
tab = \'\'\'
{call} 4:1 r:0.5 -5:1 {answer} 4:1 -5:0.5 |
\'\'\'
"""


@pytest.mark.needs_pulse
@in_real_time
def test_a_call_comes_back_on_its_beat_and_the_canceller_knows_it(pulse: Pulse) -> None:
    late_ms, lag_ms, left, level = pulse.run(CUE, CALLS)
    print("calls late by, ms:", late_ms, "lag of own, ms:", lag_ms, "left of it:", left)
    # As late as the clicks, all by the same time: the error is in the drivers' latencies.
    assert all(abs(late) < 15.0 for late in late_ms)
    assert abs(late_ms[1] - late_ms[0]) < 4.0
    # The reference is ahead by REFERENCE_LEAD_S; the same shift fits all of it.
    assert lag_ms == pytest.approx(100.0 + late_ms[0], abs=6.0)
    assert level > 0.02
    assert left < 0.2


@pytest.mark.needs_pulse
@in_real_time
def test_a_round_trip_given_by_hand_moves_the_beats(pulse: Pulse) -> None:
    late = [np.median([ms for ms, _ in clicks_heard(pulse, given)]) for given in ("20", "80")]
    assert late[0] - late[1] == pytest.approx(60.0, abs=8.0)


COMMAND = """
import json, sys
from trainer.cli.sound import app
from trainer.sound import DeviceError
try:
    app(sys.argv[1:], standalone_mode=False)
except DeviceError as error:
    print(json.dumps(str(error)))
"""


@pytest.mark.needs_pulse
def test_the_sound_commands_see_the_devices(pulse: Pulse) -> None:
    out, _ = pulse.start(COMMAND, "list", "--format", "json").communicate(timeout=120)
    listed = json.loads(out)
    assert [d["name"] for d in listed if d["is_default_input"]] == ["default"]
    assert all(d["inputs"] and d["outputs"] and d["host"] == "ALSA" for d in listed)

    out, _ = pulse.start(COMMAND, "check", "--format", "json").communicate(timeout=120)
    checked = json.loads(out[: out.rindex("}") + 1])
    assert checked["rate"] == RATE
    assert checked["lost"] == checked["overflows"] == 0
    assert checked["advice"] == ["unmute it, or choose another input: it is silent"]

    sentence = pulse.run(COMMAND, "check", "--device", "harbour")
    assert sentence == "no input is called 'harbour'; choose one of: 0 pulse, 1 default"


LOSE = """
import json, os, sys, time
import trainer.sound.sources.microphone
from trainer.sound import *
microphone = Microphone(MicrophoneSpec(clicks=False))
source = trainer.sound.sources.microphone
source.PARAMETERS = source.MicrophoneParameters(first_s=2.5)
ends, sentences = [], []
def listen(seconds):
    until = (ends[-1] if ends else 0) + seconds * microphone.rate
    for block in microphone.blocks():
        assert block.start == (ends[-1] if ends else 0)
        ends.append(block.end)
        if block.end > until:
            return
def lose():
    at, began = ends[-1], time.monotonic()
    try:
        listen(20)
    except SourceLost as error:
        sentences.append(str(error))
        return (ends[-1] - at) / microphone.rate, time.monotonic() - began
def reopened():
    try:
        microphone.reopen()
    except SourceLost as error:
        sentences.append(str(error))
        return False
    return True
listen(0.3)
asked = time.monotonic()
os.system(sys.argv[1])
losing = time.monotonic() - asked
after = [*lose(), losing]
failed = not reopened()
os.system(sys.argv[2])
tries = 1
while not reopened():
    tries += 1
    assert tries < 20
listen(0.3)
microphone.close()
microphone.close()
print(json.dumps([after, failed, sentences, microphone.lost]))
"""
UNPLUG = "pactl unload-module module-null-sink"
PLUG_IN = (
    "pactl load-module module-null-sink sink_name=vmic rate=48000 >&2; "
    "pactl set-default-source vmic.monitor"
)


@pytest.mark.needs_pulse
@pytest.mark.parametrize(
    ("away", "back", "reopens_meanwhile"),
    [
        pytest.param(UNPLUG, PLUG_IN, False, id="unplugged"),
        pytest.param(
            f"pactl load-module module-always-sink >&2; {UNPLUG}",
            f"{PLUG_IN}; pactl unload-module module-always-sink",
            True,
            id="unplugged, another input there",
        ),
        pytest.param("pactl suspend-sink vmic 1", "pactl suspend-sink vmic 0", False, id="asleep"),
    ],
)
def test_a_lost_source_is_noticed_and_comes_back(
    pulse: Pulse, away: str, back: str, reopens_meanwhile: bool
) -> None:
    (after, noticed, losing), failed, sentences, lost = pulse.run(LOSE, away, back)
    print(f"lost in {losing:.2f} s, noticed after {noticed:.2f} s, {after:.2f} s of sound given")

    # The samples still given after the loss: under a second of sound is heard without a source. On
    # a busy machine it takes a while until the source is gone, and that sound waits to be given.
    assert after - losing < 1.0
    assert failed is not reopens_meanwhile
    assert sentences[0] == (
        "microphone default has gone silent; is it still connected and switched on?"
    )
    assert lost == 0


# --- choosing a device ----------------------------------------------------------------------


def device(number: int, name: str, host: str = "ALSA", inputs: int = 2, **more: Any) -> Device:
    given = {"outputs": 0, "rate": RATE, "is_default_input": False, "is_default_output": False}
    return Device(number, name, host, inputs, **{**given, **more})


DEVICES = (
    device(0, "Built-in", is_default_input=True),
    device(1, "USB Audio: Mic"),
    device(2, "Monitor", inputs=0, outputs=2),
    device(3, "USB Audio: Line"),
    device(4, "Built-in", host="JACK"),
)


def test_a_device_is_chosen_by_name_part_or_number() -> None:
    assert match_device(DEVICES, "input", None).number == 0
    assert match_device(DEVICES, "input", "line").number == 3
    assert (
        match_device(DEVICES, "input", 1).number == match_device(DEVICES, "input", "1").number == 1
    )
    assert match_device(DEVICES, "input", "built-in").host == "ALSA"
    assert match_device(DEVICES, "output", "mon").number == 2


@pytest.mark.parametrize(
    ("wanted", "sentence"),
    [
        ("harbour", "no input is called 'harbour'; choose one of: 0 Built-in, 1 USB Audio: Mic, "),
        (2, "no input is called '2'; "),
        ("usb", "'usb' fits more than one input; give a number: 1 USB Audio: Mic, 3 USB "),
    ],
)
def test_a_missing_device_is_an_error_that_lists_the_others(
    wanted: str | int, sentence: str
) -> None:
    with pytest.raises(DeviceError) as error:
        match_device(DEVICES, "input", wanted)
    assert str(error.value).startswith(sentence)


def test_no_device_at_all_is_an_error() -> None:
    with pytest.raises(DeviceError, match="has no loudspeaker or other output; connect one"):
        match_device((DEVICES[0],), "output", None)
    with pytest.raises(DeviceError, match=r"has no default microphone .*; choose one: 1 USB"):
        match_device((DEVICES[1],), "input", None)


def test_missing_portaudio_is_an_error_with_the_way_to_install_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any) -> Any:
        if name == "sounddevice":
            raise OSError("PortAudio library not found")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", without)
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr("platform.freedesktop_os_release", lambda: {"ID": "debian"})
    monkeypatch.setattr("sys.platform", "linux")
    with pytest.raises(DeviceError, match="sudo apt install libportaudio2"):
        find_devices()
    monkeypatch.setattr("platform.freedesktop_os_release", lambda: {"ID_LIKE": "rhel fedora"})
    with pytest.raises(DeviceError, match="sudo dnf install portaudio"):
        Microphone(MicrophoneSpec())


# --- steps on a clock that drifts -----------------------------------------------------------


class Output:
    """An output that takes what it is given as its own clock goes, and keeps all of it."""

    def __init__(self, rate: int) -> None:
        self.rate, self.timing = rate, StreamTiming(rate)
        self.given: list[np.ndarray] = []
        self.next_frame = self.taken = 0

    @property
    def queued(self) -> int:
        return self.next_frame - self.taken

    def play(self, samples: np.ndarray) -> None:
        self.given.append(samples)
        self.next_frame += len(samples)


class Duet:
    """An output mixer between an input and an output whose clocks drift apart, and time."""

    def __init__(self, drift: float, rate: int = 44_100) -> None:
        self.out, self.heard = Output(rate), StreamTiming(RATE)
        self.drift, self.seconds = drift, 0.0
        self.mixer = OutputMixer(self.out, self.heard, RATE)  # type: ignore[arg-type]

    def frame_at(self, sample: float) -> float:
        """The frame of the output that is truly heard with a sample of the input."""
        return sample / RATE * self.out.rate * (1.0 + self.drift)

    def go_on(self, seconds: float) -> None:
        """Let time pass in steps of 10 ms."""
        for _ in range(round(seconds * 100)):
            sample = round(self.seconds * RATE)
            self.heard.add(sample, self.seconds)
            self.out.taken = round(self.frame_at(sample))
            self.out.timing.add(self.out.taken, self.seconds)
            self.mixer.fill()
            self.seconds += 0.01

    def sound(self) -> np.ndarray:
        return np.concatenate(self.out.given)


def music(tab: str, **fields: Any) -> Drill:
    head = "".join(f"{name} = {value!r}\n" for name, value in fields.items())
    text = f'title = "Jetty"\nharp = "C"\n{head}tab = """\n{tab}\n"""\n'
    return parse_drill(text, "jetty")


@pytest.mark.parametrize("drift", [0.0, 0.0005, -0.0005])
def test_steps_stay_on_their_samples_however_the_devices_drift(drift: float) -> None:
    bar = "4:1/2 r:1/2 -5:1/4 r:3/4 6:1 r:1 | "
    drill = music("{call} " + bar * 9 + "{answer} 4:4 |", tempo=120, swing=2)
    duet = Duet(drift)
    duet.go_on(0.1)
    clock = BeatClock(RATE, 120, RATE, 2.0)
    duet.mixer.add_steps(Harp.of("C"), clock, accompaniment_steps(drill))
    duet.go_on(20.0)
    sound, frames = duet.sound(), np.arange(200)
    for step in drill.steps[:-1]:
        due = duet.frame_at(clock.sample(step.start))
        near = sound[round(due) - 100 : round(due) + 100] != 0.0
        assert frames[near][0] - 100 == pytest.approx(0, abs=0.001 * duet.out.rate)
        assert not near[:50].any()
    # Half a millisecond a second would have made 9 ms of it.


def test_the_reference_signal_is_what_was_played_with_clicks_mixed_in() -> None:
    duet = Duet(0.0, RATE)
    duet.go_on(0.1)
    drill = music("{call} -4:2 {answer} -4:2 |", tempo=120)
    track = ClickTrack.of(drill, count_in=0)
    duet.mixer.add_clicks(track, RATE)
    duet.mixer.add_steps(Harp.of("C"), track.clock(RATE, RATE), accompaniment_steps(drill))
    own = []
    for _ in range(300):
        duet.go_on(0.01)
        reference = duet.mixer.reference(round((duet.seconds - 0.2) * RATE), 480)
        own.append(np.zeros(480, np.float32) if reference is None else reference)
    sound, reference = duet.sound(), np.concatenate(own)
    ahead = round((0.11 - 0.2 + REFERENCE_LEAD_S) * RATE)
    assert np.max(np.abs(reference - sound[ahead : ahead + len(reference)])) < 1e-3
    # The step sounds between the clicks as it does without them, at the level of a player's note.
    between = sound[RATE + 2400 : RATE + 24_000 - 480]
    assert np.std(between) == pytest.approx(0.1, rel=0.05)
    assert np.max(np.abs(sound[RATE : RATE + 480])) > 0.25
    assert np.max(np.abs(sound[2 * RATE + 2400 : 2 * RATE + 20_000])) == 0.0


def test_a_note_of_a_chord_and_a_bend_are_the_built_in_players() -> None:
    duet = Duet(0.0, RATE)
    duet.go_on(0.1)
    drill = music("{call} -4'>-4:2 1+4:2 | {answer} -4:4 |", tempo=60)
    duet.mixer.add_steps(Harp.of("C"), BeatClock(RATE, 60, RATE), accompaniment_steps(drill))
    duet.go_on(6.0)
    sound = duet.sound().astype(float)
    for start, tab in ((1.1, "-4'"), (2.6, "-4"), (3.2, "1"), (3.2, "4")):
        hz = Harp.of("C").hz(Tab.parse(tab))
        held = sound[round(start * RATE) : round((start + 0.3) * RATE)]
        size = 1 << 19
        spectrum = np.abs(np.fft.rfft(held * np.hanning(len(held)), size))
        low, high = (round(hz * 2 ** (cents / 1200) * size / RATE) for cents in (-60, 60))
        f0 = (low + np.argmax(spectrum[low:high])) * RATE / size
        stretched = 2.0 if tab == "4" else 0.0  # the upper reed of an octave
        assert 1200 * np.log2(f0 / hz) == pytest.approx(stretched, abs=3.0)


def test_stopping_releases_sounding_steps_and_drops_the_rest() -> None:
    duet = Duet(0.0, RATE)
    duet.go_on(0.1)
    drill = music("{call} 4:4 | 5:4 | {answer} 4:4 |", tempo=60)
    duet.mixer.add_steps(Harp.of("C"), BeatClock(RATE, 60, RATE), accompaniment_steps(drill))
    duet.go_on(2.0)
    stopped = duet.out.next_frame
    duet.mixer.stop()
    duet.go_on(8.0)
    sound = duet.sound()
    assert np.std(sound[stopped - 4800 : stopped]) > 0.08
    assert np.max(np.abs(np.diff(sound[stopped - 10 : stopped + 2000]))) < 0.1  # no click
    assert np.max(np.abs(sound[stopped + round(0.06 * RATE) :])) == 0.0


def test_steps_the_harp_cannot_play_are_an_error_at_once() -> None:
    duet = Duet(0.0)
    step = replace(music("-5:4", tempo=60).steps[0], sounds=((Tab.parse("-5'"),),))
    with pytest.raises(HarpError, match="cannot be played on a C harp"):
        duet.mixer.add_steps(Harp.of("C"), BeatClock(RATE, 60, RATE), [step])


# --- on a stand-in for PortAudio ------------------------------------------------------------


class StandIn:
    """PortAudio with one stereo input and no output, whose callback the test calls."""

    class PortAudioError(Exception):
        pass

    def __init__(self, rates: tuple[int, ...] = (RATE,)) -> None:
        self.rates, self.tried = rates, []
        self.default = SimpleNamespace(device=(0, -1))
        self.first = np.zeros((128, 2), np.float32)

    def query_hostapis(self) -> list[dict[str, Any]]:
        return [{"name": "stand-in"}]

    def query_devices(self) -> list[dict[str, Any]]:
        return [
            {
                "name": "Mic",
                "hostapi": 0,
                "max_input_channels": 2,
                "max_output_channels": 0,
                "default_samplerate": 22_050.0,
            }
        ]

    def InputStream(  # noqa: N802 - sounddevice's name
        self, *, samplerate: int, callback: Any, **given: Any
    ) -> Any:
        self.tried.append(samplerate)
        if samplerate not in self.rates:
            raise self.PortAudioError("Invalid sample rate")
        self.callback, self.finished = callback, given["finished_callback"]
        self.channels = given["channels"]
        return SimpleNamespace(
            start=lambda: self.hear(self.first), stop=lambda: None, abort=lambda: None, close=int
        )

    def hear(self, frames: Any) -> None:
        when = SimpleNamespace(inputBufferAdcTime=1.0, currentTime=1.0)
        self.callback(
            frames[:, : self.channels], len(frames), when, SimpleNamespace(input_overflow=False)
        )


@pytest.fixture
def stand_in(monkeypatch: pytest.MonkeyPatch) -> StandIn:
    stand_in = StandIn()
    for module in ("devices", "sources.microphone", "speaker"):
        monkeypatch.setattr(f"trainer.sound.{module}.load_portaudio", lambda: stand_in)
    return stand_in


def test_rates_are_tried_in_turn(stand_in: StandIn) -> None:
    stand_in.rates = (22_050, 16_000)
    microphone = Microphone(MicrophoneSpec())
    assert stand_in.tried == [48_000, 44_100, 22_050]
    assert microphone.rate == 22_050
    assert not microphone.clicks_audible
    with pytest.raises(
        DeviceError, match=r"Mic cannot be opened at 8000 samples a second: Invalid"
    ):
        Microphone(MicrophoneSpec(rate=8000))


def test_channels_are_mixed_or_one_is_picked(stand_in: StandIn) -> None:
    stand_in.first = np.array([[0.5, 0.25]] * 3, np.float32)
    for channel, heard in ((None, 0.375), (1, 0.5), (2, 0.25)):
        microphone = Microphone(MicrophoneSpec(channel=channel))
        block = next(microphone.blocks())
        assert block.samples.tolist() == [heard] * 3
    with pytest.raises(DeviceError, match="has no channel 3; it has 2"):
        Microphone(MicrophoneSpec(channel=3))


def test_samples_without_room_are_counted_and_replaced_by_silence(stand_in: StandIn) -> None:
    microphone = Microphone(MicrophoneSpec())
    second = np.full((RATE, 2), 0.5, np.float32)
    for _ in range(11):
        stand_in.hear(second)
    blocks, end = [], 0
    for block in microphone.blocks():
        assert block.start == end
        end = block.end
        blocks.append(block.samples)
        if end == 128 + 9 * RATE:
            stand_in.hear(second)
            break
    assert microphone.lost == 2 * RATE
    for block in microphone.blocks():
        assert block.start == end
        end = block.end
        blocks.append(block.samples)
        if end == 128 + 12 * RATE:
            break
    sound = np.concatenate(blocks)
    assert np.flatnonzero(sound[128:] == 0.0).tolist() == list(range(9 * RATE, 11 * RATE))


@pytest.mark.parametrize(("seconds", "error"), [(3, SourceLost), (11, SourceGapError)])
def test_a_long_gap_counts_in_again_and_a_very_long_one_ends_the_take(
    stand_in: StandIn, seconds: int, error: type[Exception]
) -> None:
    microphone = Microphone(MicrophoneSpec())
    second = np.full((RATE, 2), 0.5, np.float32)
    for _ in range(9 + seconds):
        stand_in.hear(second)
    next(iter(microphone.blocks()))
    stand_in.hear(second[: RATE // 2])  # there is room again: the gap is known
    with pytest.raises(error, match=f"{seconds} s of sound are missing"):
        list(microphone.blocks())


def test_a_device_that_ends_is_lost_after_all_it_gave(stand_in: StandIn) -> None:
    microphone = Microphone(MicrophoneSpec())
    stand_in.finished()
    blocks = microphone.blocks()
    assert next(blocks).end == 128
    with pytest.raises(SourceLost):
        next(blocks)
    microphone.reopen()
    assert next(microphone.blocks()).start == 128


def test_a_device_that_gives_no_sound_is_an_error(
    stand_in: StandIn, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in.first = np.zeros((0, 2), np.float32)
    parameters = MicrophoneParameters(first_s=0.05)
    monkeypatch.setattr("trainer.sound.sources.microphone.PARAMETERS", parameters)
    with pytest.raises(SourceLost, match="Mic opens but gives no sound; is it switched on"):
        Microphone(MicrophoneSpec())


def test_a_clock_starts_in_the_future_and_passes_join_in_time(
    stand_in: StandIn,
) -> None:
    track = ClickTrack(tempo=120, meter_beats=4, count_in=4, beats=8, first=4)
    microphone = Microphone(MicrophoneSpec())
    clock = microphone.start_clock(track)
    assert clock.sample(track.start) > 128
    again = microphone.start_clock(track, after=clock.sample(track.end))
    assert again.sample(track.start) == clock.sample(track.end)
    assert again.zero - clock.zero == 12 * RATE // 2


def test_steps_need_a_harp_and_an_output(stand_in: StandIn) -> None:
    drill = music("{call} 4:2 {answer} 4:2 |", tempo=120)
    with pytest.raises(SoundError, match="has steps to play and no harp; name a harp"):
        Microphone(MicrophoneSpec(), DrillSetup(drill)).first_pass()
    silent = Microphone(MicrophoneSpec(), DrillSetup(drill, Harp.of("C")))
    assert not silent.plays_steps
    assert silent.advice == (
        "connect an output to hear the trainer play along; without one it stays silent"
    )
    assert silent.first_pass().tempo == 120


def test_passes_follow_in_time_and_resume_from_a_bar(stand_in: StandIn) -> None:
    drill = music("4:4 | 5:4 | 6:4 |", tempo=120)
    microphone = Microphone(MicrophoneSpec(), DrillSetup(drill, tempo=60.0, bars=(2, 3)))
    assert microphone.advice is None
    first = microphone.first_pass()
    following = microphone.next_pass(seamless=True)
    assert (first.tempo, following.tempo) == (60.0, 60.0)
    assert following.sample(0) == first.sample(12)
    assert microphone.next_pass(90.0).tempo == 90.0
    resumed = microphone.resume_pass((3, 3), 90.0)
    assert 0 < resumed.sample(4) < first.sample(4)
