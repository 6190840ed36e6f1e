"""Typical faults for the built-in player: a learner's errors on each kind of step."""

from __future__ import annotations

from trainer.drill import Drill, Step
from trainer.sound import Fault

CLEAN_EVERY = 3
"""One step in this many is played without a fault."""


def typical_faults(drill: Drill) -> dict[int, Fault]:
    """Return faults by step index, the same for the same drill.

    Bends stay shallow and are reached late, a neighbour leaks into single notes, off-beats drag.
    The sizes are chosen to be visible in a demonstration.
    """
    counts = {"bend": 0, "natural": 0}
    faults = {}
    for step in drill.steps:
        if step.index % CLEAN_EVERY == 0 or step.is_chord:
            continue
        kind = "bend" if any(tab.bend for sound in step.sounds for tab in sound) else "natural"
        faults[step.index] = _FAULTS[kind](step, counts[kind])
        counts[kind] += 1
    return faults


def _bend_fault(step: Step, nth: int) -> Fault:
    if step.is_glide:
        return Fault(cents=9.0)
    if nth % 2 == 0:
        return Fault(cents=14.0, scoop_cents=70.0, scoop_ms=160.0)
    return Fault(cents=-6.0, wobble_cents=7.0)


def _natural_fault(step: Step, nth: int) -> Fault:
    if step.start.denominator > 1:
        return Fault(late_ms=55.0)
    if nth % 2 == 0:
        return Fault(leak_db=-13.0)
    return Fault(cents=-12.0, drift_cents=-8.0)


_FAULTS = {"bend": _bend_fault, "natural": _natural_fault}
