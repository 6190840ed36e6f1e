"""Faults of the built-in player that can be drawn at random: kinds, each of any size.

A kind names a criterion and makes a fault of a size for a step: 1 is a gross fault, as in
`trainer.practice.proof`, and more is worse. It makes none for a step that cannot show it, or on
which it would be no fault or turn into another one: a leak where a neighbour may sound, a wobble
where a vibrato is asked for, a scoop before a dip.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace

from trainer.drill import Articulation, CleannessRule, Drill, Step, VibratoKind
from trainer.practice.proof import (
    GROSS_CENTS,
    GROSS_EARLY_MS,
    GROSS_GAP_MS,
    GROSS_LEAK_DB,
    GROSS_SCOOP_CENTS,
    GROSS_SCOOP_MS,
    GROSS_TOLERANCES,
)
from trainer.sound import Fault

Faults = dict[int, Fault]
"""Faults by index of the step."""

_CHORD_RULES = (CleannessRule.CHORD, CleannessRule.AROUND)
_SHORTEST_S = 0.07
"""Shortest note in seconds: the built-in player refuses one below 0.05 s."""

_SHORTEST_WOBBLE_S = 0.7
"""Shortest note in seconds that wobbles: three periods of the built-in player's wobble. A fault in
time, which cuts it short, leaves two."""


@dataclass(frozen=True, slots=True)
class Context:
    """What a fault depends on besides its step.

    Attributes:
        drill: the drill, for tolerance and tempo.
        step: the step.
        sign: +1 or -1.
        side: number to choose a neighbouring hole by.
    """

    drill: Drill
    step: Step
    sign: float
    side: float

    @property
    def length_s(self) -> float:
        """Written length of the step in seconds."""
        return float(self.step.beats) * self.drill.beat_s(self.step.start)


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of fault.

    Attributes:
        name: what is wrong.
        criterion: the criterion that it is judged on, or ``holes``.
        make: the fault of a size on a step; None where the step cannot show it.
    """

    name: str
    criterion: str
    make: Callable[[Context, float], Fault | None]

    def on(self, steps: Iterable[Step], drill: Drill, size: float, seed: int) -> Faults:
        """Faults on some steps by index, without those that cannot show it.

        The sign and side of a step depend on the seed and its index alone.
        """
        faults = {}
        for step in steps:
            rng = random.Random(f"{seed} {step.index}")
            context = Context(drill, step, rng.choice((-1.0, 1.0)), rng.random())
            fault = None if step.call else self.make(context, size)
            if fault is not None:
                faults[step.index] = fault
        return faults


def combine(*several: Mapping[int, Fault]) -> Faults:
    """All of some faults at once; of two that set the same, the later one counts."""
    both: Faults = {}
    usual = Fault()  # the default of every field
    for faults in several:
        for index, fault in faults.items():
            values = {each.name: getattr(fault, each.name) for each in fields(Fault)}
            changed = {k: v for k, v in values.items() if v != getattr(usual, k)}
            both[index] = replace(both.get(index, usual), **changed)
    return both


def _less(size: float, per_size: float = 0.6) -> float:
    """What is left of a wanted extent; nothing of a large fault's."""
    return max(0.0, 1.0 - per_size * size)


def _pitch(at: Context, size: float) -> Fault | None:
    if at.step.alternative is not None:
        return None  # the other note may be nearer
    largest = max(GROSS_CENTS, GROSS_TOLERANCES * at.drill.goal.tolerance)
    return Fault(cents=at.sign * size * largest)


def _rung(at: Context, size: float) -> Fault | None:
    if not at.step.ladder:
        return None
    rung = 1 + int(at.side * len(at.step.sounds))
    return Fault(rung=rung, rung_cents=at.sign * size * GROSS_CENTS)


def _is_plain(step: Step) -> bool:
    """Whether a step is held on one pitch that it begins and ends with."""
    is_shaped = step.scoop or step.fall or step.grace or step.shake or step.slap
    has_vibrato = step.vibrato is not None and step.vibrato.kind is VibratoKind.THROAT
    return not (is_shaped or step.has_path or has_vibrato)


def _is_long(at: Context) -> bool:
    """Whether a step is held plainly for some periods of a wobble; in less, it is a glide."""
    return _is_plain(at.step) and at.length_s >= _SHORTEST_WOBBLE_S


def _wobble(at: Context, size: float) -> Fault | None:
    cents = 2.0 * size * at.drill.goal.tolerance
    return Fault(wobble_cents=cents) if _is_long(at) else None


def _drift(at: Context, size: float) -> Fault | None:
    cents = 4.0 * size * at.drill.goal.tolerance
    return Fault(drift_cents=at.sign * cents) if _is_long(at) else None


def _scoop(at: Context, size: float) -> Fault | None:
    cents = at.sign * size * GROSS_SCOOP_CENTS
    return Fault(scoop_cents=cents, scoop_ms=GROSS_SCOOP_MS) if _is_plain(at.step) else None


def _leak(at: Context, size: float) -> Fault | None:
    step = at.step
    if step.slap or step.cleanness_rule not in (CleannessRule.PLAIN, CleannessRule.CLEAN):
        return None
    taken = {tab.hole for tab in (*step.tabs, *step.grace)}
    beside = {side for hole in taken for side in (hole - 1, hole + 1) if 1 <= side <= 10}
    free = sorted(beside - taken)
    if not free:
        return None
    return Fault(leak_db=GROSS_LEAK_DB / size, leak_hole=free[int(at.side * len(free))])


def _off_time(at: Context, size: float) -> Fault | None:
    return None if at.drill.free else Fault(late_ms=at.sign * size * GROSS_EARLY_MS)


def _alone(at: Context, size: float) -> Fault | None:
    step = at.step
    is_chord = step.is_chord or step.cleanness_rule in _CHORD_RULES
    return Fault(alone=True) if is_chord and not step.has_path else None


def _short(at: Context, size: float) -> Fault | None:
    if at.step.articulation in (Articulation.STACCATO, Articulation.LEGATO) or at.step.has_path:
        return None
    held = 0.5 * _less(size, 0.4)
    return Fault(held=held) if held * at.length_s >= _SHORTEST_S else None


def _long(at: Context, size: float) -> Fault | None:
    if at.step.articulation is not Articulation.STACCATO:
        return None
    return Fault(held=min(1.0, 0.5 + 0.3 * size))


def _gap(at: Context, size: float) -> Fault | None:
    gap_ms = size * GROSS_GAP_MS
    is_legato = at.step.articulation is Articulation.LEGATO
    return Fault(gap_ms=gap_ms) if is_legato and gap_ms < 500.0 * at.length_s else None


def _run_on(at: Context, size: float) -> Fault | None:
    return Fault(run_on=True) if at.step.articulation is Articulation.TONGUED else None


def _no_slap(at: Context, size: float) -> Fault | None:
    return Fault(alone=True) if at.step.slap else None


def _flat_accent(at: Context, size: float) -> Fault | None:
    return Fault(accent_db=4.0 * _less(size)) if at.step.accent else None


def _flat_swell(at: Context, size: float) -> Fault | None:
    return Fault(swell_db=at.step.swell_db * _less(size)) if at.step.swell_db else None


def _flat_vibrato(at: Context, size: float) -> Fault | None:
    wanted = at.step.vibrato
    if wanted is None:
        return None
    if wanted.kind is VibratoKind.HAND:
        return Fault(vibrato_db=wanted.db * _less(size))
    return Fault(vibrato_cents=wanted.cents * _less(size))


def _slow_vibrato(at: Context, size: float) -> Fault | None:
    wanted = at.step.vibrato
    return Fault(vibrato_hz=wanted.hz * 2.0 ** (-0.6 * size)) if wanted else None


def _shallow_dip(at: Context, size: float) -> Fault | None:
    return Fault(dip_cents=at.step.scoop.cents * _less(size)) if at.step.scoop else None


def _shallow_fall(at: Context, size: float) -> Fault | None:
    return Fault(fall_cents=at.step.fall.cents * _less(size)) if at.step.fall else None


def _no_grace(at: Context, size: float) -> Fault | None:
    return Fault(grace_ms=0.0) if at.step.grace else None


def _uneven_shake(at: Context, size: float) -> Fault | None:
    fraction = 0.5 + at.sign * min(0.45, 0.15 * size)
    return Fault(shake_fraction=fraction) if at.step.shake else None


def _slow_shake(at: Context, size: float) -> Fault | None:
    shake = at.step.shake
    return Fault(shake_hz=shake.hz * 2.0 ** (-0.6 * size)) if shake else None


def _lame_shake(at: Context, size: float) -> Fault | None:
    return Fault(shake_spread=min(0.5, 0.3 * size)) if at.step.shake else None


def _flat_wah(at: Context, size: float) -> Fault | None:
    return Fault(wah_db=6.0 * _less(size)) if at.step.wah_hz else None


def _turn_back(at: Context, size: float) -> Fault | None:
    step = at.step
    if not (step.is_glide and {t.hole for t in step.sounds[0]} == {t.hole for t in step.sounds[1]}):
        return None
    return Fault(back_cents=4.0 * size * at.drill.goal.tolerance)


KINDS = (
    Kind("pitch", "pitch", _pitch),
    Kind("rung", "pitch", _rung),
    Kind("wobble", "steadiness", _wobble),
    Kind("drift", "steadiness", _drift),
    Kind("scoop", "attack", _scoop),
    Kind("leak", "cleanness", _leak),
    Kind("time", "time", _off_time),
    Kind("alone", "holes", _alone),
    Kind("short", "articulation", _short),
    Kind("long", "articulation", _long),
    Kind("gap", "articulation", _gap),
    Kind("run on", "articulation", _run_on),
    Kind("no slap", "articulation", _no_slap),
    Kind("accent", "dynamics", _flat_accent),
    Kind("swell", "dynamics", _flat_swell),
    Kind("vibrato", "motion", _flat_vibrato),
    Kind("slow vibrato", "motion", _slow_vibrato),
    Kind("dip", "motion", _shallow_dip),
    Kind("fall", "motion", _shallow_fall),
    Kind("grace", "motion", _no_grace),
    Kind("uneven shake", "motion", _uneven_shake),
    Kind("slow shake", "motion", _slow_shake),
    Kind("lame shake", "motion", _lame_shake),
    Kind("wah", "motion", _flat_wah),
    Kind("turn back", "motion", _turn_back),
)
"""All kinds of faults."""


_ALIKE = (
    {"short", "long", "gap", "run on"},
    {"alone", "leak"},
    {"rung", "pitch"},
    {"drift", "scoop"},
    {"long", "scoop"},
    {"long", "time"},
    {"drift", "short"},
    {"vibrato", "slow vibrato"},
    {"uneven shake", "slow shake", "lame shake", "alone"},
)
"""Names of kinds of which two on a note need not be worse than one: a neighbour that leaks
completes a chord, a vibrato that is not there is not slow, all being off sets a rung right, a scoop
may undo the first part of a drift and ends within a long note, an early note ends the long one
before it, and a short note drifts less."""


def makes_worse(kind: Kind, other: Kind) -> bool:
    """Whether a step with one kind of fault is worse with another one, too."""
    return kind is not other and not any({kind.name, other.name} <= names for names in _ALIKE)


def kinds_for(drill: Drill) -> list[Kind]:
    """The kinds that some step of a drill can show."""
    return [kind for kind in KINDS if kind.on(drill.steps, drill, 1.0, 0)]


def draw_steps(steps: Sequence[Step], rng: random.Random) -> tuple[str, list[Step]]:
    """Draw the first or the last of some steps, all of them, or any number; with a name."""
    how = rng.choice(("first", "last", "all", "some", "some", "some"))
    if how == "some":
        drawn = rng.sample(list(steps), rng.randint(1, len(steps)))
        return f"{len(drawn)} of {len(steps)}", sorted(drawn, key=lambda step: step.index)
    return how, {"first": [steps[0]], "last": [steps[-1]], "all": list(steps)}[how]


def draw_between(
    steps: Sequence[Step], taken: Iterable[int], drill: Drill, rng: random.Random
) -> tuple[str, Faults]:
    """Draw a fault on a step without any: an extra note after it, a late entry, or a skip."""
    others = set(taken)
    free = [step for step in steps if step.index not in others and not (step.call or step.optional)]
    if not free:
        return "", {}
    step, what = rng.choice(free), rng.choice(("extra", "late", "skip"))
    if what == "late" and not drill.free:
        return what, {step.index: Fault(late_ms=rng.uniform(60.0, 180.0))}
    length_s = float(step.beats) * drill.beat_s(step.start)
    if what == "extra" and length_s > 0.5 and not (step.has_path or step.shake or step.fall):
        near = {tab for other in steps for tab in other.tabs if abs(other.index - step.index) < 2}
        entries = [f"{sign}{hole}" for sign in ("", "-") for hole in range(1, 11)]
        strange = [entry for entry in entries if entry not in {str(tab) for tab in near}]
        return what, {step.index: Fault(extra=rng.choice(strange))}
    return "skip", {step.index: Fault(skip=True)}
