"""Drills as the built-in player performs them, heard through a room, and marked."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from tests.support.living_room import in_living_room
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
    distance_m: float = 0.0,
    gain_db: float = 0.0,
    key: str = "C",
    seed: int = 1,
) -> Result:
    """Perform a drill and mark what a microphone hears of it.

    Args:
        drill: the drill.
        faults: faults by index of the step.
        distance_m: distance of the microphone in the living room; 0 for the dry sound.
        gain_db: gain of the microphone.
        key: key of the harp.
        seed: seed of the built-in player.
    """
    harp = Harp.of(key)
    player = BuiltInPlayer(drill, harp, spec=PlayerSpec(faults=faults or {}, seed=seed))
    sound = np.concatenate([block.samples for block in player.blocks()]).astype(float)
    if distance_m:
        sound = in_living_room(sound, player.rate, distance_m)
    sound *= 10.0 ** (gain_db / 20.0)
    marker = Marker(drill, harp, player.clock)
    blocks = (
        Block(first, sound[first : first + BLOCK].astype(np.float32), player.rate)
        for first in range(0, len(sound), BLOCK)
    )
    for reading in analyze_blocks(blocks, player.rate, harp):
        marker.observe(reading)
    return marker.result()
