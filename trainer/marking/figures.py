"""From a step's readings to the figures of its mark.

Conventions. Times are ms from the start of the step as played, pitches cents from the step's
target. A note is judged by its *held part*: from when it has settled until 40 ms before its end,
where the breath lets go. The line that a held pitch follows is fitted robustly (median of the
slopes between readings half the part away from each other, after Theil 1950 and Sen 1968; from
memory), so that a slip is seen against the line and does not bend it.

A held note has settled at its first reading within tolerance of that line, extended back, from
which nine in ten readings of the next 200 ms are within it too. A note that wobbles wider than
the tolerance is given its own width, up to five tolerances: whether a note is in tune or steady
is for other figures to say. A note that never settles is judged from its first third on, but not
before 120 ms.

A glide is judged on the quarters in which it rests: `cents`, wobble, drift and leak on its last
sound, `scoop_cents` on its first; it has no time of settling. In a chord, the pitch is that of
the reed nearest to the reading; where none is within 60 cents, the chord has no pitch.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trainer.drill import Sound
from trainer.drill.model import GLIDE_REST
from trainer.ear.motion import start_of as start_of_pitch
from trainer.marking.follow import Segment
from trainer.marking.history import History
from trainer.marking.holes import drowned, heard_as, hidden_of, holes_of, leak_of
from trainer.marking.mark import Measured
from trainer.marking.onset import start_of
from trainer.marking.target import Target

Floats = NDArray[np.float64]

_FEWEST = 4
"""Readings with a pitch (20 ms) below which it cannot be judged."""
_FEWEST_STEADY = 8
_RELEASE_MS = 40.0
_SPEAKING_MS = 60.0
"""What a reed may take to speak, left out of the first rest of a glide."""
_LEAST_REST_MS = 30.0
"""What the last rest of a glide must have, with its release if need be."""
_ARRIVAL_MS = 40.0
"""The last of a scoop, inside the tolerance already, left out of the held part."""
_STAYS_MS, _STAYS = 200.0, 0.9
_UNSETTLED_MS = 120.0
_WIDTH_SDS = 2.0
_SD_OF_MAD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""
_WIDEST = 5.0
_GLITCH_CENTS = 50.0
"""No reed moves so far and back within 25 ms: a reading so far off the median of its neighbours
is a mishearing."""
_CHORD_CENTS = 60.0


@dataclass(frozen=True, slots=True)
class _Played:
    """A step's readings.

    Attributes:
        frames: their numbers in the take.
        t: when each was, in ms from the start of the step.
        pitch: cents from A4 = 440 Hz, without mishearings; NaN where there is none.
        length: how long the step was played, in ms.
    """

    frames: NDArray[np.int64]
    t: Floats
    pitch: Floats
    length: float

    @property
    def release(self) -> float:
        """From when on the breath lets go, in ms."""
        return self.length - min(_RELEASE_MS, self.length / 5.0)


@dataclass(frozen=True, slots=True)
class _Rest:
    """A part of a step in which one sound is held.

    Attributes:
        sound: what was asked for.
        frames: numbers of its readings.
        t, off: of those with a pitch, when they were and how far from the sound; empty when
            there are too few, or, in a chord, when they are near none of its reeds.
    """

    sound: Sound
    frames: NDArray[np.int64]
    t: Floats
    off: Floats

    @classmethod
    def of(
        cls, played: _Played, sound: Sound, reeds: Sequence[float], first: float, last: float
    ) -> _Rest:
        inside = (played.t >= first) & (played.t <= last)
        frames = played.frames[inside]
        inside &= ~np.isnan(played.pitch)
        t, off = played.t[inside], _off(played.pitch[inside], reeds)
        far = len(sound) > 1 and len(off) and abs(float(np.median(off))) > _CHORD_CENTS
        if len(off) < _FEWEST or far:
            t, off = t[:0], off[:0]
        return cls(sound, frames, t, off)

    @property
    def cents(self) -> float | None:
        """Median distance from the sound."""
        return float(np.median(self.off)) if len(self.off) else None


def measure(
    target: Target, history: History, segment: Segment, rate: int, tolerance: float
) -> Measured:
    """The figures of a step that was played.

    Args:
        target: the step.
        history: the take.
        segment: its readings.
        rate: samples a second.
        tolerance: cents off the target that count as in tune.
    """
    start = start_of(history, segment.start)
    end = max(start, int(history.sample[min(segment.end, len(history) - 1)]))
    frames = np.arange(segment.start, segment.end)
    # An ear whose window grows after an attack may put a reading's centre before the last one's.
    t = np.maximum.accumulate((history.sample[frames] - start) * (1000.0 / rate))
    played = _Played(
        frames,
        np.maximum(t, 0.0),
        _pitch(target, history, frames),
        (end - start) * 1000.0 / rate,
    )
    if target.step.is_glide:
        rests = _quarters(target, played, rate)
        settle, scoop = None, rests[0].cents
    else:
        settle, scoop = _attack(target, played, tolerance)
        rests = [_held(target, played, settle)]
    held = rests[-1]
    late_ms = (start - target.at) * 1000.0 / rate
    if len(held.frames) < _FEWEST:
        return Measured(start, end, late_ms)
    wobble, drift = _steadiness(held)
    leak = leak_of(history, held.frames, held.sound)
    holes = holes_of(history, held.frames, held.sound)
    return Measured(
        start=start,
        end=end,
        late_ms=late_ms,
        cents=held.cents,
        wobble_cents=wobble,
        drift_cents=drift,
        scoop_cents=scoop,
        settle_ms=settle,
        leak_db=leak.db if leak else None,
        leak_hole=leak.hole if leak else None,
        holes=holes,
        hidden=hidden_of(held.sound, target.path[-1], holes),
        heard=_heard(history, rests),
    )


def _heard(history: History, rests: Sequence[_Rest]) -> str | None:
    parts = [heard_as(history, rest.frames, rest.sound, rest.cents) for rest in rests]
    known = [part for part in parts if part is not None]
    return ">".join(known) if len(known) == len(parts) else None


def _pitch(target: Target, history: History, frames: NDArray[np.int64]) -> Floats:
    """Pitches of a step's readings; NaN where there is none or it is not the step's own.

    Where a neighbour is as loud, it is the wanted reed's own, if it could be followed.
    """
    pitch = _without_glitches(history.pitch[frames])
    if not target.step.is_glide and not target.step.is_chord:
        (wanted,) = target.step.first
        for i in np.flatnonzero(drowned(history, frames, (wanted,))):
            own = dict(history.pitches.get(int(frames[i]), ()))
            pitch[i] = own.get(wanted.hole, np.nan)
    return pitch


def _without_glitches(pitch: Floats) -> Floats:
    has = np.flatnonzero(~np.isnan(pitch))
    clean = pitch.copy()
    if len(has) < 5:
        return clean
    around = np.lib.stride_tricks.sliding_window_view(np.pad(pitch[has], 2, mode="reflect"), 5)
    off = np.abs(pitch[has] - np.median(around, axis=1))
    clean[has[off > _GLITCH_CENTS]] = np.nan
    return clean


def _off(pitch: Floats, reeds: Sequence[float]) -> Floats:
    """Cents from the nearest of some reeds."""
    each = pitch[:, None] - np.array(reeds)[None, :]
    nearest = np.abs(each).argmin(axis=1)
    return np.asarray(each[np.arange(len(pitch)), nearest])


def _attack(target: Target, played: _Played, tolerance: float) -> tuple[float | None, float | None]:
    """When a note settled, and how far off it started; None where that cannot be told."""
    whole = _Rest.of(played, target.step.first, target.path[0], 0.0, played.length)
    if not len(whole.off):
        return None, None
    return _settled(whole, played.release, tolerance), start_of_pitch(whole.t / 1000.0, whole.off)


def _settled(note: _Rest, release: float, tolerance: float) -> float | None:
    t, off = note.t, note.off
    rest = (t >= t[0] + (release - t[0]) / 3.0) & (t <= release)
    if rest.sum() < _FEWEST_STEADY:
        return None
    error = off - _line(t[rest], off[rest], t)
    width = _WIDTH_SDS * _SD_OF_MAD * float(np.median(np.abs(error[rest])))
    inside = np.abs(error) <= np.clip(width, tolerance, _WIDEST * tolerance)
    here = np.arange(len(t))
    until = np.searchsorted(t, np.minimum(t + _STAYS_MS, release), side="right")
    until = np.maximum(until, here + 1)
    count = np.concatenate([[0], np.cumsum(inside)])
    stays = count[until] - count[here] >= _STAYS * (until - here)
    settled = np.flatnonzero(inside & stays & (t <= release - _RELEASE_MS))
    return float(t[settled[0]]) if len(settled) else None


def _line(t: Floats, x: Floats, at: Floats) -> Floats:
    """A robust line through (t, x), read at some times."""
    half = len(t) // 2
    slope = np.median((x[-half:] - x[:half]) / (t[-half:] - t[:half]))
    return np.asarray(np.median(x - slope * t) + slope * at)


def _held(target: Target, played: _Played, settle: float | None) -> _Rest:
    if settle is None:
        first = max(played.length / 3.0, min(_UNSETTLED_MS, played.length / 2.0))
    else:
        first = settle + min(_ARRIVAL_MS, (played.release - settle) / 5.0)
    sound, reeds = target.step.first, target.path[0]
    held = _Rest.of(played, sound, reeds, first, played.release)
    return held if len(held.off) else _Rest.of(played, sound, reeds, 0.0, played.length)


def _quarters(target: Target, played: _Played, rate: int) -> list[_Rest]:
    """The parts of a glide in which it rests on its first sound and on its last."""
    length = (target.end - target.at) * 1000.0 / rate
    leaves, arrives = GLIDE_REST * length, (1.0 - GLIDE_REST) * length
    arrives = min(arrives, played.length - _LEAST_REST_MS)  # let go too soon: its end has to do
    speaks = min(_SPEAKING_MS, leaves / 2.0)
    over = played.release if arrives + _LEAST_REST_MS <= played.release else played.length
    return [
        _Rest.of(played, target.step.first, target.path[0], speaks, leaves),
        _Rest.of(played, target.step.last, target.path[-1], arrives, over),
    ]


def _steadiness(held: _Rest) -> tuple[float | None, float | None]:
    """Spread about the slope, and change by it; None for a part too short to tell."""
    if len(held.off) < _FEWEST_STEADY:
        return None, None
    slope, level = np.polyfit(held.t, held.off, 1)
    spread = float(np.std(held.off - (level + slope * held.t), ddof=2))
    return spread, float(slope * (held.t[-1] - held.t[0]))
