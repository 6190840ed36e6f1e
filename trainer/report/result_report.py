"""A result as text and as JSON data."""

from __future__ import annotations

import math

from typing_extensions import TypedDict

from trainer.drill import Aim, Goal, Inflection, Step, describe_aim
from trainer.marking import (
    Mark,
    Measured,
    Result,
    aim_score,
    break_down,
    find_habits,
    mean_score,
    score_criteria,
)
from trainer.report.directions import written_tab
from trainer.report.formatting import WIDTH, fill, score_text
from trainer.report.schemas.results import (
    AimData,
    FormulaData,
    MeasuredData,
    RemarkData,
    ResultData,
    StepData,
    TargetData,
    TempoPointData,
    TryData,
    WantedInflectionData,
)
from trainer.report.solo_report import solo_data, solo_lines

MAX_REMARKS = 5
"""Most remarks on a performance that are shown in a sentence; the data has them all."""


def mark_line(mark: Mark, width: int = 0) -> str:
    """Return a step's mark as a line: number, tab, score and why.

    Args:
        mark: the mark.
        width: line width in columns; 0 does not break the line.
    """
    head = f"{mark.step.index + 1:>3}  {written_tab(mark.step):<8} {score_text(mark.score):>3}  "
    if not width:
        return head + mark.sentence
    return fill(mark.sentence, width, head, " " * len(head))


def outcome_text(result: Result) -> str:
    """Return whether a pass is passed, or how much of it was played before it was stopped."""
    if result.unplayed:
        played = len(result.marks)
        return f"stopped after {played} of {played + result.unplayed} steps"
    return "passed" if result.passed else "not passed yet"


def total_line(result: Result) -> str:
    """Return the score, whether it passes, and the weakest step."""
    total = f"Total {score_text(result.score)} of 100"
    pass_mark = f"{result.drill.goal.pass_mark:g}"
    outcome = outcome_text(result)
    verdict = f"{outcome} ({pass_mark} needed)"
    weakest = result.weakest
    if weakest is None:
        return f"{total}, {verdict}."
    number, score = weakest.step.index + 1, score_text(weakest.score)
    return f"{total}, {verdict}; weakest: step {number} ({written_tab(weakest.step)}) with {score}."


def result_text(result: Result, width: int = WIDTH) -> str:
    """Return a result as lines: what was played, each step's mark, and the total.

    Args:
        result: the result.
        width: line width in columns.
    """
    tempo = "no beat" if result.drill.free else f"tempo {result.tempo:g}"
    head = f"{result.drill.title}, {result.harp} harp, {tempo}"
    lines = [fill(head, width)]
    if remarks := remarks_sentence(result):
        lines.append(fill(remarks, width))
    lines.append("step  tab     mark  why")
    lines += [mark_line(mark, width) for mark in result.marks]
    lines += [f"     {extra.sentence}" for extra in result.extras]
    for solo in result.solos:
        lines += solo_lines(solo, result.drill, width)
    lines += [fill(line, width) for line in aim_lines(result)]
    lines.append(fill(total_line(result), width))
    return "\n".join(lines)


def remarks_sentence(result: Result) -> str:
    """Return what there is to know of a performance without a click; empty if there is nothing."""
    if result.performance is None:
        return ""
    sentences = [remark.sentence for remark in result.performance.remarks]
    more = len(sentences) - MAX_REMARKS
    if more > 0:
        sentences[MAX_REMARKS:] = [f"and {more} more"]
    text = "; ".join(sentences)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def aim_lines(result: Result) -> list[str]:
    """Return a line for each aim of the drill: what it is, and how well it was met."""
    lines = []
    for aim in result.drill.aims:
        score = aim_score(result.drill, aim, result.marks, result.solos)
        earned = "cannot be judged" if score is None else f"{score_text(score)} of 100"
        lines.append(f"Aim: {describe_aim(aim)}: {earned}.")
    return lines


def _aim_data(aim: Aim, result: Result) -> AimData:
    return {
        "criterion": aim.criterion,
        "groups": list(aim.groups),
        "steps": [step.index for step in aim.steps(result.drill.steps)],
        "score": aim_score(result.drill, aim, result.marks, result.solos),
    }


def result_data(result: Result) -> ResultData:
    """Return a result as JSON data: every target and measured value, and how it was marked.

    Times are in samples or beats; what could not be measured is null. The formula of each
    criterion lists its figures with the points of their lines, so that every number can be
    computed again: a step's `score` is min(`mean`, `most`) · `right` · `sounding` · `held`, and
    that of the pass follows from `aims` and `mean`, as :mod:`trainer.marking.score` defines them.
    """
    weakest = result.weakest
    goal = result.drill.goal
    return {
        "drill": result.drill.name,
        "title": result.drill.title,
        "harp": result.harp,
        "tempo": result.tempo,
        **_performance_data(result),
        "pass_mark": goal.pass_mark,
        "tolerance_cents": goal.tolerance,
        "weights": dict(goal.weights),
        "score": result.score,
        "mean": mean_score(result.marks, result.extras, result.solos),
        "aims": [_aim_data(aim, result) for aim in result.drill.aims],
        "passed": result.passed,
        "unplayed": result.unplayed,
        "weakest": None if weakest is None else weakest.step.index,
        "steps": [_step_data(mark, result) for mark in result.marks],
        "solos": [solo_data(mark, result.drill) for mark in result.solos],
        "extras": [
            {
                "start": extra.start,
                "end": extra.end,
                "beats": extra.beats,
                "after": extra.after,
                "heard": extra.heard,
                "sentence": extra.sentence,
            }
            for extra in result.extras
        ],
        "habits": [
            {
                "name": habit.name,
                "part": habit.criterion,
                "steps": [mark.step.index for mark in habit.marks],
                "of": habit.of,
                "size": habit.size,
            }
            for habit in find_habits(result)
        ],
    }


class _PerformanceData(TypedDict):
    asked_tempo: float
    has_click: bool
    tempo_curve: list[TempoPointData]
    remarks: list[RemarkData]
    tries: list[TryData]


def _performance_data(result: Result) -> _PerformanceData:
    played = result.performance
    if played is None:
        return {
            "asked_tempo": result.tempo,
            "has_click": not result.drill.free,
            "tempo_curve": [],
            "remarks": [],
            "tries": [],
        }
    drill, curve = result.drill, played.curve
    beats = range(math.floor(drill.start), math.ceil(drill.steps[-1].end) + 1)
    return {
        "asked_tempo": played.asked_tempo,
        "has_click": False,
        "tempo_curve": [
            {
                "beat": beat,
                "sample": curve.sample(beat),
                "tempo": round(60.0 / curve.beat_s(beat), 2),
            }
            for beat in beats
        ],
        "remarks": [
            {
                "kind": remark.kind,
                "sentence": remark.sentence,
                "start": remark.start,
                "end": remark.end,
                "step": remark.step,
                "size": remark.size,
            }
            for remark in played.remarks
        ],
        "tries": [
            {
                "start": each.start,
                "end": each.end,
                "first": each.first,
                "last": each.last,
                "steps": each.steps,
                "is_pass": each.is_pass,
            }
            for each in played.tries
        ],
    }


def _step_data(mark: Mark, result: Result) -> StepData:
    return {
        "index": mark.step.index,
        "target": _target_data(mark.step, result.drill.goal),
        "score": mark.score,
        "parts": dict(mark.criteria),
        "formula": _formula_data(mark, result),
        "measured": _measured_data(mark.measured),
        "sentence": mark.sentence,
    }


def _target_data(step: Step, goal: Goal) -> TargetData:
    vibrato, shake = step.vibrato, step.shake
    return {
        "tab": step.tab,
        "sounds": [[str(tab) for tab in sound] for sound in step.sounds],
        "cents_off": list(step.offsets_cents) or [0.0] * len(step.sounds),
        "either": None if step.alternative is None else str(step.alternative),
        "kind": _kind(step),
        "care": step.cleanness_rule.value,
        "vibrato": None
        if vibrato is None
        else {
            "hz": vibrato.hz,
            "cents": vibrato.cents,
            "kind": vibrato.kind.value,
            "db": vibrato.db,
        },
        "wah_hz": step.wah_hz,
        "shake": None
        if shake is None
        else {"other": [str(tab) for tab in shake.other], "hz": shake.hz},
        "scoop": _inflection_data(step.scoop),
        "fall": _inflection_data(step.fall),
        "grace": [str(tab) for tab in step.grace],
        "articulation": step.articulation.value,
        "accent": step.accent,
        "swell_db": step.swell_db,
        "slap": step.slap,
        "optional": step.optional,
        "bar": step.bar,
        "at_beats": float(step.start),
        "length_beats": float(step.beats),
        "tolerance_cents": goal.tolerance,
    }


def _inflection_data(inflection: Inflection | None) -> WantedInflectionData | None:
    if inflection is None:
        return None
    return {"beats": float(inflection.beats), "cents": inflection.cents}


def _formula_data(mark: Mark, result: Result) -> FormulaData:
    goal = result.drill.goal
    scores = score_criteria(mark.step, mark.measured, goal, result.beat_ms(mark.step))
    breakdown = break_down(mark.step, mark.measured, mark.criteria, goal)
    return {
        "parts": {
            name: {
                "earned": score.earned,
                "weight": goal.weights[name],
                "rule": score.rule,
                "terms": [
                    {
                        "figure": term.figure,
                        "value": term.value,
                        "at": term.at,
                        "points": term.points,
                        "earned": term.earned,
                    }
                    for term in score.terms
                ],
            }
            for name, score in scores.items()
        },
        "mean": breakdown.mean,
        "most": breakdown.most,
        "right": breakdown.right,
        "sounding": breakdown.sounding,
        "held": breakdown.held,
    }


def _measured_data(measured: Measured) -> MeasuredData:
    return {
        "start": measured.start,
        "end": measured.end,
        "late_ms": measured.late_ms,
        "common_late_ms": measured.common_late_ms,
        "common_late_points": measured.common_late_points,
        "cents": measured.cents,
        "wobble_cents": measured.wobble_cents,
        "drift_cents": measured.drift_cents,
        "scoop_cents": measured.scoop_cents,
        "settle_ms": measured.settle_ms,
        "is_slurred": measured.is_slurred,
        "held_on": measured.held_on,
        "leak_db": measured.leak_db,
        "leak_hole": measured.leak_hole,
        "holes": list(measured.holes),
        "hidden": list(measured.hidden),
        "heard": measured.heard,
        "rungs": list(measured.rungs),
        "stray_cents": measured.stray_cents,
        "back_cents": measured.back_cents,
        "unheard": list(measured.unheard),
        "vibrato_hz": measured.vibrato_hz,
        "vibrato_cents": measured.vibrato_cents,
        "shake_hz": measured.shake_hz,
        "shake_fraction": measured.shake_fraction,
        "shake_spread": measured.shake_spread,
        "shake_db": measured.shake_db,
        "dip_cents": measured.dip_cents,
        "dip_ms": measured.dip_ms,
        "fall_cents": measured.fall_cents,
        "fall_ms": measured.fall_ms,
        "grace_ms": measured.grace_ms,
        "vibrato_db": measured.vibrato_db,
        "wah_hz": measured.wah_hz,
        "wah_db": measured.wah_db,
        "level_db": measured.level_db,
        "accent_db": measured.accent_db,
        "swell_db": measured.swell_db,
        "held_fraction": measured.held_fraction,
        "separation_db": measured.separation_db,
        "gap_ms": measured.gap_ms,
        "slap": measured.slap,
        "tries": measured.tries,
    }


def _kind(step: Step) -> str:
    if step.ladder:
        return "ladder"
    if step.is_glide:
        return "glide"
    return "chord" if step.is_chord else "note"
