"""Level gate with an adaptive noise floor, and attack detection."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats

MINIMUM_LEVEL_DB = -120.0
"""Lowest level that is reported, dB re full scale: digital silence."""


@dataclass(frozen=True, slots=True)
class GateParameters:
    """Constants of the level gate. A hop is 5 ms.

    Unless a field says otherwise, its value was chosen while listening to `harmonica 1` of
    benchmarks/fonts.py and to noise; no record of a fit exists.
    """

    first_floor_db: float = -66.0
    """Noise floor assumed before any sound has arrived, dB re full scale."""
    lowest_floor_db: float = -90.0
    """Lower bound of the noise floor, dB re full scale: about the step of 16-bit samples."""
    highest_floor_db: float = -30.0
    """Upper bound of the noise floor, dB re full scale."""
    open_db: float = 12.0
    """Level above the noise floor at which the gate opens, dB."""
    close_db: float = 8.0
    """Level above the noise floor under which the gate closes, dB: 4 dB of hysteresis."""
    fall_db_s: float = 60.0
    """Rate at which the floor follows the level down, dB per second."""
    rise_db_s: float = 12.0
    """Rate at which the floor follows the level up while no pitch is heard, dB per second."""
    attack_db: float = 7.0
    """Rise of the level above its recent minimum that counts as a new attack, dB."""
    look_back_hops: int = 8
    """Span of that minimum, hops (40 ms)."""
    quick_attack_db: float = 4.7
    """Smaller rise that counts as an attack if it is quick, dB.

    A narrow fit: it lies between two observations on the same recorded reeds. In 15 ms they rise
    by 4.9 dB or more out of a 6 dB dip made by the tongue, and by 4.4 dB or less in a tremolo of
    8 Hz and plus and minus 5 dB (3.3 in a chord, 1.9 in a wah). Other instruments or rooms may
    need another value; it has not been tested on held-out material.
    """
    quick_hops: int = 3
    """Span of the minimum for `quick_attack_db`, hops (15 ms)."""
    beat_hops: int = 6
    """Span of the maximum that replaces the level while several reeds sound, hops (30 ms).

    Neighbouring reeds beat at the difference of their pitches. On a low C harp it is 31 Hz or more,
    and 35 Hz on higher ones, so 30 ms contain a beat's maximum or come within 2 ms of it.
    """
    rise_hops: int = 12
    """Time in which a further rise belongs to the same attack, hops (60 ms): reeds speak slowly."""


DEFAULT_GATE = GateParameters()

MEDIAN_STEPS = 5
"""Width of the running median over the envelope before an attack, in steps. It skips short lulls
in noise, which are not typical of it."""


def rms_level_db(power: float) -> float:
    """Return the RMS level, dB re full scale, of sound with that mean square; -120 at least."""
    return max(MINIMUM_LEVEL_DB, 10.0 * math.log10(max(power, 0.0) + 1e-12))


class LevelGate:
    """Tracks the noise floor, opens for sound and detects attacks.

    Attributes:
        open: whether anything sounds.
        floor_db: noise floor, dB re full scale.
    """

    def __init__(self, hop_seconds: float, parameters: GateParameters = DEFAULT_GATE) -> None:
        """Start closed.

        Args:
            hop_seconds: time from one level to the next.
            parameters: constants.
        """
        self._parameters = parameters
        self._fall_db = parameters.fall_db_s * hop_seconds
        self._rise_db = parameters.rise_db_s * hop_seconds
        self.open = False
        self.floor_db = parameters.first_floor_db
        self._recent = [MINIMUM_LEVEL_DB] * parameters.look_back_hops
        self._recent_maxima = [MINIMUM_LEVEL_DB] * parameters.look_back_hops
        self._beat = deque([MINIMUM_LEVEL_DB] * parameters.beat_hops, maxlen=parameters.beat_hops)
        self._hops_since_attack = parameters.rise_hops
        self._hops_since_several = parameters.look_back_hops

    def update(self, level: float, pitched: bool, several: bool = False) -> bool:
        """Process the level of one more hop.

        Args:
            level: dB re full scale.
            pitched: whether the last reading has a pitch. A held note does not raise the floor.
            several: whether several reeds sound, so that the level beats.

        Returns:
            Whether a new attack begins in this hop.
        """
        p = self._parameters
        self._beat.append(level)
        self._hops_since_several = 0 if several else self._hops_since_several + 1
        if level < self.floor_db:
            self.floor_db = max(level, self.floor_db - self._fall_db, p.lowest_floor_db)
        elif not pitched:
            self.floor_db = min(level, self.floor_db + self._rise_db, p.highest_floor_db)
        was_open = self.open
        self.open = level > self.floor_db + (p.close_db if was_open else p.open_db)
        maximum = max(self._beat)
        attack = self.open and not was_open
        if self.open and was_open and self._hops_since_attack >= p.rise_hops:
            # After several reeds were detected, the span of the minimum still holds their beats.
            beats = self._hops_since_several < p.look_back_hops
            now, recent = (maximum, self._recent_maxima) if beats else (level, self._recent)
            threshold = min(
                min(recent) + p.attack_db, min(recent[-p.quick_hops :]) + p.quick_attack_db
            )
            attack = now > max(threshold, self.floor_db + p.open_db)
        self._hops_since_attack = 0 if attack else self._hops_since_attack + 1
        if self._hops_since_attack < p.rise_hops:
            # The rest of this rise belongs to the same attack.
            self._recent = [level] * p.look_back_hops
            self._recent_maxima = [maximum] * p.look_back_hops
        else:
            self._recent = [*self._recent[1:], level]
            self._recent_maxima = [*self._recent_maxima[1:], maximum]
        return attack


def attack_start(samples: Floats, step: int) -> int:
    """Return the index of the first sample of an attack in a window that leads into it.

    The envelope is the peak of each `step` samples. With its lowest running median m and its
    maximum M, the attack starts where the medians are last at or below
    max(min(2 m, sqrt(m M)), M / 10).

    Args:
        samples: shape (n,), at least `MEDIAN_STEPS` steps.
        step: samples per step of the envelope.
    """
    count = len(samples) // step
    peaks = np.abs(samples[: count * step]).reshape(count, step).max(axis=1)
    windows = np.lib.stride_tricks.sliding_window_view(peaks, MEDIAN_STEPS)
    medians = np.sort(windows, axis=1)[:, MEDIAN_STEPS // 2]  # faster than np.median
    lowest, highest = medians.min(), peaks.max()
    threshold = max(min(2.0 * lowest, np.sqrt(lowest * highest)), 0.1 * highest)
    quiet = np.flatnonzero(medians <= threshold)
    last = int(quiet[-1]) if len(quiet) else 0
    return int((last + int(np.argmax(peaks[last:] > threshold))) * step)
