"""Directions on a page of tab: the words above the notes, and their meanings."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from fractions import Fraction
from itertools import groupby

from trainer.drill import CleannessRule, Drill, Step

ROWS = 4
"""Rows of directions above a part: call and answer, cleanness, vibrato, wah."""
_CLEANNESS_MEANINGS = {
    CleannessRule.CLEAN: "must be clean; it earns no more than that",
    CleannessRule.BLUR: "a neighbour may sound along",
    CleannessRule.CHORD: "a hole beside it must sound along",
}


class Directions:
    """The directions of a drill.

    A word is above the first note that it applies to, and a bracket closes above the last. Vibrato
    and wah show their rate and depth only if the drill has several; :meth:`meanings` always gives
    them.
    """

    def __init__(self, drill: Drill) -> None:
        self._parts = (drill.steps, drill.second)
        steps = [step for part in self._parts for step in part]
        self._several_vibratos = len({step.vibrato for step in steps if step.vibrato}) > 1
        self._several_wahs = len({step.wah_hz for step in steps if step.wah_hz}) > 1

    def over(
        self, part: Sequence[Step], line: Callable[[Fraction], object]
    ) -> dict[Fraction, tuple[str, ...]]:
        """Return the texts above the notes of a part, one per row, by the beat of the note.

        Args:
            part: the steps of the part.
            line: gives the line of the page of a beat; a direction that continues is repeated on
                each line.
        """
        lines = [line(step.start) for step in part]
        rows = [_bracketed(words, lines) for words in self._rows(part)]
        return {step.start: tuple(row[i] for row in rows) for i, step in enumerate(part)}

    def meanings(self) -> Iterator[tuple[str, str]]:
        """Yield each direction that occurs, with its meaning."""
        meanings: dict[str, str] = {}
        for part in self._parts:
            for step, *words in zip(part, *self._rows(part), strict=True):
                meanings |= zip(words, self._meanings_of(step), strict=True)
        meanings.pop("", None)
        for word, meaning in meanings.items():
            yield f"({word})", meaning

    def _rows(self, part: Sequence[Step]) -> tuple[list[str], ...]:
        """Return the directions of each step, by row."""
        return (
            _turns(part),
            [
                "" if step.cleanness_rule is CleannessRule.PLAIN else step.cleanness_rule.value
                for step in part
            ],
            [self._vibrato(step) for step in part],
            [self._wah(step) for step in part],
        )

    def _vibrato(self, step: Step) -> str:
        if step.vibrato and self._several_vibratos:
            return f"vibrato {step.vibrato.hz:g} {step.vibrato.cents:g}"
        return "vibrato" if step.vibrato else ""

    def _wah(self, step: Step) -> str:
        if step.wah_hz and self._several_wahs:
            return f"wah {step.wah_hz:g}"
        return "wah" if step.wah_hz else ""

    @staticmethod
    def _meanings_of(step: Step) -> tuple[str, ...]:
        hz, cents = (step.vibrato.hz, step.vibrato.cents) if step.vibrato else (0.0, 0.0)
        return (
            "the trainer plays" if step.call else "you play after it",
            _CLEANNESS_MEANINGS.get(step.cleanness_rule, ""),
            f"swing the pitch {hz:g} times a second, by {cents:g} cents to each side",
            f"open and close the hands {step.wah_hz:g} times a second",
        )


def _turns(part: Sequence[Step]) -> list[str]:
    """Return whose turn each step is; empty before the first call."""
    turns, called = [], False
    for step in part:
        called = called or step.call
        turns.append("call" if step.call else "answer" if called else "")
    return turns


def _bracketed(words: Sequence[str], lines: Sequence[object]) -> list[str]:
    """Return directions in brackets, a pair for each run of equal directions on a line."""
    row: list[str] = []
    for (word, _), run in groupby(zip(words, lines, strict=True)):
        texts = [""] * len(list(run))
        if word:
            texts[-1] = ")"
            texts[0] = f"({word}" + texts[0]
        row += texts
    return row
