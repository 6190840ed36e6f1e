"""A result as text for people and as plain data for programs."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import Any

from trainer.marking import Mark, Result, break_down, score_criteria
from trainer.report.formatting import score_text

NARROWEST = 40
"""Lines are never broken into less than this."""


def mark_line(mark: Mark, width: int = 0) -> str:
    """A step's mark in a line: number, tab, score and why; broken at `width`, 0 for never."""
    head = f"{mark.step.index + 1:>3}  {mark.step.tab:<8} {score_text(mark.score):>3}  "
    if not width:
        return head + mark.sentence
    return textwrap.fill(
        mark.sentence,
        max(width, NARROWEST),
        initial_indent=head,
        subsequent_indent=" " * len(head),
    )


def total_line(result: Result) -> str:
    """The total, whether it passes, and the weakest step."""
    total = f"Total {score_text(result.score)} of 100"
    goal = f"{result.drill.goal.pass_mark:g}"
    verdict = f"passed ({goal} needed)" if result.passed else f"not passed yet ({goal} needed)"
    weakest = result.weakest
    if weakest is None:
        return f"{total}, {verdict}."
    number, score = weakest.step.index + 1, score_text(weakest.score)
    return f"{total}, {verdict}; weakest: step {number} ({weakest.step.tab}) with {score}."


def result_text(result: Result, width: int = 80) -> str:
    """A result as lines of at most `width` cells: what was played, each step's mark and why,
    and the total."""
    beat = "no beat" if result.drill.free else f"tempo {result.tempo:g}"
    head = f"{result.drill.title}, {result.harp} harp, {beat}"
    lines = [textwrap.fill(head, max(width, NARROWEST)), "step  tab     mark  why"]
    lines += [mark_line(mark, width) for mark in result.marks]
    lines += [f"     {extra.sentence}" for extra in result.extras]
    lines.append(textwrap.fill(total_line(result), max(width, NARROWEST)))
    return "\n".join(lines)


def result_data(result: Result) -> dict[str, Any]:
    """A result as data that JSON can hold: every target, measured value, and how it was marked.

    Names are those of :class:`trainer.marking.Result`, `Mark` and `Measured`; units are in the
    names, times in samples or beats, and what could not be measured is null. Of each part, the
    formula's figures stand with the points of their lines, so that every number can be reckoned
    again: `score` is min(`mean`, `most`) x `right` x `sounding`, as at the head of
    :mod:`trainer.marking.score`.
    """
    weakest = result.weakest
    goal = result.drill.goal
    return {
        "drill": result.drill.name,
        "title": result.drill.title,
        "harp": result.harp,
        "tempo": result.tempo,
        "pass_mark": goal.pass_mark,
        "tolerance_cents": goal.tolerance,
        "weights": dict(goal.weights),
        "score": result.score,
        "passed": result.passed,
        "weakest": None if weakest is None else weakest.step.index,
        "steps": [_mark_dict(mark, result) for mark in result.marks],
        "extras": [asdict(extra) for extra in result.extras],
    }


def _mark_dict(mark: Mark, result: Result) -> dict[str, Any]:
    step, goal = mark.step, result.drill.goal
    judged = score_criteria(step, mark.measured, goal, 60_000.0 / result.tempo)
    breakdown = break_down(step, mark.measured, mark.criteria, goal)
    measured = asdict(mark.measured)
    return {
        "index": step.index,
        "target": {
            "tab": step.tab,
            "sounds": [[str(tab) for tab in sound] for sound in step.sounds],
            "cents_off": list(step.offsets_cents) or [0.0] * len(step.sounds),
            "either": None if step.alternative is None else str(step.alternative),
            "kind": _kind(mark),
            "care": step.cleanness_rule.value,
            "vibrato": None if step.vibrato is None else asdict(step.vibrato),
            "bar": step.bar,
            "at_beats": float(step.start),
            "length_beats": float(step.beats),
            "tolerance_cents": goal.tolerance,
        },
        "score": mark.score,
        "parts": dict(mark.criteria),
        "formula": {
            "parts": {
                name: {
                    "earned": part.earned,
                    "weight": goal.weights[name],
                    "rule": part.rule,
                    "terms": [asdict(term) for term in part.terms],
                }
                for name, part in judged.items()
            },
            **asdict(breakdown),
        },
        "measured": {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in measured.items()
        },
        "sentence": mark.sentence,
    }


def _kind(mark: Mark) -> str:
    if mark.step.ladder:
        return "ladder"
    if mark.step.is_glide:
        return "glide"
    return "chord" if mark.step.is_chord else "note"
