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
sound, `scoop_cents` on its first; it has no time of settling. A ladder is judged on all its
rungs: `cents`, wobble and drift are those of the worst. In a chord, the pitch is that of the
reed nearest to the reading; where none is within 60 cents, the chord has no pitch. A note with a
vibrato has the pitch of its centre, and wobble and settling are told without the swing. How a
step moves is told in :mod:`trainer.marking.movement`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.drill import CleannessRule, Sound
from trainer.ear.motion import initial_pitch
from trainer.harp import HOLES
from trainer.marking.follower import Segment
from trainer.marking.mark import Measured
from trainer.marking.movement import find_vibrato, path_deviation, unheard, vibrato_centre
from trainer.marking.onset import start_of
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.sounding_holes import (
    heard_tab,
    holes_sounding,
    is_drowned_out,
    loudest_leak,
    masked_holes,
    named_more_often,
)
from trainer.marking.step_readings import (
    FEWEST,
    FEWEST_STEADY,
    RELEASE_MS,
    HeldSpan,
    StepReadings,
    without_outliers,
    wobble_and_drift,
)
from trainer.marking.target import StepTarget

_SPEAKING_MS = 60.0
"""What a reed may take to speak, left out of the first rest of a glide."""
_LEAST_REST_MS = 30.0
"""What the last rest of a glide must have, with its release if need be."""
_ARRIVAL_MS = 40.0
"""The last of a scoop, inside the tolerance already, left out of the held part."""
_STAYS_MS, _STAYS = 200.0, 0.9
_UNSETTLED_MS = 120.0
_WIDTH_SDS = 2.0
_WIDEST = 5.0


def measure_step(
    target: StepTarget,
    history: ReadingHistory,
    segment: Segment,
    rate: int,
    tolerance: float,
    *,
    held: Sequence[tuple[int, int]] | None = None,
) -> Measured:
    """The figures of a step that was played.

    Args:
        target: the step.
        history: the take.
        segment: its readings.
        rate: samples a second.
        tolerance: cents off the target that count as in tune.
        held: where the clock is free, first and last sample of each sound as it was held; None
            takes the step's own time.
    """
    start = start_of(history, segment.start)
    end = max(start, int(history.sample[min(segment.end, len(history) - 1)]))
    frames = np.arange(segment.start, segment.end)
    late_ms = (start - target.at) * 1000.0 / rate if held is None else None
    if held is not None:
        target = replace(target, at=start, end=end)
    target = _as_played(target, history, frames)
    # An ear whose window grows after an attack may put a reading's centre before the last one's.
    t = np.maximum.accumulate((history.sample[frames] - start) * (1000.0 / rate))
    played = StepReadings(
        frames,
        np.maximum(t, 0.0),
        _pitch(target, history, frames),
        (end - start) * 1000.0 / rate,
    )
    length = (target.end - target.at) * 1000.0 / rate
    measured = Measured(start, end, late_ms)
    if target.step.has_path and held is not None:
        rests = [
            HeldSpan.of(played, sound, reeds, *((at - start) * 1000.0 / rate for at in one))
            for sound, reeds, one in zip(target.step.sounds, target.path, held, strict=True)
            if one[1] > one[0]
        ]
        return _moving(target, played, history, length, measured, rests, timed=False)
    if target.step.has_path:
        ladder = target.step.ladder
        rests = _rungs(target, played, length) if ladder else _quarters(target, played, length)
        return _moving(target, played, history, length, measured, rests)
    return _held_note(target, played, history, tolerance, measured)


def _held_note(
    target: StepTarget,
    played: StepReadings,
    history: ReadingHistory,
    tolerance: float,
    measured: Measured,
) -> Measured:
    settle, scoop = _attack(target, played, tolerance)
    held = _held(target, played, settle)
    if len(held.frames) < FEWEST:
        return measured
    wobble, drift = wobble_and_drift(held)
    cents, swing = held.cents, None
    if target.step.vibrato:
        whole = HeldSpan.of(played, held.sound, target.path[0], 0.0, played.length)
        moved = find_vibrato(whole, played.length)
        swing = moved.vibrato
        if swing and cents is not None:
            cents = vibrato_centre(held, swing.hz)
            wobble, settle = moved.wobble_cents, moved.settle_ms
            lasts = float(held.t[-1] - held.t[0]) / 1000.0
            slope = moved.drift_cents_s
            drift = None if slope is None else slope * lasts
            scoop = None if moved.scoop_cents is None else moved.scoop_cents + cents
    return replace(
        _with_holes(measured, target, history, held),
        cents=cents,
        wobble_cents=wobble,
        drift_cents=drift,
        scoop_cents=scoop,
        settle_ms=settle,
        vibrato_hz=swing.hz if swing else None,
        vibrato_cents=swing.depth if swing else None,
        heard=heard_tab(history, held.frames, held.sound, held.cents),
    )


def _moving(
    target: StepTarget,
    played: StepReadings,
    history: ReadingHistory,
    length: float,
    measured: Measured,
    rests: Sequence[HeldSpan],
    *,
    timed: bool = True,
) -> Measured:
    """The figures of a glide or a ladder from the parts in which it rests."""
    step, held = target.step, rests[-1]
    if len(held.frames) < FEWEST:
        return measured
    offs = [rest.cents for rest in rests]
    known = [off for off in offs if off is not None]
    each = [wobble_and_drift(rest) for rest in (rests if step.ladder else rests[-1:])]
    wobbles = [wobble for wobble, _ in each if wobble is not None]
    drifts = [drift for _, drift in each if drift is not None]
    stray, back = path_deviation(target, played, length, (offs[0], offs[-1]))
    worst = max(known, key=abs) if known else None
    return replace(
        _with_holes(measured, target, history, held),
        cents=worst if step.ladder else offs[-1],
        wobble_cents=max(wobbles, default=None),
        drift_cents=max(drifts, key=abs, default=None),
        scoop_cents=offs[0],
        rungs=tuple(offs) if step.ladder else (),
        stray_cents=stray if timed else None,
        back_cents=back,
        unheard=unheard(target, played, history, length),
        heard=_heard(history, rests, "=" if step.ladder else ">"),
    )


def _with_holes(
    measured: Measured, target: StepTarget, history: ReadingHistory, held: HeldSpan
) -> Measured:
    """The figures with those of what sounded along."""
    holes = holes_sounding(history, held.frames, held.sound)
    leak = loudest_leak(history, held.frames, held.sound, _spared(target, held.sound))
    return replace(
        measured,
        leak_db=leak.db if leak else None,
        leak_hole=leak.hole if leak else None,
        holes=holes,
        hidden=masked_holes(held.sound, target.path[-1], holes),
    )


def _spared(target: StepTarget, sound: Sound) -> frozenset[int]:
    """Holes that may sound along with a sound."""
    if (
        target.step.cleanness_rule not in (CleannessRule.LOOSE, CleannessRule.CHORD)
        or len(sound) > 1
    ):
        return frozenset()
    hole = sound[0].hole
    return frozenset({hole - 1, hole + 1} & set(HOLES))


def _as_played(
    target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]
) -> StepTarget:
    """The step with the one of two holes that was rather heard, where either will do."""
    step = target.step
    if step.alternative is None:
        return target
    other = (step.alternative,)
    rather = named_more_often(history, frames, other, step.first)
    return replace(target, step=replace(step, sounds=(other,) if rather else step.sounds))


def _heard(history: ReadingHistory, rests: Sequence[HeldSpan], sign: str) -> str | None:
    parts = [heard_tab(history, rest.frames, rest.sound, rest.cents) for rest in rests]
    known = [part for part in parts if part is not None]
    return sign.join(known) if len(known) == len(parts) else None


def _pitch(target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]) -> Floats:
    """Pitches of a step's readings; NaN where there is none or it is not the step's own.

    Where a neighbour is as loud, it is the wanted reed's own, if it could be followed.
    """
    pitch = without_outliers(history.pitch[frames])
    if not target.step.has_path and not target.step.is_chord:
        (wanted,) = target.step.first
        for i in np.flatnonzero(is_drowned_out(history, frames, (wanted,))):
            own = dict(history.pitches.get(int(frames[i]), ()))
            pitch[i] = own.get(wanted.hole, np.nan)
    return pitch


def _attack(
    target: StepTarget, played: StepReadings, tolerance: float
) -> tuple[float | None, float | None]:
    """When a note settled, and how far off it started; None where that cannot be told."""
    whole = HeldSpan.of(played, target.step.first, target.path[0], 0.0, played.length)
    if not len(whole.off):
        return None, None
    return _settled(whole, played.release, tolerance), initial_pitch(whole.t / 1000.0, whole.off)


def _settled(note: HeldSpan, release: float, tolerance: float) -> float | None:
    t, off = note.t, note.off
    rest = (t >= t[0] + (release - t[0]) / 3.0) & (t <= release)
    if rest.sum() < FEWEST_STEADY:
        return None
    error = off - _line(t[rest], off[rest], t)
    width = _WIDTH_SDS * SD_PER_MAD * median_absolute_deviation(error[rest], 0.0)
    inside = np.abs(error) <= np.clip(width, tolerance, _WIDEST * tolerance)
    here = np.arange(len(t))
    until = np.searchsorted(t, np.minimum(t + _STAYS_MS, release), side="right")
    until = np.maximum(until, here + 1)
    count = np.concatenate([[0], np.cumsum(inside)])
    stays = count[until] - count[here] >= _STAYS * (until - here)
    settled = np.flatnonzero(inside & stays & (t <= release - RELEASE_MS))
    return float(t[settled[0]]) if len(settled) else None


def _line(t: Floats, x: Floats, at: Floats) -> Floats:
    """A robust line through (t, x), read at some times."""
    half = len(t) // 2
    slope = np.median((x[-half:] - x[:half]) / (t[-half:] - t[:half]))
    return np.asarray(np.median(x - slope * t) + slope * at)


def _held(target: StepTarget, played: StepReadings, settle: float | None) -> HeldSpan:
    if settle is None:
        first = max(played.length / 3.0, min(_UNSETTLED_MS, played.length / 2.0))
    else:
        first = settle + min(_ARRIVAL_MS, (played.release - settle) / 5.0)
    sound, reeds = target.step.first, target.path[0]
    held = HeldSpan.of(played, sound, reeds, first, played.release)
    return held if len(held.off) else HeldSpan.of(played, sound, reeds, 0.0, played.length)


def _quarters(target: StepTarget, played: StepReadings, length: float) -> list[HeldSpan]:
    """The parts of a glide in which it rests on its first sound and on its last."""
    step = target.step
    leaves = step.rest_interval(0)[1] * length
    arrives = step.rest_interval(len(step.sounds) - 1)[0] * length
    arrives = min(arrives, played.length - _LEAST_REST_MS)  # let go too soon: its end has to do
    speaks = min(_SPEAKING_MS, leaves / 2.0)
    over = played.release if arrives + _LEAST_REST_MS <= played.release else played.length
    return [
        HeldSpan.of(played, step.first, target.path[0], speaks, leaves),
        HeldSpan.of(played, step.last, target.path[-1], arrives, over),
    ]


def _rungs(target: StepTarget, played: StepReadings, length: float) -> list[HeldSpan]:
    """The parts of a ladder in which it rests on each rung."""
    rests = []
    for place, (sound, reeds) in enumerate(zip(target.step.sounds, target.path, strict=True)):
        first, last = (part * length for part in target.step.rest_interval(place))
        if place == 0:
            first = min(_SPEAKING_MS, last / 2.0)
        if place == len(target.path) - 1:
            last = played.release
            first = min(first, played.length - _LEAST_REST_MS)
        rests.append(HeldSpan.of(played, sound, reeds, first, last))
    return rests
