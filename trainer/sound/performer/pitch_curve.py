"""How a step is played off its path, as curves over sample numbers.

A vibrato starts after the attack and is made of whole cycles up to the end of the note, so that
its mean is the note's own pitch, however that moves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.drill import Step, Vibrato
from trainer.sound.performer.fault import Fault
from trainer.sound.performer.voice import Curve

_WOBBLE_HZ = 4.5
_BEFORE_VIBRATO_S = 0.1
"""How long a note is held plainly at least before its vibrato starts."""
_TURNS = (0.4, 0.6)
"""Shares of a move between which a glide turns back."""


@dataclass(frozen=True, slots=True)
class GlideMove:
    """The first way of a glide, from one sound to the next.

    Attributes:
        start, stop: samples between which it is gone.
        cents: how far it goes, negative for down.
    """

    start: float
    stop: float
    cents: float


def pitch_offset(
    step: Step, fault: Fault, onset: int, stop: int, rate: int, move: GlideMove | None
) -> Curve:
    """How far, in cents, a step is played off its path of sounds.

    Args:
        step: with the vibrato that is asked for.
        fault: what is done wrong.
        onset, stop: samples between which it is held.
        rate: samples a second.
        move: of a glide that strays or turns back.
    """
    # Whole periods of a cosine: its mean is 0, its slope is 0 and its deviation is as asked.
    periods = max(1, round(_WOBBLE_HZ * (stop - onset) / rate))
    glide = max(1.0, fault.scoop_ms * rate / 1000.0)
    swing = _vibrato(step, fault, onset, stop, rate)

    def curve(n: Floats) -> Floats:
        part = np.clip((n - onset) / (stop - onset), 0.0, 1.0)
        arrived = np.clip((n - onset) / glide, 0.0, 1.0)
        off = (
            fault.cents
            + fault.drift_cents * (part - 0.5)
            + fault.wobble_cents * np.sqrt(2.0) * np.cos(2.0 * np.pi * periods * part)
            + fault.scoop_cents * 0.5 * (1.0 + np.cos(np.pi * arrived))
        )
        if move is not None:
            off = off + _astray(fault, move, n)
        return np.asarray(off + swing(n))

    return curve


def _vibrato(step: Step, fault: Fault, onset: int, stop: int, rate: int) -> Curve:
    """The swing that is played: what is asked for, but for what the fault says."""
    if step.vibrato is None and fault.vibrato_hz is None and fault.vibrato_cents is None:
        return np.zeros_like
    asked = step.vibrato or Vibrato()
    hz = asked.hz if fault.vibrato_hz is None else fault.vibrato_hz
    depth = asked.cents if fault.vibrato_cents is None else fault.vibrato_cents
    cycles = int(hz * max(0.0, (stop - onset) / rate - _BEFORE_VIBRATO_S))
    if not depth or not cycles:
        return np.zeros_like
    start = stop - cycles * rate / hz

    def curve(n: Floats) -> Floats:
        swung = np.clip(n - start, 0.0, stop - start)
        return np.asarray(depth * np.sin(2.0 * np.pi * hz / rate * swung))

    return curve


def _astray(fault: Fault, move: GlideMove, n: Floats) -> Floats:
    """How far a glide is off an even way: a bump, or a turn back."""
    gone = np.clip((n - move.start) / (move.stop - move.start), 0.0, 1.0)
    bump = fault.stray_cents * np.sin(np.pi * gone) ** 2
    if not fault.back_cents:
        return np.asarray(bump)
    half = 0.5 * (move.cents + np.copysign(fault.back_cents, move.cents))
    reached = [0.0, half, move.cents - half, move.cents]
    turning = np.interp(gone, [0.0, *_TURNS, 1.0], reached)
    return np.asarray(bump + turning - move.cents * gone)


def hand_closure(step: Step, onset: int, rate: int) -> Curve | None:
    """How far hands are closed over the harp, 0 to 1, for a step with wahs; closed at its start."""
    if not step.wah_hz:
        return None

    def closed(n: Floats) -> Floats:
        return np.asarray(0.5 + 0.5 * np.cos(2.0 * np.pi * step.wah_hz * (n - onset) / rate))

    return closed
