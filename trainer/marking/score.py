"""The formula: from the figures of a step to its parts, its score, and the total.

Each part is 0 to 100, read off a line through the points below, level beyond its ends. `tol` is
the drill's tolerance in cents, `beat` the length of a beat in ms.

    part         from                                          points (figure → part)
    pitch        |cents|                                       0.2 tol → 100, tol → 85,
                                                               2.5 tol → 50, 5 tol → 0
    steadiness   worse of  wobble_cents                        0.2 tol → 100, 0.5 tol → 85,
                                                               1.25 tol → 50, 2.5 tol → 0
                 and       |drift_cents|                       0.5 tol → 100, tol → 85,
                                                               2.5 tol → 50, 5 tol → 0
    attack       better of |scoop_cents - cents|               tol → 100, 2.5 tol → 70,
                                                               10 tol → 0
                 and       settle_ms (0 if it never settled)   100 → 100, 150 → 85,
                                                               300 → 50, 600 → 0
    cleanness    leak_db (100 if no leak is heard)             -40 → 100, -24 → 85,
                                                               -12 → 50, 0 → 0
    time         |late_ms|                                     just → 100, 0.2 lost → 85,
                                                               0.5 lost → 50, lost → 0

- pitch: with the usual tolerance of 10 cents, 85 at 10 and 50 at 25, within which a bend is in
  tune or recognisable (common practice). What is heard as another note has 0.
- attack: a scoop does no harm if it is short, nor does a slow approach that starts close by;
  natural reeds themselves rise from 20 to 100 cents flat for up to 100 ms (measured).
- time: `just` is 2.5 % of a beat and at least 10 ms, the least that is noticed in a steady beat
  (Friberg and Sundberg 1995, JASA 98), but no more than a tenth of `lost`; `lost` is a third of
  a beat, at most 250 ms, where a note belongs to the next division of the beat as much as to
  its own.
- A glide has the pitch of its worse end (`cents`, `scoop_cents`) and no attack.

A step's score is the mean of the parts that could be judged, weighted by `WEIGHTS`; but at most
50 more than its worst part, so that nothing gross is averaged away; times min(1, pitch / 50), so
that a wrong note earns nothing however clean it is; in a chord, times the share of its holes that
sound. A step that was not played, or too briefly to be
judged, has 0. The total is the mean of the steps' scores, each counted by its length in beats.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from trainer.drill import PARTS, WEIGHTS, Goal, Step, sound_text
from trainer.marking.mark import Mark, Measured

_PITCH = ((0.2, 100.0), (1.0, 85.0), (2.5, 50.0), (5.0, 0.0))
_WOBBLE = ((0.2, 100.0), (0.5, 85.0), (1.25, 50.0), (2.5, 0.0))
_DRIFT = ((0.5, 100.0), (1.0, 85.0), (2.5, 50.0), (5.0, 0.0))
_SCOOP = ((1.0, 100.0), (2.5, 70.0), (10.0, 0.0))
_SETTLE_MS = ((100.0, 100.0), (150.0, 85.0), (300.0, 50.0), (600.0, 0.0))
_LEAK_DB = ((-40.0, 100.0), (-24.0, 85.0), (-12.0, 50.0), (0.0, 0.0))
_JUST, _JUST_MS = 0.025, 10.0
_LOST, _LOST_MS = 1.0 / 3.0, 250.0
_ABOVE_WORST = 50.0
_GATE = 50.0


def _curve(points: Sequence[tuple[float, float]], figure: float) -> float:
    figures, earned = zip(*points, strict=True)
    return float(np.interp(figure, figures, earned))


def parts_of(step: Step, measured: Measured, goal: Goal, beat_ms: float) -> dict[str, float]:
    """The parts of a step's mark that could be judged, in the order of `PARTS`.

    Args:
        step: what was asked for.
        measured: what was played.
        goal: the drill's.
        beat_ms: length of a beat.

    Returns:
        each 0 to 100; empty for a step that was not played or too briefly to be judged.
    """
    if not was_judged(step, measured):
        return {}
    judged = {
        "pitch": _pitch(step, measured, goal.tolerance),
        "steadiness": _steadiness(measured, goal.tolerance),
        "attack": None if step.is_glide else _attack(measured, goal.tolerance),
        "cleanness": _cleanness(measured),
        "motion": None,
        "time": _time(measured, beat_ms),
    }
    return {part: earned for part in PARTS if (earned := judged[part]) is not None}


def was_judged(step: Step, measured: Measured) -> bool:
    """Whether there was enough of a step to say anything about.

    A chord, and a note as loud as its neighbour, may have no pitch that is known to be theirs.
    """
    several = step.is_chord or len(measured.holes) > 1
    return measured.cents is not None or (several and bool(measured.holes))


def is_wrong(step: Step, measured: Measured) -> bool:
    """Whether another note was heard, at either end of a glide; of a chord, none of its holes."""
    if measured.heard is None:
        return False
    asked = (step.first, step.last) if step.is_glide else (step.first,)
    return any(
        not (_entries(sound_text(wanted)) & _entries(heard))
        for wanted, heard in zip(asked, measured.heard.split(">"), strict=True)
    )


def _entries(chord: str) -> set[str]:
    sign, holes = ("-", chord[1:]) if chord.startswith("-") else ("", chord)
    return {sign + hole for hole in holes.split("+")}


def _pitch(step: Step, measured: Measured, tolerance: float) -> float | None:
    if is_wrong(step, measured):
        return 0.0
    ends = [measured.cents, measured.scoop_cents] if step.is_glide else [measured.cents]
    known = [abs(cents) / tolerance for cents in ends if cents is not None]
    return _curve(_PITCH, max(known)) if known else None


def _steadiness(measured: Measured, tolerance: float) -> float | None:
    if measured.wobble_cents is None or measured.drift_cents is None:
        return None
    return min(
        _curve(_WOBBLE, measured.wobble_cents / tolerance),
        _curve(_DRIFT, abs(measured.drift_cents) / tolerance),
    )


def _attack(measured: Measured, tolerance: float) -> float | None:
    if measured.scoop_cents is None or measured.cents is None:
        return None
    scoop = _curve(_SCOOP, abs(measured.scoop_cents - measured.cents) / tolerance)
    if measured.settle_ms is None:
        return scoop
    return max(scoop, _curve(_SETTLE_MS, measured.settle_ms))


def _cleanness(measured: Measured) -> float | None:
    if not measured.holes:
        return None
    return 100.0 if measured.leak_db is None else _curve(_LEAK_DB, measured.leak_db)


def _time(measured: Measured, beat_ms: float) -> float | None:
    if measured.late_ms is None:
        return None
    lost = min(_LOST * beat_ms, _LOST_MS)
    just = min(max(_JUST * beat_ms, _JUST_MS), 0.1 * lost)
    points = ((just, 100.0), (0.2 * lost, 85.0), (0.5 * lost, 50.0), (lost, 0.0))
    return _curve(points, abs(measured.late_ms))


def missing_holes(step: Step, measured: Measured) -> list[int]:
    """Holes of a chord that did not sound, where it is known which did."""
    if not step.is_chord or not measured.holes:
        return []
    known = {*measured.holes, *measured.hidden}
    return [tab.hole for tab in step.last if tab.hole not in known]


def score_of(step: Step, measured: Measured, parts: Mapping[str, float]) -> float:
    """What a step earned, 0 to 100.

    Args:
        step: what was asked for.
        measured: what was played.
        parts: from :func:`parts_of`.
    """
    if not parts:
        return 0.0
    weight = sum(WEIGHTS[part] for part in parts)
    mean = sum(WEIGHTS[part] * earned for part, earned in parts.items()) / weight
    right = min(1.0, parts.get("pitch", _GATE) / _GATE)
    sounding = 1.0 - len(missing_holes(step, measured)) / len(step.last)
    return min(mean, min(parts.values()) + _ABOVE_WORST) * right * sounding


def total_of(marks: Sequence[Mark]) -> float:
    """What a take earned, 0 to 100; 0 for one without steps."""
    beats = sum(float(mark.step.beats) for mark in marks)
    earned = sum(mark.score * float(mark.step.beats) for mark in marks)
    return earned / beats if beats else 0.0
