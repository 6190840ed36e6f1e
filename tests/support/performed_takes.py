"""Drills as the built-in player performs them, heard through a room, and marked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from benchmarks.conditions import reverberation
from trainer.core.types import Floats
from trainer.drill import Drill
from trainer.ear import analyze_blocks
from trainer.harp import Harp
from trainer.marking import Marker, Result
from trainer.sound import Block, Fault, PlayerSpec
from trainer.sound.sources.player import BuiltInPlayer

BLOCK = 2048


def performed(
    drill: Drill,
    faults: Mapping[int, Fault] | None = None,
    *,
    room_s: float = 0.0,
    direct_db: float = 6.0,
    gain_db: float = 0.0,
    key: str = "C",
    seed: int = 1,
) -> Result:
    """Perform a drill and mark what a microphone hears of it.

    Args:
        drill: the drill.
        faults: faults by index of the step.
        room_s: reverberation time of the room in seconds; 0 for none.
        direct_db: level of the direct sound over the reverberation in dB.
        gain_db: gain of the microphone.
        key: key of the harp.
        seed: seed of the built-in player.
    """
    harp = Harp.of(key)
    player = BuiltInPlayer(drill, harp, spec=PlayerSpec(faults=faults or {}, seed=seed))
    sound = np.concatenate([block.samples for block in player.blocks()]).astype(float)
    sound = in_room(sound, player.rate, room_s, direct_db) * 10.0 ** (gain_db / 20.0)
    marker = Marker(drill, harp, player.clock)
    blocks = (
        Block(first, sound[first : first + BLOCK].astype(np.float32), player.rate)
        for first in range(0, len(sound), BLOCK)
    )
    for reading in analyze_blocks(blocks, player.rate, harp):
        marker.observe(reading)
    return marker.result()


def in_room(sound: Floats, rate: int, room_s: float, direct_db: float = 6.0) -> Floats:
    """A sound with the reverberation of a modelled room; unchanged for a time of 0 s."""
    if not room_s:
        return sound
    from scipy.signal import fftconvolve

    response = reverberation(room_s, direct_db, rate, np.random.default_rng(5))
    return np.asarray(fftconvolve(sound, response)[: len(sound)])
