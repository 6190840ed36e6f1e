"""Sentences of a pass in which most notes are off alike.

A teacher then speaks of the harp and its tuning, once, and not of each note: the first of them says
what to do, the others that they are off like most.
"""

from __future__ import annotations

from dataclasses import replace

from trainer.core.quantities import quantity_text
from trainer.harp import Harp
from trainer.marking.habits import tuning_habit
from trainer.marking.mark import Result
from trainer.marking.parameters import SENTENCE
from trainer.marking.sentence import mark_sentence


def explain_tuning(result: Result, harp: Harp) -> Result:
    """The result of a pass, with other sentences where most of its notes are off alike.

    Args:
        result: the result.
        harp: the harp it was played on.
    """
    habit = tuning_habit(result.drill, result.marks)
    if habit is None:
        return result
    side = habit.name.removeprefix("all ")
    cents = habit.size if side == "sharp" else -habit.size
    a4_hz = harp.a4 * 2.0 ** (cents / 1200.0)
    cause = (
        f"most notes are about {quantity_text(round(habit.size), 'cent')} {side}: measure the "
        f"harp, or set A4 = {a4_hz:.1f} Hz"
    )
    off = {
        id(mark)
        for mark in habit.marks
        if mark.criteria.get("pitch", 100.0) < SENTENCE.perfect_points
    }
    explained = []
    for mark in result.marks:
        if id(mark) in off:
            size = quantity_text(round(abs(mark.measured.cents or 0.0)), "cent")
            clause = cause or f"{size} {side}, like most notes"
            rest = {name: earned for name, earned in mark.criteria.items() if name != "pitch"}
            sentence = mark_sentence(
                mark.step,
                mark.measured,
                rest,
                goal=result.drill.goal,
                harp=harp,
                beat_ms=result.beat_ms(mark.step),
            )
            mark = replace(mark, sentence=f"{clause}; {sentence}" if sentence else clause)
            cause = ""
        explained.append(mark)
    return replace(result, marks=tuple(explained))
