"""Two takes of one tune compared: what differs, where, and by how much."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median, pstdev

from trainer.core.quantities import quantity_text
from trainer.drill import Step
from trainer.marking import Mark, Result
from trainer.report.directions import written_tab
from trainer.report.formatting import WIDTH, fill, score_text
from trainer.report.schemas.results import (
    ComparedFigureData,
    ComparedStepData,
    ComparisonData,
    TakeSummaryData,
)

MAX_SCOOP_CENTS = 300.0
"""Greatest deviation at a start that is one of the note: beyond the deepest bend, another sound."""
MIN_POINTS = 3.0
"""Least difference between two scores of a step that is one. Chosen."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure of a step that two takes can differ in.

    Attributes:
        name: in JSON; `words` on a line, with its unit after the number.
        words: what it is.
        unit: its unit.
        of: reads it from a mark; None where it was not measured.
        least: least difference that is one. Chosen above what the ear repeats in a room.
        is_distance: whether 0 is best, on either side.
    """

    name: str
    words: str
    unit: str
    of: Callable[[Mark], float | None]
    least: float
    is_distance: bool = False


def _scoop(mark: Mark) -> float | None:
    scoop = mark.measured.scoop_cents
    return None if scoop is None or abs(scoop) > MAX_SCOOP_CENTS else scoop


FIGURES = (
    Figure("cents", "pitch", "cents", lambda mark: mark.measured.cents, 4.0, is_distance=True),
    Figure("late_ms", "time", "ms", lambda mark: mark.measured.own_late_ms, 20.0, is_distance=True),
    Figure("scoop_cents", "start", "cents", _scoop, 15.0, is_distance=True),
    Figure("wobble_cents", "wobble", "cents", lambda mark: mark.measured.wobble_cents, 3.0),
    Figure("leak_db", "leak", "dB", lambda mark: mark.measured.leak_db, 4.0),
)
"""The figures that are compared, in the order of a line."""


@dataclass(frozen=True, slots=True)
class FigureDifference:
    """A figure that differs between two takes: `before` in the first, `after` in the second."""

    figure: Figure
    before: float | None
    after: float | None

    @property
    def text(self) -> str:
        """The figure as a clause: ``pitch -18 to +3 cents``."""
        sign = "+" if self.figure.is_distance else ""
        before, after = (
            "none" if value is None else f"{round(value) + 0:{sign}d}"
            for value in (self.before, self.after)
        )
        return f"{self.figure.words} {before} to {after} {self.figure.unit}"


@dataclass(frozen=True, slots=True)
class StepDifference:
    """A step of two takes.

    Attributes:
        step: the step.
        before, after: its scores in the first and in the second take.
        heard: the tab that was heard in each, where the two differ; else None.
        figures: what differs.
    """

    step: Step
    before: float
    after: float
    heard: tuple[str | None, str | None] | None
    figures: tuple[FigureDifference, ...]

    @property
    def gain(self) -> float:
        """Points by which the second take is better."""
        return self.after - self.before

    @property
    def is_alike(self) -> bool:
        """Whether nothing differs."""
        return abs(self.gain) < MIN_POINTS and not self.figures and self.heard is None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two takes of one drill.

    Attributes:
        names: of the two takes.
        results: their results.
        steps: the steps that both have, in order.
    """

    names: tuple[str, str]
    results: tuple[Result, Result]
    steps: tuple[StepDifference, ...]

    @property
    def differing(self) -> tuple[StepDifference, ...]:
        """The steps that differ, the largest difference of points first."""
        differing = [step for step in self.steps if not step.is_alike]
        return tuple(sorted(differing, key=lambda step: (-abs(step.gain), step.step.index)))


def compare_takes(names: tuple[str, str], first: Result, second: Result) -> Comparison:
    """Compare two takes of one drill, step by step.

    Args:
        names: what the takes are called.
        first: result of the one, for example the earlier.
        second: result of the other.
    """
    later = {mark.step.index: mark for mark in second.marks}
    steps = tuple(
        _difference(mark, later[mark.step.index])
        for mark in first.marks
        if mark.step.index in later
    )
    return Comparison(names, (first, second), steps)


def _difference(first: Mark, second: Mark) -> StepDifference:
    figures = []
    for figure in FIGURES:
        before, after = figure.of(first), figure.of(second)
        if before is None and after is None:
            continue
        if before is None or after is None or abs(after - before) >= figure.least:
            figures.append(FigureDifference(figure, before, after))
    heard = (first.measured.heard, second.measured.heard)
    if heard[0] != heard[1]:  # the figures of another note, or of none, say nothing
        return StepDifference(first.step, first.score, second.score, heard, ())
    return StepDifference(first.step, first.score, second.score, None, tuple(figures))


def comparison_text(comparison: Comparison, width: int = WIDTH) -> str:
    """Return a comparison as lines: the takes side by side, then the steps that differ.

    Args:
        comparison: the takes.
        width: line width in columns.
    """
    title = comparison.results[0].drill.title
    lines = [fill(f"{title}: {comparison.names[0]}, then {comparison.names[1]}", width)]
    rows = [
        ("total of 100", [score_text(result.score) for result in comparison.results]),
        ("beats a minute", [f"{result.tempo:g}" for result in comparison.results]),
        *(
            (words, ["-" if value is None else f"{value:.0f}" for value in values])
            for words, values in (
                ("pitch, median distance in cents", _each(comparison, _typical_cents)),
                ("time, spread in ms", _each(comparison, _spread_ms)),
            )
        ),
    ]
    lines += [f"  {words:<32}{before:>8}{after:>8}" for words, (before, after) in rows]
    differing = comparison.differing
    if not differing:
        return "\n".join([*lines, "No step differs by more than can be measured."])
    lines.append("step  tab       from   to  what differs, the most points first")
    for step in differing:
        head = (
            f"{step.step.index + 1:>4}  {written_tab(step.step):<8} {score_text(step.before):>5}"
            f" {score_text(step.after):>4}  "
        )
        lines.append(fill(_what(step), width, head, " " * len(head)))
    better = sum(step.gain >= MIN_POINTS for step in comparison.steps)
    worse = sum(step.gain <= -MIN_POINTS for step in comparison.steps)
    alike = len(comparison.steps) - better - worse
    lines.append(f"Better on {quantity_text(better, 'step')}, worse on {worse}, alike on {alike}.")
    return "\n".join(lines)


def _what(step: StepDifference) -> str:
    if step.heard is not None:
        before, after = (tab or "nothing" for tab in step.heard)
        return f"heard {before}, then {after}"
    return ", ".join(difference.text for difference in step.figures) or "the mark alone"


def _each(
    comparison: Comparison, figure: Callable[[Sequence[Mark]], float | None]
) -> list[float | None]:
    return [figure(result.marks) for result in comparison.results]


def _typical_cents(marks: Sequence[Mark]) -> float | None:
    cents = [abs(mark.measured.cents) for mark in marks if mark.measured.cents is not None]
    return median(cents) if cents else None


def _spread_ms(marks: Sequence[Mark]) -> float | None:
    late = [mark.measured.late_ms for mark in marks if mark.measured.late_ms is not None]
    return pstdev(late) if len(late) > 1 else None


def comparison_data(comparison: Comparison) -> ComparisonData:
    """Return a comparison as JSON data; differences too small to report are in it, too."""
    return {
        "drill": comparison.results[0].drill.name,
        "takes": [
            _summary(name, result)
            for name, result in zip(comparison.names, comparison.results, strict=True)
        ],
        "steps": [_step_data(step) for step in comparison.steps],
    }


def _summary(name: str, result: Result) -> TakeSummaryData:
    return {
        "name": name,
        "score": result.score,
        "passed": result.passed,
        "tempo": result.tempo,
        "median_cents": _typical_cents(result.marks),
        "spread_ms": _spread_ms(result.marks),
        "unplayed": result.unplayed,
    }


def _step_data(step: StepDifference) -> ComparedStepData:
    figures: list[ComparedFigureData] = [
        {"figure": each.figure.name, "before": each.before, "after": each.after}
        for each in step.figures
    ]
    return {
        "index": step.step.index,
        "tab": step.step.tab,
        "before": step.before,
        "after": step.after,
        "heard": None if step.heard is None else list(step.heard),
        "figures": figures,
    }
