"""Count-offs before the music."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from scipy import signal

from trainer.core.types import Floats
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.sound import BuiltInPlayer
from trainer.transcript import TranscriptRequest, transcribe
from trainer.transcript.count_off import CountOff, find_count_off

RATE = 22_050
LEAD_S = 0.6
WORDS = ("one", "two", "three", "four")


def sounds(kind: str, folder: Path) -> list[Floats]:
    """The four sounds of a count-off; those of a voice are spoken one by one."""
    if kind == "sticks":
        draw = np.random.default_rng(1)
        decay = np.exp(-np.arange(round(0.03 * RATE)) / (0.006 * RATE))
        return [draw.standard_normal(len(decay)) * decay for _ in WORDS]
    if kind == "foot":
        t = np.arange(round(0.12 * RATE)) / RATE
        return [np.sin(2.0 * np.pi * 70.0 * t) * np.exp(-t / 0.03)] * 4
    if shutil.which("espeak-ng") is None:
        pytest.skip("espeak-ng is missing")
    spoken = []
    for word in WORDS:
        wav = folder / f"{word}.wav"
        subprocess.run(["espeak-ng", "-v", kind, "-s", "170", "-w", wav, word], check=True)
        samples, rate = sf.read(wav)
        samples = signal.resample_poly(samples, RATE, rate)
        loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max())
        spoken.append(samples[loud[0] : loud[-1]] / np.abs(samples).max())
    return spoken


def counted(parts: list[Floats], period: float, wait: float) -> tuple[Floats, float]:
    """Four counts and a note `wait` periods after the last, in noise; and the note's start."""
    first = LEAD_S + (3.0 + wait) * period
    samples = 1e-3 * np.random.default_rng(2).standard_normal(round((first + 1.0) * RATE))
    for i, part in enumerate(parts):
        at = round((LEAD_S + i * period) * RATE)
        samples[at : at + len(part)] += part
    t = np.arange(len(samples) - round(first * RATE)) / RATE
    samples[-len(t) :] += 0.3 * np.minimum(1.0, t / 0.02) * np.sin(2.0 * np.pi * 440.0 * t)
    return samples, first


def found(kind: str, period: float, wait: float, folder: Path) -> CountOff | None:
    samples, first = counted(sounds(kind, folder), period, wait)
    return find_count_off(samples, RATE, first)


@pytest.mark.parametrize("kind", ["sticks", "foot", "en-gb", "en+f2"])
def test_a_count_off_gives_tempo_and_first_beat(kind: str, tmp_path: Path) -> None:
    for period in (0.42, 0.8):
        for wait in (1.0, 2.5):
            count = found(kind, period, wait, tmp_path)
            assert count is not None
            assert len(count.times) == 4
            assert count.period == pytest.approx(period, rel=0.07)
            assert count.first_beat == pytest.approx(LEAD_S + 4 * period, abs=0.14)


def test_uneven_sounds_and_sounds_long_before_the_music_count_nothing(tmp_path: Path) -> None:
    parts = sounds("sticks", tmp_path)
    samples = 1e-3 * np.random.default_rng(2).standard_normal(6 * RATE)
    for at in (0.6, 1.0, 1.75, 2.05):
        samples[round(at * RATE) : round(at * RATE) + len(parts[0])] += parts[0]
    assert find_count_off(samples, RATE, 2.6) is None
    assert found("sticks", 0.5, 12.0, tmp_path) is None
    assert find_count_off(samples, RATE, 0.0) is None


TUNE = parse_drill(
    'title = "T"\nharp = "C"\ntempo = 96\ntab = """\n4:1 -4:1 5:1 -5:1 | 6:2 5:1 4:1 |\n"""\n'
    '[aim]\npitch = ["all"]\n',
    "counted",
)


@pytest.fixture(scope="module")
def take() -> tuple[Floats, int]:
    """The built-in player's take of a tune, from its first note, and its rate."""
    player = BuiltInPlayer(TUNE, Harp.of("C"))
    samples = np.concatenate([block.samples for block in player.blocks()])
    loud = np.flatnonzero(np.abs(samples) > 0.02 * np.abs(samples).max())
    return samples[loud[0] : loud[-1]] / np.abs(samples).max(), player.rate


@pytest.mark.parametrize("kind", ["sticks", "foot", "en-gb"])
def test_a_count_off_before_a_take_in_a_room_is_used_and_not_written(
    kind: str, take: tuple[Floats, int], tmp_path: Path
) -> None:
    played, rate = take
    period = 60.0 / TUNE.tempo
    samples = np.zeros(round((LEAD_S + 4 * period + 0.5) * rate) + len(played))
    for i, part in enumerate(sounds(kind, tmp_path)):
        part = signal.resample_poly(part, rate, RATE)
        at = round((LEAD_S + i * period) * rate)
        samples[at : at + len(part)] += 0.5 * part / np.abs(part).max()
    begin = round((LEAD_S + 4 * period) * rate)
    samples[begin : begin + len(played)] += played
    draw = np.random.default_rng(3)
    tail = draw.standard_normal(round(0.3 * rate)) * 10.0 ** (
        -3.0 * np.linspace(0.0, 1.0, round(0.3 * rate))
    )
    tail *= 0.3 / np.sqrt(np.sum(tail**2))  # direct sound 10 dB above it
    samples += signal.fftconvolve(samples, tail)[: len(samples)]
    path = tmp_path / "counted.wav"
    sf.write(path, 0.5 * samples / np.abs(samples).max(), rate)
    transcript = transcribe(TranscriptRequest(path, harp=Harp.of("C")))
    assert any("count-off" in line for line in transcript.warnings)
    assert transcript.meter is not None
    assert transcript.meter.tempo == pytest.approx(TUNE.tempo, rel=0.04)
    written = [(note.tab, note.at) for note in transcript.notes]
    assert written == [(str(step.tab), step.start) for step in TUNE.steps]
