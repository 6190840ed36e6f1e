"""A student's report as a page of HTML that stands by itself: no network, opens from disk.

The total and how it was reached, the page of tab with its marks, and for each step the pitch
against its target, the holes that sounded, and its sound. What is drawn is SVG in the page; the
sound of the pass is in it once, and each step plays its part of it. It is FLAC, which every browser
of the last years plays, which starts where it is told to, and which is written thirteen times as
fast as Ogg Vorbis.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import CRITERIA
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Mark, Result
from trainer.music import cents
from trainer.report.advice import Advice
from trainer.report.drill_report import drill_summary
from trainer.report.formatting import score_text
from trainer.report.result_report import total_line
from trainer.report.tab_html import STYLE, bars_html
from trainer.report.tab_layout import tab_table

STEP_MARGIN_S = 0.3
"""What is drawn and heard before a step and after it."""
WIDE, HIGH, HOLES_HIGH = 560, 150, 84
"""Pixels of a drawing of pitch, and of holes."""
REACH_CENTS = 130.0
"""How far above and below the target the picture reaches, at least."""
LATE_MS = 150.0
"""How far the picture of time reaches to each side."""
SOUND_RATE = 24_000
GRADES = (
    (95.0, "◆", "as good as it gets"),
    (80.0, "●", "good"),
    (60.0, "◐", "nearly"),
    (0.0, "○", "not yet"),
)
"""The score from which a shape stands beside a mark, the shape, and what it means, as on the
screens."""
MISSED = "×"
_SHAPES = ", ".join(f"{shape} {words}" for _, shape, words in GRADES) + f", {MISSED} not played"


@dataclass(frozen=True)
class StudentReport:
    """What a report is made of.

    Attributes:
        result: the marks.
        harp: what was played on.
        readings: of the whole recording, in order.
        sound: the recording, float32, shape (n,), as far as the marked steps go at least; None
            leaves it out.
        rate: samples a second.
        name: of the recording.
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
        """The readings of a stretch of time, in seconds."""
        inside = (self._times >= first) & (self._times <= last)
        return [self.readings[int(i)] for i in np.flatnonzero(inside)]

    @cached_property
    def heard(self) -> tuple[float, float]:
        """As :func:`heard_in` has it."""
        return marked_span(self.result, self.rate)


def marked_span(result: Result, rate: int) -> tuple[float, float]:
    """The stretch of a recording that the marked steps are in, in seconds."""
    spans = [(one.measured.start, one.measured.end) for one in result.marks]
    starts = [start for start, _ in spans if start is not None]
    ends = [end for _, end in spans if end is not None]
    first = min(starts, default=0) / rate - STEP_MARGIN_S
    return max(0.0, first), max(ends, default=0) / rate + STEP_MARGIN_S


def student_html(told: StudentReport) -> str:
    """The page."""
    result = told.result
    title = f"{result.drill.title}: {told.name}"
    body = [
        f"<h1>{escape(result.drill.title)}</h1>",
        f"<p class=quiet>{escape(told.name)} · {escape(result.harp)} harp · "
        f"{'no beat' if result.drill.free else f'tempo {result.tempo:g}'}</p>",
        f"<p class=total><strong>{score_text(result.score)}</strong> of 100, "
        f"{'passed' if result.passed else 'not passed yet'} "
        f"({result.drill.goal.pass_mark:g} needed)</p>",
        f"<p>{escape(total_line(result))} Each step counts by its length; a step's mark is the "
        "mean of its parts, by their weights.</p>",
        _advice(told.advice),
        "<h2>The page</h2>",
        f"<p class=quiet>{escape(drill_summary(result.drill))}</p>",
        bars_html(tab_table(result.drill), {m.step.index: _under(m) for m in result.marks}),
        f"<p class=quiet>{escape(_SHAPES)}</p>",
        f"<pre class=quiet>{escape(tab_table(result.drill).legend)}</pre>",
        "<h2>Time</h2>",
        _time(result),
        "<h2>Step by step</h2>",
        *(_step(mark, told) for mark in result.marks),
        *(f"<p>{escape(extra.sentence)}</p>" for extra in result.extras),
        _sound(told),
    ]
    return html_page(title, body)


def html_page(title: str, body: Sequence[str]) -> str:
    """A page that stands by itself, in the look of all of them.

    Args:
        title: its title, as plain text.
        body: what is in it, as HTML, a piece a line.
    """
    return _PAGE.format(title=escape(title), body="\n".join(body))


def _under(mark: Mark) -> str:
    """A mark under its note on the page: a shape, the score, and the way to the step."""
    played = mark.measured.start is not None or mark.score > 0.0
    shape = next(shape for least, shape, _ in GRADES if mark.score >= least) if played else MISSED
    number = mark.step.index + 1
    score = score_text(mark.score)
    title = escape(f"step {number}: {mark.sentence}")
    return f'<a href="#step-{number}" title="{title}">{shape}{score}</a>'


def _advice(advice: Sequence[Advice]) -> str:
    if not advice:
        return ""
    items = "".join(
        f"<li><strong>{escape(one.what)}</strong> {escape(one.why)}"
        + (f" Drill: <em>{escape(one.drill)}</em>." if one.drill else "")
        + "</li>"
        for one in advice
    )
    return f"<h2>To work on</h2><ol>{items}</ol>"


def _step(mark: Mark, told: StudentReport) -> str:
    """A step: its mark, its parts, its pitch and its holes."""
    number = mark.step.index + 1
    parts = "".join(
        f"<td>{score_text(mark.criteria[part])}</td>" if part in mark.criteria else "<td>·</td>"
        for part in CRITERIA
    )
    names = "".join(f"<th scope=col>{part}</th>" for part in CRITERIA)
    start, end = mark.measured.start, mark.measured.end
    drawn = player = ""
    if start is not None and end is not None:
        first = start / told.rate - STEP_MARGIN_S
        last = end / told.rate + STEP_MARGIN_S
        some = told.between(first, last)
        drawn = _pitch(mark, told, some, first, last) + _holes(mark, some, first, last)
        if told.sound is not None:
            player = (
                f'<button type=button data-from="{max(0.0, first - told.heard[0]):.3f}" '
                f'data-to="{last - told.heard[0]:.3f}" '
                f'aria-label="Hear step {number}">▶ hear it</button>'
            )
    return (
        f'<section id="step-{number}"><h3>{number}. <code>{escape(mark.step.tab)}</code> '
        f"<span class=mark>{score_text(mark.score)}</span> {player}</h3>"
        f"<p>{escape(mark.sentence)}</p>"
        f"<table><thead><tr>{names}</tr></thead><tbody><tr>{parts}</tr></tbody></table>"
        f"{drawn}</section>"
    )


def _pitch(
    mark: Mark, told: StudentReport, some: Sequence[Reading], first: float, last: float
) -> str:
    """The pitch of a step against its target and the tolerance, in cents from its first sound."""
    step, harp = mark.step, told.harp
    base = harp.hz(step.first[0])
    targets = [
        cents(harp.hz(sound[0]), base) + step.offset_cents(i) for i, sound in enumerate(step.sounds)
    ]
    high, low = max(targets) + REACH_CENTS, min(targets) - REACH_CENTS
    start = (mark.measured.start or 0) / told.rate
    begins = start - (mark.measured.late_ms or 0.0) / 1000.0
    lasts = float(step.beats) * 60.0 / told.result.tempo

    def x(second: float) -> float:
        return (second - first) / (last - first) * WIDE

    def y(off: float) -> float:
        return (high - off) / (high - low) * HIGH

    way = [step.path_position(i / 40.0) for i in range(41)]
    path = [
        (begins + i / 40.0 * lasts, float(np.interp(p, range(len(targets)), targets)))
        for i, p in enumerate(way)
    ]
    band = told.result.drill.goal.tolerance
    upper = " ".join(f"{x(t):.1f},{y(c + band):.1f}" for t, c in path)
    lower = " ".join(f"{x(t):.1f},{y(c - band):.1f}" for t, c in reversed(path))
    lines = "".join(
        f'<line class=reed x1=0 x2={WIDE} y1="{y(c):.1f}" y2="{y(c):.1f}"/>'
        f'<text x=2 y="{y(c) - 3:.1f}">{escape(str(tab))}</text>'
        for tab in harp.hole_entries(step.first[0].hole)
        if low < (c := cents(harp.hz(tab), base)) < high
    )
    played = "".join(
        f'<polyline class=played points="{points}"/>'
        for points in _lines([(x(t), y(c)) for t, c in _points(some, base, low, high)])
    )
    said = f"pitch of step {step.index + 1} against its target: {mark.sentence}"
    return (
        f'<svg role=img aria-label="{escape(said)}" viewBox="0 0 {WIDE} {HIGH}">{lines}'
        f'<polygon class=band points="{upper} {lower}"/>{played}</svg>'
    )


def _points(
    some: Sequence[Reading], base: float, low: float, high: float
) -> Iterator[tuple[float, float]]:
    for one in sorted(some, key=lambda reading: reading.sample):
        if one.hz is not None and low < (off := cents(one.hz, base)) < high:
            yield one.time, off


def _lines(points: list[tuple[float, float]]) -> Iterator[str]:
    """Points as lines, broken where nothing was heard for a while."""
    line: list[str] = []
    before: tuple[float, float] | None = None
    for point in points:
        if before is not None and (point[0] - before[0] > 8.0 or abs(point[1] - before[1]) > 40.0):
            yield " ".join(line)
            line = []
        line.append(f"{point[0]:.1f},{point[1]:.1f}")
        before = point
    if line:
        yield " ".join(line)


def _holes(mark: Mark, some: Sequence[Reading], first: float, last: float) -> str:
    """Which holes sounded when: wanted ones full, others hatched by their class."""
    wanted = {tab.hole for tab in mark.step.tabs}
    row = HOLES_HIGH / 10
    spans: list[str] = []
    ordered = sorted((one for one in some if one.holes), key=lambda one: one.sample)
    for hole in range(1, 11):
        begun: float | None = None
        before = 0.0
        for one in [*ordered, None]:
            here = one is not None and hole in one.holes
            late = one is None or one.time - before > 0.03
            if begun is not None and (not here or late):
                spans.append(_hole(hole, begun, before, first, last, row, hole in wanted))
                begun = None
            if here and one is not None:
                begun = one.time if begun is None else begun
                before = one.time
    names = "".join(
        f'<text x=2 y="{(10 - hole) * row + row - 1:.1f}">{hole}</text>' for hole in range(1, 11)
    )
    return (
        f'<svg role=img class=holes aria-label="holes that sounded in step {mark.step.index + 1}" '
        f'viewBox="0 0 {WIDE} {HOLES_HIGH}">{names}{"".join(spans)}</svg>'
    )


def _hole(
    hole: int, begun: float, ended: float, first: float, last: float, row: float, mine: bool
) -> str:
    left = (begun - first) / (last - first) * WIDE
    width = max(1.0, (ended - begun) / (last - first) * WIDE)
    kind = "mine" if mine else "leak"
    return (
        f'<rect class={kind} x="{left:.1f}" width="{width:.1f}" '
        f'y="{(10 - hole) * row + 1:.1f}" height="{row - 2:.1f}"/>'
    )


def _time(result: Result) -> str:
    """How late or early each step began: a dot a step about the beat."""
    late = [(m.step.index + 1, m.measured.late_ms) for m in result.marks]
    known = [(number, ms) for number, ms in late if ms is not None]
    if not known:
        return "<p class=quiet>There is no beat in this drill.</p>"
    middle = WIDE / 2
    dots = ""
    for number, ms in known:
        x = middle + max(-1.0, min(1.0, ms / LATE_MS)) * (middle - 8)
        said = f"step {number}: {abs(ms):.0f} ms {'late' if ms > 0 else 'early'}"
        dots += f'<circle class=dot r=4 cx="{x:.1f}" cy=18><title>{said}</title></circle>'
    words = f"{np.median([ms for _, ms in known]):+.0f} ms at the median"
    return (
        f'<svg role=img aria-label="onsets about the beat, {words}" viewBox="0 0 {WIDE} 36">'
        f"<line class=beat x1={middle} x2={middle} y1=2 y2=34 /><text x=2 y=33>{LATE_MS:.0f} ms "
        f"early</text><text x={WIDE - 62} y=33>{LATE_MS:.0f} ms late</text>{dots}</svg>"
        f"<p class=quiet>{words}; a dot is a step.</p>"
    )


def _sound(told: StudentReport) -> str:
    if told.sound is None:
        return ""
    first, last = (round(at * told.rate) for at in told.heard)
    data = base64.b64encode(_flac(told.sound[first:last], told.rate)).decode()
    return (
        "<p class=quiet>Listen at a moderate level, above all in headphones.</p>"
        f'<audio id=sound controls preload=auto src="data:audio/flac;base64,{data}"></audio>'
    )


def _flac(sound: NDArray[np.float32], rate: int) -> bytes:
    """The sound as FLAC of 16 bits, at a rate that has all that matters of a reed."""
    import soundfile

    file = io.BytesIO()
    step = max(1, rate // SOUND_RATE)
    if step > 1:  # a moving mean is filter enough for listening
        whole = sound[: len(sound) // step * step].reshape(-1, step)
        sound = whole.mean(axis=1)
    soundfile.write(file, sound, rate // step, format="FLAC", subtype="PCM_16")
    return file.getvalue()


_STYLE = (
    (
        STYLE
        + """
:root { color-scheme: light dark; --ink: #1b232b; --paper: #ffffff; --quiet: #55606a;
  --good: #007c5a; --leak: #8e5273; --line: #808a93; --band: #bfe3d6; }
@media (prefers-color-scheme: dark) { :root { --ink: #e8edf2; --paper: #0f151b; --quiet: #9aa8b5;
  --good: #009e73; --leak: #cc79a7; --line: #5c6b79; --band: #1d4a3c; } }
body { font: 16px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  max-width: 44rem; margin: 0 auto; padding: 1rem; }
.quiet { color: var(--quiet); } .total { font-size: 1.3rem; }
.tab, code { font-family: ui-monospace, "DejaVu Sans Mono", Menlo, Consolas, monospace; }
.tab { overflow-x: auto; font-size: 0.85rem; line-height: 1.3; }
section { border-top: 1px solid var(--line); break-inside: avoid; padding-bottom: 0.5rem; }
.marks a { color: var(--ink); text-decoration: none; }
.marks a:hover, .marks a:focus { text-decoration: underline; }
.mark { color: var(--good); } svg { width: 100%; height: auto; display: block; margin: 0.3rem 0; }
svg text { fill: var(--quiet); font-size: 9px; } .reed { stroke: var(--line); stroke-width: 0.5; }
.band { fill: var(--band); } .played { fill: none; stroke: var(--ink); stroke-width: 1.6; }
.mine { fill: var(--good); } .leak { fill: var(--leak); } .dot { fill: var(--good);
  fill-opacity: 0.6; } .beat { stroke: var(--ink); }
table { border-collapse: collapse; font-size: 0.85rem; } th, td { padding: 0 0.8rem 0 0;
  text-align: left; font-weight: normal; } th { color: var(--quiet); }
button { font: inherit; font-size: 0.85rem; } audio { width: 100%; }
@media print { :root { --ink: #000; --paper: #fff; } button, audio { display: none; }
  body { max-width: none; padding: 0; } }
"""
    )
    .replace("{", "{{")
    .replace("}", "}}")
)
_SCRIPT = """
const sound = document.getElementById("sound"); let until = 0;
document.querySelectorAll("button[data-from]").forEach(one => one.addEventListener("click", () => {
  sound.currentTime = Number(one.dataset.from); until = Number(one.dataset.to); sound.play(); }));
if (sound) sound.addEventListener("timeupdate", () => {
  if (until && sound.currentTime >= until) { sound.pause(); until = 0; } });
""".replace("{", "{{").replace("}", "}}")
_PAGE = (
    "<!doctype html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport "
    'content="width=device-width, initial-scale=1"><title>{title}</title><style>'
    + _STYLE
    + "</style></head><body>\n{body}\n<script>"
    + _SCRIPT
    + "</script></body></html>\n"
)
