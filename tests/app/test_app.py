"""The screens, driven by scripted events through Textual's pilot, and the plain lines."""

from __future__ import annotations

import asyncio
import gc
import itertools
import json
import os
import re
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import Future
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual.pilot import Pilot
from textual.widgets import OptionList, Static

from devtools import scripted
from devtools.pictures import picture
from tests.support.pilots import answered, painted, text, until
from tests.support.readings import CLOCK, HARP, RATE, reading, silence
from trainer.app import theme
from trainer.app.app import TrainerApp
from trainer.app.canvas import row_from_cells
from trainer.app.display_smoothing import DisplaySmoother
from trainer.app.large_text import large_rows
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.practice import FAR_ROWS, PracticeScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.too_small import TooSmallScreen
from trainer.app.session import Session
from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.gauge import GaugeState, half_cell, needle_row
from trainer.app.widgets.hole_strip import (
    HoleStripState,
    cleanness_row,
    hole_numbers_row,
    level_bar_rows,
)
from trainer.app.widgets.pitch_trace import GUTTER_CELLS, TracePicture
from trainer.app.widgets.readout import readout_of
from trainer.app.widgets.status_line import StatusState
from trainer.app.widgets.tab_page import TabPageState, lay_out_tab, line_rows, top_line_shown
from trainer.core import TrainerError
from trainer.drill import BeatClock, Drill, Goal, Step, read_shelf
from trainer.ear import Reading
from trainer.harp import Breath, Harp, HarpError, Tab
from trainer.marking import Mark, Measured, Result
from trainer.practice import (
    BeatReached,
    Command,
    Event,
    Notice,
    PassEnded,
    PassStarted,
    Plan,
    ReadingHeard,
    SavingProgress,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
)
from trainer.report.grades import GRADES, grade_of_score
from trainer.report.result_report import result_data, result_text
from trainer.report.take_lines import TakeLines
from trainer.sound import MicrophoneSpec, PlayerSpec

SMALL, LARGE = (80, 24), (120, 40)
DRILL = scripted.DRILL
PLAN = Plan(HARP, MicrophoneSpec(), DRILL)


class Puppet:
    """A listener that reports only the events a test queues."""

    def __init__(self) -> None:
        self.queue: list[Event] = []
        self.plans: list[Plan] = []
        self.stops = 0
        self.polls = 0
        self.refuse: TrainerError | None = None
        self._script: Iterator[tuple[float, Event]] = iter(())

    def begin(self, plan: Plan) -> None:
        if self.refuse:
            raise self.refuse
        self.plans.append(plan)
        self._script = scripted.scripted_events(plan)

    def poll(self) -> list[Event]:
        self.polls += 1
        events, self.queue = self.queue, []
        return events

    def ask(self, command: Command) -> None:
        """Ignore a command: nothing runs here that could obey."""

    def request(self, request: object) -> Future[Any]:
        return answered(request)

    def stop(self) -> None:
        self.stops += 1
        self.queue.append(TakeFinished())

    def play(self, until: float) -> None:
        """Replay the scripted take up to a time in seconds."""
        for second, event in self._script:
            self.queue.append(event)
            if second >= until:
                return


def at(beat: float) -> ReadingHeard:
    """Return a silent reading at a beat."""
    return ReadingHeard(silence(CLOCK.sample(beat)))


def run(
    test: Callable[[Pilot[None], Puppet], Awaitable[None]],
    *,
    size: tuple[int, int] = SMALL,
    plan: Plan = PLAN,
    autostart: bool = True,
    shelf: tuple[Drill, ...] = scripted.DRILLS,
) -> None:
    """Run a test against the app in a window of a size."""

    async def inside() -> None:
        puppet = Puppet()
        app = TrainerApp(puppet, shelf, plan, autostart)
        async with app.run_test(size=size, notifications=True) as pilot:
            await painted(pilot, puppet)
            await test(pilot, puppet)

    asyncio.run(inside())


async def seen(pilot: Pilot[None], words: str, times: int = 1) -> None:
    """Wait for words to appear a number of times."""
    await until(pilot, lambda: " ".join(text(pilot).split()).count(words) == times)


async def show(pilot: Pilot[None], puppet: Puppet, *events: Event) -> str:
    puppet.queue.extend(events)
    await painted(pilot, puppet)
    return text(pilot)


STARTED = PassStarted(CLOCK, 0, len(DRILL.steps), "the microphone", True)


# The practice screen


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_screens_follow_a_whole_take_at_every_size(size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        for second in (1.0, 3.4, 5.0, 9.0, 14.0, 20.0):
            puppet.play(second)
            await painted(pilot, puppet)
            shown = text(pilot)
            assert DRILL.title in shown
            assert "C harp" in shown
            assert "tempo 80" in shown
            assert len(shown.splitlines()) == size[1]
            assert all(len(line) == size[0] for line in shown.splitlines())
        puppet.play(99.0)
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, ResultScreen)

    run(test, size=size)


def test_count_in_is_visible_without_sound() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await show(pilot, puppet, STARTED)
        assert "○ ○ ○ ○  count-in, then -4" in shown
        shown = await show(pilot, puppet, at(-4))
        assert "● ○ ○ ○  count-in, then -4" in shown
        shown = await show(pilot, puppet, at(-3))
        assert "● ● ○ ○  count-in, then -4" in shown
        assert large_rows("2")[0] in shown
        shown = await show(pilot, puppet, at(-0.1), BeatReached(-1))
        assert "● ● ● ●  count-in, then -4" in shown
        shown = await show(pilot, puppet, at(0))
        assert "count-in" not in shown
        assert "▶ playing" in shown

    run(test)


def test_count_in_of_a_bar_range_ends_at_its_first_bar() -> None:
    take = TakeState(replace(PLAN, bars=(3, 4), count_in=2))
    first, last = take.playhead.steps
    assert [take.steps[i].bar for i in (first, last - 1)] == [3, 4]
    take.apply(replace(STARTED, first=first, last=last))
    counts = []
    for beat in (5.0, 6.0, 7.0, 8.0):
        take.apply(at(beat))
        counts.append((take.phase, take.counted_beats))
    assert counts == [
        (Phase.COUNTING, 0),
        (Phase.COUNTING, 1),
        (Phase.COUNTING, 2),
        (Phase.PLAYING, 2),
    ]


def test_notice_does_not_stop_the_take_and_stays_visible() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await show(pilot, puppet, STARTED, at(0), Notice("the disk is full"))
        await seen(pilot, "the disk is full", 1)  # no toast: it would cover the holes
        assert "! the disk is full" in text(pilot)
        assert "▶ playing" in text(pilot)

    run(test)


def test_saving_is_shown_until_it_is_done() -> None:
    take = TakeState(PLAN)
    take.apply(SavingProgress(0.5))
    assert StatusState.of(take).sentence == "saving the audio: 50%"
    take.apply(TakeFinished())
    assert "saving" not in StatusState.of(take).sentence


def test_a_last_step_that_was_left_out_is_marked_when_the_pass_ends() -> None:
    take, events = TakeState(PLAN), [event for _, event in scripted.scripted_events(PLAN)]
    last = len(PLAN.drill.steps) - 1 if PLAN.drill else 0
    for event in events:
        if not (isinstance(event, StepMarked) and event.mark.step.index == last):
            take.apply(event)
    assert last in take.sheet.by_step
    assert len(take.sheet.fresh) == last + 1


def test_a_long_notice_takes_rows_of_its_own_and_covers_no_hole() -> None:
    sentence = "the microphone gives nothing but silence; is it muted or unplugged, or off?"

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        before = await show(pilot, puppet, STARTED, at(0))
        dials = [line for line in before.splitlines() if "[4]" in line or "+10" in line]
        words = await show(pilot, puppet, Notice(sentence))
        assert sentence in " ".join(words.replace("\n", " ").split())
        assert all(line in words for line in dials)
        assert len(dials) == 2

    run(test)


def test_page_stays_still_and_marks_stay_below_their_steps() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        columns = []
        tabs = set()
        for beat in (0.0, 0.5, 1.2, 2.9):
            shown = await show(
                pilot, puppet, STARTED, at(0), ReadingHeard(reading("-4", beat=beat))
            )
            page = [line[:36] for line in shown.splitlines()[1:14]]
            columns.append(page[0].index("▼"))
            tabs.add(page[1])
        assert columns == sorted(set(columns))
        assert len(tabs) == 1
        mark = Mark(DRILL.steps[1], 71.0, {}, Measured(start=1), "18 cents flat")
        shown = await show(pilot, puppet, StepMarked(mark))
        lines = shown.splitlines()
        assert lines[4].index("◐71") == lines[2].index("-4'")
        assert "18 cents flat" in shown
        shown = await show(pilot, puppet, STARTED, at(-4))
        assert "·71" in shown
        assert "◐71" not in shown.splitlines()[4]
        better = replace(mark, score=97.0)
        assert "◆97" in await show(pilot, puppet, StepMarked(better))

    run(test)


def test_readout_uses_words_and_shapes() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        events = [ReadingHeard(reading("-4", -12.0, beat=0.1 + i / 100)) for i in range(20)]
        shown = await show(pilot, puppet, STARTED, at(0), *events)
        assert "▼ 12 cents flat, clean" in shown
        for row in large_rows("12 FLAT"):
            assert row in shown
        events = [ReadingHeard(reading("-4", 3.0, beat=0.4 + i / 100)) for i in range(20)]
        assert "● in tune, 3 cents sharp, clean" in await show(pilot, puppet, *events)
        events = [ReadingHeard(reading("-5", 0.0, beat=0.6 + i / 100)) for i in range(39)]
        assert "× heard -5, play -4" in await show(pilot, puppet, *events)

    run(test, size=LARGE)


def test_strip_shows_a_leak_with_its_level() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        events = [
            ReadingHeard(reading("-4", 1.0, beat=0.1 + i / 100, leak=(3, -11.0))) for i in range(20)
        ]
        shown = await show(pilot, puppet, STARTED, at(0), *events)
        assert "!3" in shown
        assert "[4]" in shown
        assert "hole 3 leaks, -11 dB" in shown
        assert "▒" in shown  # and in the trace, where it happened

    run(test, size=LARGE)


@pytest.mark.parametrize("trouble", [TakePaused, TakeFailed])
def test_trouble_is_shown_in_full_and_marks_are_kept(
    trouble: type[TakePaused | TakeFailed],
) -> None:
    sentence = (
        "the microphone 'harbour studio 2' has stopped giving sound; plug it in again and the "
        "take goes on from where it was, or press space to stop it here and keep what there is"
    )
    mark = Mark(DRILL.steps[0], 88.0, {}, Measured(start=1), "7 cents flat")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        shown = await show(pilot, puppet, STARTED, at(0), StepMarked(mark), trouble(sentence))
        assert sentence in " ".join(shown.split())
        assert ("no sound" if trouble is TakePaused else "failed") in shown
        assert "●88" in shown
        if trouble is TakePaused:
            rest = PassStarted(CLOCK, 4, len(DRILL.steps), "the microphone", True)
            shown = await show(pilot, puppet, TakeResumed(), rest, at(4))
            assert "●88" in shown
            assert "has stopped" not in shown

    run(test)


def test_reason_is_shown_when_a_take_cannot_start() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        puppet.refuse = TrainerError("no microphone was found; plug one in and press space")
        await pilot.press("space")
        await painted(pilot, puppet)
        assert "× no microphone was found; plug one in and press space" in text(pilot)
        puppet.refuse = None
        await pilot.press("space")
        assert len(puppet.plans) == 1

    run(test, autostart=False)


# Keys


def test_space_starts_and_stops_and_r_starts_again() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        assert "space starts the count-in" in text(pilot)
        await pilot.press("space")
        assert puppet.plans == [PLAN]
        await show(pilot, puppet, STARTED, at(-4))
        await pilot.press("space")
        await painted(pilot, puppet)
        assert puppet.stops == 1
        assert "■ stopped" in text(pilot)
        await pilot.press("r")
        await pilot.press("r")
        await painted(pilot, puppet)
        assert len(puppet.plans) == 3
        assert puppet.stops == 2

    run(test, autostart=False)


def test_loop_toggles_while_playing() -> None:
    mark = Mark(DRILL.steps[0], 88.0, {}, Measured(), "7 cents flat")
    result = Result(DRILL, "C", 80.0, (mark,), 88.0, True)

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await show(pilot, puppet, STARTED, at(0))
        await pilot.press("l")
        assert "loop on" in text(pilot)
        await show(pilot, puppet, PassEnded(result), TakeFinished())
        assert len(puppet.plans) == 2
        assert puppet.plans[-1].loop
        await show(pilot, puppet, STARTED, at(0), PassEnded(result), STARTED)
        assert puppet.stops == 0
        await pilot.press("l")
        await show(pilot, puppet, PassEnded(result))
        assert puppet.stops == 1
        await painted(pilot, puppet)
        assert len(puppet.plans) == 2
        assert isinstance(pilot.app.screen, ResultScreen)

    run(test)


def test_tempo_keys_accumulate_before_the_running_take_has_ended() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("up", "plus", "down")
        assert "tempo 84 (own 80)" in text(pilot)
        await pilot.press("0")
        assert "(own" not in text(pilot).splitlines()[0]
        await pilot.press("space", "up", "up")
        await painted(pilot, puppet)
        assert puppet.plans[-1].tempo == 88.0

    run(test, autostart=False)


def test_drill_changes_by_n_and_p_and_from_the_shelf() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("n")
        assert "The harbour bell" in text(pilot)
        await pilot.press("p", "p")
        await painted(pilot, puppet)
        assert "Mending nets" in text(pilot)
        await pilot.press("s")
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, ShelfScreen)
        assert "▶ Mending nets" in text(pilot)
        assert "Bend down to the half step" in text(pilot)
        await pilot.press("up", "enter")
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert "The harbour bell" in text(pilot)
        await pilot.press("s", "escape")
        await painted(pilot, puppet)
        assert "The harbour bell" in text(pilot)

    run(test, autostart=False)


def test_brackets_choose_a_bar_range() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("left_square_bracket", "right_square_bracket")
        assert f"bars 2 to {DRILL.bars - 1}" in text(pilot)
        await pilot.press("space")
        assert puppet.plans[-1].bars == (2, DRILL.bars - 1)
        await painted(pilot, puppet)
        assert "play" in text(pilot)

    run(test, autostart=False)


def test_listening_without_a_drill_keeps_the_marks() -> None:
    mark = Mark(DRILL.steps[0], 88.0, {}, Measured(start=1), "7 cents flat")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await show(pilot, puppet, STARTED, StepMarked(mark))
        await pilot.press("i")
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, ListenScreen)
        assert puppet.plans[-1] == Plan(HARP, MicrophoneSpec())
        started = PassStarted(None, 0, 0, "the microphone", False)
        events = [ReadingHeard(reading("-3''", -7.0, sample=RATE + 240 * i)) for i in range(60)]
        shown = await show(pilot, puppet, started, *events)
        assert "● in tune, 7 cents flat, clean" in shown
        for ruling in ("-3   B4", "-3'  Bb4", "-3'' A4", "3    G4"):
            assert ruling in shown
        await pilot.press("escape")
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert "·88" in text(pilot)
        await pilot.press("space")
        assert puppet.plans[-1].drill is DRILL

    run(test, plan=replace(PLAN, source=MicrophoneSpec()))


def test_help_names_every_key_and_q_quits() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("question_mark")
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, HelpScreen)
        shown = str(pilot.app.screen.query_one("#help Static", Static).visual)
        for key in ("space", "l ", "↑ + =", "[ ", "n ", "s ", "i ", "? ", "q ", "ctrl+p"):
            assert f"  {key}" in shown
        await pilot.press("escape")
        await painted(pilot, puppet)
        assert isinstance(pilot.app.screen, PracticeScreen)
        footer = text(pilot).splitlines()[-1]
        keys = "space play a hands-free ↑↓ tempo [ ] bars l loop t today … ? help q quit"
        assert " ".join(footer.split()) == keys
        await pilot.press("q")

    run(test)


def test_result_screen_opens_after_the_take() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        puppet.play(99.0)
        await painted(pilot, puppet)
        shown = text(pilot)
        assert "of 100, passed" in shown
        assert "weakest: step 4 (-4), 68" in shown
        assert "hole 3 leaking, 11 dB down" in shown
        steps = pilot.app.screen.query_one("#steps", OptionList).options
        assert [str(option.prompt).lstrip("▶ ").split()[0] for option in steps] == [
            str(step.index + 1) for step in DRILL.steps
        ]
        await pilot.press("r")
        await painted(pilot, puppet)
        assert len(puppet.plans) == 2
        puppet.play(99.0)
        await painted(pilot, puppet)
        await pilot.press("n")
        await painted(pilot, puppet)
        assert "The harbour bell" in text(pilot)

    run(test)


# Sizes, colours, cost


def test_too_small_a_window_is_covered_until_it_grows() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await show(pilot, puppet, STARTED, at(-4))
        await pilot.resize_terminal(79, 24)
        await painted(pilot, puppet)
        shown = " ".join(text(pilot).split())
        assert "Enlarge the window to 80 columns and 24 rows (now 79 and 24)" in shown
        await show(pilot, puppet, at(-3))
        await pilot.resize_terminal(40, 10)
        await painted(pilot, puppet)
        assert "(now 40 and 10)" in " ".join(text(pilot).split())
        await pilot.resize_terminal(*LARGE)
        await painted(pilot, puppet)
        assert not isinstance(pilot.app.screen, TooSmallScreen)
        assert "● ● ○ ○  count-in" in text(pilot)

    run(test)


def test_a_take_survives_resizing() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        puppet.play(5.0)
        await painted(pilot, puppet)
        for size in (LARGE, (200, 60), SMALL, (100, 30)):
            await pilot.resize_terminal(*size)
            await painted(pilot, puppet)
            shown = text(pilot)
            assert len(shown.splitlines()) == size[1]
            assert DRILL.title in shown
            if size[1] < FAR_ROWS:
                assert "◆96" in shown
                assert "▲" in shown
            assert any(line.startswith("space play") for line in shown.splitlines()[-3:])
            assert shown.splitlines()[-1].rstrip().endswith("q quit")

    run(test)


def test_no_color_keeps_shapes_and_drops_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        puppet.play(5.0)
        await painted(pilot, puppet)
        strips = pilot.app.screen._compositor.render_strips()
        styles = {segment.style for strip in strips for segment in strip if segment.style}
        assert styles
        for style in styles:
            for colour in (style.color, style.bgcolor):
                grey = colour.triplet if colour is not None else None
                assert grey is None or grey.red == grey.green == grey.blue
        here = [segment.text for strip in strips for segment in strip if _reversed(segment.style)]
        assert "-4" in [part.strip() for part in here]  # the step in play, without colour

    run(test)
    assert "NO_COLOR" not in os.environ or os.environ["NO_COLOR"]


def _reversed(style: object) -> bool:
    return bool(getattr(style, "reverse", False))


def test_no_two_states_share_a_shape() -> None:
    shapes = [grade.shape for grade in GRADES]
    assert len(set(shapes)) == len(shapes)
    assert [grade_of_score(score).shape for score in (100.0, 94.9, 79.9, 0.0)] == [
        "◆",
        "●",
        "◐",
        "○",
    ]


def test_idle_screen_does_not_poll() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("space")
        await painted(pilot, puppet)
        assert puppet.polls > 0
        await pilot.press("space")
        await painted(pilot, puppet)
        polls = puppet.polls
        await painted(pilot, puppet)
        await painted(pilot, puppet)
        assert puppet.polls == polls

    run(test, autostart=False)


def test_garbage_collector_skips_the_apps_objects() -> None:
    gc.unfreeze()

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        assert gc.get_freeze_count() > 10_000

    run(test)
    gc.unfreeze()


# The trace


def _follow(tab: str, off: float, drill: Drill = DRILL, beat: float = 0.0) -> dict[int, str]:
    """Return the rows of the trace after 100 ms of a steady note, as text."""
    take = TakeState(replace(PLAN, drill=drill))
    take.apply(STARTED)
    for i in range(20):
        take.apply(ReadingHeard(reading(tab, off, sample=CLOCK.sample(beat) + 240 * i)))
    drawn = TracePicture(take).follow(take, 110, 43)
    return {y: "".join(part for part, _ in row) for y, row in drawn}


def _dot_rows(rows: dict[int, str], pen_cells: range) -> list[int]:
    """Return the rows of dots, from the top of the plot, that hold a dot in some cells."""
    bits = {0: 0x09, 1: 0x12, 2: 0x24, 3: 0xC0}
    rows_found = []
    for y in range(1, 41):
        for dot, mask in bits.items():
            cells = rows[y][GUTTER_CELLS:][pen_cells.start : pen_cells.stop]
            if any((ord(cell) - 0x2800) & mask for cell in cells if "\u2800" <= cell <= "\u28ff"):
                rows_found.append(4 * (y - 1) + dot)
    return rows_found


def test_rulings_are_the_notes_of_the_hole() -> None:
    rows = _follow("-4", 0.0)
    labels = [row[:GUTTER_CELLS].split() for row in rows.values() if row[:GUTTER_CELLS].strip()]
    assert labels == [["-4", "D5"], ["-4'", "Db5"], ["4", "C5"]]


def test_trace_resolution_is_finer_than_a_cell() -> None:
    """The distance of a note from its ruling is its offset in cents, to a row of dots."""
    columns = range(33, 36)  # about the first cell of the middle third, where beat 0 falls
    middles = {
        off: sum(rows) / len(rows)
        for off, rows in [(off, _only_trail(off, columns)) for off in (-30.0, 0.0, 30.0)]
    }
    per_dot = 60.0 / (middles[-30.0] - middles[30.0])
    widest = 400.0 + 100.0  # hole 3: four half steps between its reeds, and 50 cents each way
    assert per_dot == pytest.approx(widest / 160, rel=0.15)


def _only_trail(off: float, columns: range) -> list[int]:
    take = TakeState(PLAN)
    take.apply(STARTED)
    for i in range(20):
        take.apply(ReadingHeard(reading("-4", off, sample=CLOCK.sample(0) + 240 * i)))
    rows = {}
    for y, row in TracePicture(take).follow(take, 110, 43):
        cells = "".join(part if pen == "trail" else " " * len(part) for part, pen in row)
        rows[y] = cells
    return _dot_rows({y: rows.get(y, "") for y in range(43)}, columns)


def test_band_height_equals_the_tolerance() -> None:
    take = TakeState(PLAN)
    take.apply(STARTED)
    take.apply(ReadingHeard(silence(CLOCK.sample(0.0))))
    rows = dict(TracePicture(take).follow(take, 110, 43))
    band = {
        y: "".join(part if pen == "aim" else " " * len(part) for part, pen in row)
        for y, row in rows.items()
    }
    dots = _dot_rows({y: band.get(y, "") for y in range(43)}, range(36, 38))
    assert len(dots) == pytest.approx(20.0 / (500.0 / 160), abs=1.01)
    assert dots == list(range(dots[0], dots[-1] + 1))


def test_steady_note_repaints_few_rows_and_spans() -> None:
    take = TakeState(PLAN)
    take.apply(STARTED)
    picture_ = TracePicture(take)
    take.apply(ReadingHeard(reading("-4", 2.0, beat=0.1)))
    list(picture_.follow(take, 65, 22))
    for i in range(1, 12):
        take.apply(ReadingHeard(reading("-4", 2.0 + i % 2, sample=CLOCK.sample(0.1) + 240 * i)))
        drawn = list(picture_.follow(take, 65, 22))
        assert len(drawn) <= 3
        assert all(len(row) <= 24 for _, row in drawn[:-1])


def test_arrow_marks_a_note_outside_the_plot() -> None:
    assert "▴" in _follow("-8", 0.0)[1]
    assert "▾" in _follow("1", 0.0)[40]


def test_trace_draws_every_drill_on_any_harp() -> None:
    shelf = read_shelf().drills
    assert shelf
    for drill, key in zip(shelf, ["C", "low F", "high G", "Bb", "F#"] * len(shelf), strict=False):
        take = TakeState(Plan(Harp.of(key), PlayerSpec(), drill))
        take.apply(PassStarted(BeatClock(0, drill.tempo, RATE), 0, len(drill.steps), "", False))
        drawn = TracePicture(take)
        for beat in range(0, int(drill.end), 4):
            sample = round(beat * 60 / drill.tempo * RATE)
            take.apply(ReadingHeard(silence(sample)))
            for width, height in ((43, 13), (65, 24)):
                for y, row in drawn.follow(take, width, height):
                    assert 0 <= y < height
                    assert sum(len(part) for part, _ in row) <= width


# The needle


def _shown(*readings: Reading, wanted: str = "-4'") -> DisplaySmoother:
    needle = DisplaySmoother(HARP)
    for new in readings:
        needle.add(new, (Tab.parse(wanted),) if wanted else ())
    return needle


def test_number_is_stable_and_follows_a_real_change() -> None:
    noise = [0.4, -0.4, 0.2, -0.3, 0.45, -0.45] * 40
    needle = DisplaySmoother(HARP)
    numbers = []
    for i, jitter in enumerate(noise):
        needle.add(reading("-4'", -11.5 + jitter, sample=240 * i), (Tab.parse("-4'"),))
        numbers.append(needle.displayed.whole_cents)
    assert len(set(numbers[20:])) == 1
    for i in range(60):
        needle.add(reading("-4'", 5.0, sample=240 * (len(noise) + i)), (Tab.parse("-4'"),))
    assert needle.displayed.whole_cents == 5


def test_last_value_is_held_and_then_cleared() -> None:
    sound = [reading("-4'", -12.0, sample=240 * i) for i in range(40)]
    end = 240 * 40
    needle = _shown(*sound, *(silence(end + 240 * i) for i in range(100)))  # 0.5 s
    assert needle.displayed.ended
    assert needle.displayed.whole_cents == -12
    state = readout_of(needle.displayed)
    assert state.second == "12 FLAT"
    assert state.second_pen == "quiet"
    needle = _shown(*sound, *(silence(end + 240 * i) for i in range(180)))  # 0.9 s
    assert needle.displayed.tab is None
    assert needle.displayed.state == "silent"
    assert readout_of(needle.displayed).words == "○ play -4'"


def test_cents_are_relative_to_the_bend_during_its_scoop() -> None:
    needle = _shown(*(reading("-4", -20.0, sample=240 * i) for i in range(40)))
    assert (str(needle.displayed.tab), needle.displayed.whole_cents) == ("-4'", 80)
    needle = _shown(*(reading("4", 0.0, sample=240 * i) for i in range(40)))
    assert needle.displayed.state == "wrong"
    assert str(needle.displayed.tab) == "4"


def test_previous_note_may_ring_and_rests_allow_any_note() -> None:
    needle = DisplaySmoother(HARP)
    for i in range(120):
        needle.add(reading("-4", 2.0, sample=240 * i), (Tab.parse("-4"),))
    states = []
    for i in range(60):  # 0.3 s
        needle.add(reading("-4", 2.0, sample=240 * (120 + i)), (Tab.parse("5"),))
        states.append(needle.displayed.state)
    assert states[20] == "good"  # 0.1 s into the next step
    assert states[-1] == "wrong"
    for i in range(20):
        needle.add(reading("-4", 2.0, sample=240 * (180 + i)), (Tab.parse("5"),), due=False)
    assert needle.displayed.state == "good"
    assert needle.displayed.wanted_text == "5"


def test_draw_2_and_blow_3_are_one_pitch() -> None:
    heard = [reading("-2", 4.0, sample=240 * i, also=("3",)) for i in range(40)]
    needle = _shown(*heard, wanted="3")
    assert (str(needle.displayed.tab), needle.displayed.state) == ("3", "good")


_HEARD = st.one_of(
    st.just(None),
    st.tuples(
        st.sampled_from(["4", "-4", "-4'", "5", "-5", "-2", "3", "10"]),
        st.floats(-60, 60),
        st.sampled_from([None, (1, -8.0), (5, -20.0)]),
    ),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(_HEARD, st.integers(1, 60), st.sampled_from(["", "-4'", "5", "3"]))))
def test_any_reading_can_be_displayed(heard: list[tuple[object, int, str]]) -> None:
    needle = DisplaySmoother(HARP)
    sample = 0
    for pitch, times, wanted in heard:
        for _ in range(times):
            sample += 240
            new = silence(sample)
            if isinstance(pitch, tuple):
                new = reading(pitch[0], pitch[1], sample=sample, leak=pitch[2])
            needle.add(new, (Tab.parse(wanted),) if wanted else ())
            shown = needle.displayed
            assert (shown.tab is None) == (shown.whole_cents is None)
        readout = readout_of(shown)
        pens = {readout.first_pen, readout.second_pen, readout.words_pen}
        pens |= {pen for _, pen in needle_row(GaugeState.of(shown), 80)}
        pens |= {pen for _, pen in hole_numbers_row(HoleStripState.of(shown), 3)}
        assert pens <= theme.DARK_PENS.keys()
        large_rows(readout.first + readout.second)


def test_single_stray_reading_is_ignored() -> None:
    heard = [reading("-4'", 0.0, sample=240 * i) for i in range(40)]
    stray = reading("-8", 3.0, sample=240 * 40)
    needle = _shown(*heard, stray)
    assert str(needle.displayed.tab) == "-4'"
    needle = _shown(*heard, *(reading("-8", 3.0, sample=240 * (40 + i)) for i in range(20)))
    assert str(needle.displayed.tab) == "-8"


def test_wanted_hole_is_not_a_leak() -> None:
    needle = DisplaySmoother(HARP)
    chord = (Tab.parse("4"), Tab.parse("5"))
    for i in range(40):
        needle.add(reading("4", 0.0, sample=240 * i, leak=(5, -2.0)), chord)
    assert needle.displayed.leak_hole is None
    state = HoleStripState.of(needle.displayed)
    assert [part.strip() for part, _ in hole_numbers_row(state, 4)][3:5] == ["[4]", "[5]"]
    assert cleanness_row(state) == ((" blow, holes 4 5", "text"),)


CHORD = (Tab.parse("4"), Tab.parse("5"))


@pytest.mark.parametrize(
    ("holes", "leak", "state", "second"),
    [
        ((4, 5), None, "good", "IN TUNE"),
        ((4,), None, "missing", "NO 5"),
        ((3, 4, 5), (3, -4.0), "leak", "LEAK 3"),
        ((3, 4), (3, -4.0), "missing", "NO 5"),
    ],
)
def test_a_wrong_chord_is_not_praised(
    holes: tuple[int, ...], leak: tuple[int, float] | None, state: str, second: str
) -> None:
    needle = DisplaySmoother(HARP)
    for i in range(80):
        heard = replace(reading("4", 1.0, sample=240 * i, leak=leak), holes=holes)
        needle.add(heard, CHORD)
    shown = readout_of(needle.displayed)
    assert (needle.displayed.state, shown.second) == (state, second)
    assert ("hole 3 leaks, -4 dB" in shown.words) == (3 in holes)
    assert ("open to 4+5: 5 missing" in shown.words) == (5 not in holes)
    for i in range(80, 200):
        needle.add(replace(reading("4", 1.0, sample=240 * i), holes=(4, 5)), CHORD)
    assert needle.displayed.state == "good"


def test_a_loud_leak_is_displayed_unless_a_neighbour_may_sound() -> None:
    for level, neighbours, state in (
        (-5.0, False, "leak"),
        (-5.0, True, "good"),
        (-30.0, False, "good"),
    ):
        needle = DisplaySmoother(HARP)
        for i in range(80):
            heard = reading("4", 1.0, sample=240 * i, leak=(5, level))
            needle.add(heard, (Tab.parse("4"),), neighbours=neighbours)
        assert needle.displayed.state == state
        assert "hole 5 leaks" in readout_of(needle.displayed).words


def test_strip_bars_fall_with_the_level() -> None:
    state = HoleStripState(sounding=(4,), leak_hole=3, leak_db=-20.0, levels=((4, 0), (3, -20)))
    heights = []
    for hole in (3, 4, 5):
        columns = [row[hole - 1][0].strip() for row in level_bar_rows(state, 3, 2)]
        heights.append(sum(" ▁▂▃▄▅▆▇█".index(column or " ") for column in columns))
    assert heights == [8, 16, 0]  # -20 of 40 dB is half of two rows


# The gauge


@given(st.floats(-50, 50), st.integers(40, 200))
def test_needle_position_matches_the_scale(off: float, width: int) -> None:
    room = width - len("flat ") - len(" sharp")
    row = needle_row(GaugeState(off, "good"), width)
    cells = "".join(part for part, _ in row)
    assert len(cells) == width
    half = half_cell(off, room)
    assert abs((half / (2 * room - 2)) * 100 - 50 - off) <= 100 / (2 * room - 2)
    assert cells[len("flat ") + half // 2] in "█▐"


def test_arrow_replaces_the_needle_beyond_the_scale() -> None:
    assert "▶▶ sharp" in "".join(part for part, _ in needle_row(GaugeState(80.0, "sharp"), 80))
    assert "flat ◀◀" in "".join(part for part, _ in needle_row(GaugeState(-80.0, "flat"), 80))


# The page


@st.composite
def drills(draw: st.DrawFn) -> Drill:
    lengths = draw(
        st.lists(st.sampled_from([Fraction(n, 4) for n in (1, 2, 3, 4, 6, 8, 20)]), min_size=1)
    )
    tabs = ["4", "-4'", "-3''", "10", "-10", "6o"]
    at = Fraction(0)
    steps = []
    for index, length in enumerate(lengths):
        tab = Tab.parse(draw(st.sampled_from(tabs)))
        if draw(st.booleans()):
            at += draw(st.sampled_from([Fraction(1, 4), Fraction(1), Fraction(5)]))
        steps.append(Step(index, ((tab,),), at, length))
        at += length
    meter = draw(st.sampled_from([(4, 4), (3, 4), (6, 8)]))
    return Drill("x", "X", "", "C", "richter", 80.0, meter, Goal(), tuple(steps), at)


@settings(max_examples=25, deadline=None)
@given(drills(), st.integers(30, 110))
def test_page_holds_every_step_of_any_drill(drill: Drill, width: int) -> None:
    layout = lay_out_tab(drill, width, 3)
    steps_found = []
    for line in layout.lines:
        marks = {placed.step.index: _mark(placed.step) for placed in line.steps}
        rows = line_rows(layout, line, TabPageState(drill, last=len(drill.steps), marks=marks))
        for row in rows:
            assert sum(len(part) for part, _ in row) <= width
        tab = "".join(part for part, _ in rows[0])
        for placed in line.steps:
            if placed.start >= line.start:
                column = layout.column(line, placed.start)
                assert tab[column] == placed.step.tab[0]
                steps_found.append(placed.step.index)
    assert steps_found == [step.index for step in drill.steps]
    places = [layout.place(float(beat) / 4) for beat in range(int(4 * drill.end))]
    assert places == sorted(places)


def _mark(step: Step, score: float = 88.0) -> Mark:
    return Mark(step, score, {"pitch": score}, Measured(start=1, cents=-7.0), "7 cents flat")


def test_page_scrolls_by_a_line_and_shows_the_next() -> None:
    layout = lay_out_tab(DRILL, 36, 3)
    tops = [top_line_shown(layout, float(beat), 13) for beat in range(24)]
    assert tops[0] == 0
    assert tops[-1] == len(layout.lines) - 3
    for beat, top in enumerate(tops):
        line = layout.place(float(beat))[0]
        assert top <= line < top + 3
        assert line + 1 < top + 3 or line == len(layout.lines) - 1
    assert all(b - a in (0, 1) for a, b in itertools.pairwise(tops))


def test_the_bars_that_were_chosen_are_on_top_before_they_are_played() -> None:
    layout = lay_out_tab(DRILL, 36, 3)
    for bar in range(DRILL.bars):
        line = layout.place(4.0 * bar)[0]
        top = top_line_shown(layout, None, 13, 4.0 * bar)
        assert top == min(line, len(layout.lines) - 3)


def test_drill_that_fits_is_shown_whole_at_full_width() -> None:
    for most, bars in ((6, 2), (3, 2)):
        layout = lay_out_tab(DRILL, 90, most)
        assert len(layout.lines) == DRILL.bars / bars
        line = layout.lines[0]
        assert 90 - layout.column(line, line.end) < bars * layout.meter  # no dead column
    assert len(lay_out_tab(DRILL, 36, 6).lines) == DRILL.bars  # one bar on each of six lines


def test_cells_are_merged_by_pen() -> None:
    assert row_from_cells("aabbb", ["x", "x", "y", "y", "x"]) == (
        ("aa", "x"),
        ("bb", "y"),
        ("b", "x"),
    )


# The session


def test_take_starts_after_the_previous_one_has_finished() -> None:
    puppet = Puppet()
    session = Session(puppet, PLAN)
    session.start(PLAN)
    session.start(replace(PLAN, tempo=90.0))
    session.start(replace(PLAN, tempo=100.0))
    assert [plan.tempo for plan in puppet.plans] == [None]
    session.poll()
    assert [plan.tempo for plan in puppet.plans] == [None, 100.0]
    assert session.busy


def test_unplayable_drill_is_refused_without_side_effects() -> None:
    wrong = scripted.drill_of("x", "X", "7:1 -7':1")
    with pytest.raises(HarpError, match="-7' cannot be played on a C harp"):
        Session(Puppet(), replace(PLAN, drill=wrong))
    session = Session(Puppet(), PLAN)
    with pytest.raises(HarpError):
        session.prepare(replace(PLAN, drill=wrong))
    assert session.plan == PLAN

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("n")
        await seen(pilot, "cannot be played")
        assert DRILL.title in text(pilot)

    run(test, autostart=False, shelf=(DRILL, wrong))


def test_failed_takes_do_not_loop() -> None:
    puppet = Puppet()
    session = Session(puppet, replace(PLAN, loop=True))
    session.start(session.plan)
    puppet.queue += [STARTED, TakeFailed("the file is cut short"), TakeFinished()]
    session.poll()
    assert session.take.phase is Phase.FAILED
    assert len(puppet.plans) == 1
    assert not session.busy


# The picture


def test_picture_is_self_contained() -> None:
    svg = picture(scripted.ScriptedListener(pace=20.0), scripted.DRILLS, PLAN, beat=2.0, size=SMALL)
    assert svg.startswith("<svg")
    shown = svg.replace("&#160;", " ")
    assert DRILL.title in shown
    assert "C harp" in shown
    assert "@font-face" not in svg
    assert all(target.startswith("#") for target in re.findall(r"url\(([^)]*)", svg))
    links = [word for word in svg.split('"') if word.startswith("http")]
    assert links == ["http://www.w3.org/2000/svg"]


# Plain lines


def _result() -> Result:
    marks = (_mark(DRILL.steps[0]), _mark(DRILL.steps[1], 64.9), _mark(DRILL.steps[2], 100.0))
    return Result(DRILL, "C", 80.0, marks, 79.96, False)


def test_a_take_in_plain_lines() -> None:
    lines = TakeLines(Plan(Harp.of(), PlayerSpec(), drill=DRILL))
    printed = []
    for event in (
        STARTED,
        *(BeatReached(n) for n in (-4, -3, -2, -1, 0, 1)),
        ReadingHeard(reading("-4")),
        StepMarked(_mark(DRILL.steps[0])),
        StepMarked(_mark(DRILL.steps[0], 90.0)),
        TakePaused("the microphone is gone"),
        TakeResumed(),
        TakeFailed("it stays gone"),
        TakeFinished("take.flac"),
    ):
        printed += lines.lines(event)
    assert printed == [
        f"{DRILL.title}: C harp, tempo 80, loop off.",
        "Listening to the microphone: steps 1 to 17, count-in with a click.",
        "count-in 1 of 4",
        "count-in 2 of 4",
        "count-in 3 of 4",
        "count-in 4 of 4",
        "bar 1 of 6: -4, -4', -4",
        "  1  -4        88  7 cents flat",
        "  1  -4        90  7 cents flat (marked again)",
        "Paused: the microphone is gone",
        "Resuming.",
        "Stopped: it stays gone",
        "The audio is saved in take.flac.",
    ]


def test_result_text_has_total_and_weakest_and_keeps_the_width() -> None:
    long = replace(_mark(DRILL.steps[3]), sentence="settled late; " * 20)
    result = replace(_result(), marks=(*_result().marks, long))
    report = result_text(result, 60)
    assert "Total 79 of 100, not passed yet (80 needed)" in " ".join(report.split())
    assert "weakest: step 2 (-4') with 64." in " ".join(report.split())
    assert all(len(line) <= 60 for line in report.splitlines())
    assert TakeLines(Plan(Harp.of(), PlayerSpec()), 60).lines(PassEnded(result)) == [
        "",
        *report.splitlines(),
    ]


def test_result_data_has_every_figure() -> None:
    result = _result()
    data = json.loads(json.dumps(result_data(result)))
    assert data["score"] == 79.96
    assert data["passed"] is False
    assert data["weakest"] == 1
    step = data["steps"][1]
    basic = {
        "tab": "-4'",
        "sounds": [["-4'"]],
        "cents_off": [0.0],
        "either": None,
        "kind": "note",
        "care": "plain",
        "vibrato": None,
        "bar": 1,
        "at_beats": 1.0,
        "length_beats": 1.0,
        "tolerance_cents": 10.0,
    }
    assert {key: step["target"][key] for key in basic} == basic
    others = set(step["target"]) - set(basic)
    assert not any(step["target"][key] for key in others - {"articulation"})
    assert step["target"]["articulation"] == "plain"
    assert step["measured"]["cents"] == -7.0
    assert step["measured"]["late_ms"] is None
    assert set(step["measured"]) == {field for field in Measured.__dataclass_fields__}
    assert step["parts"] == {"pitch": 64.9}
    assert step["sentence"] == "7 cents flat"


def test_strip_names_the_breath() -> None:
    assert cleanness_row(HoleStripState(sounding=(4,), breath=Breath.DRAW)) == (
        (" draw, hole 4 alone", "text"),
    )
