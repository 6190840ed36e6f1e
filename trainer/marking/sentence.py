"""A mark in plain words, as a teacher would put it: what cost most comes first.

Such as:

    18 cents flat; settled after 210 ms; hole 3 leaking, 11 dB down
    played -5 for -4; 60 ms late
    in tune, clean, in time (30 ms late)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trainer.drill import WEIGHTS, Step
from trainer.marking.mark import Measured
from trainer.marking.score import is_wrong, missing_holes, was_judged

_MOST = 3
_GOOD = 85.0
"""A part that earned less is a fault."""
_PERFECT = 97.0
"""A part that earned less is good, but its figure is told."""
_BENT_CENTS = 20.0
"""A natural note flatter than this is usually bent by accident (common practice)."""
_SCOOP_CENTS = 25.0
_GOOD_WORDS = {"pitch": "in tune", "cleanness": "clean", "time": "in time"}


def sentence_of(step: Step, measured: Measured, parts: Mapping[str, float]) -> str:
    """Why a step earned what it did.

    Args:
        step: what was asked for.
        measured: what was played.
        parts: what it earned, from :func:`trainer.marking.score.parts_of`.
    """
    if measured.start is None:
        return "not played"
    if not was_judged(step, measured):
        return "too short to judge"
    faults = sorted(
        (part for part in parts if parts[part] < _GOOD),
        key=lambda part: WEIGHTS[part] * (parts[part] - 100.0),
    )
    if is_wrong(step, measured):
        ends = dict.fromkeys((measured.heard or "").split(">"))
        clauses = [f"played {'>'.join(ends)} for {step.tab}"]
        faults = [part for part in faults if part == "time"]
    else:
        clauses = _missing(missing_holes(step, measured))
    clauses += [_clause(part, step, measured) for part in faults]
    return "; ".join(clauses[:_MOST]) if clauses else _praise(step, measured, parts)


def _missing(holes: Sequence[int]) -> list[str]:
    if not holes:
        return []
    numbers = " and ".join(str(hole) for hole in holes)
    return [f"hole{'s' * (len(holes) > 1)} {numbers} missing"]


def _praise(step: Step, measured: Measured, parts: Mapping[str, float]) -> str:
    words = []
    for part, word in _GOOD_WORDS.items():
        if part in parts:
            told = parts[part] < _PERFECT
            words.append(f"{word} ({_clause(part, step, measured)})" if told else word)
    return ", ".join(words)


def _clause(part: str, step: Step, measured: Measured) -> str:
    if part == "pitch":
        return _pitch(step, measured)
    if part == "steadiness":
        return _steadiness(measured.wobble_cents or 0.0, measured.drift_cents or 0.0)
    if part == "attack":
        return _attack(measured)
    if part == "cleanness":
        return _cleanness(measured.leak_hole, measured.leak_db or 0.0)
    return _time(measured.late_ms or 0.0)


def _off(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'flat' if cents < 0 else 'sharp'}"


def _pitch(step: Step, measured: Measured) -> str:
    end, start = measured.cents or 0.0, measured.scoop_cents or 0.0
    if step.is_glide:
        return f"ends {_off(end)}" if abs(end) >= abs(start) else f"starts {_off(start)}"
    natural = not step.is_chord and step.first[0].is_natural
    bent = natural and end < -_BENT_CENTS
    return f"{_off(end)}, as if bent by accident" if bent else _off(end)


def _steadiness(wobble: float, drift: float) -> str:
    # The curves forgive twice as much drift as wobble.
    if 2.0 * wobble >= abs(drift):
        return f"wobbling by {wobble:.0f} cents"
    return f"{'sagging' if drift < 0 else 'rising'} by {abs(drift):.0f} cents"


def _attack(measured: Measured) -> str:
    if measured.settle_ms is None:
        return "never settled"
    settled = f"settled after {measured.settle_ms:.0f} ms"
    scoop = (measured.scoop_cents or 0.0) - (measured.cents or 0.0)
    if abs(scoop) < _SCOOP_CENTS:
        return settled
    side = "above" if scoop > 0 else "below"
    return f"scooped from {abs(scoop):.0f} cents {side}, {settled}"


def _cleanness(hole: int | None, db: float) -> str:
    if round(db) < 0:
        down = f"{-db:.0f} dB down"
    else:
        down = "as loud as the note" if round(db) == 0 else f"{db:.0f} dB louder than the note"
    return f"hole {hole} leaking, {down}"


def _time(late_ms: float) -> str:
    return f"{abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}"
