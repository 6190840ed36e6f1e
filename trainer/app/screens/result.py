"""Result: the marks of a take, step by step."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Sequence
from pathlib import Path
from statistics import mean
from tempfile import TemporaryDirectory
from typing import ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option
from textual.worker import get_current_worker

from trainer.app.playback import bar_playback_plan, step_playback_plan
from trainer.app.practice_layout import TALL_ROWS
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.playback_base import PlaybackScreen
from trainer.app.session import Session
from trainer.app.shapes import grade_pen, sparkline
from trainer.app.take_state import TakeState
from trainer.app.theme import CSS_PENS
from trainer.app.widgets.close_up import CloseUp, CloseUpState
from trainer.app.widgets.key_footer import KeyFooter
from trainer.core import TrainerError
from trainer.drill import Drill
from trainer.marking import Mark, Result, SoloMark
from trainer.report.advice import advise
from trainer.report.directions import written_tab
from trainer.report.formatting import score_text
from trainer.report.grades import grade_of_mark, grade_of_score
from trainer.report.result_report import outcome_text
from trainer.report.solo_report import CRITERION_WIDTH, solo_name
from trainer.sound import Passage, RecordingSpec
from trainer.store import Journal

MAX_BAR_CELLS = 3
"""Maximum width of a step's bar in the profile, in cells."""
BARS_WORD, BAR_CELLS = "bars  ", 9
"""What stands before the marks of the bars, and the cells of each."""
TAKE_AUDIO_MISSING = "the audio of this take is missing"
NOT_PLAYED = "this step was not played"
MIN_LOOP_S = 3.0
"""Minimum length of a looped passage of a take, in seconds."""
CLOSE_UP_ROWS = (16, 30)
"""Minimum and maximum rows of the close-up in a tall window: it takes what the list leaves."""
LOOP_SPEED = 0.7
"""Initial speed of a looped passage, as a fraction of the played speed."""
MAX_SENTENCE_CELLS = 96
"""Maximum line length of a sentence in cells; longer lines are tiring to read."""


def mark_content(mark: Mark, width: int, chosen: bool = False) -> Content:
    """Return a line of the list: step number, tab, shape, score and sentence.

    Args:
        mark: mark of the step.
        width: cells at which the sentence is wrapped.
        chosen: whether the cursor is on it.
    """
    graded = grade_of_mark(mark)
    pointer = "▶" if chosen else " "
    head = f"{mark.step.index + 1:>3}  {written_tab(mark.step):<9}"
    score = f"{graded.shape} {score_text(mark.score):>3}  "
    indent = len(head) + len(score)
    first, *rest = textwrap.wrap(mark.sentence, max(20, width - indent)) or [""]
    lines = "".join("\n" + " " * (indent + 1) + line for line in rest)
    now = CSS_PENS["now"].color
    return Content.assemble(
        (pointer, now),
        (head, "bold"),
        (score, CSS_PENS[grade_pen(graded)].color),
        first,
        lines,
    )


def solo_content(mark: SoloMark, drill: Drill, width: int) -> Content:
    """Return the mark of a solo: where it is, then each criterion with its points and reason.

    Args:
        mark: the mark.
        drill: the drill.
        width: width in cells.
    """
    parts: list[str | tuple[str, str]] = [
        (f" {solo_name(mark, drill)}: {score_text(mark.score)}", "bold")
    ]
    for name, points in mark.criteria.items():
        graded = grade_of_score(points)
        head = f"\n  {name:<{CRITERION_WIDTH}} {graded.shape} {score_text(points):>3}  "
        indent = " " * (len(head) - 1)
        wrapped = textwrap.wrap(mark.sentences[name], max(20, width - len(indent))) or [""]
        parts.append((head, CSS_PENS[grade_pen(graded)].color))
        parts.append(f"\n{indent}".join(wrapped))
    return Content.assemble(*parts)


def total_content(result: Result, before: Sequence[float] = ()) -> Content:
    """Return the total, whether the drill is passed, and the last and best pass before.

    Args:
        result: what the pass earned.
        before: scores of earlier passes, oldest first.
    """
    graded = grade_of_score(result.score)
    verdict = outcome_text(result)
    weakest = result.weakest
    parts: list[str | tuple[str, str]] = [
        (
            f"{graded.shape} {score_text(result.score)} of 100, {verdict}",
            CSS_PENS[grade_pen(graded)].color,
        ),
        (f"  ({result.drill.goal.pass_mark:g} needed)", CSS_PENS["quiet"].color),
    ]
    if before:
        parts.append((f"  {before_text(before)}", CSS_PENS["quiet"].color))
    if weakest is not None and score_text(weakest.score) != "100":
        parts.append(
            f"\nweakest: step {weakest.step.index + 1} ({written_tab(weakest.step)}), "
            f"{score_text(weakest.score)}"
        )
    return Content.assemble(*parts)


def profile_content(marks: Sequence[Mark], width: int) -> Content:
    """Return a row of bars, one for each step; for the worst of several where they do not fit.

    Args:
        marks: the marks, in order.
        width: width in cells.
    """
    per_cell = -(-len(marks) // max(1, width))
    worst = [
        min(marks[i : i + per_cell], key=lambda mark: mark.score)
        for i in range(0, len(marks), max(1, per_cell))
    ]
    cells = max(1, min(MAX_BAR_CELLS, width // max(1, len(worst))))
    bars = [
        (sparkline([mark.score]) * cells, CSS_PENS[grade_pen(grade_of_mark(mark))].color)
        for mark in worst
    ]
    return Content.assemble(*bars)


def bars_content(marks: Sequence[Mark], width: int) -> Content:
    """Return a line with the mean mark of each bar; where they do not fit, of the worst bars.

    Args:
        marks: the marks, in order.
        width: width in cells.
    """
    by_bar: dict[int, list[float]] = {}
    for mark in marks:
        by_bar.setdefault(mark.step.bar, []).append(mark.score)
    means = {bar: mean(scores) for bar, scores in by_bar.items()}
    most = max(1, (width - len(BARS_WORD)) // BAR_CELLS)
    worst = sorted(means, key=means.__getitem__)[:most]
    parts: list[str | tuple[str, str]] = [(BARS_WORD, CSS_PENS["quiet"].color)]
    for bar in sorted(worst):
        graded = grade_of_score(means[bar])
        text = f"{bar} {graded.shape}{score_text(means[bar])}"
        parts.append((f"{text:<{BAR_CELLS}}", CSS_PENS[grade_pen(graded)].color))
    return Content.assemble(*parts)


def next_content(result: Result, shelf: Sequence[Drill], width: int, in_set: str = "") -> Content:
    """Return in two lines at most what to do next: what a teacher would say first.

    Args:
        result: the marks and their total.
        shelf: drills that advice may name.
        width: width in cells.
        in_set: what the daily set asks for after a pass without advice; empty outside it.
    """
    pieces = advise(result, shelf)
    if not pieces:
        words = in_set or "Next: a little faster, or the next drill."
        return Content(words if result.passed else "")
    first = pieces[0]
    drill = f" Try {first.drill}." if first.drill else ""
    text = f"{first.focus} {first.reason}{drill}"
    lines = textwrap.wrap(text, max(20, width)) or [""]
    if len(lines) > 2:
        lines = [lines[0], textwrap.shorten(" ".join(lines[1:]), max(20, width), placeholder=" …")]
    return Content("\n".join(lines))


def before_text(scores: Sequence[float]) -> str:
    """Return the scores of earlier passes as ``last 81, best 92``; empty for none."""
    if not scores:
        return ""
    return f"before: last {score_text(scores[-1])}, best {score_text(max(scores))}"


class ResultScreen(PlaybackScreen[str | None]):
    """The marks of a pass as a list, in order or worst first.

    Its result is ``again``, ``slower``, ``next`` or None.

    Args:
        result: the marks and their total.
        take: the take, for its trace and its audio; None if only the marks are known.
        session: its listener plays the audio; None to play nothing.
        shelf: drills that advice may name.
        in_set: what the daily set asks for next; empty outside it.
    """

    CAUTION = "a plays the step, e its bar. Headphones: moderate level."
    ABOUT: ClassVar[str] = "The marks of a take, step by step, with the trace and audio of each."
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding(
            "escape,space", "leave(None)", "back", key_display="esc", tooltip="back to the tab"
        ),
        Binding("r", "leave('again')", "again", tooltip="play it again"),
        Binding(
            "minus", "leave('slower')", "slower", key_display="-", tooltip="play it again, slower"
        ),
        Binding("n", "leave('next')", "next", tooltip="the next drill"),
        Binding("o", "turn", "order", key_display="o", tooltip="worst steps first, or in order"),
        Binding(
            "enter",
            "trace",
            "trace",
            tooltip="show or hide the trace of the step",
        ),
        Binding("a", "hear(False)", "hear", tooltip="hear the step as you played it"),
        Binding("e", "hear(True)", "as meant", tooltip="hear its bar as it should sound"),
        Binding(
            "w",
            "loop",
            "loop",
            tooltip="loop what you played there, slowly, to play along with",
        ),
    ]

    def __init__(
        self,
        result: Result,
        take: TakeState | None = None,
        session: Session | None = None,
        shelf: Sequence[Drill] = (),
        in_set: str = "",
    ) -> None:
        super().__init__(session)
        self._in_set = in_set
        self._result, self._take, self._shelf = result, take, shelf
        self._worst_first = False
        self._chosen_id: str | None = None
        self._folder: TemporaryDirectory[str] | None = None
        self._steps = OptionList(id="steps")
        self._trace = CloseUp(id="close-up")

    def compose(self) -> ComposeResult:
        """Yield title, total, the list of marks and the trace of the chosen one."""
        result = self._result
        beat = "no beat" if result.drill.free else f"tempo {result.tempo:g}"
        yield Static(
            Content.assemble((result.drill.title, "bold"), f"  {result.harp} harp  {beat}"),
            classes="title",
        )
        yield Static(total_content(result), id="total")
        yield Static(id="next")
        yield Static(id="profile")
        if result.drill.recording is not None:
            yield Static(id="bars")
        yield self._steps
        yield self._trace
        yield Static(self.CAUTION if self._take else "", id="sound")
        yield KeyFooter()

    def on_mount(self) -> None:
        """Focus the list."""
        self._trace.display = self._take is not None
        self._steps.focus()
        self._read_scores()

    @work(thread=True)
    def _read_scores(self) -> None:
        """Read the scores of earlier passes, and show them beside the total."""
        plan = self._take.plan if self._take else None
        if plan is None or plan.journal is None:
            return
        worker = get_current_worker()
        try:
            with Journal(plan.journal) as journal:
                takes = journal.takes(
                    player=plan.player, drill=self._result.drill.name, steps=False
                )
        except TrainerError:
            return  # the practice screen reports a journal that cannot be read
        own = self._take.sheet.record if self._take else None
        scores = [take.score for take in takes if take.whole and take.id != own]
        if not worker.is_cancelled:
            self.app.call_from_thread(self._show_scores, scores)

    def _show_scores(self, scores: Sequence[float]) -> None:
        if self.is_mounted:
            self.query_one("#total", Static).update(total_content(self._result, scores))

    @property
    def mark(self) -> Mark | None:
        """The mark of the chosen step."""
        place = self._steps.highlighted
        if place is None or not self._result.marks:
            return None
        chosen = self._steps.get_option_at_index(place).id
        return next((mark for mark in self._result.marks if str(mark.step.index) == chosen), None)

    @property
    def _wide(self) -> int:
        """Width of a line in the list, in cells."""
        return min(self.size.width - 6, MAX_SENTENCE_CELLS)

    def action_turn(self) -> None:
        """Switch between worst first and in order."""
        self._worst_first = not self._worst_first
        self._show(first=True)

    def action_trace(self) -> None:
        """Show or hide the trace of the chosen step."""
        self._trace.display = self._take is not None and not self._trace.display

    def action_hear(self, model: bool) -> None:
        """Play the chosen step as played, or its bar as it should sound; or stop playback."""
        take, mark = self._take, self.mark
        if self.playing is not None:
            self.stop_playback()
            return
        if take is None or mark is None:
            return
        plan = bar_playback_plan(take, mark.step.bar) if model else step_playback_plan(take, mark)
        if plan is None:
            missed = mark.measured.start is None
            self.set_line(f"× {NOT_PLAYED if missed else TAKE_AUDIO_MISSING}")
            return
        subject = f"bar {max(1, mark.step.bar)} as it should sound" if model else "as you played it"
        self.play(plan, f"step {mark.step.index + 1}, {subject}; a stops it")

    def action_loop(self) -> None:
        """Loop the chosen step and its surroundings, slowly."""
        take, mark = self._take, self.mark
        if take is None or mark is None or self._session is None or self.playing is not None:
            return
        plan = step_playback_plan(take, mark)
        if plan is None or not isinstance(plan.source, RecordingSpec) or self._session.busy:
            missed = mark.measured.start is None
            self.set_line(f"× {NOT_PLAYED if missed else TAKE_AUDIO_MISSING}")
            return
        spec = plan.source
        try:
            path = self._copy(spec.path)
        except OSError as error:
            self.set_line(f"× the take's audio cannot be copied: {error.strerror}")
            return
        take.outcome.audio = str(path)
        first, last = spec.first, spec.last or spec.first
        around = max(0.0, MIN_LOOP_S - (last - first)) / 2.0
        first = max(0.0, first - around)
        passage = Passage(path, first, max(last + around, first + MIN_LOOP_S), LOOP_SPEED)
        self.app.push_screen(LoopScreen(self._session, passage))

    def _copy(self, path: Path) -> Path:
        """Copy the take's audio: playing along is a take and would overwrite it."""
        if self._folder is None:
            self._folder = TemporaryDirectory(prefix="loop-")
            shutil.copy(path, Path(self._folder.name) / path.name)
        return Path(self._folder.name) / path.name

    def on_unmount(self) -> None:
        """Delete the copy."""
        if self._folder is not None:
            self._folder.cleanup()

    def action_leave(self, wish: str | None) -> None:
        """Dismiss the screen with a wish, once playback has ended."""
        self.leave(wish)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the chosen step and show its trace."""
        for mark in self._result.marks:
            number = str(mark.step.index)
            if number in (self._chosen_id, event.option_id):
                chosen = number == event.option_id
                prompt = mark_content(mark, self._wide, chosen)
                event.option_list.replace_option_prompt(number, prompt)
        self._chosen_id = event.option_id
        self._show_trace()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Show or hide the trace."""
        self.action_trace()

    def on_resize(self) -> None:
        """Wrap the sentences at the new width."""
        width = self.size.width - 4
        self.query_one("#profile", Static).update(profile_content(self._result.marks, width))
        for bars in self.query("#bars").results(Static):
            bars.update(bars_content(self._result.marks, width))
        self.query_one("#next", Static).update(
            next_content(self._result, self._shelf, width, self._in_set)
        )
        self._show()
        self.call_after_refresh(self._size_close_up)

    def _show(self, *, first: bool = False) -> None:
        marks = self._result.marks
        if self._worst_first:
            marks = tuple(sorted(marks, key=lambda mark: mark.score))
        place = 0 if first else self._steps.highlighted or 0
        self._steps.clear_options()
        self._steps.add_options(
            [Option(mark_content(mark, self._wide), id=str(mark.step.index)) for mark in marks]
        )
        self._steps.add_options(
            [Option(f"      {extra.sentence}", disabled=True) for extra in self._result.extras]
        )
        self._steps.add_options(
            [
                Option(solo_content(mark, self._result.drill, self._wide), disabled=True)
                for mark in self._result.solos
            ]
        )
        if marks:
            self._steps.highlighted = place
        self._show_trace()

    def _size_close_up(self) -> None:
        """Give the close-up the rows that the list leaves; a short window's are in the style."""
        rows = None
        if self.size.height >= TALL_ROWS:
            both = self._steps.size.height + self._trace.size.height
            least, most = CLOSE_UP_ROWS
            rows = min(max(both - self._steps.virtual_size.height, least), most)
        self._trace.styles.height = rows

    def _show_trace(self) -> None:
        mark = self.mark
        if self._take is not None and mark is not None:
            self._trace.show(CloseUpState.of(self._take, mark))
