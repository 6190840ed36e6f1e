"""The page on one recording of a drill, for its student and the teacher.

It is one HTML file that opens from disk without a network. First comes what ten seconds are enough
for: the mark, beside last time's, and what to work on, by habits. Then the tab with each mark
below its note, what was played instead, and the whole take to hear; then each fault with its pitch
and holes; then the steps that were good, a line each. The template is ``student.html.j2``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from trainer.core.printable import printable
from trainer.core.types import Floats
from trainer.drill import CRITERIA
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Mark, PlayedNote, Result, SoloMark
from trainer.report.advice import Advice
from trainer.report.directions import written_tab
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import score_text, sentence_text
from trainer.report.grades import FAULT_BELOW, GRADES, MISSED, Grade, grade_of_mark, grade_of_score
from trainer.report.last_time import Summary
from trainer.report.page_sound import flac_base64
from trainer.report.rendering import render_page
from trainer.report.result_report import aim_lines
from trainer.report.solo_report import solo_name
from trainer.report.step_plots import (
    PLOT,
    HolePlot,
    PitchPlot,
    Strip,
    StripBlock,
    hole_plot,
    pitch_plot,
    tempo_plot,
    timing_plot,
)
from trainer.report.tab_bars import TabBars
from trainer.report.tab_layout import tab_table

STEP_MARGIN_S = 0.3
"""Seconds drawn and played before and after a step."""
_LEGEND = (*GRADES, MISSED)


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
        student: the student's name; empty if it is not known.
        notes: what else is to be known of the recording, a sentence each.
        last: what the student reached last time; None if it is not known.
        remarks: the teacher's own words, a paragraph each.
    """

    result: Result
    harp: Harp
    readings: Sequence[Reading]
    sound: NDArray[np.float32] | None
    rate: int
    name: str
    advice: Sequence[Advice]
    student: str = ""
    notes: Sequence[str] = ()
    last: Summary | None = None
    remarks: Sequence[str] = ()

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
        bar: number of its bar.
        tab: its tab.
        played: tab of what was played instead; empty where it was right or missed.
        grade: of its mark.
        score: its score, as text.
        sentence: why it was marked so.
        criteria: the score of each criterion that was judged, as text, with its grade.
        clip: with its margins, to be heard; None if it was not played or the page has no sound.
        held: from start to end, for the cursor; None as above.
        pitch, holes: its plots; None if it was not played.
    """

    number: int
    bar: int
    tab: str
    played: str
    grade: Grade
    score: str
    sentence: str
    criteria: Mapping[str, tuple[str, Grade]]
    clip: Clip | None
    held: Clip | None
    pitch: PitchPlot | None
    holes: HolePlot | None


@dataclass(frozen=True, slots=True)
class Compared:
    """A figure beside last time's.

    Attributes:
        name: what it is.
        now, before: as text; empty where it was not judged.
        change: such as ``+9``; empty where one of them is.
    """

    name: str
    now: str
    before: str
    change: str


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


def student_html(report: StudentReport, key: str = "") -> str:
    """Return the page.

    Args:
        report: what it shows.
        key: what it was made from, to be found in its head; empty for none.
    """
    result, performance = report.result, report.result.performance
    table = tab_table(result.drill)
    steps = [_step(mark, report) for mark in result.marks]
    by_index = {mark.step.index: step for mark, step in zip(result.marks, steps, strict=True)}
    faults = [
        step for mark, step in zip(result.marks, steps, strict=True) if mark.score < FAULT_BELOW
    ]
    return render_page(
        "student.html.j2",
        key=key,
        drill=result.drill,
        student=printable(report.student),
        recording=printable(report.name),
        harp=result.harp,
        tempo="no beat" if result.drill.free else f"tempo {result.tempo:.0f}",
        score=score_text(result.score),
        grade=grade_of_score(result.score),
        verdict="passed" if result.passed else "not passed yet",
        pass_mark=f"{result.drill.goal.pass_mark:g}",
        part=_part(result),
        last=report.last,
        comparison=[*_compared(Summary.of(result), report.last)] if report.last else [],
        aims=aim_lines(result),
        advice=[
            {"text": item, "places": _places(item, result), "clip": _clip_of(item, by_index)}
            for item in report.advice
        ],
        remarks=[printable(remark) for remark in report.remarks],
        notes=[sentence_text(printable(note)) for note in report.notes],
        drill_summary=drill_summary(result.drill),
        tab=TabBars.of(table),
        marks=by_index,
        legend_of_marks=_LEGEND,
        legend=table.legend,
        timing=timing_plot(result),
        tempo_plot=tempo_plot(tempo_points(result), result.drill.tempo, result.drill.meter[0]),
        played=[sentence_text(remark.sentence) for remark in performance.remarks]
        if performance
        else [],
        strip=_strip(report, by_index),
        seconds=f"{report.span[1] - report.span[0]:.3f}",
        faults=faults,
        rest=[step for step in steps if step not in faults],
        extras=[sentence_text(extra.sentence) for extra in result.extras],
        solos=[_solo(mark, result) for mark in result.solos],
        sound=_sound(report),
    )


def tempo_points(result: Result) -> list[tuple[float, float]]:
    """Return beats and the player's own tempo at each; empty where there was a click or no beat."""
    if result.performance is None:
        return []
    curve, drill = result.performance.curve, result.drill
    beats = range(math.floor(drill.start), math.ceil(drill.steps[-1].end) + 1)
    return [(float(beat), 60.0 / curve.beat_s(beat)) for beat in beats]


def _part(result: Result) -> str:
    """Return how much of the drill was marked; empty for all of it."""
    marked, all_steps = len(result.marks), len(result.drill.steps)
    return "" if marked == all_steps else f"{marked} of {all_steps} steps were marked"


def _solo(mark: SoloMark, result: Result) -> dict[str, object]:
    """Return a solo as the page shows it: where it is, and each criterion with its reason."""
    rows = [
        (name, score_text(points), sentence_text(mark.sentences[name]))
        for name, points in mark.criteria.items()
    ]
    name = solo_name(mark, result.drill).capitalize()
    return {"name": name, "score": score_text(mark.score), "rows": rows}


def _step(mark: Mark, report: StudentReport) -> StepView:
    start, end = mark.measured.start, mark.measured.end
    pitch = holes = clip = held = None
    if start is not None and end is not None:
        begun, ended = start / report.rate, end / report.rate
        first, last = begun - STEP_MARGIN_S, ended + STEP_MARGIN_S
        readings = report.between(first, last)
        pitch = pitch_plot(mark, report.result, report.harp, report.rate, readings, first, last)
        holes = hole_plot(mark, readings, first, last)
        if report.sound is not None:
            clip, held = _clip(first, last, report), _clip(begun, ended, report)
    judged = {name: mark.criteria[name] for name in CRITERIA if name in mark.criteria}
    return StepView(
        number=mark.step.index + 1,
        bar=mark.step.bar,
        tab=written_tab(mark.step),
        played=_played_instead(mark, report.result),
        grade=grade_of_mark(mark),
        score=score_text(mark.score),
        sentence=mark.sentence,
        criteria={n: (score_text(score), grade_of_score(score)) for n, score in judged.items()},
        clip=clip,
        held=held,
        pitch=pitch,
        holes=holes,
    )


def _clip(first: float, last: float, report: StudentReport) -> Clip:
    offset = report.span[0]
    return Clip(f"{max(0.0, first - offset):.3f}", f"{last - offset:.3f}")


def _played_instead(mark: Mark, result: Result) -> str:
    note = PlayedNote(mark.step, mark.criteria, mark.measured, result.drill)
    heard = mark.measured.heard
    return "" if heard is None or note.is_right else heard


def _places(advice: Advice, result: Result) -> str:
    """Return the bars of a habit: ``bars 1, 3 and 4``; empty for all of them or a single step."""
    bars = sorted({result.drill.steps[index].bar for index in advice.steps})
    if len(advice.steps) < 2 or len(bars) == result.drill.bars > 1:
        return ""
    *most, last = ["the pick-up" if bar == 0 else str(bar) for bar in bars]
    return f"bar {last}" if not most else f"bars {', '.join(most)} and {last}"


def _clip_of(advice: Advice, steps: Mapping[int, StepView]) -> Clip | None:
    """Return the first step that shows what the advice is about, to be heard."""
    clips = (steps[index].clip for index in advice.steps if index in steps)
    return next((clip for clip in clips if clip is not None), None)


def _compared(now: Summary, last: Summary) -> Iterator[Compared]:
    """Yield the mark and each criterion beside last time's."""
    yield _comparison("mark", now.score, last.score)
    for name in CRITERIA:
        if name in now.criteria or name in last.criteria:
            yield _comparison(name, now.criteria.get(name), last.criteria.get(name))


def _comparison(name: str, now: float | None, before: float | None) -> Compared:
    now_text, before_text = ("" if score is None else score_text(score) for score in (now, before))
    change = ""
    if now_text and before_text:
        difference = int(now_text) - int(before_text)
        change = f"{difference:+d}" if difference else "the same"
    return Compared(name, now_text, before_text, change)


def _strip(report: StudentReport, steps: Mapping[int, StepView]) -> Strip:
    """Return the played steps on the strip of the whole take."""
    first, last = report.span
    px_per_s = PLOT.width_px / max(last - first, 1e-9)
    played = [
        (mark.step, start, end)
        for mark in report.result.marks
        if (start := mark.measured.start) is not None and (end := mark.measured.end) is not None
    ]
    highest = max((step.first[0].hole for step, _, _ in played), default=1)
    lowest = min((step.first[0].hole for step, _, _ in played), default=1)
    blocks = []
    for step, start, end in played:
        view = steps[step.index]
        x = (start / report.rate - first) * px_per_s
        width = max(1.0, (end - start) / report.rate * px_per_s - 1.0)
        y = PLOT.strip_block_px + (highest - step.first[0].hole) * PLOT.strip_row_px
        label = f"step {view.number}, {view.tab}: {view.score}"
        shape = view.grade.shape if view.grade.least < FAULT_BELOW else ""
        blocks.append(StripBlock(x, width, y, view.grade.name, label, shape))
    height = 2 * PLOT.strip_block_px + (highest - lowest) * PLOT.strip_row_px + 2
    return Strip(PLOT.width_px, height, tuple(blocks))


def _sound(report: StudentReport) -> str:
    """Return the sound of the marked steps in base64; empty if the page has none."""
    if report.sound is None:
        return ""
    first, last = (round(time * report.rate) for time in report.span)
    return flac_base64(report.sound[first:last], report.rate)
