"""From the readings of a step to the figures of its mark.

Conventions. Times are in milliseconds from the start of the step as played, pitches in cents from
the step's target. A note is measured on its *held span*: from when it has settled until 40 ms
before its end, where the breath lets go, or until its level has fallen for good, where a room makes
it ring on.

- A held note: :mod:`trainer.marking.held_note`, and :mod:`trainer.marking.vibrato` where the
  step has one.
- A glide: :mod:`trainer.marking.glide`. `cents`, wobble, drift and leak are those of its last
  sound, `scoop_cents` is the deviation of its first; it has no settling time.
- A ladder: :mod:`trainer.marking.ladder`. `cents`, wobble and drift are those of its worst rung.
- A chord: its pitch is that of the reed nearest to the reading. Where none is within 60 cents, the
  chord has no pitch.
- A shake: :mod:`trainer.marking.shake`. Its pitch is that of the sound nearest to the reading.
- A scoop, dip or fall: :mod:`trainer.marking.inflection`. The held span lies between them.
- A grace note: :mod:`trainer.marking.grace_note`. All other figures are those of the note after it.
- What sounded along: :mod:`trainer.marking.sounding_holes`.
- When it stopped, and how it is joined to the notes beside it: :mod:`trainer.marking.articulation`.
- How loud it was: :mod:`trainer.marking.loudness`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import CleannessRule, Sound, Step, VibratoKind
from trainer.harp import HOLES
from trainer.marking.articulation import (
    end_of_step,
    is_steady,
    measure_articulation,
    soft_start,
)
from trainer.marking.follower import Segment
from trainer.marking.glide import end_spans, missed_sounds, path_deviation
from trainer.marking.grace_note import split_grace_note
from trainer.marking.held_note import held_span, measure_attack
from trainer.marking.inflection import measure_fall, measure_scoop
from trainer.marking.ladder import rung_spans
from trainer.marking.level_track import LevelTrack
from trainer.marking.loudness import measure_loudness
from trainer.marking.mark import Measured
from trainer.marking.onset import is_slurred, segment_start
from trainer.marking.parameters import MEASUREMENT
from trainer.marking.reading_history import ReadingHistory
from trainer.marking.shake import measure_shake
from trainer.marking.sounding_holes import (
    heard_tab,
    holes_in_turn,
    holes_sounding,
    is_drowned_out,
    loudest_leak,
    masked_holes,
    named_more_often,
)
from trainer.marking.step_readings import (
    HeldSpan,
    StepReadings,
    without_octaves,
    without_outliers,
    wobble_and_drift,
)
from trainer.marking.target import StepTarget
from trainer.marking.vibrato import measure_vibrato


def measure_step(
    target: StepTarget,
    history: ReadingHistory,
    segment: Segment,
    rate: int,
    tolerance: float,
    *,
    held: Sequence[tuple[int, int]] | None = None,
    held_on: str | None = None,
    previous: Step | None = None,
    following: Step | None = None,
) -> Measured:
    """Measure a step that was played.

    Args:
        target: the step.
        history: the readings of the pass.
        segment: the step's readings.
        rate: sample rate in hertz.
        tolerance: cents within which a note is in tune.
        held: where the clock is free, first and last sample of each sound as it was held. None
            takes the step's own time.
        held_on: tab of the sound before, if it may have been held on; its pitch went on. Where
            its level did, too, nothing that depends on when the step began is measured.
        previous: the step before it; None for none.
        following: the step after it; None for none.
    """
    grace_ms = None
    if target.step.grace:
        segment, start, grace_ms = split_grace_note(target, history, segment, rate)
    else:
        steady = held_on is None and is_steady(target.step)
        steady = steady and previous is not None and is_steady(previous)
        start = segment_start(history, segment.start, is_steady=steady)
    end = max(start, int(history.sample[min(segment.end, len(history) - 1)]))
    frames = np.arange(segment.start, segment.end)
    slurred = is_slurred(history, segment.start)
    if not slurred or target.step.grace:
        held_on = None
    if held_on is not None and held is None:
        anew = soft_start(target.step, history, segment, rate)
        if anew is not None:
            start, slurred, held_on = anew, False, None
    is_timed = held is None and held_on is None
    late_ms = (start - target.at) * 1000.0 / rate if is_timed else None
    stop = end_of_step(target.step, history, segment, start, rate)
    if held is not None:
        end = min(end, max(start, stop)) if target.step.fall else end
        target = replace(target, at=start, end=end)
    target = _with_heard_alternative(target, history, frames)
    # Where the ear's window grows after an attack, a reading's centre may precede the last one's.
    time_ms = np.maximum.accumulate((history.sample[frames] - start) * (1000.0 / rate))
    readings = StepReadings(
        frames,
        np.maximum(time_ms, 0.0),
        _pitch(target, history, frames),
        (end - start) * 1000.0 / rate,
    )
    length_ms = (target.end - target.at) * 1000.0 / rate
    measured = Measured(start, end, late_ms, is_slurred=slurred, held_on=held_on, grace_ms=grace_ms)
    if held is None:
        measured = measure_articulation(
            measured, target.step, history, segment, stop, length_ms, rate, following
        )
    levels = LevelTrack.of(history, segment.start, segment.end).between(start, stop)
    measured = measure_loudness(measured, target.step, levels, rate)
    if target.step.shake:
        return _measure_shake(target, readings, history, measured, rate)
    if target.step.has_path and held is not None:
        spans = [
            HeldSpan.of(readings, sound, pitches, *((at - start) * 1000.0 / rate for at in bounds))
            for sound, pitches, bounds in zip(target.step.sounds, target.path, held, strict=True)
            if bounds[1] > bounds[0]
        ]
        return _measure_moving(
            target, readings, history, length_ms, measured, spans, has_clock=False
        )
    # What a room rings on with is not held, and its pitch jumps where it is faint.
    rings_ms = (stop - start) * 1000.0 / rate + MEASUREMENT.release_ms
    without_ringing = readings.until(min(readings.length_ms, rings_ms))
    if target.step.ladder:
        spans = rung_spans(target, without_ringing, length_ms)
        return _measure_moving(target, without_ringing, history, length_ms, measured, spans)
    if target.step.has_path:
        spans = end_spans(target, readings, length_ms)
        return _measure_moving(target, readings, history, length_ms, measured, spans)
    if target.step.fall:
        readings, measured = _without_fall(target, readings, length_ms, measured)
    elif held is None and not target.step.slap:
        readings = without_ringing
    return _measure_held_note(target, readings, history, tolerance, measured, length_ms)


def _without_fall(
    target: StepTarget, readings: StepReadings, length_ms: float, measured: Measured
) -> tuple[StepReadings, Measured]:
    """The readings of a note up to its fall, and the figures with those of the fall."""
    fall = measure_fall(target, readings, length_ms)
    if fall is None:
        return readings, measured
    measured = replace(measured, fall_cents=fall.cents, fall_ms=fall.ms)
    end_ms = min(readings.length_ms, length_ms)
    until_ms = end_ms - (1.0 + MEASUREMENT.held_margin) * fall.ms
    return readings.until(until_ms), measured


def _measure_shake(
    target: StepTarget,
    readings: StepReadings,
    history: ReadingHistory,
    measured: Measured,
    rate: int,
) -> Measured:
    assert target.step.shake is not None
    both = (*target.step.first, *target.step.shake.other)
    pitches = (*target.path[0], *target.shake_pitches)
    # Not without outliers: a visit to the softer sound may be as short as one.
    readings = replace(readings, pitch=history.pitch[readings.frames])
    held = HeldSpan.of(readings, target.step.first, pitches, 0.0, readings.release_ms)
    if len(held.frames) < MEASUREMENT.min_pitch_frames:
        return measured
    shake = measure_shake(target, history, held.frames, rate)
    measured = replace(
        measured,
        cents=held.cents,
        shake_hz=shake.hz,
        shake_fraction=shake.fraction,
        shake_spread=shake.spread,
        shake_db=shake.level_db,
        heard=heard_tab(history, held.frames, held.sound, held.cents),
    )
    leak = loudest_leak(history, held.frames, both)
    return replace(
        measured,
        leak_db=leak.db if leak else None,
        leak_hole=leak.hole if leak else None,
        holes=holes_in_turn(history, held.frames, both),
    )


def _measure_held_note(
    target: StepTarget,
    readings: StepReadings,
    history: ReadingHistory,
    tolerance: float,
    measured: Measured,
    length_ms: float,
) -> Measured:
    settle_ms, scoop = measure_attack(target, readings, tolerance)
    wanted_scoop = measure_scoop(target, readings, length_ms) if target.step.scoop else None
    if wanted_scoop is not None:
        measured = replace(measured, dip_cents=wanted_scoop.cents, dip_ms=wanted_scoop.ms)
        settle_ms = (1.0 + MEASUREMENT.held_margin) * wanted_scoop.ms
    held = held_span(target, readings, settle_ms)
    if len(held.frames) < MEASUREMENT.min_pitch_frames:
        return measured
    wobble, drift = wobble_and_drift(held)
    is_slapped = target.step.slap
    is_hidden = measured.held_on or is_slapped  # how the note itself begins
    measured = replace(
        _with_holes(measured, target, history, _second_half(held) if is_slapped else held),
        cents=held.cents,
        wobble_cents=wobble,
        drift_cents=drift,
        scoop_cents=None if is_hidden else scoop,
        settle_ms=None if is_hidden else settle_ms,
        heard=heard_tab(history, held.frames, held.sound, held.cents),
    )
    vibrato = target.step.vibrato
    if vibrato is None or vibrato.kind is not VibratoKind.THROAT:
        return measured
    return measure_vibrato(measured, target, readings, held)


def _second_half(held: HeldSpan) -> HeldSpan:
    """The later half of a held span, in which the chord of a slap has died away."""
    return replace(held, frames=held.frames[len(held.frames) // 2 :])


def _measure_moving(
    target: StepTarget,
    readings: StepReadings,
    history: ReadingHistory,
    length_ms: float,
    measured: Measured,
    spans: Sequence[HeldSpan],
    *,
    has_clock: bool = True,
) -> Measured:
    """Measure a glide or a ladder on the spans in which it rests."""
    step, last = target.step, spans[-1]
    if step.ladder:  # of one that is let go early, the last rung that was reached
        reached = [span for span in spans if len(span.frames) >= MEASUREMENT.min_pitch_frames]
        last = reached[-1] if reached else last
    if len(last.frames) < MEASUREMENT.min_pitch_frames:
        return measured
    cents = [span.cents for span in spans]
    known = [each for each in cents if each is not None]
    steadiness = [wobble_and_drift(span) for span in (spans if step.ladder else spans[-1:])]
    wobbles = [wobble for wobble, _ in steadiness if wobble is not None]
    drifts = [drift for _, drift in steadiness if drift is not None]
    stray, back = path_deviation(target, readings, length_ms, (cents[0], cents[-1]))
    worst = max(known, key=abs) if known else None
    return replace(
        _with_holes(measured, target, history, last),
        cents=worst if step.ladder else cents[-1],
        wobble_cents=max(wobbles, default=None),
        drift_cents=max(drifts, key=abs, default=None),
        scoop_cents=cents[0],
        rungs=tuple(cents) if step.ladder else (),
        stray_cents=stray if has_clock else None,
        back_cents=back,
        unheard=missed_sounds(target, readings, history, length_ms),
        heard=_heard_path(history, spans, "=" if step.ladder else ">"),
    )


def _with_holes(
    measured: Measured, target: StepTarget, history: ReadingHistory, held: HeldSpan
) -> Measured:
    """The figures with those of the holes that sounded."""
    holes = holes_sounding(history, held.frames, held.sound)
    leak = loudest_leak(history, held.frames, held.sound, _allowed_holes(target, held.sound))
    return replace(
        measured,
        leak_db=leak.db if leak else None,
        leak_hole=leak.hole if leak else None,
        holes=holes,
        hidden=masked_holes(held.sound, target.path[-1], holes),
    )


def _allowed_holes(target: StepTarget, sound: Sound) -> frozenset[int]:
    """Holes that may sound along with a sound."""
    if target.step.is_gesture:
        return frozenset(HOLES)
    if (
        target.step.cleanness_rule not in (CleannessRule.BLUR, CleannessRule.CHORD)
        or len(sound) > 1
    ):
        return frozenset()
    hole = sound[0].hole
    return frozenset({hole - 1, hole + 1} & set(HOLES))


def _with_heard_alternative(
    target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]
) -> StepTarget:
    """The step with the one of two allowed entries that was played.

    Of two holes it is the one that was named more often, of "bent or not" the one whose pitch is
    nearer.
    """
    step = target.step
    if step.alternative is None:
        return target
    other = (step.alternative,)
    if not step.has_bent_choice:
        is_other = named_more_often(history, frames, other, step.first)
        return replace(target, step=replace(step, sounds=(other,) if is_other else step.sounds))
    pitch = history.pitch[frames[len(frames) // 3 :]]
    if np.isnan(pitch).all():
        return target
    middle = float(np.nanmedian(pitch))
    written, bent = target.path[0][0], target.alternative_pitches[0]
    if abs(middle - written) <= abs(middle - bent):
        return target
    return replace(target, step=replace(step, sounds=(other,)), path=(target.alternative_pitches,))


def _heard_path(history: ReadingHistory, spans: Sequence[HeldSpan], sign: str) -> str | None:
    heard = [heard_tab(history, span.frames, span.sound, span.cents) for span in spans]
    known = [tab for tab in heard if tab is not None]
    return sign.join(known) if len(known) == len(heard) else None


def _pitch(target: StepTarget, history: ReadingHistory, frames: NDArray[np.int64]) -> Floats:
    """Pitch of a step's readings in cents; NaN where there is none, or another hole's.

    Where a neighbour is as loud, it is the pitch of the wanted reed, if the ear could follow it.
    Where a chord is asked for, the neighbour may be louder.
    """
    pitch = without_outliers(history.pitch[frames])
    if not target.step.has_path and not target.step.is_chord:
        pitch = without_octaves(pitch)
        (wanted,) = target.step.first
        is_chord = bool(target.step.implied_neighbour((wanted,)))
        for i in np.flatnonzero(is_drowned_out(history, frames, (wanted,), or_softer=is_chord)):
            by_hole = dict(history.pitches.get(int(frames[i]), ()))
            pitch[i] = by_hole.get(wanted.hole, np.nan)
    return pitch
