"""Prove a drill: can its aims be missed and the drill still be passed?

The built-in player performs the drill with one fault of a known size on the steps of one aim, and
the pass is marked as any other. A drill proves if a faultless pass earns enough and no pass that
misses an aim comes near the pass mark.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from trainer.drill import (
    Aim,
    Articulation,
    Drill,
    Step,
    VibratoKind,
    describe_aim,
    format_sound,
)
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice.events import PassEnded
from trainer.practice.plan import Plan
from trainer.practice.session import run_take
from trainer.sound import Fault, PlayerSpec

MIN_FAULTLESS = 98.0
"""Least score of a faultless pass."""
MIN_DISTANCE = 10.0
"""Least distance in points between the pass mark and a pass that misses an aim grossly."""
MAX_MODERATE = 85.0
"""Score below which a pass lies that misses an aim on half of its steps by twice the tolerance."""

GROSS_CENTS, GROSS_TOLERANCES = 40.0, 2.7
"""Deviation of a gross fault in cents, and in tolerances if that is more."""
GROSS_SCOOP_CENTS, GROSS_SCOOP_MS = 100.0, 250.0
"""Size of a gross scoop, and the time it takes."""
GROSS_LEAK_DB = -8.0
"""Level of a gross leak in dB relative to the wanted hole."""
MODERATE_PART = 2.5
"""Ratio of the wanted extent of a vibrato, scoop or fall to that of a moderate fault."""
MODERATE_SHAKE_FRACTION = 0.8
"""Fraction of the time on the first sound of a shake that is a moderate fault."""
GROSS_EARLY_MS = 110.0
"""A gross fault in time, in milliseconds ahead of the beat."""
SHALLOW_DB = 1.5
"""Depth in dB of a hand vibrato or wah that is moderately shallow; a gross fault has none."""
GROSS_HELD, MODERATE_HELD = 0.15, 0.25
"""Fraction of its written length for which a note is held that should be held for all of it."""
GROSS_STACCATO, MODERATE_STACCATO = 0.85, 0.75
"""The same of a staccato note."""
GROSS_GAP_MS, MODERATE_GAP_MS = 120.0, 80.0
"""Gap in milliseconds after a legato note."""
MODERATE_SOLO = 0.75
"""Fraction of the notes or phrases of a solo with a moderate fault; a gross one touches all."""
MODERATE_SWELL = 0.2
"""Fraction of the wanted swell; a gross fault has none."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One performance of a proof.

    Attributes:
        name: what was wrong, such as ``pitch of the bends, gross``; empty for a faultless one.
        score: score of the pass, 0 to 100.
        limit: bound of the score that the proof asks for.
        is_upper: whether the score must lie below the limit, not above it.
        tolerance: tolerance of the drill in cents.
    """

    name: str
    score: float
    limit: float
    is_upper: bool
    tolerance: float

    @property
    def holds(self) -> bool:
        """Whether the score is on the right side of its limit."""
        return self.score <= self.limit if self.is_upper else self.score >= self.limit


def prove(drill: Drill, harp: Harp, seed: int = 1) -> tuple[Trial, ...]:
    """Perform a drill faultlessly, and with each of its aims missed.

    A drill that tightens is proved at its widest and at its narrowest tolerance.

    Args:
        drill: the drill.
        harp: the harp it is played on.
        seed: seed of the built-in player.

    Raises:
        TrainerError: the harp cannot play the drill.
    """
    trials = _prove_at_tolerance(drill.at_widest(), harp, seed)
    if drill.tightening:
        trials += _prove_at_tolerance(drill, harp, seed)
    return tuple(trials)


def _prove_at_tolerance(drill: Drill, harp: Harp, seed: int) -> list[Trial]:
    cents, max_gross = drill.goal.tolerance, drill.goal.pass_mark - MIN_DISTANCE
    trials = [Trial("", perform(drill, harp, {}, seed=seed).score, MIN_FAULTLESS, False, cents)]
    for aim in drill.aims:
        aimed = aim.steps(drill.steps)
        name = describe_aim(aim)
        solo = {aim.criterion: 1.0} if aim.is_on_solos and drill.solos else {}
        gross = perform(drill, harp, faults_of(aim, aimed, drill), solo, seed).score
        trials.append(Trial(f"{name}, gross", gross, max_gross, True, cents))
        if aim.criterion == "holes" and "splits" in aim.groups:
            continue  # a split without beats sounds like one hole, step by step
        half = faults_of(aim, aimed[::2], drill, moderate=True)
        solo = {name: MODERATE_SOLO for name in solo}
        moderate = perform(drill, harp, half, solo, seed).score
        trials.append(Trial(f"{name}, moderate", moderate, MAX_MODERATE, True, cents))
    return trials


def perform(
    drill: Drill,
    harp: Harp,
    faults: dict[int, Fault],
    solo_faults: Mapping[str, float] | None = None,
    seed: int = 1,
) -> Result:
    """Result of a pass that the built-in player performs.

    Args:
        drill: the drill.
        harp: the harp.
        faults: faults by index of the step.
        solo_faults: faults in solos, as in :class:`trainer.sound.PlayerSpec`; None for none.
        seed: of the player.
    """
    source = PlayerSpec(faults=faults, solo_faults=solo_faults or {}, seed=seed)
    plan = Plan(harp, source, drill=drill)
    (result,) = (event.result for event in run_take(plan) if isinstance(event, PassEnded))
    return result


def faults_of(
    aim: Aim, steps: Iterable[Step], drill: Drill, moderate: bool = False
) -> dict[int, Fault]:
    """Faults that miss an aim, by index of the step.

    Args:
        aim: the aim.
        steps: the steps with a fault.
        drill: the drill, for its tolerance and tempo.
        moderate: twice the tolerance instead of a gross fault.
    """
    return {step.index: _fault(aim.criterion, step, drill, moderate) for step in steps}


def _fault(criterion: str, step: Step, drill: Drill, moderate: bool) -> Fault:
    tolerance = drill.goal.tolerance
    cents = 2.0 * tolerance if moderate else max(GROSS_CENTS, GROSS_TOLERANCES * tolerance)
    match criterion:
        case "pitch":
            is_bent = any(tab.bend for sound in step.sounds for tab in sound)
            return Fault(cents=cents if is_bent else -cents)
        case "steadiness":
            return Fault(wobble_cents=tolerance if moderate else 2.0 * tolerance)
        case "attack":
            scoop = 4.0 * tolerance if moderate else GROSS_SCOOP_CENTS
            return Fault(scoop_cents=scoop, scoop_ms=GROSS_SCOOP_MS)
        case "cleanness":
            return Fault(leak_db=-16.0 if moderate else GROSS_LEAK_DB)
        case "time":
            lost_ms = min(1000.0 * drill.beat_s(step.start) / 3.0, 250.0)
            return Fault(late_ms=-(0.4 * lost_ms if moderate else GROSS_EARLY_MS))
        case "holes":
            return Fault(alone=True)
        case "articulation":
            return _articulation_fault(step, moderate)
        case "dynamics":
            return _dynamics_fault(step, moderate)
        case _:
            return _motion_fault(step, tolerance, moderate)


def _motion_fault(step: Step, tolerance: float, moderate: bool) -> Fault:
    if step.wah_hz:
        return Fault(wah_db=SHALLOW_DB if moderate else 0.0)
    if step.vibrato and step.vibrato.kind is VibratoKind.HAND:
        return Fault(vibrato_db=SHALLOW_DB if moderate else 0.0)
    if step.shake:
        return Fault(shake_fraction=MODERATE_SHAKE_FRACTION) if moderate else Fault(alone=True)
    if step.scoop or step.fall or step.grace or step.vibrato:
        part = 1.0 / MODERATE_PART if moderate else 0.0
        return Fault(
            vibrato_cents=step.vibrato.cents * part if step.vibrato else None,
            dip_cents=step.scoop.cents * part if step.scoop else None,
            fall_cents=step.fall.cents * part if step.fall else None,
            grace_ms=0.0 if step.grace else None,
        )
    first, last = format_sound(step.first), format_sound(step.last)
    is_slide = {tab.hole for tab in step.first} != {tab.hole for tab in step.last}
    if moderate and not is_slide:
        return Fault(back_cents=4.0 * tolerance)
    return Fault(instead=last if moderate else first)


def _articulation_fault(step: Step, moderate: bool) -> Fault:
    if step.slap:
        return Fault(alone=True)
    match step.articulation:
        case Articulation.TONGUED:
            return Fault(run_on=True)
        case Articulation.LEGATO:
            return Fault(gap_ms=MODERATE_GAP_MS if moderate else GROSS_GAP_MS)
        case Articulation.STACCATO:
            return Fault(held=MODERATE_STACCATO if moderate else GROSS_STACCATO)
        case _:
            return Fault(held=MODERATE_HELD if moderate else GROSS_HELD)


def _dynamics_fault(step: Step, moderate: bool) -> Fault:
    accent_db = (1.0 if moderate else 0.0) if step.accent else None
    swell_db = step.swell_db * MODERATE_SWELL if moderate else 0.0
    return Fault(accent_db=accent_db, swell_db=swell_db if step.swell_db else None)
