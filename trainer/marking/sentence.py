"""A mark in words, as a teacher would put it: the fault that costs most comes first.

For example:

    not deep enough (40 cents above the half step); settled after 210 ms
    played -5 instead of -4; 60 ms late
    no bend: you played -4
    skipped
    in tune, clean, in time (30 ms late)
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trainer.core.quantities import quantity_text, series_text
from trainer.drill import (
    DEFAULT_DIP,
    DEFAULT_WEIGHTS,
    Goal,
    Shake,
    Sound,
    Step,
    Vibrato,
    VibratoKind,
    format_sound,
)
from trainer.harp import Breath, Harp, Tab
from trainer.marking.criteria import (
    as_chosen,
    can_be_judged,
    is_left_out,
    is_not_begun,
    is_wrong_note,
    missing_holes,
    score_criteria,
    sounds_alone,
)
from trainer.marking.expression_clauses import (
    articulation_clause,
    dynamics_clause,
    hand_vibrato_clause,
    wah_clause,
)
from trainer.marking.mark import Measured
from trainer.marking.parameters import SENTENCE

_DEPTHS = ("", "half step", "whole step", "step and a half")
_SAGGING = ((2, Breath.DRAW), (3, Breath.DRAW))
"""Notes that go flat by too much breath before any other (common practice)."""
LAST_DRAW_BEND = 6
"""Last hole that bends by drawing; those above bend by blowing."""
_PRAISE = {"pitch": "in tune", "cleanness": "clean", "time": "in time"}


@dataclass(frozen=True, slots=True)
class _Setting:
    """What a sentence depends on beside the step.

    Attributes:
        goal: the drill's goal.
        harp: the harp; None where it is not known.
        beat_ms: length of a beat in milliseconds.
    """

    goal: Goal
    harp: Harp | None
    beat_ms: float


def mark_sentence(
    step: Step,
    measured: Measured,
    criteria: Mapping[str, float],
    *,
    goal: Goal | None = None,
    harp: Harp | None = None,
    beat_ms: float = 1000.0,
    is_skipped: bool = False,
) -> str:
    """The reason for a step's score, as a sentence.

    Args:
        step: the step.
        measured: its figures.
        criteria: points of each criterion, from
            :func:`~trainer.marking.criteria.criterion_scores`.
        goal: the drill's goal; None for the usual one.
        harp: the harp, whose reeds say which notes can sag; None where it is not known.
        beat_ms: length of a beat in milliseconds.
        is_skipped: whether a later step was played; used where this one was not.
    """
    step = as_chosen(step, measured)
    if is_left_out(step, measured):
        return "left out: optional"
    if measured.start is None:
        return "skipped" if is_skipped else "not played"
    if not can_be_judged(step, measured):
        return "too short to judge"
    setting = _Setting(goal or Goal(), harp, beat_ms)
    faults = sorted(
        (name for name in criteria if criteria[name] < SENTENCE.fault_points),
        key=lambda name: DEFAULT_WEIGHTS[name] * (criteria[name] - 100.0),
    )
    if is_wrong_note(step, measured):
        clauses = [_wrong_note(step, measured)]
        faults = [name for name in faults if name == "time"]
    elif not step.has_path and not step.is_chord and _is_adrift(measured):
        clauses = [f"no steady {step.tab}: the pitch moved from note to note"]
        faults = [name for name in faults if name == "time"]
    else:
        clauses = _missing_clauses(missing_holes(step, measured))
        if step.is_gesture and sounds_alone(step, measured):
            clauses = ["open the mouth wider: one hole sounded alone, and should be a chord"]
    if "steadiness" in faults and _is_near(step, measured, setting.goal.tolerance):
        faults = [name for name in faults if name != "pitch"]
    if is_not_begun(step, measured):
        clauses.append("held over from the note before; start it again")
        faults = [name for name in faults if name not in ("attack", "time", "articulation")]
    clauses += [_clause(name, step, measured, setting) for name in faults]
    if measured.hidden and len(clauses) < SENTENCE.max_clauses:
        clauses += _hidden_clauses(step, measured)
    if clauses:
        sentence = "; ".join(clauses[: SENTENCE.max_clauses])
    else:
        sentence = _praise(step, measured, criteria, setting)
    if measured.held_on and not is_not_begun(step, measured):
        sentence += f"; after {measured.held_on} its start cannot be heard"
    tries = measured.tries or 1
    return sentence if tries == 1 else f"{sentence}; after {tries} tries"


def describe_sound(sound: Sound) -> str:
    """A sound in words: ``draw 4 bent a half step``, ``blow 4 and 5``."""
    if len(sound) == 1:
        return _describe_tab(sound[0])
    return f"{sound[0].breath} {series_text([str(tab.hole) for tab in sound])}"


def _describe_tab(tab: Tab) -> str:
    if tab.over:
        return f"over{tab.breath} {tab.hole}"
    if not tab.bend:
        return f"{tab.breath} {tab.hole}"
    depth = f"a {_DEPTHS[tab.bend]}" if tab.bend < len(_DEPTHS) else f"{tab.bend} half steps"
    return f"{tab.breath} {tab.hole} bent {depth}"


def _parse_sound(text: str) -> Sound:
    sign, holes = ("-", text[1:]) if text.startswith("-") else ("", text)
    return tuple(Tab.parse(sign + hole) for hole in holes.split("+"))


def _missing_clauses(holes: Sequence[int]) -> list[str]:
    if not holes:
        return []
    numbers = " and ".join(str(hole) for hole in holes)
    return [f"hole{'s' * (len(holes) > 1)} {numbers} missing"]


def _hidden_clauses(step: Step, measured: Measured) -> list[str]:
    """What cannot be heard of a split: the upper reed of an octave, unless the two beat."""
    numbers = " and ".join(str(hole) for hole in measured.hidden)
    return [f"not judged: hole {numbers} cannot be heard without beats"]


def _is_near(step: Step, measured: Measured, tolerance: float) -> bool:
    """Whether a note lies within tolerance, and has lost points for pitch as it was not held."""
    start = (measured.scoop_cents or 0.0) if step.is_glide else 0.0
    return not step.ladder and max(abs(measured.cents or 0.0), abs(start)) <= tolerance


def _is_adrift(measured: Measured) -> bool:
    """Whether the figures say that no note was held: they are then no figures of one note."""
    return (
        _is_unsteady(measured.wobble_cents or 0.0, measured.drift_cents or 0.0)
        or abs(measured.cents or 0.0) > SENTENCE.max_off_cents
    )


def _is_unsteady(wobble: float, drift: float) -> bool:
    """Whether a pitch moved further than any that is held."""
    return abs(wobble) > SENTENCE.max_wobble_cents or abs(drift) > SENTENCE.max_drift_cents


def _wrong_note(step: Step, measured: Measured) -> str:
    """What was played instead, in tab; for a bend that was missed, which way."""
    heard = measured.heard or ""
    if not step.has_path and not step.is_chord and ">" not in heard and "+" not in heard:
        (wanted,), played = step.first, Tab.parse(heard)
        is_same_reed = (wanted.hole, wanted.breath) == (played.hole, played.breath)
        if is_same_reed and wanted.bend and not wanted.over and not played.over:
            if not played.bend:
                return f"no bend: you played {heard}"
            side = "too deep" if played.bend > wanted.bend else "not deep enough"
            return f"{side}: you played {heard}"
    return f"played {heard.replace('>', ' to ')} instead of {step.tab}"


def _praise(
    step: Step, measured: Measured, criteria: Mapping[str, float], setting: _Setting
) -> str:
    words = []
    for name, praise in _PRAISE.items():
        if name in criteria:
            is_perfect = criteria[name] >= SENTENCE.perfect_points
            clause = _clause(name, step, measured, setting)
            words.append(praise if is_perfect else f"{praise} ({clause})")
    return ", ".join(words)


def _clause(criterion: str, step: Step, measured: Measured, setting: _Setting) -> str:
    if criterion == "pitch":
        return _pitch(step, measured, setting.harp)
    if criterion == "steadiness":
        wobble, drift = measured.wobble_cents or 0.0, measured.drift_cents or 0.0
        if _is_unsteady(wobble, drift):
            sound = format_sound(step.last)
            return f"does not stay on {sound}" if step.is_glide else "not held steadily"
        return _steadiness(wobble, drift)
    if criterion == "attack":
        return _attack(measured)
    if criterion == "motion":
        return _motion(step, measured, setting)
    if criterion == "cleanness":
        if sounds_alone(step, measured):
            return "sounded alone, and should be a chord"
        if measured.leak_hole is None:
            return "not clean"
        return _cleanness(measured.leak_hole, measured.leak_db or 0.0)
    if criterion == "articulation":
        return articulation_clause(step, measured)
    if criterion == "dynamics":
        return dynamics_clause(step, measured)
    late = _time(measured.own_late_ms or 0.0, setting.beat_ms)
    return f"{late} against the others" if measured.common_late_ms else late


def _cents(cents: float) -> str:
    return f"{_in_cents(abs(cents))} {'flat' if cents < 0 else 'sharp'}"


def _in_cents(cents: float) -> str:
    return quantity_text(round(cents), "cent")


def _pitch(step: Step, measured: Measured, harp: Harp | None) -> str:
    if step.ladder:
        return _worst_rung(step, measured)
    end, start = measured.cents or 0.0, measured.scoop_cents or 0.0
    if step.is_glide:
        verb, cents, sound = max(
            [("end", end, step.last), ("start", start, step.first)], key=lambda at: abs(at[1])
        )
        if abs(cents) > SENTENCE.max_off_cents:
            return f"does not {verb} on {format_sound(sound)}"
        return f"{verb}s {_cents(cents)}"
    tab = step.first[0]
    if step.is_chord and abs(end) > SENTENCE.max_off_cents:
        return f"another chord than {step.tab}"
    if step.is_chord or step.offset_cents(0):
        return _cents(end)
    if step.dips_in_vibrato and measured.vibrato_cents and end > 0:
        return f"the vibrato rises {_in_cents(end)} above the note: let it only dip"
    if tab.bend and not tab.over:
        depth = _DEPTHS[tab.bend] if tab.bend < len(_DEPTHS) else f"{tab.bend} half steps"
        if end > 0:
            return f"not deep enough ({_in_cents(end)} above the {depth})"
        return f"too deep ({_in_cents(-end)} below the {depth})"
    if (tab.hole, tab.breath) in _SAGGING and tab.is_natural and end < -SENTENCE.sag_cents:
        return f"{_cents(end)}: draw it with less breath"
    if tab.is_natural and end < -SENTENCE.bent_cents and _can_bend(tab, harp):
        return f"{_cents(end)}, as if bent by accident"
    return _cents(end)


def _can_bend(tab: Tab, harp: Harp | None) -> bool:
    """Whether a natural note sags by bending."""
    if harp is None:
        return (tab.breath is Breath.DRAW) == (tab.hole <= LAST_DRAW_BEND)
    return harp.bend_depth(tab.hole, tab.breath) > 0.0


def _worst_rung(step: Step, measured: Measured) -> str:
    place = max(range(len(measured.rungs)), key=lambda i: _size(measured.rungs[i]))
    rung, cents = describe_sound(step.sounds[place]), measured.rungs[place]
    if cents is None or abs(cents) > SENTENCE.max_off_cents:
        return f"{rung} missing"
    return f"{rung} {_cents(cents)}"


def _size(cents: float | None) -> float:
    return math.inf if cents is None else abs(cents)


def _motion(step: Step, measured: Measured, setting: _Setting) -> str:
    """The figure of the motion that earns least, in words."""
    score = score_criteria(step, measured, setting.goal, setting.beat_ms).get("motion")
    if score is None:
        return ""
    figure = min(score.terms, key=lambda term: term.earned).figure
    if figure.startswith("vibrato") and step.vibrato:
        if step.vibrato.kind is VibratoKind.HAND:
            return hand_vibrato_clause(step.vibrato, measured)
        return _vibrato(figure, step.vibrato, measured)
    if figure.startswith("wah"):
        return wah_clause(step.wah_hz, measured)
    if figure.startswith("shake") and step.shake:
        return _shake(figure, step, step.shake, measured)
    if figure.startswith(("dip", "fall")):
        return _inflection(figure, step, measured, setting.beat_ms)
    if figure == "grace_ms":
        return _grace_note(step, measured)
    if figure == "unheard":
        return f"slid past {' and '.join(measured.unheard)} unheard"
    if figure == "back_cents":
        back = measured.back_cents or 0.0
        is_wild = back > SENTENCE.max_way_cents
        return f"went back {'and forth' if is_wild else f'by {_in_cents(back)}'} on the way"
    stray = measured.stray_cents or 0.0
    is_wild = stray > SENTENCE.max_way_cents
    return "left the path" if is_wild else f"strayed {_in_cents(stray)} from the path"


def _vibrato(figure: str, wanted: Vibrato, measured: Measured) -> str:
    hz, cents = measured.vibrato_hz, measured.vibrato_cents
    if hz is None or cents is None:
        return "no vibrato heard"
    if figure == "vibrato_hz":
        speed = "slow" if hz < wanted.hz else "fast"
        return f"vibrato too {speed}, {hz:.1f} a second for {wanted.hz:g}"
    if cents > SENTENCE.max_way_cents:
        return "vibrato much too wide"
    depth = "shallow" if cents < wanted.cents else "wide"
    return f"vibrato too {depth}, {_in_cents(cents)} for {wanted.cents:g}"


def _shake(figure: str, step: Step, wanted: Shake, measured: Measured) -> str:
    own, other = format_sound(step.first), format_sound(wanted.other)
    hz, fraction, db = measured.shake_hz, measured.shake_fraction, measured.shake_db
    if hz is None:
        return f"no shake heard: change between {own} and {other}"
    if figure == "shake_hz":
        speed = "faster" if hz < wanted.hz else "slower"
        return f"shake {speed}: {hz:.1f} a second for {wanted.hz:g}"
    if figure == "shake_db" and db is not None:
        soft = other if db < 0.0 else own
        return f"{soft} is {abs(db):.0f} dB softer in the shake: move further onto it"
    if figure == "shake_fraction" and fraction is not None:
        short, part = (other, 1.0 - fraction) if fraction > 0.5 else (own, fraction)
        return f"the shake is uneven: stay longer on {short} ({100.0 * part:.0f} % of the time)"
    return "the shake speeds up and slows down: move evenly"


def _inflection(figure: str, step: Step, measured: Measured, beat_ms: float) -> str:
    """What to do about the depth or the length of a scoop, dip or fall."""
    name, unit = figure.split("_")
    wanted = step.scoop if name == "dip" else step.fall
    depth, ms = getattr(measured, f"{name}_cents"), getattr(measured, f"{name}_ms")
    if wanted is None:
        return ""
    is_dip = name == "dip" and wanted.beats <= DEFAULT_DIP.beats
    word = "fall" if name == "fall" else "dip" if is_dip else "scoop"
    if not depth or depth < SENTENCE.min_inflection_cents:
        start = "let it drop at its end" if name == "fall" else "start lower and let it rise"
        return f"no {word} heard: {start}"
    if unit == "cents":
        further = depth < wanted.cents
        if name == "fall":
            advice = "let it fall further" if further else "let it fall less far"
        else:
            advice = f"{word} {'deeper' if further else 'less deep'}"
        return f"{advice} ({_in_cents(depth)} for {wanted.cents:g})"
    pace = "quicker" if ms > float(wanted.beats) * beat_ms else "slower"
    return f"{word} {pace} ({ms:.0f} ms for {float(wanted.beats) * beat_ms:.0f})"


def _grace_note(step: Step, measured: Measured) -> str:
    grace = format_sound(step.grace)
    if measured.grace_ms is None:
        return f"no grace note heard: flick {grace} just before the beat"
    return f"grace note too long, {measured.grace_ms:.0f} ms: flick {grace} quicker"


def _steadiness(wobble: float, drift: float) -> str:
    # The curve of the drift is half as strict as that of the wobble.
    if 2.0 * wobble >= abs(drift):
        return f"wobbling by {_in_cents(wobble)}"
    return f"{'sagging' if drift < 0 else 'rising'} by {_in_cents(abs(drift))}"


def _attack(measured: Measured) -> str:
    if measured.settle_ms is None:
        return "never settled"
    settled = f"settled after {measured.settle_ms:.0f} ms"
    scoop = (measured.scoop_cents or 0.0) - (measured.cents or 0.0)
    if abs(scoop) < SENTENCE.scoop_cents:
        return settled
    if abs(scoop) > SENTENCE.max_scoop_cents:
        return f"slid in from another note, {settled}"
    side = "above" if scoop > 0 else "below"
    return f"scooped from {_in_cents(abs(scoop))} {side}, {settled}"


def _cleanness(hole: int, db: float) -> str:
    if db < -SENTENCE.as_loud_db:
        return f"hole {hole} leaking, {-db:.0f} dB down"
    level = "as loud as" if db <= SENTENCE.as_loud_db else "louder than"
    return f"hole {hole} leaking, {level} the note"


def _time(late_ms: float, beat_ms: float) -> str:
    beats = abs(late_ms) / beat_ms
    if beats >= SENTENCE.max_late_beats:
        side = "late" if late_ms > 0 else "early"
        return f"about {beats:.0f} beat{'s' * (round(beats) != 1)} {side}"
    return f"{abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}"
