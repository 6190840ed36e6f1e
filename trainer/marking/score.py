"""The formula: from the figures of a step to its parts, its score, and the total.

Each part is 0 to 100, read off lines through the points below, level beyond their ends. `tol` is
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
    motion       worst of  stray_cents                         w → 100, 2.5 w → 70, 10 w → 0
                 and       back_cents                          tol → 100, 2.5 tol → 70,
                                                               10 tol → 0
                 and       share of a slide's sounds heard     1 → 100, 0 → 0
                 and       |log2 of vibrato_hz to the asked|   0.15 → 100, 0.3 → 85,
                           (0 if there is none)                0.6 → 50, 1.2 → 0
                 and       |log2 of vibrato_cents to the       0.3 → 100, 0.6 → 85,
                           asked| (0 if there is none)         1 → 50, 2 → 0
    cleanness    leak_db (100 if no leak is heard)             -40 → 100, -24 → 85,
                                                               -12 → 50, 0 → 0
    time         |late_ms|                                     just → 100, 0.2 lost → 85,
                                                               0.5 lost → 50, lost → 0

- pitch: with the usual tolerance of 10 cents, 85 at 10 and 50 at 25, within which a bend is in
  tune or recognisable (common practice). What is heard as another note has 0. A glide has the
  worse of its ends (`cents`, `scoop_cents`) and no attack; a ladder the mean of its rungs, but at
  most 50 more than its worst one; a rung that was not heard has 0.
- attack: a scoop does no harm if it is short, nor does a slow approach that starts close by;
  natural reeds themselves rise from 20 to 100 cents flat for up to 100 ms (measured).
- motion: only of what is to move. `w` is the tolerance, or a fifth of the way if that is more: a
  jump, half of the way off in its middle, has 70.
- cleanness: loose notes may sound with a neighbour, which is then no leak. A single note that
  must be a chord has 0 if it sounds alone.
- time: `just` is 2.5 % of a beat and at least 10 ms, the least that is noticed in a steady beat
  (Friberg and Sundberg 1995, JASA 98), but no more than a tenth of `lost`; `lost` is a third of
  a beat, at most 250 ms, where a note belongs to the next division of the beat as much as to
  its own.

A step's score is the mean of the parts that could be judged, weighted by the goal's weights; but
at most 50 more than its worst part that counts, so that nothing gross is averaged away, and, where
it must be clean, at most its cleanness; times min(1, pitch / 50), so that a wrong note earns
nothing however clean it is; in a chord, times the share of its holes that sound. A step that was
not played, or too briefly to be judged, has 0. The total is the mean of the steps' scores, each
counted by its length in beats; extra notes count as steps that earned nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from trainer.drill import CRITERIA, CleannessRule, Goal, Step, format_sound
from trainer.marking.mark import ExtraNote, Mark, Measured

Points = tuple[tuple[float, float], ...]

_PITCH: Points = ((0.2, 100.0), (1.0, 85.0), (2.5, 50.0), (5.0, 0.0))
_WOBBLE: Points = ((0.2, 100.0), (0.5, 85.0), (1.25, 50.0), (2.5, 0.0))
_DRIFT: Points = ((0.5, 100.0), (1.0, 85.0), (2.5, 50.0), (5.0, 0.0))
_SCOOP: Points = ((1.0, 100.0), (2.5, 70.0), (10.0, 0.0))
_SETTLE_MS: Points = ((100.0, 100.0), (150.0, 85.0), (300.0, 50.0), (600.0, 0.0))
_SHARE: Points = ((0.0, 0.0), (1.0, 100.0))
_RATE: Points = ((0.15, 100.0), (0.3, 85.0), (0.6, 50.0), (1.2, 0.0))
_DEPTH: Points = ((0.3, 100.0), (0.6, 85.0), (1.0, 50.0), (2.0, 0.0))
_LEAK_DB: Points = ((-40.0, 100.0), (-24.0, 85.0), (-12.0, 50.0), (0.0, 0.0))
_JUST, _JUST_MS = 0.025, 10.0
_LOST, _LOST_MS = 1.0 / 3.0, 250.0
_WAY = 0.2
_ABOVE_WORST = 50.0
_GATE = 50.0


@dataclass(frozen=True, slots=True)
class ScoreTerm:
    """One figure on its way into a part.

    Attributes:
        figure: its name, as in :class:`Measured`.
        value: what was measured; None where nothing was.
        at: where on the line that is; None for what is not read off a line.
        points: (place, earned) that the line goes through, level beyond its ends.
        earned: 0 to 100.
    """

    figure: str
    value: float | str | None
    at: float | None
    points: Points
    earned: float

    @classmethod
    def read(cls, figure: str, value: float, at: float, points: Points) -> ScoreTerm:
        """What is read off a line at a place."""
        places, earned = zip(*points, strict=True)
        return cls(figure, value, at, points, float(np.interp(at, places, earned)))

    @classmethod
    def given(cls, figure: str, value: float | str | None, earned: float) -> ScoreTerm:
        """What is read off no line."""
        return cls(figure, value, None, (), earned)


@dataclass(frozen=True, slots=True)
class CriterionScore:
    """A part of a mark, and how it came about.

    Attributes:
        earned: 0 to 100.
        rule: how the terms make it: ``worst``, ``best``, ``rungs`` or ``wrong note``.
        terms: its figures.
    """

    earned: float
    rule: str
    terms: tuple[ScoreTerm, ...]


@dataclass(frozen=True, slots=True)
class ScoreBreakdown:
    """How a step's parts make its score: min(`mean`, `most`) x `right` x `sounding`.

    Attributes:
        mean: of the parts by the weights, 0 to 100.
        most: what the worst part, and cleanness where it must be clean, leave at most.
        right: 1, less where the pitch is far off, 0 for a wrong note.
        sounding: share of a chord's holes that sounded.
    """

    mean: float
    most: float
    right: float
    sounding: float

    @property
    def score(self) -> float:
        """What the step earned, 0 to 100."""
        return min(self.mean, self.most) * self.right * self.sounding


def _term(
    figure: str, value: float, points: Points, unit: float = 1.0, off: float = 0.0
) -> ScoreTerm:
    """A figure's size, taken from `off`, on a line whose points are given in a unit."""
    scaled = tuple((at * unit, earned) for at, earned in points)
    return ScoreTerm.read(figure, value, abs(value - off), scaled)


def _of(
    terms: Iterable[ScoreTerm], choose: Callable[[Iterable[float]], float] = min
) -> CriterionScore | None:
    known = tuple(terms)
    if not known:
        return None
    rule = "worst" if choose is min else "best"
    return CriterionScore(choose(term.earned for term in known), rule, known)


def score_criteria(
    step: Step, measured: Measured, goal: Goal, beat_ms: float
) -> dict[str, CriterionScore]:
    """The parts of a step's mark that could be judged, in the order of `CRITERIA`.

    Args:
        step: what was asked for.
        measured: what was played.
        goal: the drill's.
        beat_ms: length of a beat.

    Returns:
        Empty for a step that was not played or too briefly to be judged.
    """
    if not can_be_judged(step, measured):
        return {}
    judged = {
        "pitch": _pitch(step, measured, goal.tolerance),
        "steadiness": _steadiness(measured, goal.tolerance),
        "attack": None if step.has_path else _attack(measured, goal.tolerance),
        "motion": _motion(step, measured, goal.tolerance),
        "cleanness": _cleanness(step, measured),
        "time": _time(measured, beat_ms),
    }
    return {name: part for name in CRITERIA if (part := judged[name]) is not None}


def criterion_scores(
    step: Step, measured: Measured, goal: Goal, beat_ms: float
) -> dict[str, float]:
    """What each part earned, 0 to 100; arguments as in :func:`score_criteria`."""
    return {
        name: part.earned for name, part in score_criteria(step, measured, goal, beat_ms).items()
    }


def can_be_judged(step: Step, measured: Measured) -> bool:
    """Whether there was enough of a step to say anything about.

    A chord, and a note as loud as its neighbour, may have no pitch that is known to be theirs.
    """
    several = step.is_chord or len(measured.holes) > 1
    return measured.cents is not None or (several and bool(measured.holes))


def is_wrong_note(step: Step, measured: Measured) -> bool:
    """Whether another note was heard, at either end of a glide; of a chord, none of its holes;
    of a ladder, on every rung."""
    if measured.heard is None:
        return False
    if step.ladder:
        return all(_differ(pair) for pair in _rungs(step, measured))
    asked = (step.first, step.last) if step.is_glide else (step.first,)
    either = {str(step.alternative)} if step.alternative else set()
    return any(
        not ((_entries(format_sound(wanted)) | either) & _entries(heard))
        for wanted, heard in zip(asked, measured.heard.split(">"), strict=True)
    )


def _rungs(step: Step, measured: Measured) -> Iterable[tuple[str, str]]:
    """Each rung, as asked and as heard."""
    heard = (measured.heard or "").split("=")
    return zip((format_sound(sound) for sound in step.sounds), heard, strict=True)


def _differ(pair: tuple[str, str]) -> bool:
    return not (_entries(pair[0]) & _entries(pair[1]))


def _entries(chord: str) -> set[str]:
    sign, holes = ("-", chord[1:]) if chord.startswith("-") else ("", chord)
    return {sign + hole for hole in holes.split("+")}


def _pitch(step: Step, measured: Measured, tolerance: float) -> CriterionScore | None:
    if is_wrong_note(step, measured):
        return CriterionScore(0.0, "wrong note", (ScoreTerm.given("heard", measured.heard, 0.0),))
    if step.ladder:
        return _rung_pitch(measured, tolerance)
    ends = {"cents": measured.cents}
    if step.is_glide:
        ends["scoop_cents"] = measured.scoop_cents
    return _of(
        _term(name, cents, _PITCH, tolerance) for name, cents in ends.items() if cents is not None
    )


def _rung_pitch(measured: Measured, tolerance: float) -> CriterionScore:
    terms = tuple(
        ScoreTerm.given("rungs", None, 0.0)
        if cents is None
        else _term("rungs", cents, _PITCH, tolerance)
        for cents in measured.rungs
    )
    each = [term.earned for term in terms]
    return CriterionScore(min(float(np.mean(each)), min(each) + _ABOVE_WORST), "rungs", terms)


def _steadiness(measured: Measured, tolerance: float) -> CriterionScore | None:
    if measured.wobble_cents is None or measured.drift_cents is None:
        return None
    return _of(
        [
            _term("wobble_cents", measured.wobble_cents, _WOBBLE, tolerance),
            _term("drift_cents", measured.drift_cents, _DRIFT, tolerance),
        ]
    )


def _attack(measured: Measured, tolerance: float) -> CriterionScore | None:
    if measured.scoop_cents is None or measured.cents is None:
        return None
    terms = [_term("scoop_cents", measured.scoop_cents, _SCOOP, tolerance, off=measured.cents)]
    if measured.settle_ms is not None:
        terms.append(_term("settle_ms", measured.settle_ms, _SETTLE_MS))
    return _of(terms, max)


def _motion(step: Step, measured: Measured, tolerance: float) -> CriterionScore | None:
    terms = []
    if measured.stray_cents is not None:
        unit = max(tolerance, _WAY * _way(step))
        terms.append(_term("stray_cents", measured.stray_cents, _SCOOP, unit))
    if measured.back_cents is not None:
        terms.append(_term("back_cents", measured.back_cents, _SCOOP, tolerance))
    if step.is_glide and len({tab.hole for tab in step.tabs}) > 1 and len(step.sounds) > 2:
        share = 1.0 - len(measured.unheard) / (len(step.sounds) - 2)
        terms.append(_term("unheard", share, _SHARE))
    if step.vibrato:
        asked = step.vibrato
        terms.append(_swing("vibrato_hz", measured.vibrato_hz, asked.hz, _RATE))
        terms.append(_swing("vibrato_cents", measured.vibrato_cents, asked.cents, _DEPTH))
    return _of(terms)


def _way(step: Step) -> float:
    """Cents that a glide on one hole covers, by its half steps of bend."""
    bends = [100.0 * sound[0].bend - step.offset_cents(i) for i, sound in enumerate(step.sounds)]
    return max(bends) - min(bends)


def _swing(figure: str, heard: float | None, asked: float, points: Points) -> ScoreTerm:
    if heard is None:
        return ScoreTerm.given(figure, None, 0.0)
    return ScoreTerm.read(figure, heard, abs(math.log2(heard / asked)), points)


def sounds_alone(step: Step, measured: Measured) -> bool:
    """Whether a single note that must be a chord sounded alone."""
    if step.cleanness_rule is not CleannessRule.CHORD or step.is_chord or not measured.holes:
        return False
    hole = step.last[0].hole
    return not {hole - 1, hole + 1} & set(measured.holes)


def _cleanness(step: Step, measured: Measured) -> CriterionScore | None:
    if not measured.holes:
        return None
    if sounds_alone(step, measured):
        return _of([ScoreTerm.given("holes", str(measured.holes[0]), 0.0)])
    if measured.leak_db is None:
        return _of([ScoreTerm.given("leak_db", None, 100.0)])
    return _of([ScoreTerm.read("leak_db", measured.leak_db, measured.leak_db, _LEAK_DB)])


def _time(measured: Measured, beat_ms: float) -> CriterionScore | None:
    if measured.late_ms is None:
        return None
    lost = min(_LOST * beat_ms, _LOST_MS)
    just = min(max(_JUST * beat_ms, _JUST_MS), 0.1 * lost)
    points = ((just, 100.0), (0.2 * lost, 85.0), (0.5 * lost, 50.0), (lost, 0.0))
    return _of([_term("late_ms", measured.late_ms, points)])


def missing_holes(step: Step, measured: Measured) -> list[int]:
    """Holes of a chord that did not sound, where it is known which did."""
    if not step.is_chord or not measured.holes:
        return []
    known = {*measured.holes, *measured.hidden}
    return [tab.hole for tab in step.last if tab.hole not in known]


def break_down(
    step: Step, measured: Measured, parts: Mapping[str, float], goal: Goal
) -> ScoreBreakdown:
    """How a step's parts make its score.

    Args:
        step: what was asked for.
        measured: what was played.
        parts: from :func:`criterion_scores`.
        goal: the drill's.
    """
    counting = {part: earned for part, earned in parts.items() if goal.weights[part] > 0.0}
    if not counting:
        return ScoreBreakdown(0.0, 0.0, 0.0, 0.0)
    weight = sum(goal.weights[part] for part in counting)
    mean = sum(goal.weights[part] * earned for part, earned in counting.items()) / weight
    most = min(counting.values()) + _ABOVE_WORST
    if step.cleanness_rule is CleannessRule.CLEAN:
        most = min(most, parts.get("cleanness", 100.0))
    right = min(1.0, parts.get("pitch", _GATE) / _GATE)
    sounding = 1.0 - len(missing_holes(step, measured)) / len(step.last)
    return ScoreBreakdown(mean, most, right, sounding)


def step_score(step: Step, measured: Measured, parts: Mapping[str, float], goal: Goal) -> float:
    """What a step earned, 0 to 100; arguments as in :func:`break_down`."""
    return break_down(step, measured, parts, goal).score


def total_score(marks: Sequence[Mark], extras: Sequence[ExtraNote] = ()) -> float:
    """What a take earned, 0 to 100; 0 for one without steps."""
    beats = sum(float(mark.step.beats) for mark in marks)
    wasted = sum(extra.beats for extra in extras)
    earned = sum(mark.score * float(mark.step.beats) for mark in marks)
    return earned / (beats + wasted) if beats else 0.0
