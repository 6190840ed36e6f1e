"""A student's report as one HTML page that stands by itself: no network, opens from disk.

It shows the score and how it was reached, the page of tab with its marks, and for each step its
pitch against the target, the holes that sounded, and its sound. The template is
``student.html.j2``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import CRITERIA
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Mark, Result
from trainer.report.advice import Advice
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import score_text
from trainer.report.page_sound import flac_base64
from trainer.report.rendering import render_page
from trainer.report.result_report import total_line
from trainer.report.step_plots import HolePlot, PitchPlot, hole_plot, pitch_plot, timing_plot
from trainer.report.tab_bars import TabBars
from trainer.report.tab_layout import tab_table

STEP_MARGIN_S = 0.3
"""Seconds drawn and played before and after a step."""
GRADES = (
    (95.0, "◆", "as good as it gets"),
    (80.0, "●", "good"),
    (60.0, "◐", "nearly"),
    (0.0, "○", "not yet"),
)
"""Lowest score of each grade, its shape, and its meaning; the same as on the screens."""
MISSED_SHAPE = "×"
"""Shape of a step that was not played."""
_SHAPE_LEGEND = ", ".join(f"{shape} {meaning}" for _, shape, meaning in GRADES)


@dataclass(frozen=True)
class StudentReport:
    """All that a student's page shows.

    Attributes:
        result: the marks.
        harp: the harp that was played.
        readings: readings of the whole recording, in order.
        sound: the recording up to the end of the marked steps or later, float32, shape (n,); None
            leaves sound out.
        rate: sample rate in hertz.
        name: name of the recording.
        advice: what to work on, the most urgent first.
    """

    result: Result
    harp: Harp
    readings: Sequence[Reading]
    sound: NDArray[np.float32] | None
    rate: int
    name: str
    advice: Sequence[Advice]

    @cached_property
    def _times(self) -> Floats:
        return np.array([reading.time for reading in self.readings])

    def between(self, first: float, last: float) -> list[Reading]:
        """Return the readings from `first` to `last`, in seconds."""
        inside = (self._times >= first) & (self._times <= last)
        return [self.readings[int(i)] for i in np.flatnonzero(inside)]

    @cached_property
    def span(self) -> tuple[float, float]:
        """Return the span of the marked steps; see :func:`marked_span`."""
        return marked_span(self.result, self.rate)


@dataclass(frozen=True, slots=True)
class Clip:
    """The part of the page's sound that belongs to a step: start and end in seconds, as text."""

    first: str
    last: str


@dataclass(frozen=True, slots=True)
class StepView:
    """A step as the template shows it.

    Attributes:
        number: from 1.
        tab: its tab.
        shape: the shape of its grade.
        score: its score, as text.
        sentence: why it was marked so.
        criteria: the score of each criterion, as text; ``·`` where it was not judged.
        pitch, holes: its plots; None if it was not played.
        clip: its sound; None if it was not played or the page has no sound.
    """

    number: int
    tab: str
    shape: str
    score: str
    sentence: str
    criteria: Mapping[str, str]
    pitch: PitchPlot | None
    holes: HolePlot | None
    clip: Clip | None


def marked_span(result: Result, rate: int) -> tuple[float, float]:
    """Return start and end in seconds of the marked steps, with a margin.

    Args:
        result: the marks.
        rate: sample rate in hertz.
    """
    starts = [mark.measured.start for mark in result.marks if mark.measured.start is not None]
    ends = [mark.measured.end for mark in result.marks if mark.measured.end is not None]
    first = min(starts, default=0) / rate - STEP_MARGIN_S
    return max(0.0, first), max(ends, default=0) / rate + STEP_MARGIN_S


def student_html(report: StudentReport) -> str:
    """Return the page."""
    result = report.result
    table = tab_table(result.drill)
    steps = [_step(mark, report) for mark in result.marks]
    return render_page(
        "student.html.j2",
        drill=result.drill,
        recording=report.name,
        harp=result.harp,
        tempo="no beat" if result.drill.free else f"tempo {result.tempo:g}",
        score=score_text(result.score),
        verdict="passed" if result.passed else "not passed yet",
        pass_mark=f"{result.drill.goal.pass_mark:g}",
        total_line=total_line(result),
        advice=report.advice,
        drill_summary=drill_summary(result.drill),
        tab=TabBars.of(table),
        marks={mark.step.index: step for mark, step in zip(result.marks, steps, strict=True)},
        shapes=f"{_SHAPE_LEGEND}, {MISSED_SHAPE} not played",
        legend=table.legend,
        timing=timing_plot(result),
        steps=steps,
        extras=[extra.sentence for extra in result.extras],
        sound=_sound(report),
    )


def _step(mark: Mark, report: StudentReport) -> StepView:
    start, end = mark.measured.start, mark.measured.end
    pitch = holes = clip = None
    if start is not None and end is not None:
        first = start / report.rate - STEP_MARGIN_S
        last = end / report.rate + STEP_MARGIN_S
        readings = report.between(first, last)
        pitch = pitch_plot(mark, report.result, report.harp, report.rate, readings, first, last)
        holes = hole_plot(mark, readings, first, last)
        if report.sound is not None:
            offset = report.span[0]
            clip = Clip(f"{max(0.0, first - offset):.3f}", f"{last - offset:.3f}")
    return StepView(
        number=mark.step.index + 1,
        tab=mark.step.tab,
        shape=_shape(mark),
        score=score_text(mark.score),
        sentence=mark.sentence,
        criteria={
            name: score_text(mark.criteria[name]) if name in mark.criteria else "·"
            for name in CRITERIA
        },
        pitch=pitch,
        holes=holes,
        clip=clip,
    )


def _shape(mark: Mark) -> str:
    if mark.measured.start is None and mark.score <= 0.0:
        return MISSED_SHAPE
    return next(shape for lowest, shape, _ in GRADES if mark.score >= lowest)


def _sound(report: StudentReport) -> str:
    """Return the sound of the marked steps in base64; empty if the page has none."""
    if report.sound is None:
        return ""
    first, last = (round(time * report.rate) for time in report.span)
    return flac_base64(report.sound[first:last], report.rate)
