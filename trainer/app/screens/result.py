"""Result: what a take earned, step by step."""

from __future__ import annotations

import textwrap
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Footer, Static

from trainer.app.shapes import grade, grade_of
from trainer.app.theme import PENS
from trainer.marking import Mark, Result
from trainer.report.result import score_text

WIDEST = 96
"""Cells of the widest line of a sentence; longer ones are tiring to read."""


def mark_content(mark: Mark, width: int) -> Content:
    """A step's mark: number, tab, shape, score and sentence, broken at `width` cells."""
    graded = grade_of(mark)
    head = f"{mark.step.index + 1:>3}  {mark.step.tab:<9}"
    score = f"{graded.shape} {score_text(mark.score):>3}  "
    indent = len(head) + len(score)
    first, *rest = textwrap.wrap(mark.sentence, max(20, width - indent)) or [""]
    lines = "".join("\n" + " " * indent + line for line in rest)
    return Content.assemble((head, "bold"), (score, PENS[graded.pen].color), first, lines)


def total_content(result: Result) -> Content:
    """The total, and whether the drill is passed."""
    graded = grade(result.score)
    verdict = "passed" if result.passed else "not passed yet"
    weakest = result.weakest
    parts: list[str | tuple[str, str]] = [
        (f"{graded.shape} {score_text(result.score)} of 100, {verdict}", PENS[graded.pen].color),
        (f"  ({result.drill.goal.pass_mark:g} needed)", PENS["quiet"].color),
    ]
    if weakest is not None:
        parts.append(
            f"\nweakest: step {weakest.step.index + 1} ({weakest.step.tab}), "
            f"{score_text(weakest.score)}"
        )
    return Content.assemble(*parts)


class ResultScreen(Screen[str | None]):
    """A result, to scroll through, in order or the worst first. Gives ``again``, ``slower``,
    ``next`` or nothing.

    Args:
        result: what the take earned.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,space,enter", "dismiss(None)", "back", key_display="space"),
        Binding("o", "turn", "order", key_display="o"),
        Binding("r", "dismiss('again')", "again"),
        Binding("minus", "dismiss('slower')", "slower", key_display="-"),
        Binding("n", "dismiss('next')", "next drill"),
    ]

    def __init__(self, result: Result) -> None:
        super().__init__()
        self._result = result
        self._worst_first = False

    def compose(self) -> ComposeResult:
        """Title, total, and the marks in a scrolling list."""
        result = self._result
        beat = "no beat" if result.drill.free else f"tempo {result.tempo:g}"
        yield Static(
            Content.assemble((result.drill.title, "bold"), f"  {result.harp} harp  {beat}"),
            classes="title",
        )
        yield Static(total_content(result), id="total")
        with VerticalScroll(id="marks"):
            yield Static(id="sentences")
        yield Footer(compact=True, show_command_palette=False)

    def on_mount(self) -> None:
        """Let the arrow keys scroll."""
        self.query_one("#marks").focus()

    def action_turn(self) -> None:
        """The worst step first, or all in order."""
        self._worst_first = not self._worst_first
        self._show()

    def on_resize(self) -> None:
        """Break the sentences anew."""
        self._show()

    def _show(self) -> None:
        width = min(self.size.width - 6, WIDEST)
        marks = self._result.marks
        if self._worst_first:
            marks = tuple(sorted(marks, key=lambda mark: mark.score))
        lines = [mark_content(mark, width) for mark in marks]
        lines += [Content(f"     {extra.sentence}") for extra in self._result.extras]
        self.query_one("#sentences", Static).update(Content("\n").join(lines))
