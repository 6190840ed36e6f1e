"""The pitch of a step relative to its path of sounds, as curves over sample numbers.

A vibrato starts after the attack and consists of whole cycles up to the end of the note, so that
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
"""Frequency of a wobble, in hertz. Chosen."""
_BEFORE_VIBRATO_S = 0.1
"""Shortest time for which a note is held plainly before its vibrato starts, in seconds. Chosen."""
_TURNS = (0.4, 0.6)
"""Parts of a move at which a glide turns back, and goes on. Chosen."""


@dataclass(frozen=True, slots=True)
class GlideMove:
    """A move of a glide, from one sound to the next.

    Attributes:
        start, stop: samples between which the pitch moves.
        cents: how far it moves, negative for down.
    """

    start: float
    stop: float
    cents: float


def pitch_offset(
    step: Step, fault: Fault, onset: int, stop: int, rate: int, move: GlideMove | None
) -> Curve:
    """Return the deviation in cents of a step from its path of sounds.

    Args:
        step: with the vibrato that is asked for.
        fault: what is played wrong.
        onset: sample at which it starts.
        stop: sample at which it ends.
        rate: samples per second.
        move: of a glide that strays or turns back; else None.
    """
    # Whole periods of a cosine: mean and slope are 0, the standard deviation is as asked.
    periods = max(1, round(_WOBBLE_HZ * (stop - onset) / rate))
    scoop = max(1.0, fault.scoop_ms * rate / 1000.0)
    vibrato = _vibrato(step, fault, onset, stop, rate)

    def curve(n: Floats) -> Floats:
        held = np.clip((n - onset) / (stop - onset), 0.0, 1.0)
        scooped = np.clip((n - onset) / scoop, 0.0, 1.0)
        offset = (
            fault.cents
            + fault.drift_cents * (held - 0.5)
            + fault.wobble_cents * np.sqrt(2.0) * np.cos(2.0 * np.pi * periods * held)
            + fault.scoop_cents * 0.5 * (1.0 + np.cos(np.pi * scooped))
        )
        if move is not None:
            offset = offset + _glide_error(fault, move, n)
        return np.asarray(offset + vibrato(n))

    return curve


def _vibrato(step: Step, fault: Fault, onset: int, stop: int, rate: int) -> Curve:
    """Return the vibrato that is played: what is asked for, unless the fault changes it."""
    if step.vibrato is None and fault.vibrato_hz is None and fault.vibrato_cents is None:
        return np.zeros_like
    asked = step.vibrato or Vibrato()
    hz = asked.hz if fault.vibrato_hz is None else fault.vibrato_hz
    amplitude = asked.cents if fault.vibrato_cents is None else fault.vibrato_cents
    cycles = int(hz * max(0.0, (stop - onset) / rate - _BEFORE_VIBRATO_S))
    if not amplitude or not cycles:
        return np.zeros_like
    start = stop - cycles * rate / hz

    def curve(n: Floats) -> Floats:
        elapsed = np.clip(n - start, 0.0, stop - start)
        return np.asarray(amplitude * np.sin(2.0 * np.pi * hz / rate * elapsed))

    return curve


def _glide_error(fault: Fault, move: GlideMove, n: Floats) -> Floats:
    """Return the deviation in cents of a glide from an even move: a bump, or a turn back."""
    done = np.clip((n - move.start) / (move.stop - move.start), 0.0, 1.0)
    bump = fault.stray_cents * np.sin(np.pi * done) ** 2
    if not fault.back_cents:
        return np.asarray(bump)
    half = 0.5 * (move.cents + np.copysign(fault.back_cents, move.cents))
    corners = [0.0, half, move.cents - half, move.cents]
    turning = np.interp(done, [0.0, *_TURNS, 1.0], corners)
    return np.asarray(bump + turning - move.cents * done)


def hand_closure(step: Step, onset: int, rate: int) -> Curve | None:
    """Return how far hands close over the harp, 0 to 1, starting closed; None without wahs."""
    if not step.wah_hz:
        return None

    def closure(n: Floats) -> Floats:
        return np.asarray(0.5 + 0.5 * np.cos(2.0 * np.pi * step.wah_hz * (n - onset) / rate))

    return closure
