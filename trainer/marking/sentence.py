"""A mark in words, as a teacher would put it: the fault that costs most comes first.

For example:

    18 cents flat; settled after 210 ms; hole 3 leaking, 11 dB down
    played draw 5 for draw 4; 60 ms late
    skipped
    in tune, clean, in time (30 ms late)
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from trainer.drill import DEFAULT_WEIGHTS, Sound, Step, Vibrato
from trainer.harp import Tab
from trainer.marking.criteria import can_be_judged, is_wrong_note, missing_holes, sounds_alone
from trainer.marking.mark import Measured
from trainer.marking.parameters import SENTENCE

_DEPTHS = ("", "a half step", "a whole step", "a step and a half")
_PRAISE = {"pitch": "in tune", "cleanness": "clean", "time": "in time"}


def mark_sentence(
    step: Step, measured: Measured, criteria: Mapping[str, float], *, is_skipped: bool = False
) -> str:
    """The reason for a step's score, as a sentence.

    Args:
        step: the step.
        measured: its figures.
        criteria: points of each criterion, from
            :func:`~trainer.marking.criteria.criterion_scores`.
        is_skipped: whether a later step was played; used where this one was not.
    """
    if measured.start is None:
        return "skipped" if is_skipped else "not played"
    if not can_be_judged(step, measured):
        return "too short to judge"
    faults = sorted(
        (name for name in criteria if criteria[name] < SENTENCE.fault_points),
        key=lambda name: DEFAULT_WEIGHTS[name] * (criteria[name] - 100.0),
    )
    if is_wrong_note(step, measured):
        clauses = [f"played {_describe_heard(measured)} for {_describe_wanted(step)}"]
        faults = [name for name in faults if name == "time"]
    else:
        clauses = _missing_clauses(missing_holes(step, measured))
    clauses += [_clause(name, step, measured) for name in faults]
    if clauses:
        sentence = "; ".join(clauses[: SENTENCE.max_clauses])
    else:
        sentence = _praise(step, measured, criteria)
    tries = measured.tries or 1
    return sentence if tries == 1 else f"{sentence}; after {tries} tries"


def describe_sound(sound: Sound) -> str:
    """A sound in words: ``draw 4 bent a half step``, ``blow 4 and 5``."""
    if len(sound) == 1:
        return _describe_tab(sound[0])
    *most, last = (str(tab.hole) for tab in sound)
    return f"{sound[0].breath} {', '.join(most)} and {last}"


def _describe_tab(tab: Tab) -> str:
    if tab.over:
        return f"over{tab.breath} {tab.hole}"
    if not tab.bend:
        return f"{tab.breath} {tab.hole}"
    depth = _DEPTHS[tab.bend] if tab.bend < len(_DEPTHS) else f"{tab.bend} half steps"
    return f"{tab.breath} {tab.hole} bent {depth}"


def _describe_heard(measured: Measured) -> str:
    heard = measured.heard or ""
    return _describe_path(
        [_parse_sound(text) for text in heard.split("=" if "=" in heard else ">")]
    )


def _describe_wanted(step: Step) -> str:
    return _describe_path([step.first, step.last] if step.is_glide else step.sounds)


def _describe_path(sounds: Sequence[Sound]) -> str:
    """The sounds of a path in words; a sound that repeats the one before it is left out."""
    words = [describe_sound(sound) for sound in sounds]
    kept = [word for i, word in enumerate(words) if not i or word != words[i - 1]]
    return " to ".join(kept)


def _parse_sound(text: str) -> Sound:
    sign, holes = ("-", text[1:]) if text.startswith("-") else ("", text)
    return tuple(Tab.parse(sign + hole) for hole in holes.split("+"))


def _missing_clauses(holes: Sequence[int]) -> list[str]:
    if not holes:
        return []
    numbers = " and ".join(str(hole) for hole in holes)
    return [f"hole{'s' * (len(holes) > 1)} {numbers} missing"]


def _praise(step: Step, measured: Measured, criteria: Mapping[str, float]) -> str:
    words = []
    for name, praise in _PRAISE.items():
        if name in criteria:
            is_perfect = criteria[name] >= SENTENCE.perfect_points
            words.append(praise if is_perfect else f"{praise} ({_clause(name, step, measured)})")
    return ", ".join(words)


def _clause(criterion: str, step: Step, measured: Measured) -> str:
    if criterion == "pitch":
        return _pitch(step, measured)
    if criterion == "steadiness":
        return _steadiness(measured.wobble_cents or 0.0, measured.drift_cents or 0.0)
    if criterion == "attack":
        return _attack(measured)
    if criterion == "motion":
        return _motion(step, measured)
    if criterion == "cleanness":
        if sounds_alone(step, measured):
            return "sounded alone, and should be a chord"
        return _cleanness(measured.leak_hole, measured.leak_db or 0.0)
    return _time(measured.late_ms or 0.0)


def _cents(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'flat' if cents < 0 else 'sharp'}"


def _pitch(step: Step, measured: Measured) -> str:
    if step.ladder:
        return _worst_rung(step, measured)
    end, start = measured.cents or 0.0, measured.scoop_cents or 0.0
    if step.is_glide:
        return f"ends {_cents(end)}" if abs(end) >= abs(start) else f"starts {_cents(start)}"
    is_natural = not step.is_chord and step.first[0].is_natural
    is_bent = is_natural and end < -SENTENCE.bent_cents
    return f"{_cents(end)}, as if bent by accident" if is_bent else _cents(end)


def _worst_rung(step: Step, measured: Measured) -> str:
    place = max(range(len(measured.rungs)), key=lambda i: _size(measured.rungs[i]))
    rung, cents = describe_sound(step.sounds[place]), measured.rungs[place]
    return f"{rung} missing" if cents is None else f"{rung} {_cents(cents)}"


def _size(cents: float | None) -> float:
    return math.inf if cents is None else abs(cents)


def _motion(step: Step, measured: Measured) -> str:
    if step.vibrato:
        return _vibrato(step.vibrato, measured)
    if measured.unheard:
        return f"slid past {' and '.join(measured.unheard)} unheard"
    stray, back = measured.stray_cents or 0.0, measured.back_cents or 0.0
    if back >= 0.5 * stray:
        return f"went back by {back:.0f} cents on the way"
    return f"strayed {stray:.0f} cents from its way"


def _vibrato(wanted: Vibrato, measured: Measured) -> str:
    hz, cents = measured.vibrato_hz, measured.vibrato_cents
    if hz is None or cents is None:
        return "no vibrato heard"
    # The curve of the depth is half as strict as that of the rate.
    if abs(math.log2(hz / wanted.hz)) >= 0.5 * abs(math.log2(cents / wanted.cents)):
        speed = "slow" if hz < wanted.hz else "fast"
        return f"vibrato too {speed}, {hz:.1f} a second for {wanted.hz:g}"
    depth = "shallow" if cents < wanted.cents else "wide"
    return f"vibrato too {depth}, {cents:.0f} cents for {wanted.cents:g}"


def _steadiness(wobble: float, drift: float) -> str:
    # The curve of the drift is half as strict as that of the wobble.
    if 2.0 * wobble >= abs(drift):
        return f"wobbling by {wobble:.0f} cents"
    return f"{'sagging' if drift < 0 else 'rising'} by {abs(drift):.0f} cents"


def _attack(measured: Measured) -> str:
    if measured.settle_ms is None:
        return "never settled"
    settled = f"settled after {measured.settle_ms:.0f} ms"
    scoop = (measured.scoop_cents or 0.0) - (measured.cents or 0.0)
    if abs(scoop) < SENTENCE.scoop_cents:
        return settled
    side = "above" if scoop > 0 else "below"
    return f"scooped from {abs(scoop):.0f} cents {side}, {settled}"


def _cleanness(hole: int | None, db: float) -> str:
    if round(db) < 0:
        level = f"{-db:.0f} dB down"
    else:
        level = "as loud as the note" if round(db) == 0 else f"{db:.0f} dB louder than the note"
    return f"hole {hole} leaking, {level}"


def _time(late_ms: float) -> str:
    return f"{abs(late_ms):.0f} ms {'late' if late_ms > 0 else 'early'}"
