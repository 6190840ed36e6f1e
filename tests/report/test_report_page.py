"""A student's report: a page that stands by itself and says what was marked."""

from __future__ import annotations

import base64
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from tests.support.evening_class import DRILL, HARP
from trainer.drill import read_shelf
from trainer.practice import PassEnded, Plan, run_take
from trainer.report.advice import advise
from trainer.report.formatting import score_text
from trainer.report.student_page import STEP_MARGIN_S, StudentReport, student_html
from trainer.sound import PlayerSpec

VOID = {"meta", "line", "rect", "polyline", "polygon", "br", "link"}


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
        if tag not in VOID:
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
        section = text.split(f'id="step-{mark.step.index + 1}"')[1].split("</section>")[0]
        assert f'<span class="mark">{score_text(mark.score)}</span>' in section
        played = mark.measured.start is not None
        assert ("polyline" in section) == played
        assert ("data-from" in section) == played
    assert sum(tag == "button" for tag, _ in page.tags) == len(student_report.result.marks) - 1


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
    spans = re.findall(r'data-from="([^"]*)" data-to="([^"]*)"', text)
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
    titles = {drill.title for drill in read_shelf().drills}
    assert all(advice.drill in titles for advice in student_report.advice if advice.drill)
    assert any(advice.drill for advice in student_report.advice)


def test_a_perfect_take_has_nothing_to_work_on(tmp_path: Path) -> None:
    events = run_take(Plan(HARP, PlayerSpec(), drill=DRILL))
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert advise(result, read_shelf().drills) == ()


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
        link = f'<a href="#step-{mark.step.index + 1}"'
        under = text.split(link)[1].split("</a>")[0]
        assert under.endswith(f"{score_text(mark.score)}")
        assert mark.sentence.split(";")[0].split("'")[0] in under
    assert text.count("×0</a>") == 1  # the one that was left out
