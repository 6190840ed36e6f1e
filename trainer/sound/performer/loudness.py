"""The loudness of a step, as curves over sample numbers.

An accent is louder by a fixed amount. A swell or fade changes the level evenly, in dB, about the
note's own. Hand vibrato is a sinusoid of the level in dB after the attack. A wah closes and opens
the hands, which also dulls the sound (:mod:`trainer.sound.performer.voice`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.drill import Step, Vibrato, VibratoKind
from trainer.sound.performer.fault import Fault
from trainer.sound.performer.voice import Curve, closure_of_db


@dataclass(frozen=True, slots=True)
class LoudnessParameters:
    """Constants of the loudness of a step. Chosen."""

    accent_db: float = 5.0
    """Level of an accented note relative to the notes around it, in dB; at least 3 are asked."""
    before_vibrato_s: float = 0.1
    """Time for which a note is held plainly before its hand vibrato starts, in seconds."""


PARAMETERS = LoudnessParameters()


def loudness(step: Step, fault: Fault, onset: int, stop: int, rate: int) -> Curve | None:
    """Return the level of a step in dB relative to an ordinary note; None for an ordinary one.

    Args:
        step: with the accent, swell and hand vibrato that are asked for.
        fault: what is played wrong.
        onset: sample at which it starts.
        stop: sample at which it ends.
        rate: samples per second.
    """
    asked_db = PARAMETERS.accent_db if step.accent else 0.0
    accent_db = asked_db if fault.accent_db is None else fault.accent_db
    swell_db = step.swell_db if fault.swell_db is None else fault.swell_db
    hz, depth_db = _hand_vibrato(step, fault)
    start = onset + PARAMETERS.before_vibrato_s * rate
    if not (accent_db or swell_db or depth_db):
        return None

    def curve(n: Floats) -> Floats:
        held = np.clip((n - onset) / (stop - onset), 0.0, 1.0)
        swing = np.sin(2.0 * np.pi * hz / rate * np.maximum(n - start, 0.0))
        return np.asarray(accent_db + swell_db * (held - 0.5) + 0.5 * depth_db * swing)

    return curve


def _hand_vibrato(step: Step, fault: Fault) -> tuple[float, float]:
    """Return rate in hertz and peak-to-peak depth in dB of the hand vibrato that is played."""
    asked = step.vibrato
    if asked is None or asked.kind is not VibratoKind.HAND:
        if fault.vibrato_db is None:
            return 0.0, 0.0
        asked = Vibrato.of_hands()
    hz = asked.hz if fault.vibrato_hz is None else fault.vibrato_hz
    return hz, asked.db if fault.vibrato_db is None else fault.vibrato_db


def hand_closure(step: Step, fault: Fault, onset: int, rate: int) -> Curve | None:
    """Return how far hands close over the harp, starting closed; None without wahs.

    Hands that are closed by 1 take 6 dB off. Arguments as in :func:`loudness`.
    """
    hz = step.wah_hz if fault.wah_hz is None else fault.wah_hz
    if not hz or fault.wah_db == 0.0:
        return None
    depth = 1.0 if fault.wah_db is None else closure_of_db(fault.wah_db)

    def closure(n: Floats) -> Floats:
        return np.asarray(depth * (0.5 + 0.5 * np.cos(2.0 * np.pi * hz * (n - onset) / rate)))

    return closure
