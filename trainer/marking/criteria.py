"""The criteria: from the figures of a step to points on each criterion.

Points are 0 to 100, read off lines through the points below, level beyond their ends. `tol` is the
drill's tolerance in cents, `beat` the length of a beat in milliseconds.

    criterion    figures                                       points on the line (figure → points)
    pitch        |cents| + sd / 4, where                       0.2 tol → 100, tol → 85,
                 sd² = wobble_cents² + drift_cents² / 12       a third from there to far → 50,
                                                               far → 0
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
                 and       fraction of a slide's sounds heard  1 → 100, 0 → 0
                 and       |log2(vibrato_hz / asked)|          0.15 → 100, 0.3 → 85,
                           (0 points if there is none)         0.6 → 50, 1.2 → 0
                 and       |log2(vibrato_cents / asked)|       0.3 → 100, 0.6 → 85,
                           (0 points if there is none)         1 → 50, 2 → 0
                 and       |log2(shake_hz / asked)|            0.15 → 100, 0.3 → 85,
                           (0 points if there is none)         0.6 → 50, 1.2 → 0
                 and       |shake_fraction - 0.5|              0.12 → 100, 0.18 → 85,
                                                               0.27 → 50, 0.4 → 0
                 and       shake_spread                        0.15 → 100, 0.25 → 85,
                                                               0.5 → 50, 1 → 0
                 and       |shake_db|                          6 → 100, 9 → 85,
                                                               14 → 50, 24 → 0
                 and       |log2(dip_cents / asked)|,          0.4 → 100, 0.6 → 85,
                           |log2(fall_cents / asked)|          1 → 50, 2 → 0
                           (0 points if there is none)
                 and       |log2(dip_ms / asked)|,             0.6 → 100, 0.9 → 85,
                           |log2(fall_ms / asked)|             1.5 → 50, 3 → 0
                 and       grace_ms                            120 → 100, 160 → 85,
                           (0 points if there is none)         250 → 50, 400 → 0
                 and       |log2(vibrato_db / asked)|          1 → 100, 1.3 → 85,
                           (0 points if there is none)         1.8 → 50, 2.5 → 0
                 and       |log2(wah_hz / asked)|              as vibrato_hz
                           (0 points if there is none)
                 and       wah_db                              3 → 100, 2.4 → 85,
                                                               1.7 → 50, 1 → 0
    cleanness    leak_db (100 points if no leak is heard)      -40 → 100, -24 → 85,
                                                               -12 → 50, 0 → 0
    time         |late_ms|                                     just → 100, 0.2 lost → 85,
                                                               0.5 lost → 50, lost → 0
    articulation worst of  held_fraction                       0.5 → 100, 0.4 → 85,
                                                               0.25 → 50, 0.1 → 0
                 or, staccato, held_fraction                   0.55 → 100, 0.65 → 85,
                                                               0.75 → 50, 0.9 → 0
                 and, tongued, separation_db                   5 → 100, 4 → 85,
                                                               2.5 → 50, 1 → 0
                 and, legato,  gap_ms                          20 → 100, 35 → 85,
                                                               60 → 50, 120 → 0
                 and, slapped, slap                            yes → 100, no → 0
    dynamics     worst of  accent_db                           3 → 100, 2 → 70, 1 → 30, 0 → 0
                 and       swell_db / asked                    0.75 to 2 → 100, 0.5 → 75,
                                                               0.25 → 40, 0 → 0, 4 → 50

- pitch: with a tolerance of 12 cents, 85 points at 12 cents and 50 at 24: within these a bend is
  in tune, or recognisable (common practice). `far` is 4 tol, but at most 50 cents, where the next
  half step is nearer, and at least 2 tol. A note heard as another one gets 0. A quarter of the
  standard deviation of the held pitch counts as deviation, because a wobble may move its mean by
  that much: so no wobble brings a note nearer to its pitch. A glide gets the worse of its
  ends (`cents`, `scoop_cents`), and no attack. A ladder gets the mean of its rungs, but at most 50
  more than its worst one; a rung that was not heard has 0.
- attack: a scoop does no harm if it is short, nor does a slow approach that starts close. Natural
  reeds themselves rise from 20 to 100 cents flat for up to 100 ms. A bend that is attacked above
  its pitch is scooped by the player, so only the scoop counts.
- attack: not of a step whose beginning is shaped: one with a scoop, dip, grace note or shake.
- motion: only of steps that move. A dip may be 50 cents deeper than asked, because reeds start
  flat by themselves. `w` is the tolerance, or a fifth of the glide's path if that is
  more: a jump, half the path off in its middle, gets 70.
- attack, time: a note without an attack whose pitch goes on from the note before (`held_on`) gets
  0 where it should begin anew. Where it is another hole with the same pitch, such as draw 2 after
  blow 3, nothing distinguishes it from that note held on, and neither is judged.
- cleanness: blurred notes may sound with a neighbour, which is then no leak. A single note that
  must be a chord gets 0 if it sounds alone.
- A chord gesture is not judged on pitch, steadiness, attack and cleanness; one on the other breath
  or further than the next hole is a wrong note, and one on a single hole does not sound.
- time: `just` is 2.5 % of a beat and at least 10 ms, the just noticeable difference in a steady
  beat (Friberg and Sundberg 1995, JASA 98), but at most a tenth of `lost`. `lost` is a third of a
  beat and at most 250 ms: there, a note belongs to the next division of the beat as much as to its
  own.
- articulation: every note is judged for the length held; with a free clock nothing is. Half of the
  written length is enough, because players breathe and tongue as they like; what is tongued,
  legato or staccato is judged for that, too.
- dynamics: only of steps with an accent, a swell or a fade. An accent of 3 dB is plain to hear; the
  just noticeable difference in level is about 1 dB.

How points make a step's score: :mod:`trainer.marking.score`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from trainer.drill import (
    CRITERIA,
    Articulation,
    CleannessRule,
    Goal,
    Step,
    VibratoKind,
    format_sound,
)
from trainer.harp import Tab
from trainer.marking.mark import Figures, Measured
from trainer.marking.parameters import CURVES, SCORE, Curve


@dataclass(frozen=True, slots=True)
class ScoreTerm:
    """One figure's points.

    Attributes:
        figure: name of the figure, as in :class:`~trainer.marking.mark.Measured`.
        value: the figure; None where nothing was measured.
        at: place on the line that it is read off; None where it is read off no line.
        points: (place, points) that the line goes through, level beyond its ends.
        earned: points, 0 to 100.
    """

    figure: str
    value: float | str | None
    at: float | None
    points: Curve
    earned: float

    @classmethod
    def read(cls, figure: str, value: float, at: float, points: Curve) -> ScoreTerm:
        """A term read off a line at a place."""
        places, earned = zip(*points, strict=True)
        return cls(figure, value, at, points, float(np.interp(at, places, earned)))

    @classmethod
    def fixed(cls, figure: str, value: float | str | None, earned: float) -> ScoreTerm:
        """A term that is read off no line."""
        return cls(figure, value, None, (), earned)


@dataclass(frozen=True, slots=True)
class CriterionScore:
    """Points of a step on one criterion, and how they follow from its figures.

    Attributes:
        earned: points, 0 to 100.
        rule: how they follow from the terms: ``worst``, ``best``, ``rungs`` or ``wrong note``.
        terms: its terms.
    """

    earned: float
    rule: str
    terms: tuple[ScoreTerm, ...]


def score_criteria(
    step: Step, measured: Measured, goal: Goal, beat_ms: float
) -> dict[str, CriterionScore]:
    """The criteria of a step that can be judged, in the order of `trainer.drill.CRITERIA`.

    Args:
        step: the step.
        measured: its figures.
        goal: the drill's goal.
        beat_ms: length of a beat in milliseconds.

    Returns:
        Empty for a step that was not played, or too briefly to be judged.
    """
    if not can_be_judged(step, measured):
        return {}
    step = as_chosen(step, measured)
    scores = {
        "pitch": _pitch(step, measured, goal.tolerance),
        "steadiness": None if step.is_gesture else _steadiness(measured, goal.tolerance),
        "attack": _attack(step, measured, goal.tolerance) if has_plain_attack(step) else None,
        "motion": _motion(step, measured, goal, beat_ms),
        "cleanness": None if step.is_gesture else _cleanness(step, measured),
        "time": _time(step, measured, beat_ms),
        "articulation": _combined(articulation_terms(step, measured)),
        "dynamics": _combined(dynamics_terms(step, measured)),
    }
    return {name: score for name in CRITERIA if (score := scores[name]) is not None}


def criterion_scores(
    step: Step, measured: Measured, goal: Goal, beat_ms: float
) -> dict[str, float]:
    """Points of each criterion, 0 to 100; arguments as in :func:`score_criteria`."""
    scores = score_criteria(step, measured, goal, beat_ms)
    return {name: score.earned for name, score in scores.items()}


def can_be_judged(step: Step, measured: Measured) -> bool:
    """Whether enough of a step was heard for it to be judged.

    A chord, and a note as loud as its neighbour, may have no pitch that is known to be theirs.
    """
    may_lack_pitch = step.is_chord or len(measured.holes) > 1
    return measured.cents is not None or (may_lack_pitch and bool(measured.holes))


def is_left_out(step: Step, measured: Measured) -> bool:
    """Whether a step was not played that may be left out."""
    return step.optional and measured.start is None


def as_chosen(step: Step, measured: Measured) -> Step:
    """The step with the note of "bent or not" that was played; other steps as they are."""
    if not step.has_bent_choice or step.alternative is None:
        return step
    if measured.heard != str(step.alternative):
        return step
    return replace(step, sounds=((step.alternative,),), alternative=step.first[0])


def is_wrong_note(step: Step, measured: Figures) -> bool:
    """Whether another note was heard.

    Of a glide, at either end; of a ladder, on every rung; of a chord, none of its holes.
    """
    if measured.heard is None:
        return False
    if step.is_gesture:
        return not _is_around(step, measured.heard)
    if step.ladder:
        wanted_rungs = (format_sound(sound) for sound in step.sounds)
        heard_rungs = measured.heard.split("=")
        return not any(
            _entries(wanted) & _entries(heard)
            for wanted, heard in zip(wanted_rungs, heard_rungs, strict=True)
        )
    ends = (step.first, step.last) if step.is_glide else (step.first,)
    alternative = {str(step.alternative)} if step.alternative else set()
    return any(
        not ((_entries(format_sound(wanted)) | alternative) & _entries(heard))
        for wanted, heard in zip(ends, measured.heard.split(">"), strict=True)
    )


def _is_around(step: Step, heard: str) -> bool:
    """Whether a sound is on the breath of a gesture, and on its holes or next to them."""
    holes = {tab.hole for tab in step.first}
    tabs = [Tab.parse(entry) for entry in _entries(heard)]
    near = range(min(holes) - 1, max(holes) + 2)
    return any(tab.breath is step.first[0].breath and tab.hole in near for tab in tabs)


def has_plain_attack(step: Step) -> bool:
    """Whether a step begins on its pitch, without a shape that the drill asks for."""
    is_shaped = step.scoop or step.grace or step.shake or step.slap
    return not (step.has_path or step.is_gesture or is_shaped)


def sounds_alone(step: Step, measured: Measured) -> bool:
    """Whether a single note that must be a chord sounded without a neighbour.

    A gesture must be two neighbouring holes at least.
    """
    if step.is_gesture:
        holes = set(measured.holes)
        return bool(holes) and not any(hole + 1 in holes for hole in holes)
    if step.cleanness_rule is not CleannessRule.CHORD or step.is_chord or not measured.holes:
        return False
    hole = step.last[0].hole
    return not {hole - 1, hole + 1} & set(measured.holes)


def missing_holes(step: Step, measured: Measured) -> list[int]:
    """Holes of a chord that did not sound; none where it is not known which sounded."""
    if not step.is_chord or step.is_gesture or not measured.holes:
        return []
    known = {*measured.holes, *measured.hidden}
    return [tab.hole for tab in step.last if tab.hole not in known]


def _entries(sound: str) -> set[str]:
    """The tab entries of a sound given as text."""
    sign, holes = ("-", sound[1:]) if sound.startswith("-") else ("", sound)
    return {sign + hole for hole in holes.split("+")}


def _combined(
    terms: Iterable[ScoreTerm], choose: Callable[[Iterable[float]], float] = min
) -> CriterionScore | None:
    """The worst of some terms, or the best with ``max``; None of none."""
    known = tuple(terms)
    if not known:
        return None
    rule = "worst" if choose is min else "best"
    return CriterionScore(choose(term.earned for term in known), rule, known)


def _term(
    figure: str, value: float, curve: Curve, unit: float = 1.0, reference: float = 0.0
) -> ScoreTerm:
    """A term of a figure's distance from a reference, on a line whose places are in a unit."""
    scaled = tuple((place * unit, earned) for place, earned in curve)
    return ScoreTerm.read(figure, value, abs(value - reference), scaled)


def _pitch(step: Step, measured: Measured, tolerance: float) -> CriterionScore | None:
    if is_wrong_note(step, measured):
        return CriterionScore(0.0, "wrong note", (ScoreTerm.fixed("heard", measured.heard, 0.0),))
    if step.is_gesture:
        return None
    if step.ladder:
        return _rung_pitch(measured, tolerance)
    curve, terms = _pitch_curve(tolerance), []
    if measured.cents is not None:
        at = abs(measured.cents) + CURVES.pull * _held_sd(measured)
        terms.append(ScoreTerm.read("cents", measured.cents, at, curve))
    if step.is_glide and measured.scoop_cents is not None:
        terms.append(_term("scoop_cents", measured.scoop_cents, curve))
    return _combined(terms)


def pitch_points(cents: float, tolerance: float) -> float:
    """Points of a deviation in cents, 0 to 100, at a tolerance in cents."""
    return _term("cents", cents, _pitch_curve(tolerance)).earned


def leak_points(leak_db: float | None) -> float:
    """Points of a leak in dB relative to the wanted hole, 0 to 100; None is no leak."""
    return 100.0 if leak_db is None else _read(CURVES.leak_db, leak_db)


def _read(curve: Curve, at: float) -> float:
    return ScoreTerm.read("", at, at, curve).earned


def _held_sd(measured: Measured) -> float:
    """Standard deviation of a held pitch in cents, drift included; 0 where it is not known."""
    if measured.wobble_cents is None or measured.drift_cents is None:
        return 0.0
    return math.hypot(measured.wobble_cents, measured.drift_cents / math.sqrt(12.0))


def _pitch_curve(tolerance: float) -> Curve:
    far = max(min(CURVES.far_tolerances * tolerance, CURVES.far_cents), 2.0 * tolerance)
    recognisable = tolerance + (far - tolerance) / 3.0
    just = CURVES.just_tolerances * tolerance
    return ((just, 100.0), (tolerance, 85.0), (recognisable, 50.0), (far, 0.0))


def _rung_pitch(measured: Measured, tolerance: float) -> CriterionScore:
    terms = tuple(
        ScoreTerm.fixed("rungs", None, 0.0)
        if cents is None
        else _term("rungs", cents, _pitch_curve(tolerance))
        for cents in measured.rungs
    )
    points = [term.earned for term in terms]
    earned = min(float(np.mean(points)), min(points) + SCORE.max_above_worst)
    return CriterionScore(earned, "rungs", terms)


def _steadiness(measured: Measured, tolerance: float) -> CriterionScore | None:
    if measured.wobble_cents is None or measured.drift_cents is None:
        return None
    return _combined(
        [
            _term("wobble_cents", measured.wobble_cents, CURVES.wobble, tolerance),
            _term("drift_cents", measured.drift_cents, CURVES.drift, tolerance),
        ]
    )


def is_not_begun(step: Step, measured: Measured) -> bool:
    """Whether a note that should begin anew was the same note held on."""
    return measured.held_on == format_sound(step.first) and not step.has_path


def _not_begun(measured: Measured) -> CriterionScore:
    return CriterionScore(0.0, "worst", (ScoreTerm.fixed("held_on", measured.held_on, 0.0),))


def _attack(step: Step, measured: Measured, tolerance: float) -> CriterionScore | None:
    if is_not_begun(step, measured):
        return _not_begun(measured)
    if measured.scoop_cents is None or measured.cents is None:
        return None
    scoop = _term(
        "scoop_cents", measured.scoop_cents, CURVES.scoop, tolerance, reference=measured.cents
    )
    terms = [scoop]
    is_from_above = measured.scoop_cents > measured.cents
    if step.first[0].bend and is_from_above and not measured.is_slurred:
        return _combined(terms)
    if measured.settle_ms is not None:
        terms.append(_term("settle_ms", measured.settle_ms, CURVES.settle_ms))
    return _combined(terms, max)


def _motion(step: Step, measured: Measured, goal: Goal, beat_ms: float) -> CriterionScore | None:
    return _combined(
        [
            *_path_terms(step, measured, goal.tolerance),
            *_vibrato_terms(step, measured),
            *_shake_terms(step, measured),
            *_inflection_terms(step, measured, beat_ms),
        ]
    )


def _path_terms(step: Step, measured: Measured, tolerance: float) -> Iterator[ScoreTerm]:
    """Terms of glides, slides and ladders."""
    if measured.stray_cents is not None:
        unit = max(tolerance, CURVES.stray_unit * _path_cents(step))
        yield _term("stray_cents", measured.stray_cents, CURVES.scoop, unit)
    if measured.back_cents is not None:
        yield _term("back_cents", measured.back_cents, CURVES.scoop, tolerance)
    if step.is_glide and len({tab.hole for tab in step.tabs}) > 1 and len(step.sounds) > 2:
        fraction = 1.0 - len(measured.unheard) / (len(step.sounds) - 2)
        yield _term("unheard", fraction, CURVES.slide_fraction)


def _vibrato_terms(step: Step, measured: Measured) -> Iterator[ScoreTerm]:
    """Rate and depth of a vibrato, of pitch or of loudness, and of a wah."""
    wanted = step.vibrato
    if wanted is not None:
        yield _ratio_term("vibrato_hz", measured.vibrato_hz, wanted.hz, CURVES.vibrato_rate)
    if wanted is not None and wanted.kind is VibratoKind.HAND:
        yield _ratio_term("vibrato_db", measured.vibrato_db, wanted.db, CURVES.hand_depth)
    elif wanted is not None:
        yield _ratio_term(
            "vibrato_cents", measured.vibrato_cents, wanted.cents, CURVES.vibrato_depth
        )
    if step.wah_hz:
        yield _ratio_term("wah_hz", measured.wah_hz, step.wah_hz, CURVES.vibrato_rate)
        if measured.wah_db is not None:
            yield _term("wah_db", measured.wah_db, CURVES.wah_db)


def _shake_terms(step: Step, measured: Measured) -> Iterator[ScoreTerm]:
    if step.shake is None:
        return
    yield _ratio_term("shake_hz", measured.shake_hz, step.shake.hz, CURVES.shake_rate)
    if measured.shake_fraction is not None:
        yield _term("shake_fraction", measured.shake_fraction, CURVES.shake_fraction, 1.0, 0.5)
    if measured.shake_spread is not None:
        yield _term("shake_spread", measured.shake_spread, CURVES.shake_spread)
    if measured.shake_db is not None:
        yield _term("shake_db", measured.shake_db, CURVES.shake_db)


def _inflection_terms(step: Step, measured: Measured, beat_ms: float) -> Iterator[ScoreTerm]:
    """Terms of scoops, dips, falls and grace notes."""
    wanted = {"dip": step.scoop, "fall": step.fall}
    for name, inflection in wanted.items():
        if inflection is None:
            continue
        depth, duration = (getattr(measured, f"{name}_{unit}") for unit in ("cents", "ms"))
        asked_cents = inflection.cents
        if name == "dip" and depth:  # a reed that starts flat by itself deepens it
            asked_cents = min(max(depth, asked_cents), asked_cents + CURVES.onset_cents)
        yield _ratio_term(f"{name}_cents", depth, asked_cents, CURVES.inflection_cents)
        if depth and duration is not None:
            asked_ms = float(inflection.beats) * beat_ms
            yield _ratio_term(f"{name}_ms", duration, asked_ms, CURVES.inflection_ms)
    if step.grace and measured.grace_ms is None:
        yield ScoreTerm.fixed("grace_ms", None, 0.0)
    elif step.grace and measured.grace_ms is not None:
        yield _term("grace_ms", measured.grace_ms, CURVES.grace_ms)


def _path_cents(step: Step) -> float:
    """Cents that a glide on one hole covers, by its half steps of bend."""
    bends = [100.0 * sound[0].bend - step.offset_cents(i) for i, sound in enumerate(step.sounds)]
    return max(bends) - min(bends)


def _ratio_term(figure: str, value: float | None, wanted: float, curve: Curve) -> ScoreTerm:
    """A term of the ratio between a figure and the wanted one, in octaves."""
    if not value:
        return ScoreTerm.fixed(figure, value, 0.0)
    return ScoreTerm.read(figure, value, abs(math.log2(value / wanted)), curve)


def _cleanness(step: Step, measured: Measured) -> CriterionScore | None:
    if not measured.holes:
        return None
    if sounds_alone(step, measured):
        return _combined([ScoreTerm.fixed("holes", str(measured.holes[0]), 0.0)])
    if measured.leak_db is None:
        return _combined([ScoreTerm.fixed("leak_db", None, 100.0)])
    return _combined(
        [ScoreTerm.read("leak_db", measured.leak_db, measured.leak_db, CURVES.leak_db)]
    )


def _time(step: Step, measured: Measured, beat_ms: float) -> CriterionScore | None:
    if is_not_begun(step, measured):
        return _not_begun(measured)
    if measured.own_late_ms is None:
        return None
    return _combined([_term("late_ms", measured.own_late_ms, _time_curve(beat_ms))])


def late_points(late_ms: float, beat_ms: float) -> float:
    """Points of a lateness, 0 to 100.

    Args:
        late_ms: the lateness in milliseconds; negative is early.
        beat_ms: length of a beat in milliseconds.
    """
    return _term("late_ms", late_ms, _time_curve(beat_ms)).earned


def _time_curve(beat_ms: float) -> Curve:
    lost = min(CURVES.lost_beats * beat_ms, CURVES.max_lost_ms)
    just = min(max(CURVES.just_beats * beat_ms, CURVES.min_just_ms), CURVES.max_just_lost * lost)
    return ((just, 100.0), (0.2 * lost, 85.0), (0.5 * lost, 50.0), (lost, 0.0))


def articulation_terms(step: Step, measured: Measured) -> list[ScoreTerm]:
    """The terms of a step's articulation; empty where nothing was measured."""
    terms = []
    if measured.held_fraction is not None:
        terms.append(_term("held_fraction", measured.held_fraction, _held_curve(step)))
    if measured.separation_db is not None:
        terms.append(_term("separation_db", measured.separation_db, CURVES.tongued_db))
    if measured.gap_ms is not None:
        terms.append(_term("gap_ms", measured.gap_ms, CURVES.legato_ms))
    if measured.slap is not None:
        terms.append(ScoreTerm.fixed("slap", None, 100.0 if measured.slap else 0.0))
    return terms


def _held_curve(step: Step) -> Curve:
    return CURVES.staccato if step.articulation is Articulation.STACCATO else CURVES.held


def held_points(step: Step, measured: Measured) -> float:
    """Points for the length held of a step that is not staccato; 100 where nothing was measured."""
    if measured.held_fraction is None or step.articulation is Articulation.STACCATO:
        return 100.0
    return _term("held_fraction", measured.held_fraction, CURVES.held).earned


def dynamics_terms(step: Step, measured: Measured) -> list[ScoreTerm]:
    """The terms of a step's dynamics; empty where nothing was asked or measured."""
    terms = []
    if measured.accent_db is not None:
        db = measured.accent_db
        terms.append(ScoreTerm.read("accent_db", db, db, CURVES.accent_db))
    if step.swell_db and measured.swell_db is not None:
        ratio = measured.swell_db / step.swell_db
        terms.append(ScoreTerm.read("swell_db", measured.swell_db, ratio, CURVES.swell))
    return terms
