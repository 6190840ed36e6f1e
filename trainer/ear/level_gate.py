"""Is anything sounding, and since when: a level gate that adapts to the room."""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from trainer.core.types import Floats

QUIETEST_DB = -120.0
FIRST_FLOOR_DB = -66.0
"""The floor taken for granted before the room has been heard."""
OPEN_DB = 12.0
CLOSE_DB = 8.0
"""How far over the room's floor the gate opens, and closes again."""
HIGHEST_FLOOR_DB = -30.0
FALL_DB_S = 60.0
RISE_DB_S = 12.0
"""How fast the floor follows the level down, and up while nothing pitched sounds."""
ATTACK_DB = 7.0
"""A rise of the level over its recent least that counts as a new attack."""
LOOK_BACK = 8
"""Hops in which that least is looked for."""
QUICK_DB, QUICK_HOPS = 4.7, 3
"""A smaller rise that counts as an attack if it is as quick as this. In 15 ms recorded reeds rise
by at least 4.9 dB out of a dip of 6 dB made by the tongue, and by at most 4.4 in a tremolo of
8 Hz and plus and minus 5 dB, 3.3 in a chord and 1.9 in a wah (measured)."""
BEAT_HOPS = 6
"""Low reeds that sound together beat at the difference of their pitches, 35 Hz and more: so many
hops, 30 ms, hold a beat's loudest moment, and a dip that is shorter is one of them."""
RISE_HOPS = 12
"""Hops that an attack may take, 60 ms: reeds speak slowly."""

MEDIAN = 5
"""Steps of the envelope in a running median: a lull in noise is not what noise is like."""


def rms_level_db(power: float) -> float:
    """RMS level in dB re full scale of sound of that mean square; at least -120."""
    return max(QUIETEST_DB, 10.0 * math.log10(max(power, 0.0) + 1e-12))


class LevelGate:
    """Follows the room's floor, opens for sound and finds attacks.

    Attributes:
        open: whether something sounds.
        floor_db: level of the room.
    """

    def __init__(self, hop_seconds: float) -> None:
        """`hop_seconds` is the time from one level to the next."""
        self._hop = hop_seconds
        self.open = False
        self.floor_db = FIRST_FLOOR_DB
        self._recent = [QUIETEST_DB] * LOOK_BACK
        self._loudest = [QUIETEST_DB] * LOOK_BACK
        self._beat = deque([QUIETEST_DB] * BEAT_HOPS, maxlen=BEAT_HOPS)
        self._since_attack = RISE_HOPS

    def update(self, level: float, pitched: bool, several: bool = False) -> bool:
        """Take the level of one more hop; True if a new attack begins in it.

        Args:
            level: dB re full scale.
            pitched: whether a pitch was heard just before: a held note is not the room.
            several: whether several reeds sound, so that the level beats.
        """
        self._beat.append(level)
        if level < self.floor_db:
            self.floor_db = max(level, self.floor_db - FALL_DB_S * self._hop, -90.0)
        elif not pitched:
            self.floor_db = min(level, self.floor_db + RISE_DB_S * self._hop, HIGHEST_FLOOR_DB)
        was_open = self.open
        self.open = level > self.floor_db + (CLOSE_DB if was_open else OPEN_DB)
        loudest = max(self._beat)
        attack = self.open and not was_open
        if self.open and was_open and self._since_attack >= RISE_HOPS:
            now, recent = (loudest, self._loudest) if several else (level, self._recent)
            over = min(min(recent) + ATTACK_DB, min(recent[-QUICK_HOPS:]) + QUICK_DB)
            attack = now > max(over, self.floor_db + OPEN_DB)
        self._since_attack = 0 if attack else self._since_attack + 1
        if self._since_attack < RISE_HOPS:
            # The rest of this rise belongs to the same attack.
            self._recent, self._loudest = [level] * LOOK_BACK, [loudest] * LOOK_BACK
        else:
            self._recent = [*self._recent[1:], level]
            self._loudest = [*self._loudest[1:], loudest]
        return attack


def attack_start(samples: Floats, step: int) -> int:
    """Index of the first sample of an attack inside a stretch that leads into it.

    The envelope is taken in steps of `step` samples. What came before the attack is the least of
    its running medians; the attack starts where they last are under twice that, or half way (in
    dB) to the height the envelope comes to where that is less, or under a tenth of it.
    """
    count = len(samples) // step
    peaks = np.abs(samples[: count * step]).reshape(count, step).max(axis=1)
    stretches = np.lib.stride_tricks.sliding_window_view(peaks, MEDIAN)
    medians = np.sort(stretches, axis=1)[:, MEDIAN // 2]  # np.median takes longer
    least, most = medians.min(), peaks.max()
    threshold = max(min(2.0 * least, np.sqrt(least * most)), 0.1 * most)
    quiet = np.flatnonzero(medians <= threshold)
    last = int(quiet[-1]) if len(quiet) else 0
    return int((last + int(np.argmax(peaks[last:] > threshold))) * step)
