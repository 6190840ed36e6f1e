"""A student's report: a page that stands by itself and says what was marked."""

from __future__ import annotations

import base64
import html
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from tests.support import shelf
from tests.support.evening_class import DRILL, HARP
from trainer.core import TrainerError
from trainer.drill import BeatClock, TempoCurve
from trainer.marking import Performance, Remark
from trainer.practice import PassEnded, Plan, run_take
from trainer.report.advice import advise
from trainer.report.formatting import score_text
from trainer.report.grades import FAULT_BELOW, grade_of_mark
from trainer.report.last_time import Summary
from trainer.report.result_report import result_data
from trainer.report.step_plots import tempo_plot
from trainer.report.student_page import STEP_MARGIN_S, StudentReport, student_html
from trainer.sound import PlayerSpec

VOID = {"meta", "col", "line", "rect", "polyline", "polygon", "br", "link"}


class Page(HTMLParser):
    """What a page holds; every element must be closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID or tag == "rect":
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


def test_the_page_stands_by_itself_and_says_every_mark(student_report: StudentReport) -> None:
    text = student_html(student_report)
    page = Page(text)
    for _, attributes in page.tags:
        for name in ("src", "href"):
            assert (attributes.get(name) or "data:").startswith(("data:", "#step-"))
    assert "a <b>" not in text
    assert "a &lt;b&gt; &amp; c.wav" in text
    for mark in student_report.result.marks:
        played = mark.measured.start is not None
        end = "</details>"
        if mark.score < FAULT_BELOW:
            end = "</section>" if played else "</p>"
        section = text.split(f'id="step-{mark.step.index + 1}"')[1].split(end)[0]
        grade = grade_of_mark(mark)
        shown = f'<span class="mark {grade.name}">{grade.shape} {score_text(mark.score)}</span>'
        assert shown in section
        assert html.escape(mark.sentence) in section
        assert ("polyline" in section) == played
        assert ("data-from" in section) == played


def test_faults_come_first_and_each_other_step_is_a_line(student_report: StudentReport) -> None:
    text = student_html(student_report)
    page = Page(text)
    faults = [m for m in student_report.result.marks if m.score < FAULT_BELOW]
    others = [m for m in student_report.result.marks if m.score >= FAULT_BELOW]
    assert faults
    assert others
    ids = [attributes["id"] for tag, attributes in page.tags if "id" in attributes]
    order = [name for name in ids if name and name.startswith("step-")]
    assert order == [f"step-{mark.step.index + 1}" for mark in (*faults, *others)]
    assert "open" not in {name for tag, a in page.tags if tag == "details" for name in a}
    assert text.index("To work on") < text.index("The take") < text.index("Faults, in order")


def test_what_was_played_instead_is_under_what_was_asked(student_report: StudentReport) -> None:
    first, *rest = student_report.result.marks
    wrong = replace(first, measured=replace(first.measured, heard="-1"), criteria={"pitch": 0.0})
    result = replace(student_report.result, marks=(wrong, *rest))
    text = student_html(replace(student_report, result=result))
    instead = text.split('<tr class="instead"')[1].split("</tr>")[0]
    assert re.findall(r"<td>([^<]+)</td>", instead) == ["-1"]
    assert text.count('<tr class="instead"') == 1
    assert '<tr class="instead"' not in student_html(student_report)


def test_last_time_and_the_teachers_words_are_beside_the_marks(
    student_report: StudentReport,
) -> None:
    now = Summary.of(student_report.result)
    last = replace(now, score=now.score - 9.0, criteria={"pitch": 12.0})
    text = student_html(replace(student_report, last=last, remarks=("Soft <b>start</b>",)))
    rows = re.findall(
        r'<th scope="row">([^<]*)</th><td>([^<]*)</td><td>([^<]*)</td><td>([^<]*)</td>', text
    )
    assert rows[0] == ("mark", score_text(last.score), score_text(now.score), "+9")
    assert rows[1][:2] == ("pitch", "12")
    assert ("time", "·", score_text(now.criteria["time"]), "") in rows
    assert "Soft &lt;b&gt;start&lt;/b&gt;" in text
    data = json.loads(json.dumps(result_data(student_report.result)))
    again = Summary.read(data)
    assert again.score == now.score
    assert again.steps == now.steps
    assert again.criteria == pytest.approx(dict(now.criteria))
    for broken in ([], {}, {"steps": [1]}, {**data, "score": None}):
        with pytest.raises(TrainerError, match="not a result"):
            Summary.read(broken)


def test_the_cursor_walks_over_what_was_played(student_report: StudentReport) -> None:
    text = student_html(student_report)
    places = re.findall(r'data-at="([^"]*)" data-until="([^"]*)"', text)
    played = [m for m in student_report.result.marks if m.measured.start is not None]
    offset = student_report.span[0]
    for (first, last), mark in zip(places, played, strict=True):
        start, end = mark.measured.start, mark.measured.end
        assert start is not None
        assert end is not None
        assert float(first) == pytest.approx(start / student_report.rate - offset, abs=1e-3)
        assert float(last) == pytest.approx(end / student_report.rate - offset, abs=1e-3)
    strip = text.split('<svg id="strip"')[1].split("</svg>")[0]
    assert strip.count("<rect") == len(played)


def test_a_tempo_curve_is_drawn_where_there_is_one(student_report: StudentReport) -> None:
    curve = TempoCurve(BeatClock(0, 60.0, 1000), ((0, 0), (4000, 3000), (16_000, 13_000)))
    remark = Remark("stop", "stopped for 0.6 s before bar 3", 0, 1)
    played = Performance(curve, 60.0, (remark,))
    with_click = replace(student_report.result, performance=None)
    assert "Your tempo" not in student_html(replace(student_report, result=with_click))
    alone = replace(student_report.result, performance=played)
    text = student_html(replace(student_report, result=alone))
    assert "between 72 and 80 beats a minute" in text
    assert '<p class="note">Stopped for 0.6 s before bar 3.</p>' in text
    plot = tempo_plot(((0.0, 80.0), (4.0, 96.0)), 88.0)
    assert plot is not None
    assert plot.line[0][1] - plot.asked_y == pytest.approx(plot.asked_y - plot.line[1][1])
    assert plot.line[1][0] == plot.width
    assert tempo_plot(((0.0, 80.0),), 88.0) is None
    assert tempo_plot(((0.0, 88.2), (4.0, 87.9)), 88.0) is None


def test_the_drawn_pitch_is_the_one_that_was_measured(student_report: StudentReport) -> None:
    text = student_html(student_report)
    section = text.split('id="step-5"')[1].split("</section>")[0]
    band = re.search(r'class="band" points="([^"]*)"', section)
    assert band
    rows = [float(pair.split(",")[1]) for pair in band[1].split()]
    target = (max(rows) + min(rows)) / 2.0
    tolerance = (max(rows) - min(rows)) / 2.0 / DRILL.goal.tolerance
    points = " ".join(re.findall(r'class="played" points="([^"]*)"', section)).split()
    inside = [tuple(map(float, point.split(","))) for point in points]
    held = [y for x, y in inside if 0.4 * 560 < x < 0.7 * 560]
    assert (target - np.median(held)) / tolerance == pytest.approx(-31.0, abs=3.0)


def test_the_sound_in_the_page_is_the_recording(student_report: StudentReport) -> None:
    """The pass is in it, and each step's button plays that step of the recording."""
    text = student_html(student_report)
    match = re.search(r"data:audio/flac;base64,([^\"]*)", text)
    assert match
    assert student_report.sound is not None
    sound, rate = sf.read(io.BytesIO(base64.b64decode(match[1])))
    assert student_report.rate // rate * rate == student_report.rate
    recorded = (
        student_report.sound[: len(student_report.sound) // 2 * 2]
        .reshape(-1, student_report.rate // rate)
        .mean(axis=1)
    )
    assert len(sound) < len(recorded) - rate  # the count-in is left out
    clips = re.findall(r'data-from="([^"]*)" data-to="([^"]*)" aria-label="Hear step (\d+)"', text)
    spans = [(a, b) for a, b, number in sorted(clips, key=lambda clip: int(clip[2]))]
    played = [mark for mark in student_report.result.marks if mark.measured.start is not None]
    for (first, last), mark in zip(spans, played, strict=True):
        start, end = mark.measured.start, mark.measured.end
        assert start is not None
        assert end is not None
        own = sound[round(float(first) * rate) : round(float(last) * rate)]
        assert len(own) / rate > (end - start) / student_report.rate
        began = start / student_report.rate - STEP_MARGIN_S
        same = max(
            float(np.corrcoef(own, recorded[at : at + len(own)])[0, 1])
            for at in range(round(began * rate) - 20, round(began * rate) + 21)
        )
        assert same > 0.999, mark.step.index


def test_what_cost_most_comes_first_and_a_drill_of_the_shelf_trains_it(
    student_report: StudentReport,
) -> None:
    first, *others = student_report.advice
    assert len(others) <= 2
    assert (
        first.focus.startswith("Bends not deep enough")
        or "leak" in first.focus
        or "deep" in first.focus
    )
    titles = {drill.title for drill in shelf.SHELF.drills}
    assert all(advice.drill in titles for advice in student_report.advice if advice.drill)
    assert any(advice.drill for advice in student_report.advice)


def test_a_perfect_take_has_nothing_to_work_on(tmp_path: Path) -> None:
    events = run_take(Plan(HARP, PlayerSpec(), drill=DRILL))
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert advise(result, shelf.SHELF.drills) == ()


def test_advice_quotes_the_worst_of_the_notes_that_it_is_about(
    student_report: StudentReport,
) -> None:
    """Advice on single steps, after that on habits, quotes the mark."""
    for advice in student_report.advice:
        tab, _, rest = advice.focus.partition(" in bar ")
        if not rest:
            continue
        marks = [mark for mark in student_report.result.marks if mark.step.tab == tab]
        assert any(mark.sentence in advice.focus for mark in marks if mark.score < 95.0), advice


def test_the_page_of_tab_has_each_mark_under_its_note(student_report: StudentReport) -> None:
    text = student_html(student_report)
    for mark in student_report.result.marks:
        link = f'href="#step-{mark.step.index + 1}"'
        under = text.split(link)[1].split("</a>")[0]
        assert under.endswith(f"{score_text(mark.score)}")
        assert mark.sentence.split(";")[0].split("'")[0] in under
    assert text.count("×0</a>") == 1  # the one that was left out
