"""A student's page of marks made by hand: shapes of grades, and the sound of each step."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from tests.support.colour import contrast
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.marking import Mark, Measured, Result
from trainer.report import student_page
from trainer.report.student_page import STEP_MARGIN_S, StudentReport, marked_span, student_html

RATE = 48_000
SPANS = ((1.0, 1.5), (2.0, 2.25), (2.5, 3.0), (3.0, 4.0))
SCORES = (95.0, 94.999, 60.0, 0.0, 0.0)
"""Scores of five steps, of which the last was not played."""


def report_of(sound: bool) -> StudentReport:
    tab = "4:1 4:1 4:1 4:1 | 4:1 r:3"
    drill = parse_drill(f'title = "x"\nharp = "C"\ntempo = 60\ntab = """\n{tab}\n"""\n', "x")
    played = [Measured(start=round(a * RATE), end=round(b * RATE)) for a, b in SPANS]
    marks = tuple(
        Mark(step, score, {"pitch": score}, measured, "why")
        for step, score, measured in zip(drill.steps, SCORES, [*played, Measured()], strict=True)
    )
    result = Result(drill, "C", 60.0, marks, 50.0, False)
    samples = np.zeros(5 * RATE, dtype=np.float32) if sound else None
    return StudentReport(result, Harp.of("C"), [], samples, RATE, "x.wav", ())


def test_each_grade_has_its_shape_and_a_step_that_was_not_played_a_cross() -> None:
    page = student_html(report_of(sound=False))
    assert re.findall(r">(.\d+)</a>", page) == ["◆95", "●94", "◐60", "○0", "×0"]
    assert "<button" not in page
    assert "<audio" not in page


def test_a_button_plays_its_step_with_a_margin() -> None:
    report = report_of(sound=True)
    assert report.span == marked_span(report.result, RATE) == (0.7, 4.3)
    clips = re.findall(r'data-from="([^"]*)" data-to="([^"]*)"', student_html(report))
    margin = STEP_MARGIN_S
    expected = [time - 0.7 for a, b in SPANS for time in (a - margin, b + margin)]
    clips = sorted(set(clips), key=lambda clip: float(clip[0]))
    assert [float(time) for clip in clips for time in clip] == pytest.approx(expected, abs=1e-3)


def test_grades_can_be_read_on_paper_screen_and_the_map() -> None:
    """WCAG 2.2, 1.4.3: 4.5 to 1 for every text, light, dark and printed."""
    css = (Path(student_page.__file__).parent / "templates" / "page.css").read_text()
    blocks = re.findall(r":root \{([^}]*)\}", css)
    assert len(blocks) == 3
    names = ["top", "fine", "nearly", "low", "missed"]
    light, dark, printed = (dict(re.findall(r"--([\w-]+): (#\w+);", block)) for block in blocks)
    assert "@media screen and (prefers-color-scheme: dark)" in css  # not on paper
    for colours in (light, dark, light | printed):
        full = {
            name: text if len(text) == 7 else "#" + "".join(2 * digit for digit in text[1:])
            for name, text in colours.items()
        }
        for name in names:
            assert contrast(full[name], full["paper"]) >= 4.5, name
            assert contrast(full["ink"], full[f"{name}-ground"]) >= 4.5, name
        assert contrast(full["quiet"], full["paper"]) >= 4.5
