"""Trials of the ear: sounds that no harp makes."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path
from random import Random

import numpy as np
import soundfile

from devtools.torture.inputs import SHORT, Trial
from trainer.core import TrainerError
from trainer.core.types import Floats
from trainer.drill import parse_drill
from trainer.ear import Reading, analyze_blocks
from trainer.harp import STANDARD_KEYS, Harp
from trainer.practice import Plan, run_take
from trainer.sound import Block, RecordingSpec
from trainer.transcript import TranscriptRequest, transcribe

RATES = (8_000, 11_025, 16_000, 22_050, 32_000, 44_100, 48_000, 96_000)
MAX_LAYERS = 4
"""Maximum number of layers of a sound."""


def sounds(folder: Path) -> Trial:
    """The readings of any sound are numbers, however it is divided into blocks."""
    drill = parse_drill(SHORT, "two-notes")

    def trial(chance: Random) -> bool:
        draw = np.random.default_rng(chance.getrandbits(32))
        rate, harp = chance.choice(RATES), Harp.of(chance.choice(STANDARD_KEYS))
        sound = _sound(draw, rate)
        first, second = (_readings(sound, rate, harp, draw) for _ in range(2))
        assert [repr(reading) for reading in first] == [repr(reading) for reading in second]
        if chance.random() < 0.1:
            path = folder / "sound.wav"
            soundfile.write(path, np.clip(sound, -1.0, 1.0), rate)
            try:
                if chance.random() < 0.5:
                    transcribe(TranscriptRequest(path))
                else:
                    list(run_take(Plan(harp, RecordingSpec(path), drill=drill)))
            except TrainerError:
                return False
        return any(reading.hz is not None for reading in first)

    return trial


def _readings(sound: Floats, rate: int, harp: Harp, draw: np.random.Generator) -> list[Reading]:
    """The readings of a sound in blocks of random lengths, which must be numbers in order."""
    cuts = np.sort(draw.integers(0, len(sound), draw.integers(0, 30)))
    bounds = [0, *cuts.tolist(), len(sound)]
    blocks = (Block(a, sound[a:b], rate) for a, b in pairwise(bounds) if b > a)
    readings = list(analyze_blocks(blocks, rate, harp))
    for before, reading in zip([None, *readings], readings, strict=False):
        assert before is None or reading.heard > before.heard
        pitches = [hz for _, hz in reading.pitches]
        for hz in (reading.hz, *pitches):
            assert hz is None or 0.0 < hz < 0.5 * rate
        levels = [db for _, db in reading.levels]
        for number in (reading.level_db, reading.cents, reading.leak_db, *levels):
            assert number is None or math.isfinite(number)
    return readings


def _sound(draw: np.random.Generator, rate: int) -> Floats:
    """A sound of a few layers, damaged or not, shape (n,)."""
    time = np.arange(int(rate * draw.uniform(0.3, 2.0))) / rate
    sound = np.zeros(len(time))
    for _ in range(int(draw.integers(1, MAX_LAYERS + 1))):
        layer = LAYERS[int(draw.integers(len(LAYERS)))](draw, time)
        sound += 10.0 ** draw.uniform(-3.0, 0.0) * layer * _gate(draw, len(time))
    match int(draw.integers(6)):
        case 0:
            sound = np.clip(sound * 10.0 ** draw.uniform(0.0, 2.0), -1.0, 1.0)
        case 1:
            steps = 2.0 ** draw.integers(1, 8)
            sound = np.round(sound * steps) / steps
        case 2:
            sound *= 10.0 ** draw.uniform(-12.0, -2.0)
        case 3:
            sound += draw.uniform(-1.0, 1.0)
    return sound


def _gate(draw: np.random.Generator, length: int) -> Floats:
    """Ones, with hard or sloping stretches of zeros."""
    if draw.random() < 0.4:
        return np.ones(length)
    places = np.sort(draw.integers(0, length, 2 * int(draw.integers(1, 8))))
    gate = np.zeros(length)
    for begin, end in places.reshape(-1, 2):
        gate[begin:end] = 1.0
    width = int(draw.integers(1, 500))
    return np.convolve(gate, np.ones(width) / width, "same")[:length]


def _tone(draw: np.random.Generator, time: Floats) -> Floats:
    """Partials of a pitch that holds, glides, jumps or sways."""
    low, high = sorted(draw.uniform(math.log(40.0), math.log(4_000.0), 2))
    match int(draw.integers(4)):
        case 0:
            path = np.full(len(time), low)
        case 1:
            path = np.linspace(low, high, len(time))
        case 2:
            path = draw.uniform(low, high, 8)[np.arange(len(time)) * 8 // len(time)]
        case _:
            path = low + 0.1 * np.sin(2.0 * np.pi * draw.uniform(1.0, 20.0) * time)
    phase = 2.0 * np.pi * np.cumsum(np.exp(path)) * (time[1] - time[0])
    orders = range(1, int(draw.integers(2, 9)))
    return np.sum([draw.normal() / k * np.sin(k * phase) for k in orders], axis=0)


def _noise(draw: np.random.Generator, time: Floats) -> Floats:
    return draw.standard_normal(len(time))


def _clicks(draw: np.random.Generator, time: Floats) -> Floats:
    return (draw.random(len(time)) < 10.0 ** draw.uniform(-4.0, -1.0)).astype(float)


def _ringing(draw: np.random.Generator, time: Floats) -> Floats:
    """A tone that decays, maybe to less than rounding leaves in a spectrum."""
    decay = np.exp(-time * 10.0 ** draw.uniform(0.0, 2.5))
    return decay * np.sin(2.0 * np.pi * draw.uniform(50.0, 3_000.0) * time)


LAYERS = _tone, _tone, _noise, _clicks, _ringing
"""What makes a layer of a sound of about 1."""
