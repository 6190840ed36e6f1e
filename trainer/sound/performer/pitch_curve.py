"""The pitch of a step relative to its path of sounds, as curves over sample numbers.

A vibrato starts after the attack and consists of whole cycles up to the end of the note, so that
its mean does not depend on its length. On a natural note it only dips, because an open reed does
not rise (common practice): the note is its top. A scoop rises to the note, and a fall leaves it,
along half a cosine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trainer.core.types import Floats
from trainer.drill import DEFAULT_FALL, Inflection, Step, Vibrato, VibratoKind
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
    step: Step,
    fault: Fault,
    onset: int,
    stop: int,
    rate: int,
    move: GlideMove | None,
    beat: float,
) -> Curve:
    """Return the deviation in cents of a step from its path of sounds.

    Args:
        step: with the vibrato, scoop and fall that are asked for.
        fault: what is played wrong.
        onset: sample at which it starts.
        stop: sample at which it ends.
        rate: samples per second.
        move: of a glide that strays or turns back; else None.
        beat: length of a beat in samples.
    """
    # Whole periods of a cosine: mean and slope are 0, the standard deviation is as asked.
    periods = max(1, round(_WOBBLE_HZ * (stop - onset) / rate))
    scoop = max(1.0, fault.scoop_ms * rate / 1000.0)
    rise = rate / 1000.0, beat, fault.dip_cents, fault.dip_ms
    drop = rate / 1000.0, beat, fault.fall_cents, fault.fall_ms
    dip_cents, dip_length = _inflection(step.scoop, *rise)
    fall_cents, fall_length = _inflection(step.fall, *drop)
    rests = onset + dip_length if dip_cents else onset, stop - fall_length if fall_cents else stop
    vibrato = _vibrato(step, fault, *rests, rate)

    def curve(n: Floats) -> Floats:
        held = np.clip((n - onset) / (stop - onset), 0.0, 1.0)
        scooped = np.clip((n - onset) / scoop, 0.0, 1.0)
        offset = (
            fault.cents
            + fault.drift_cents * (held - 0.5)
            + fault.wobble_cents * np.sqrt(2.0) * np.cos(2.0 * np.pi * periods * held)
            + fault.scoop_cents * 0.5 * (1.0 + np.cos(np.pi * scooped))
            - dip_cents * _half_cosine((n - onset) / dip_length)
            - fall_cents * _half_cosine((stop - n) / fall_length)
        )
        if move is not None:
            offset = offset + _glide_error(fault, move, n)
        return np.asarray(offset + vibrato(n))

    return curve


def _half_cosine(u: Floats) -> Floats:
    """1 where u is 0 or less, 0 where it is 1 or more, and half a cosine between."""
    return np.asarray(0.5 * (1.0 + np.cos(np.pi * np.clip(u, 0.0, 1.0))))


def _inflection(
    asked: Inflection | None, per_ms: float, beat: float, cents: float | None, ms: float | None
) -> tuple[float, float]:
    """Return depth in cents and length in samples of a scoop or fall as it is played.

    Args:
        asked: what the step asks for.
        per_ms: samples per millisecond.
        beat: length of a beat in samples.
        cents: depth of the fault; None for what is asked.
        ms: length of the fault in milliseconds; None for what is asked.
    """
    if asked is None and not cents:
        return 0.0, 1.0
    wanted = asked or DEFAULT_FALL
    depth = wanted.cents if cents is None else cents
    length = float(wanted.beats) * beat if ms is None else ms * per_ms
    return depth, max(1.0, length)


def _vibrato(step: Step, fault: Fault, onset: float, stop: float, rate: int) -> Curve:
    """Return the vibrato that is played: what is asked for, unless the fault changes it.

    It lies between a scoop and a fall.
    """
    is_asked = step.vibrato is not None and step.vibrato.kind is VibratoKind.THROAT
    is_by_hand = step.vibrato is not None and not is_asked
    has_rate = fault.vibrato_hz is not None and not is_by_hand
    if not (is_asked or has_rate or fault.vibrato_cents is not None):
        return np.zeros_like
    asked = step.vibrato if step.vibrato is not None and is_asked else Vibrato()
    hz = asked.hz if fault.vibrato_hz is None else fault.vibrato_hz
    amplitude = asked.cents if fault.vibrato_cents is None else fault.vibrato_cents
    cycles = int(hz * max(0.0, (stop - onset) / rate - _BEFORE_VIBRATO_S))
    if not amplitude or not cycles:
        return np.zeros_like
    start = stop - cycles * rate / hz
    only_dips = step.dips_in_vibrato and not fault.both_sides

    def curve(n: Floats) -> Floats:
        phase = 2.0 * np.pi * hz / rate * np.clip(n - start, 0.0, stop - start)
        if only_dips:
            return np.asarray(amplitude * (np.cos(phase) - 1.0))
        return np.asarray(amplitude * np.sin(phase))

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
