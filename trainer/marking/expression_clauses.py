"""Clauses about articulation, loudness and the hands, for :mod:`trainer.marking.sentence`.

Each names the figure that costs most, and what to do about it first.
"""

from __future__ import annotations

import math

from trainer.drill import Articulation, Step, Vibrato
from trainer.marking.criteria import articulation_terms, dynamics_terms
from trainer.marking.mark import Measured
from trainer.marking.parameters import LOUDNESS

_FRACTIONS = ("", "a quarter of a beat", "half a beat", "three quarters of a beat")


def articulation_clause(step: Step, measured: Measured) -> str:
    """What to do about the articulation of a step."""
    worst = min(articulation_terms(step, measured), key=lambda term: term.earned)
    match worst.figure:
        case "separation_db":
            return "tongue it again: it ran on from the note before"
        case "gap_ms":
            return f"lead it into the next note: a gap of {measured.gap_ms:.0f} ms"
        case "slap":
            return "slap it: no chord sounded with its attack"
        case _:
            return _length_clause(step, measured.held_fraction or 0.0)


def _length_clause(step: Step, held: float) -> str:
    if step.articulation is Articulation.STACCATO:
        return f"shorter: held for {100.0 * held:.0f} % of its length, staccato is half or less"
    early = _beats((1.0 - held) * float(step.beats))
    return f"hold it for its whole length: you let go {early} early"


def _beats(beats: float) -> str:
    quarters = round(4.0 * beats)
    if 1 <= quarters < len(_FRACTIONS):
        return _FRACTIONS[quarters]
    return "a beat" if quarters == 4 else f"{beats:.1f} beats"


def dynamics_clause(step: Step, measured: Measured) -> str:
    """What to do about the loudness of a step."""
    worst = min(dynamics_terms(step, measured), key=lambda term: term.earned)
    if worst.figure == "accent_db":
        return f"louder on the accent: {_louder(measured.accent_db or 0.0)}"
    return _swell_clause(step.swell_db, measured.swell_db or 0.0)


def _louder(db: float) -> str:
    if db <= -LOUDNESS.audible_db:
        return "it was softer than its neighbours"
    if db < LOUDNESS.audible_db:
        return "it was no louder than its neighbours"
    return f"only {db:.0f} dB above its neighbours"


def _swell_clause(wanted_db: float, db: float) -> str:
    verb, done = ("grow", "grew") if wanted_db > 0.0 else ("fade", "faded")
    along = db if wanted_db > 0.0 else -db
    if along <= -LOUDNESS.audible_db:
        return f"let it {verb}: it {'faded' if verb == 'grow' else 'grew'}"
    if along < LOUDNESS.audible_db:
        return f"let it {verb}: its loudness stayed the same"
    share = "more" if along < abs(wanted_db) else "less"
    return f"let it {verb} {share}: it {done} by {along:.0f} dB for {abs(wanted_db):g}"


def hand_vibrato_clause(wanted: Vibrato, measured: Measured) -> str:
    """What to do about a hand vibrato."""
    hz, db = measured.vibrato_hz, measured.vibrato_db
    if hz is None or db is None:
        return "no hand vibrato heard"
    # The curve of the depth is a third as strict as that of the rate.
    if abs(math.log2(hz / wanted.hz)) >= abs(math.log2(db / wanted.db)) / 3.0:
        speed = "slow" if hz < wanted.hz else "fast"
        return f"hand vibrato too {speed}, {hz:.1f} a second for {wanted.hz:g}"
    depth = "shallow" if db < wanted.db else "deep"
    return f"hand vibrato too {depth}, {db:.0f} dB for {wanted.db:g}"


def wah_clause(wanted_hz: float, measured: Measured) -> str:
    """What to do about a wah."""
    hz, db = measured.wah_hz, measured.wah_db
    if hz is None or db is None:
        return "no wah heard"
    if abs(math.log2(hz / wanted_hz)) >= LOUDNESS.wah_octaves:
        speed = "slow" if hz < wanted_hz else "fast"
        return f"wah too {speed}, {hz:.1f} a second for {wanted_hz:g}"
    return f"close the hands further: the wah moves only {db:.0f} dB"
