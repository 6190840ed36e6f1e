"""Every text that enters a page is escaped, wherever it comes from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from jinja2 import UndefinedError

from trainer.drill import Drill
from trainer.marking import ExtraNote
from trainer.report.advice import Advice
from trainer.report.class_page import class_html
from trainer.report.class_report import Student, class_csv, class_markdown
from trainer.report.drill_sheet import drill_sheet_html
from trainer.report.formatting import markdown_text
from trainer.report.losses import Loss
from trainer.report.rendering import _environment, render_page
from trainer.report.student_page import StudentReport, student_html

HOSTILE = "<script>alert(1)</script>&\"' {{ 7*7 }} {% raw %}"
"""Markup, quotes, an entity's sign, and a template's own signs."""


class Texts(HTMLParser):
    """The tags of a page, and all text and attribute values that a reader may see."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []
        self.values: list[str] = []
        self.names: set[str] = set()
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.values += [value or "" for _, value in attrs]
        self.names |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        if self.tags and self.tags[-1] in ("script", "style"):
            self.texts.append("")
        else:
            self.texts.append(data)


def hostile_drill(drill: Drill) -> Drill:
    return replace(drill, title=HOSTILE, about=HOSTILE, skills=(HOSTILE,))


def hostile_student_page(report: StudentReport) -> str:
    drill = hostile_drill(report.result.drill)
    marks = [replace(mark, sentence=HOSTILE) for mark in report.result.marks]
    extra = ExtraNote(0, 10, 1.0, None, "4", HOSTILE)
    result = replace(report.result, drill=drill, harp=HOSTILE, marks=tuple(marks), extras=(extra,))
    advice = (Advice(HOSTILE, HOSTILE, HOSTILE),)
    return student_html(replace(report, result=result, name=HOSTILE, advice=advice))


def hostile_class_page(report: StudentReport) -> str:
    students = (
        Student(HOSTILE, 71.0, False, 2, (Loss("pitch", HOSTILE, 9.0),), {0: 80.0}),
        Student("x", trouble=HOSTILE),
    )
    return class_html(hostile_drill(report.result.drill), students)


def hostile_sheet(report: StudentReport) -> str:
    return drill_sheet_html(hostile_drill(report.result.drill), (HOSTILE,))


@pytest.mark.parametrize(
    ("make", "scripts", "in_text", "in_attributes"),
    [
        (hostile_student_page, 1, 11, 8),
        (hostile_class_page, 1, 5, 0),
        (hostile_sheet, 0, 4, 0),
    ],
)
def test_no_text_becomes_markup(
    make: Callable[[StudentReport], str],
    scripts: int,
    in_text: int,
    in_attributes: int,
    student_report: StudentReport,
) -> None:
    page = make(student_report)
    texts = Texts(page)
    assert texts.tags.count("script") == scripts
    assert "<script>alert" not in page
    assert not any(name.startswith("on") for name in texts.names)
    assert "".join(texts.texts).count(HOSTILE) >= in_text
    assert sum(HOSTILE in value for value in texts.values) >= in_attributes


def test_templates_escape_by_default_and_miss_no_name() -> None:
    environment = _environment()
    assert environment.autoescape is True
    hostile = environment.from_string("<p title='{{ text }}'>").render(text="'><b>")
    assert hostile == "<p title='&#39;&gt;&lt;b&gt;'>"
    with pytest.raises(UndefinedError):
        render_page("drill_sheet.html.j2", about="")


def test_no_page_turns_the_direction_of_writing(student_report: StudentReport) -> None:
    turned = "gnp\u202egnp\x1b[2J\udcff"
    drill = replace(student_report.result.drill, title=turned)
    students = (Student(turned, 71.0, False, 2), Student("x", trouble=turned))
    for page in (
        student_html(replace(student_report, name=turned)),
        class_html(drill, students),
        class_markdown(drill, students),
        class_csv(students),
        markdown_text(turned),
    ):
        assert "gnp" in page
        assert not set(page) & set("\u202e\x1b\udcff")
