"""A mark in plain words, as a teacher would put it: what cost most comes first.

Such as:

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
from trainer.marking.mark import Measured
from trainer.marking.score import can_be_judged, is_wrong_note, missing_holes, sounds_alone

_MOST = 3
_GOOD = 85.0
"""A part that earned less is a fault."""
_PERFECT = 97.0
"""A part that earned less is good, but its figure is told."""
_BENT_CENTS = 20.0
"""A natural note flatter than this is usually bent by accident (common practice)."""
_SCOOP_CENTS = 25.0
_DEPTHS = ("", "a half step", "a whole step", "a step and a half")
_GOOD_WORDS = {"pitch": "in tune", "cleanness": "clean", "time": "in time"}


def mark_sentence(
    step: Step, measured: Measured, parts: Mapping[str, float], *, skipped: bool = False
) -> str:
    """Why a step earned what it did.

    Args:
        step: what was asked for.
        measured: what was played.
        parts: what it earned, from :func:`trainer.marking.score.criterion_scores`.
        skipped: of a step that was not played, whether a later one was.
    """
    if measured.start is None:
        return "skipped" if skipped else "not played"
    if not can_be_judged(step, measured):
        return "too short to judge"
    faults = sorted(
        (part for part in parts if parts[part] < _GOOD),
        key=lambda part: DEFAULT_WEIGHTS[part] * (parts[part] - 100.0),
    )
    if is_wrong_note(step, measured):
        clauses = [f"played {_heard(measured)} for {_asked(step)}"]
        faults = [part for part in faults if part == "time"]
    else:
        clauses = _missing(missing_holes(step, measured))
    clauses += [_clause(part, step, measured) for part in faults]
    told = "; ".join(clauses[:_MOST]) if clauses else _praise(step, measured, parts)
    tries = measured.tries or 1
    return told if tries == 1 else f"{told}; after {tries} tries"


def describe_sound(sound: Sound) -> str:
    """A sound as a teacher says it: ``draw 4 bent a half step``, ``blow 4 and 5``."""
    if len(sound) == 1:
        return _tab_in_words(sound[0])
    *most, last = (str(tab.hole) for tab in sound)
    return f"{sound[0].breath} {', '.join(most)} and {last}"


def _tab_in_words(tab: Tab) -> str:
    if tab.over:
        return f"over{tab.breath} {tab.hole}"
    if not tab.bend:
        return f"{tab.breath} {tab.hole}"
    depth = _DEPTHS[tab.bend] if tab.bend < len(_DEPTHS) else f"{tab.bend} half steps"
    return f"{tab.breath} {tab.hole} bent {depth}"


def _heard(measured: Measured) -> str:
    sign = "=" if "=" in (measured.heard or "") else ">"
    return _path([_sound_of(one) for one in (measured.heard or "").split(sign)])


def _asked(step: Step) -> str:
    return _path([step.first, step.last] if step.is_glide else step.sounds)


def _path(sounds: Sequence[Sound]) -> str:
    """The sounds of a path in words, each once where they follow each other."""
    words = [describe_sound(sound) for sound in sounds]
    kept = [word for i, word in enumerate(words) if not i or word != words[i - 1]]
    return " to ".join(kept)


def _sound_of(text: str) -> Sound:
    sign, holes = ("-", text[1:]) if text.startswith("-") else ("", text)
    return tuple(Tab.parse(sign + hole) for hole in holes.split("+"))


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
    if part == "motion":
        return _motion(step, measured)
    if part == "cleanness":
        if sounds_alone(step, measured):
            return "sounded alone, and should be a chord"
        return _cleanness(measured.leak_hole, measured.leak_db or 0.0)
    return _time(measured.late_ms or 0.0)


def _off(cents: float) -> str:
    return f"{abs(cents):.0f} cents {'flat' if cents < 0 else 'sharp'}"


def _pitch(step: Step, measured: Measured) -> str:
    if step.ladder:
        return _worst_rung(step, measured)
    end, start = measured.cents or 0.0, measured.scoop_cents or 0.0
    if step.is_glide:
        return f"ends {_off(end)}" if abs(end) >= abs(start) else f"starts {_off(start)}"
    natural = not step.is_chord and step.first[0].is_natural
    bent = natural and end < -_BENT_CENTS
    return f"{_off(end)}, as if bent by accident" if bent else _off(end)


def _worst_rung(step: Step, measured: Measured) -> str:
    place = max(range(len(measured.rungs)), key=lambda i: _far(measured.rungs[i]))
    rung, off = describe_sound(step.sounds[place]), measured.rungs[place]
    return f"{rung} was not there" if off is None else f"{rung} {_off(off)}"


def _far(cents: float | None) -> float:
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


def _vibrato(asked: Vibrato, measured: Measured) -> str:
    hz, cents = measured.vibrato_hz, measured.vibrato_cents
    if hz is None or cents is None:
        return "no vibrato heard"
    if abs(math.log2(hz / asked.hz)) >= 0.5 * abs(math.log2(cents / asked.cents)):
        speed = "slow" if hz < asked.hz else "fast"
        return f"vibrato too {speed}, {hz:.1f} a second for {asked.hz:g}"
    depth = "shallow" if cents < asked.cents else "wide"
    return f"vibrato too {depth}, {cents:.0f} cents for {asked.cents:g}"


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
