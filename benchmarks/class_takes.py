"""A backlog of different recordings: other drills, harps, faults, rooms and formats in each.

Take number n follows from n alone. The built-in player performs a drill of the shelf on a harp of a
random key, at a tempo up to 8 % off, with faults drawn for each step, in a modelled room with
noise, and the sound is written in one of the formats that phones and recorders give. When the
ear looks for reeds and measures pitches (`usual_kept`, `level_db`, `moving_cents`,
`calmer_detections` of `ScheduleParameters`, `max_confirmed` of `ReedParameters`, `rest_cents`,
`rest_readings`, `even_cents` and `even_readings` of `EarParameters`) was chosen while these were
counted on takes 0 to 3 and marks compared on takes 1 to 9; no other constant was chosen on these
takes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import soundfile as sf
from scipy import signal

from benchmarks.conditions import reverberation
from trainer.core.types import Floats
from trainer.drill import Drill, Step, read_shelf
from trainer.harp import Harp
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec

KEYS = ("G", "Ab", "A", "Bb", "B", "C", "Db", "D", "Eb", "E", "F", "F#")
SHORTEST_S, LONGEST_S = 8.0, 50.0
"""Lengths of the drills that are taken, in seconds."""
MIN_SINGLE = 0.9
"""Least fraction of a drill's steps that are one hole, so that a neighbour can leak into them."""
MAX_LEAK_DB, MIN_LEAK_DB = -5.0, -20.0
"""Range of the levels of leaks relative to the wanted hole, in dB."""
FORMATS = (("flac", "PCM_16"), ("flac", "PCM_24"), ("wav", "PCM_16"), ("ogg", "VORBIS"))
"""Endings and encodings of the files."""


@dataclass(frozen=True, slots=True)
class Take:
    """A recording of the backlog.

    Attributes:
        path: the file.
        drill: name of the drill.
        harp: key of the harp.
        tuning: tuning of the harp.
        seconds: length of the recording.
    """

    path: Path
    drill: str
    harp: str
    tuning: str
    seconds: float


@cache
def drills() -> tuple[Drill, ...]:
    """Return the drills of the shelf that one player can play alone, mostly one hole at a time."""
    return tuple(
        drill
        for drill in read_shelf().drills
        if not drill.free
        and not drill.second
        and not any(step.call for step in drill.steps)
        and SHORTEST_S < drill.seconds < LONGEST_S
        and sum(map(_is_single, drill.steps)) >= MIN_SINGLE * len(drill.steps)
    )


def _is_single(step: Step) -> bool:
    alone = all(len(sound) == 1 and not step.implied_neighbour(sound) for sound in step.sounds)
    return alone and not step.shake and not step.slap


def write_take(folder: Path, number: int, *, leaks: bool) -> Take:
    """Write a take.

    Args:
        folder: where to.
        number: its number.
        leaks: whether a neighbour leaks on every single note.
    """
    draw = np.random.default_rng([20, number])
    drill = drills()[int(draw.integers(len(drills())))]
    key = KEYS[int(draw.integers(len(KEYS)))]
    harp = Harp.of(key, drill.tuning)
    faults = {step.index: _fault(step, draw, leaks=leaks) for step in drill.steps}
    rate = int(draw.choice([44_100, 48_000]))
    spec = PlayerSpec(faults=faults, rate=rate, seed=number + 1)
    tempo = drill.tempo * draw.uniform(0.92, 1.08)
    player = BuiltInPlayer(drill, harp, tempo=tempo, count_in=2, spec=spec)
    sound = np.concatenate([block.samples for block in player.blocks()]).astype(float)
    sound = _recorded(sound, rate, draw)
    ending, subtype = FORMATS[int(draw.integers(len(FORMATS)))]
    path = folder / f"{number:04}.{ending}"
    # Written in parts: libsndfile's Vorbis encoder overflows its stack on long writes.
    with sf.SoundFile(path, "w", rate, 1, subtype=subtype) as file:
        for at in range(0, len(sound), 1 << 14):
            file.write(sound[at : at + (1 << 14)])
    return Take(path, drill.name, key, drill.tuning, len(sound) / rate)


def _fault(step: Step, draw: np.random.Generator, *, leaks: bool) -> Fault:
    """Return what is not quite right about a step."""
    fault = Fault(
        cents=float(draw.normal(0.0, 6.0)),
        scoop_cents=float(draw.choice([0.0, 0.0, 0.0, -40.0])),
        wobble_cents=float(draw.uniform(0.0, 3.0)),
        drift_cents=float(draw.normal(0.0, 3.0)),
        late_ms=float(draw.normal(0.0, 15.0)),
    )
    if step.vibrato or len(step.sounds) > 1 or step.scoop or step.fall:
        fault = Fault(late_ms=fault.late_ms)
    side, level_db = int(draw.choice([-1, 1])), float(draw.uniform(MIN_LEAK_DB, MAX_LEAK_DB))
    if not leaks or not _is_single(step) or step.grace:
        return fault
    hole = step.first[0].hole
    beside = hole + side if 1 <= hole + side <= 10 else hole - side
    return replace(fault, leak_db=level_db, leak_hole=beside)


def _recorded(sound: Floats, rate: int, draw: np.random.Generator) -> Floats:
    """Return a sound as recorded: in a room or a dry one, with noise, at some level."""
    if draw.random() < 0.6:
        tail = reverberation(draw.uniform(0.15, 0.6), draw.uniform(4.0, 14.0), rate, draw)
        sound = signal.fftconvolve(sound, tail)[: len(sound)]
    sound = sound * 10.0 ** (draw.uniform(-18.0, -1.0) / 20.0) / np.abs(sound).max()
    noise_db = draw.uniform(-75.0, -50.0)
    noisy = sound + 10.0 ** (noise_db / 20.0) * draw.standard_normal(len(sound))
    return np.asarray(np.clip(noisy, -1.0, 1.0 - 2.0**-15))
