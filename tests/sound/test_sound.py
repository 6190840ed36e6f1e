"""Recordings, saved takes and the built-in player."""

from __future__ import annotations

import dataclasses
import os
import re
import signal
import subprocess
import sys
import tracemalloc
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import parselmouth
import pytest
import soundfile as sf
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from trainer.core.types import Floats
from trainer.drill import Drill, DrillError, Goal, Step
from trainer.harp import Harp, HarpError, Tab
from trainer.sound import (
    Block,
    BuiltInPlayer,
    ClickTrack,
    Fault,
    MicrophoneSpec,
    PlayerSpec,
    Recording,
    RecordingSpec,
    SoundError,
    Source,
    TakeWriter,
    open_source,
    round_to_24_bits,
    tone,
)
from trainer.sound.click import click, mix
from trainer.sound.ring_buffer import RingBuffer

RATE = 48_000


def heard(source: Source) -> np.ndarray:
    """All of a source, its blocks checked to follow on one another."""
    end, samples = 0, []
    for block in source.blocks():
        assert (block.start, block.rate) == (end, source.rate)
        assert block.samples.dtype == np.float32
        end = block.end
        samples.append(block.samples)
    return np.concatenate(samples) if samples else np.zeros(0, np.float32)


# --- the grid -------------------------------------------------------------------------------


@given(hnp.arrays(np.float32, 50, elements=st.floats(width=32, allow_nan=True)))
def test_the_grid_is_that_of_24_bits(samples: np.ndarray) -> None:
    on = round_to_24_bits(samples)
    steps = on.astype(np.float64) * 2**23
    assert np.array_equal(steps, np.round(steps))
    assert np.all((steps >= -(2**23)) & (steps <= 2**23 - 1))
    inside = np.isfinite(samples) & (np.abs(samples) < 1)
    assert np.all(np.abs(on - samples)[inside] <= 2.0**-24 + 2.0**-23 * (samples[inside] > 0.9999))
    assert np.all(on[~np.isfinite(samples)] == 0)
    assert round_to_24_bits(on).tobytes() == on.tobytes()
    assert not np.any(np.signbit(on[on == 0]))


# --- recordings -----------------------------------------------------------------------------


def sine(rate: int, seconds: float = 1.0, hz: float = 440.0, level: float = 0.5) -> np.ndarray:
    return level * np.sin(2 * np.pi * hz / rate * np.arange(int(rate * seconds)))


@pytest.mark.parametrize(
    ("name", "subtype", "error"),
    [
        ("a.wav", "PCM_16", 1e-4),
        ("a.wav", "PCM_U8", 1e-2),
        ("a.wav", "PCM_24", 2e-7),
        ("a.wav", "FLOAT", 2e-7),
        ("a.flac", "PCM_16", 1e-4),
        ("a.ogg", "VORBIS", 0.05),
        ("a.mp3", "MPEG_LAYER_III", 0.05),
    ],
)
def test_formats_read_back_what_was_written(
    tmp_path: Path, name: str, subtype: str, error: float
) -> None:
    written = sine(44_100)
    sf.write(tmp_path / name, written, 44_100, subtype=subtype)
    recording = Recording(tmp_path / name)
    samples = heard(recording)
    assert recording.rate == 44_100
    assert len(samples) == len(written) == recording.frames
    assert np.array_equal(samples, round_to_24_bits(sf.read(tmp_path / name)[0]))  # read in one go
    assert np.max(np.abs(samples - written)[2000:-2000]) < error
    assert recording.warnings == []
    assert recording.tags == {}


@pytest.mark.parametrize("rate", [8000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000])
def test_rates_are_kept_and_low_ones_warned_about(tmp_path: Path, rate: int) -> None:
    sf.write(tmp_path / "a.wav", sine(rate), rate)
    recording = Recording(tmp_path / "a.wav")
    assert len(heard(recording)) == rate == recording.rate
    warnings = [sentence for sentence in recording.warnings if f"with {rate}, leaks" in sentence]
    assert len(warnings) == len(recording.warnings) == (rate < 16_000)


def test_channels_are_mixed_or_one_is_picked(tmp_path: Path) -> None:
    left, right = sine(RATE, level=0.5), sine(RATE, hz=660, level=0.25)
    sf.write(tmp_path / "a.wav", np.stack([left, right], axis=1), RATE, subtype="PCM_24")
    for channel, expected in ((None, (left + right) / 2), (1, left), (2, right)):
        samples = heard(Recording(tmp_path / "a.wav", channel))
        assert np.max(np.abs(samples - expected)) < 2e-7
    with pytest.raises(SoundError, match=r"a\.wav has no channel 3; it has 2"):
        Recording(tmp_path / "a.wav", 3)
    with pytest.raises(SoundError, match="no channel 0"):
        Recording(tmp_path / "a.wav", 0)


def test_samples_that_are_not_finite_become_silence_with_a_warning(tmp_path: Path) -> None:
    written = sine(RATE).astype(np.float32)
    written[24_000:24_010] = np.nan
    written[30_000] = np.inf
    sf.write(tmp_path / "a.wav", written, RATE, subtype="FLOAT")
    recording = Recording(tmp_path / "a.wav")
    samples = heard(recording)
    assert np.all(samples[24_000:24_010] == 0)
    assert samples[30_000] == 0
    assert recording.warnings == [
        "a.wav: 11 of its samples are not numbers, the first at 0.5 s; they are taken as silence"
    ]


def test_clipping_is_warned_about_and_a_full_scale_sine_is_not_clipping(tmp_path: Path) -> None:
    loud = sine(RATE, level=1.5)
    loud[: RATE // 4] *= 0.1
    for subtype in ("PCM_16", "FLOAT"):
        sf.write(tmp_path / "a.wav", loud, RATE, subtype=subtype)
        recording = Recording(tmp_path / "a.wav")
        heard(recording)
        # 440 Hz is clipped twice a period, for the three quarters of a second that are loud.
        assert recording.warnings == [
            "a.wav: record at a lower level: it is clipped in 660 places, the first at 0.3 s"
        ]
    sf.write(tmp_path / "a.wav", sine(RATE, level=0.99995), RATE, subtype="PCM_24")
    recording = Recording(tmp_path / "a.wav")
    heard(recording)
    assert recording.warnings == []


def test_silence_is_told(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", np.zeros(RATE), RATE)
    recording = Recording(tmp_path / "a.wav")
    assert recording.warnings == []
    assert not np.any(heard(recording))
    assert recording.warnings == [
        "a.wav: check that the right input was recorded: it is silent throughout"
    ]


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda path: None, "there is no recording"),
        (lambda path: path.mkdir(), "is a folder; name a recording inside it"),
        (lambda path: path.write_bytes(b""), "is an empty file"),
        (lambda path: path.write_text("4 -4 5 " * 90), "is not audio that can be read; use WAV"),
        (lambda path: path.write_bytes(b"RIFF\x00\x00"), "is not audio that can be read"),
        (lambda path: sf.write(path, np.zeros(0), RATE), "holds no sound; record it again"),
    ],
)
def test_what_cannot_be_heard_is_told(
    tmp_path: Path, make: Callable[[Path], Any], sentence: str
) -> None:
    path = tmp_path / "a.wav"
    make(path)
    with pytest.raises(SoundError, match=sentence) as error:
        Recording(path)
    assert str(path) in str(error.value)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_a_pipe_is_no_recording(tmp_path: Path) -> None:
    """It would be waited for without end."""
    os.mkfifo(tmp_path / "a.wav")
    with pytest.raises(SoundError, match=r"a\.wav is a pipe or a device; name a recording"):
        Recording(tmp_path / "a.wav")


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_a_name_that_is_not_utf8_is_read(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"caf\xe9.wav")
    sf.write(tmp_path / "a.wav", sine(RATE), RATE)
    (tmp_path / "a.wav").rename(path)
    assert len(heard(Recording(path))) == RATE


def test_a_file_that_is_damaged_from_its_start_holds_nothing(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.flac", sine(RATE), RATE)
    whole = (tmp_path / "a.flac").read_bytes()
    (tmp_path / "a.flac").write_bytes(whole[:200])
    with pytest.raises(SoundError, match=r"a\.flac is damaged: none of it can be read"):
        list(Recording(tmp_path / "a.flac").blocks())


@pytest.mark.parametrize("name", ["a.flac", "a.mp3"])
def test_a_truncated_file_gives_what_it_has(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    written = round_to_24_bits(np.random.default_rng(3).normal(0, 0.1, 3 * RATE))
    sf.write(tmp_path / name, written, RATE)
    whole = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(whole[: len(whole) // 2])

    def given() -> Floats:
        recording = Recording(tmp_path / name)
        samples = np.concatenate([block.samples for block in recording.blocks()])
        (warning,) = recording.warnings
        sentence = r"the recording is damaged: it cannot be read beyond 1\.[3-6] s of 3\.0 s; "
        assert re.fullmatch(rf"{name}: {sentence}what comes before was used", warning)
        return samples

    usual = given()
    assert len(usual) == pytest.approx(1.5 * RATE, abs=0.1 * RATE)
    np.testing.assert_array_equal(Recording(tmp_path / name).whole(), usual)
    monkeypatch.setattr("trainer.sound.sources.recording._READ", 256)
    by_little = given()
    assert len(usual) > len(by_little) - 1024
    np.testing.assert_array_equal(usual[: len(by_little)], by_little[: len(usual)])


def test_a_wav_shorter_than_its_header_is_warned_about(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", sine(RATE), RATE, subtype="PCM_16")
    whole = (tmp_path / "a.wav").read_bytes()
    (tmp_path / "a.wav").write_bytes(whole[: len(whole) // 2])
    recording = Recording(tmp_path / "a.wav")
    assert len(heard(recording)) == pytest.approx(RATE / 2, abs=100)
    assert recording.warnings == ["a.wav: the recording was cut off; what comes before was used"]
    # One written into a pipe says the most that fits instead of its length, and is in order.
    streamed = bytearray(whole)
    streamed[40:44] = streamed[4:8] = b"\xff\xff\xff\xff"
    (tmp_path / "a.wav").write_bytes(bytes(streamed))
    assert Recording(tmp_path / "a.wav").warnings == []


def test_an_hour_takes_no_more_memory_than_a_minute(tmp_path: Path) -> None:
    def peak(seconds: int) -> int:
        sf.write(tmp_path / "a.wav", np.zeros(seconds * 8000, np.int16), 8000)
        recording = Recording(tmp_path / "a.wav")
        tracemalloc.start()
        for _ in recording.blocks():
            pass
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    # The lesser of two: Python's own table of strings grows once in a while.
    long, short = (min(peak(seconds), peak(seconds)) for seconds in (240, 8))
    assert long < short + 10_000  # the longer one holds 1,856,000 samples more


def test_closing_ends_the_blocks(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", sine(RATE), RATE)
    recording = Recording(tmp_path / "a.wav")
    blocks = recording.blocks()
    assert next(blocks).start == 0
    recording.close()
    recording.close()
    assert list(blocks) == []


# --- saved takes ----------------------------------------------------------------------------


def noise(seconds: float) -> np.ndarray:
    return round_to_24_bits(np.random.default_rng(5).normal(0, 0.3, int(seconds * RATE)))


def cut(samples: np.ndarray, size: int) -> Iterator[Block]:
    for start in range(0, len(samples), size):
        yield Block(start, samples[start : start + size], RATE)


def test_a_take_reads_back_bit_for_bit_with_its_tags(tmp_path: Path) -> None:
    played = noise(3.3)
    played[:3] = (-1.0, 1.0 - 2.0**-23, 0.0)
    writer = TakeWriter(tmp_path / "take.flac", RATE)
    for block in cut(played, 257):
        writer.write(block)
    tags = {"drill": "hafen-1", "zero": 12_000, "bars": [1, 4], "note": "blauer Kai — früh"}
    assert writer.close(tags) == tmp_path / "take.flac"

    assert [path.name for path in tmp_path.iterdir()] == ["take.flac"]
    recording = Recording(tmp_path / "take.flac")
    assert recording.tags == tags
    assert heard(recording).tobytes() == played.tobytes()
    assert sf.info(tmp_path / "take.flac").subtype == "PCM_24"


@pytest.mark.parametrize("how", ["many tags", "a reference that stayed silent"])
def test_a_take_that_cannot_be_renamed_is_copied_with_progress(tmp_path: Path, how: str) -> None:
    with_reference = how != "many tags"
    tags = {"passes": ["x" * 40] * (2 if with_reference else 1000)}
    writer = TakeWriter(tmp_path / "take.flac", RATE, with_reference=with_reference)
    played = noise(25.0)
    for block in cut(played, 4096):
        writer.write(block)
    assert list(writer.finish(tags)) == [pytest.approx(21.8 / 25.0, abs=0.01), 1.0]
    assert [path.name for path in tmp_path.iterdir()] == ["take.flac"]
    recording = Recording(tmp_path / "take.flac")
    assert (recording.tags, recording.channels) == (tags, 1)
    assert heard(recording).tobytes() == played.tobytes()


def test_a_killed_take_is_there_to_the_last_moment(tmp_path: Path) -> None:
    code = """
import os, signal, sys
from pathlib import Path
import numpy as np
from trainer.sound import *
writer = TakeWriter(Path(sys.argv[1]), 48000)
noise = round_to_24_bits(np.random.default_rng(5).normal(0, 0.3, 3 * 48000))
for start in range(0, len(noise), 256):
    writer.write(Block(start, noise[start : start + 256], 48000))
os.kill(os.getpid(), signal.SIGKILL)
"""
    killed = subprocess.run([sys.executable, "-c", code, str(tmp_path / "take.flac")])
    assert killed.returncode == -signal.SIGKILL
    assert not (tmp_path / "take.flac").exists()
    recording = Recording(tmp_path / "take.part.flac")
    samples = heard(recording)
    assert len(samples) > 2 * RATE
    assert samples.tobytes() == noise(3)[: len(samples)].tobytes()
    assert "was cut off" in recording.warnings[0]
    with pytest.raises(SoundError, match="holds the sound of a take that was cut off"):
        TakeWriter(tmp_path / "take.flac", RATE)


def test_a_full_disk_is_an_error_and_keeps_what_was_written(tmp_path: Path) -> None:
    pytest.importorskip("resource")
    code = """
import resource, sys
from pathlib import Path
import numpy as np
from trainer.sound import *
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
writer = TakeWriter(Path(sys.argv[1]), 48000)
noise = round_to_24_bits(np.random.default_rng(5).normal(0, 0.3, 3 * 48000))
for start in range(0, len(noise), 256):
    try:
        writer.write(Block(start, noise[start : start + 256], 48000))
    except SoundError as error:
        print(error)
        break
print(writer.close({"drill": "pier"}))
"""
    command = [sys.executable, "-c", code, str(tmp_path / "take.flac")]
    out = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    assert out[0].startswith("the take cannot be saved any further: ")
    assert out[1] == str(tmp_path / "take.flac")
    recording = Recording(tmp_path / "take.flac")
    assert recording.tags == {"drill": "pier"}
    assert len(heard(recording)) > RATE


def test_nothing_is_overwritten_and_a_bad_path_is_an_error_at_once(tmp_path: Path) -> None:
    (tmp_path / "there.flac").write_text("dear")
    with pytest.raises(SoundError, match=r"there\.flac exists already; choose another name"):
        TakeWriter(tmp_path / "there.flac", RATE)
    assert (tmp_path / "there.flac").read_text() == "dear"
    with pytest.raises(SoundError, match=r"there is no folder .*nowhere to save the take in"):
        TakeWriter(tmp_path / "nowhere" / "a.flac", RATE)
    with pytest.raises(SoundError, match=r"saved as FLAC; name the file a\.flac"):
        TakeWriter(tmp_path / "a.wav", RATE)
    with pytest.raises(SoundError, match=r"cannot be saved in .*: File name too long"):
        TakeWriter(tmp_path / f"{'a' * 300}.flac", RATE)


def test_a_take_of_nothing_leaves_nothing(tmp_path: Path) -> None:
    assert TakeWriter(tmp_path / "a.flac", RATE).close({}) is None
    assert list(tmp_path.iterdir()) == []


# --- the built-in player --------------------------------------------------------------------


def drill(*texts: str, beats: int = 4, tempo: float = 240.0) -> Drill:
    """A drill of steps of one length: ``4``, ``1+2+3``, ``-4'>-4``."""
    steps = [
        Step(
            index=i,
            sounds=tuple(
                tuple(Tab.parse(tab) for tab in sound.split("+")) for sound in text.split(">")
            ),
            start=Fraction(i * beats),
            beats=Fraction(beats),
            bar=i * beats // 4 + 1,
            text=text,
        )
        for i, text in enumerate(texts)
    ]
    length = Fraction(len(texts) * beats)
    return Drill("kai", "Kai", "", "C", "richter", tempo, (4, 4), Goal(), tuple(steps), length)


def player(what: Drill, faults: Mapping[int, Fault] | None = None, **more: Any) -> BuiltInPlayer:
    spec = PlayerSpec(faults=faults or {}, seed=more.pop("seed", 1))
    return BuiltInPlayer(what, more.pop("harp", None) or Harp.of("C"), spec=spec, **more)


def part(
    player: BuiltInPlayer, samples: np.ndarray, step: int, start: float, end: float
) -> np.ndarray:
    """A part of a step of a drill of four-beat steps, from and to shares of its length."""
    at, length = player.clock.sample(4 * step), player.clock.sample(4) - player.clock.sample(0)
    return samples[at + round(start * length) : at + round(end * length)].astype(np.float64)


def praat(samples: np.ndarray, near: float, step: float = 0.005) -> np.ndarray:
    """Praat's pitch track in cents from `near` Hz (Boersma 1993, autocorrelation)."""
    pitch = parselmouth.Sound(samples, RATE).to_pitch_ac(
        time_step=step, pitch_floor=near * 0.7, pitch_ceiling=near * 1.4
    )
    hz = pitch.selected_array["frequency"]
    return 1200 * np.log2(hz[hz > 0] / near)


def test_each_note_is_held_where_it_was_asked_to_be() -> None:
    texts = ("1", "-2''", "3", "-4", "-4'", "5", "6o", "-7", "8'", "9")
    off = (0.0, 12.0, -18.0, 5.5, -31.0, 2.0, 0.0, -7.0, 25.0, -3.0)
    for key in ("low F", "C", "F#"):
        harp = Harp.of(key)
        playing = player(drill(*texts), dict(enumerate(Fault(cents=c) for c in off)), harp=harp)
        samples = heard(playing)
        for i, text in enumerate(texts):
            held = part(playing, samples, i, 0.2, 0.85)
            measured = np.median(praat(held, harp.hz(Tab.parse(text))))
            assert measured == pytest.approx(off[i], abs=0.5), (key, text)


def test_a_wobble_has_the_deviation_asked_and_a_drift_the_slope() -> None:
    faults = {0: Fault(wobble_cents=8.0), 1: Fault(drift_cents=30.0), 2: Fault(drift_cents=-12.0)}
    playing = player(drill("-4", "-4", "6", tempo=120), faults)
    samples = heard(playing)
    hz = [playing._harp.hz(Tab.parse(text)) for text in ("-4", "-4", "6")]
    # The step lasts 2 s and sounds until 60 ms before its end.
    wobble = praat(part(playing, samples, 0, 0.0, 0.97), hz[0])
    assert np.std(wobble) == pytest.approx(8.0, abs=0.4)
    assert np.mean(wobble) == pytest.approx(0.0, abs=0.4)
    turns = np.sum(np.diff(np.sign(wobble - np.mean(wobble))) != 0) / 2
    assert 4.0 <= turns / 1.94 <= 5.0
    for step, drift in ((1, 30.0), (2, -12.0)):
        track = praat(part(playing, samples, step, 0.1, 0.9), hz[step])
        slope = np.polyfit(np.linspace(0.1, 0.9, len(track)), track, 1)[0] * 0.97
        assert slope == pytest.approx(drift, abs=1.0)
        assert np.mean(track) == pytest.approx(drift * (0.5 / 0.97 - 0.5), abs=0.5)


def test_a_scoop_starts_where_it_is_asked_to_and_takes_its_time() -> None:
    faults = {0: Fault(scoop_cents=80, scoop_ms=200), 1: Fault(scoop_cents=-40, scoop_ms=300)}
    playing = player(drill("6", "6"), faults)
    samples, hz = heard(playing), playing._harp.hz(Tab.parse("6"))
    for step, scoop, seconds in ((0, 80.0, 0.2), (1, -40.0, 0.3)):
        at = playing.clock.sample(4 * step)
        track = praat(samples[at : at + RATE // 2].astype(np.float64), hz, 0.001)
        assert track[0] == pytest.approx(scoop, abs=6.0)  # the first frame reads 13 ms in
        middle = praat(samples[at : at + round(seconds * RATE)].astype(np.float64), hz, 0.001)
        assert np.median(middle) == pytest.approx(scoop / 2, abs=5.0)
        assert np.median(track[-100:]) == pytest.approx(0.0, abs=0.5)


def test_a_bend_glides_as_the_drill_means_it() -> None:
    playing = player(drill("-3''>-3", "-4>-4'>-4", tempo=120))
    samples = heard(playing)
    for step in playing._steps:
        hz = [playing._harp.hz(sound[0]) for sound in step.sounds]
        track = praat(part(playing, samples, step.index, 0.0, 0.97), hz[0])
        times = np.linspace(0, 0.97, len(track) + 2)[1:-1]
        path = 1200 * np.log2(np.array(hz) / hz[0])
        wanted = [np.interp(step.path_position(t), range(len(hz)), path) for t in times]
        late = slice(20, -20)
        assert np.max(np.abs(track - wanted)[late]) < 4.0


def test_a_slide_passes_the_holes_between() -> None:
    playing = player(drill("4>6", "8>7", tempo=120))
    samples = heard(playing)
    for step, at, tab in (
        (0, 0.20, "4"), (0, 0.50, "5"), (0, 0.80, "6"), (1, 0.3, "8"), (1, 0.7, "7"),
    ):  # fmt: skip
        hz = playing._harp.hz(Tab.parse(tab))
        near = praat(part(playing, samples, step, at - 0.05, at + 0.05), hz)
        assert np.median(near) == pytest.approx(0.0, abs=1.0), tab
    # Nothing between them is silent.
    level = np.abs(part(playing, samples, 0, 0.05, 0.95)).reshape(-1, 480).max(axis=1)
    assert level.min() > 0.02


def partials(samples: np.ndarray, hz: float, count: int) -> tuple[float, float]:
    """f0 near `hz`, and RMS of all partials by a 4-term Blackman-Harris window (Harris 1978)."""
    n = np.arange(len(samples))
    terms = (0.35875, -0.48829, 0.14128, -0.01168)
    window = sum(a * np.cos(2 * np.pi * k * n / len(n)) for k, a in enumerate(terms))
    bins = 1 << 20
    spectrum = 2 * np.abs(np.fft.rfft(samples * window, bins)) / window.sum()
    near = np.arange(int(hz * 0.992 * bins / RATE), int(hz * 1.008 * bins / RATE))
    f0 = near[np.argmax(spectrum[near])] * RATE / bins
    peaks = [
        spectrum[round(k * f0 * bins / RATE) - 8 : round(k * f0 * bins / RATE) + 9].max()
        for k in range(1, count + 1)
        if k * f0 < 0.49 * RATE
    ]
    return f0, float(np.sqrt(np.sum(np.square(peaks)) / 2))


@pytest.mark.parametrize(
    ("text", "fault", "leaking"),
    [
        ("-4", Fault(leak_db=-12.0), "-3"),
        ("-4", Fault(leak_db=-30.0, leak_hole=5), "-5"),
        ("1", Fault(leak_db=-20.0), "2"),
        ("-9", Fault(leak_db=-6.0), "-8"),
        ("-2'", Fault(leak_db=-15.0, leak_hole=3), "-3"),
    ],
)
def test_a_leak_is_the_neighbours_reed_at_the_level_asked(
    text: str, fault: Fault, leaking: str
) -> None:
    playing = player(drill(text, tempo=60), {0: fault})
    held = part(playing, heard(playing), 0, 0.05, 0.95)  # 3.6 s resolve what lies 3 Hz apart
    wanted = playing._harp.hz(Tab.parse(text))
    neighbour = playing._harp.hz(Tab.parse(leaking))
    f0, leak = partials(held, neighbour, 12)
    _, main = partials(held, wanted, 32)
    assert 20 * np.log10(leak / main) == pytest.approx(fault.leak_db, abs=1.0)
    assert 2.5 < abs(1200 * np.log2(f0 / neighbour)) < 8.5  # a few cents off theory


def test_a_chord_sounds_all_its_holes_alike() -> None:
    playing = player(drill("1+2+3", "1", tempo=60))
    samples = heard(playing)
    chord = part(playing, samples, 0, 0.05, 0.95)
    levels = [partials(chord, playing._harp.hz(Tab.parse(hole)), 3)[1] for hole in "123"]
    assert all(level > 0.015 for level in levels)
    alone = part(playing, samples, 1, 0.05, 0.95)
    assert np.std(chord) == pytest.approx(np.std(alone), rel=0.1)


def test_a_reed_sounds_as_reeds_were_measured_to() -> None:
    """The figures of the two sound fonts in reed.py's docstring, for the voice as a whole."""
    playing = player(drill("1", tempo=60), harp=Harp.of("low F"))
    low = part(playing, heard(playing), 0, 0.05, 0.95)
    hz = playing._harp.hz(Tab.parse("1"))
    levels = [partials(low, hz * k, 1)[1] for k in (1, 2, 3, 8)]
    assert levels[3] > 0.1 * max(levels)  # carries to the eighth partial
    high = player(drill("10", tempo=60))
    top = part(high, heard(high), 0, 0.05, 0.95)
    ratio = partials(top, 2093.0 * 2, 1)[1] / partials(top, 2093.0, 1)[1]
    assert -30 < 20 * np.log10(ratio) < -12  # nearly a sine


def test_the_first_sample_of_a_note_is_on_its_beat_plus_its_lateness() -> None:
    what = drill("4", "-4", "5", "1", "10")
    late = (0.0, 35.0, -20.0, 150.0, 7.5)
    faults = {i: Fault(late_ms=ms) for i, ms in enumerate(late)}
    whole = heard(player(what, faults))
    for i, ms in enumerate(late):
        # Another reed for that step: what differs is the step, for breath and room are the same.
        other = heard(player(what, {**faults, i: Fault(late_ms=ms, instead="9")}))
        first = int(np.flatnonzero(other != whole)[0])
        assert first == player(what).clock.sample(4 * i) + round(ms * RATE / 1000)


def test_a_step_ends_before_the_next_and_a_skipped_one_is_silent() -> None:
    playing = player(drill("4", "4", "4"), {1: Fault(skip=True)})
    samples = heard(playing)
    room = samples[: RATE // 4].astype(np.float64)
    assert 20 * np.log10(np.std(room)) == pytest.approx(-75.0, abs=1.0)
    for quiet in (part(playing, samples, 1, 0.0, 1.0), part(playing, samples, 0, 0.995, 1.0)):
        assert np.std(quiet) == pytest.approx(np.std(room), rel=0.2)
    assert np.std(part(playing, samples, 0, 0.5, 0.93)) > 0.09
    assert len(samples) == playing.clock.sample(12) + RATE // 2


def test_another_note_can_be_played_instead() -> None:
    playing = player(drill("-4", "4>6"), {0: Fault(instead="-5", cents=6), 1: Fault(instead="2")})
    samples = heard(playing)
    for step, tab, off in ((0, "-5", 6.0), (1, "2", 0.0)):
        track = praat(part(playing, samples, step, 0.2, 0.8), playing._harp.hz(Tab.parse(tab)))
        assert np.median(track) == pytest.approx(off, abs=0.5)


def test_the_samples_do_not_depend_on_the_block_size_only_on_the_seed() -> None:
    what = drill("-4'>-4", "1+2", "4>5")
    faults = {0: Fault(wobble_cents=5, leak_db=-20), 2: Fault(late_ms=-90)}
    first = heard(player(what, faults, block=1000))
    for block in (64, 4096):
        assert heard(player(what, faults, block=block)).tobytes() == first.tobytes()
    assert heard(player(what, faults, seed=2)).tobytes() != first.tobytes()


def test_a_long_drill_takes_no_more_memory_than_a_short_one() -> None:
    def peak(notes: int) -> int:
        playing = player(drill(*["10"] * notes))
        tracemalloc.start()
        for _ in playing.blocks():
            pass
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    long, short = (min(peak(notes), peak(notes)) for notes in (20, 3))
    assert long < short + 30_000  # 17 s more, which would be 3 MB


def test_a_range_of_bars_keeps_the_drills_own_clock() -> None:
    what = drill("1", "2", "3", "4")
    playing = player(what, bars=(3, 4), count_in=2, tempo=120)
    # A quarter of a second of room, then two beats of count-in, then bar 3, which is beat 8.
    assert playing.clock.sample(8) == RATE // 4 + RATE
    samples = heard(playing)
    assert np.std(samples[: RATE // 4 + RATE]) < 1e-3
    for step, tab in ((2, "3"), (3, "4")):
        track = praat(part(playing, samples, step, 0.2, 0.8), playing._harp.hz(Tab.parse(tab)))
        assert np.median(track) == pytest.approx(0.0, abs=0.5)
    with pytest.raises(DrillError, match="bars 1 to 4"):
        player(what, bars=(3, 9))


def test_it_plays_again_in_time() -> None:
    playing = player(drill("4", "5"))
    first, clocks, samples = playing.clock, [], []
    for block in playing.blocks():
        samples.append(block.samples)
        if not clocks and block.end > first.sample(2):
            clocks.append(playing.next_pass())
    # The count-in of the second pass starts where the first one's last bar ends.
    assert clocks[0].sample(-4) == first.sample(8)
    whole = np.concatenate(samples)
    at, length = clocks[0].sample(0), RATE // 2
    track = praat(whole[at + 9600 : at + 9600 + length].astype(float), 523.25)
    assert np.median(track) == pytest.approx(0.0, abs=0.5)
    assert len(whole) == clocks[0].sample(8) + RATE // 2


def test_faults_that_cannot_be_played_are_errors() -> None:
    with pytest.raises(HarpError, match="hole 5 draw bends by less"):
        player(drill("-5'"), harp=Harp.of("C"))
    with pytest.raises(SoundError, match="cannot leak hole 4 while it plays 4 in bar 1"):
        player(drill("4"), {0: Fault(leak_db=-20, leak_hole=4)})
    with pytest.raises(SoundError, match="step 8 of kai cannot have a fault: it has 1 steps"):
        player(drill("4"), {7: Fault(cents=3)})


def test_it_keeps_the_pace_of_a_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    now = [0.0]

    def sleep(seconds: float) -> None:
        now[0] += seconds

    clock = SimpleNamespace(monotonic=lambda: now[0], sleep=sleep)
    monkeypatch.setattr("trainer.sound.sources.player.time", clock)
    playing = BuiltInPlayer(drill("4"), Harp.of("C"), spec=PlayerSpec(realtime=True))
    for block in playing.blocks():
        assert len(block.samples) <= 256
        assert now[0] == pytest.approx(block.end / RATE)
        now[0] += 0.001  # whoever listens takes its time


def test_it_plays_aloud_only_where_it_can(monkeypatch: pytest.MonkeyPatch) -> None:
    def no_portaudio() -> None:
        raise AssertionError("not asked to be heard")

    monkeypatch.setattr("trainer.sound.speaker.load_portaudio", no_portaudio)
    silent = heard(player(drill("4")))
    monkeypatch.undo()

    played: list[np.ndarray] = []
    shut: list[bool] = []
    speaker = SimpleNamespace(play=played.append, close=lambda: shut.append(True))
    monkeypatch.setattr("trainer.sound.sources.player.Speaker", lambda *given: speaker)
    monkeypatch.setattr("trainer.sound.sources.player.time.sleep", lambda seconds: None)
    aloud = BuiltInPlayer(drill("4"), Harp.of("C"), spec=PlayerSpec(aloud=True))
    assert heard(aloud).tobytes() == silent.tobytes()
    assert shut == [True]
    clicks = np.concatenate(played)[4800:] - silent
    first = aloud.clock.sample(-4)
    assert np.flatnonzero(clicks)[0] == pytest.approx(first, abs=2)
    assert np.max(np.abs(clicks[aloud.clock.sample(0) :])) == 0


def test_without_an_output_it_goes_on_unheard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    playing = BuiltInPlayer(drill("4"), Harp.of("C"), spec=PlayerSpec(aloud=True))
    assert len(heard(playing)) == playing.clock.sample(4) + RATE // 2
    assert not playing.clicks_audible


# --- clicks, tones, the ring, opening -------------------------------------------------------


def test_clicks_fall_on_the_beats_and_the_bar_is_accented() -> None:
    track = ClickTrack.of(drill("4", "5", "6"), tempo=90, bars=(2, 3), count_in=3)
    assert track == ClickTrack(tempo=90, meter_beats=4, count_in=3, beats=8, first=4)
    beats = list(track.beats_from(1000, RATE))
    assert [at for at, _ in beats] == [1000 + beat * 32_000 for beat in range(1, 12)]
    assert [beat for beat, (_, accent) in zip(range(1, 12), beats, strict=True) if accent] == [4, 8]
    assert np.max(np.abs(click(RATE, accented=True))) > np.max(np.abs(click(RATE, accented=False)))


def test_mixing_is_the_same_however_it_is_cut() -> None:
    whole = np.zeros(5000, np.float32)
    mix(whole, 0, click(RATE, accented=True), 1234)
    pieces = [np.zeros(100, np.float32) for _ in range(50)]
    for i, piece in enumerate(pieces):
        mix(piece, 100 * i, click(RATE, accented=True), 1234)
    assert np.array_equal(np.concatenate(pieces), whole)
    assert np.count_nonzero(whole) > 1000


def test_a_tone_has_its_pitch_and_level() -> None:
    sound = tone(311.13, 1.0, RATE, level_db=-20.0).astype(np.float64)
    assert np.median(praat(sound, 311.13)) == pytest.approx(0.0, abs=0.1)
    held = sound[RATE // 4 : -RATE // 4]
    assert 20 * np.log10(np.std(held)) == pytest.approx(-20.0, abs=0.1)
    assert np.max(np.abs(sound)) < 0.5
    assert np.max(np.abs(tone(30_000.0, 0.1, RATE))) == 0.0


@given(st.lists(st.tuples(st.booleans(), st.integers(1, 7)), max_size=60))
def test_a_ring_buffer_keeps_order(moves: list[tuple[bool, int]]) -> None:
    ring, put, taken = RingBuffer(10, 1), 0, 0
    for is_put, count in moves:
        if is_put:
            fits = count <= 10 - (put - taken)
            frames = np.arange(put, put + count, dtype=np.float32)[:, None]
            assert ring.write(frames) is fits
            put += count * fits
        else:
            out = np.full((count, 1), -1.0, np.float32)
            got = ring.read(out)
            assert got == min(count, put - taken)
            assert out[:got, 0].tolist() == list(range(taken, taken + got))
            taken += got
        assert (ring.available, ring.free) == (put - taken, 10 - (put - taken))


def test_a_spec_opens_its_source(tmp_path: Path) -> None:
    sf.write(tmp_path / "a.wav", np.stack([sine(RATE), sine(RATE) * 0], 1), RATE)
    recording = open_source(RecordingSpec(tmp_path / "a.wav", channel=2))
    assert isinstance(recording, Recording)
    assert not np.any(heard(recording))

    spec = PlayerSpec(rate=22_050)
    playing = open_source(spec, drill=drill("4"), harp=Harp.of("D"), tempo=100, count_in=1)
    assert isinstance(playing, BuiltInPlayer)
    assert (playing.clock.tempo, playing.rate) == (100, 22_050)
    with pytest.raises(SoundError, match="needs a drill and a harp"):
        open_source(spec)

    opened: list[Any] = []

    class Stub:
        def __init__(self, *given: Any) -> None:
            opened.extend(given)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("trainer.sound.sources.microphone.Microphone", Stub)
        spec, what = MicrophoneSpec(device="usb"), drill("4", "5")
        open_source(spec, drill=what, harp=Harp.of("C"), count_in=2)
        both = dataclasses.replace(what, second=what.steps[1:])
        for bars in ((1, 1), (1, 2)):  # the other part comes in bar 2
            open_source(spec, drill=both, harp=Harp.of("C"), bars=bars)
    specs, setups = opened[::2], opened[1::2]
    assert specs == [spec] * 3
    track = ClickTrack(tempo=240, meter_beats=4, count_in=2, beats=8)
    assert setups[0].click_track() == track
    assert [bool(setup.accompaniment()) for setup in setups] == [False, False, True]


def test_specs_travel_between_processes() -> None:
    import pickle

    spec = PlayerSpec(faults={1: Fault(cents=3)}, seed=4)
    assert pickle.loads(pickle.dumps(spec)) == spec
    assert dataclasses.replace(spec, seed=5) != spec
