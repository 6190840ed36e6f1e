"""A result as text for people and as plain data for programs."""

from __future__ import annotations

import textwrap
from dataclasses import asdict
from typing import Any

from trainer.marking import Mark, Result

NARROWEST = 40
"""Lines are never broken into less than this."""


def score_text(score: float) -> str:
    """A score as a whole number, never rounded up to one that was not reached."""
    return str(int(score + 1e-9))


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
    head = f"{result.drill.title}, {result.harp} harp, tempo {result.tempo:g}"
    lines = [textwrap.fill(head, max(width, NARROWEST)), "step  tab     mark  why"]
    lines += [mark_line(mark, width) for mark in result.marks]
    lines.append(textwrap.fill(total_line(result), max(width, NARROWEST)))
    return "\n".join(lines)


def result_dict(result: Result) -> dict[str, Any]:
    """A result as data that JSON can hold: every target, measured value, part and sentence.

    Names are those of :class:`trainer.marking.Result`, `Mark` and `Measured`; units are in the
    names, times in samples or beats, and what could not be measured is null.
    """
    weakest = result.weakest
    return {
        "drill": result.drill.name,
        "title": result.drill.title,
        "harp": result.harp,
        "tempo": result.tempo,
        "pass_mark": result.drill.goal.pass_mark,
        "score": result.score,
        "passed": result.passed,
        "weakest": None if weakest is None else weakest.step.index,
        "steps": [_mark_dict(mark, result.drill.goal.tolerance) for mark in result.marks],
    }


def _mark_dict(mark: Mark, tolerance: float) -> dict[str, Any]:
    step = mark.step
    return {
        "index": step.index,
        "target": {
            "tab": step.tab,
            "sounds": [[str(tab) for tab in sound] for sound in step.sounds],
            "bar": step.bar,
            "at_beats": float(step.at),
            "length_beats": float(step.beats),
            "tolerance_cents": tolerance,
        },
        "score": mark.score,
        "parts": dict(mark.parts),
        "measured": asdict(mark.measured) | {"holes": list(mark.measured.holes)},
        "sentence": mark.sentence,
    }
