"""The result screen: order, extra notes, playback, and what comes next."""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import OptionList, Static

from tests.support.pilots import Puppet, text, until
from trainer.app.app import TrainerApp
from trainer.app.playback import PLAYBACK_MARGIN_S
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.result import (
    ResultScreen,
    bars_content,
    next_content,
    profile_content,
    total_content,
)
from trainer.app.take_state import TakeState
from trainer.app.widgets.close_up import (
    GUTTER_CELLS,
    CloseUp,
    CloseUpState,
    OffsetPoint,
    close_up_rows,
)
from trainer.app.widgets.verdict import VerdictLines, VerdictState
from trainer.drill import find_drill
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import ExtraNote, Mark, Measured, Result
from trainer.practice import PassEnded, Plan
from trainer.sound import MicrophoneSpec, PlayerSpec, RecordingSpec
from trainer.store import Journal, TakeRecord

DRILL = find_drill("harbour-bell")


def result() -> Result:
    scores = [90.0, 40.0, 99.0, 75.0]
    marks = tuple(
        Mark(step, score, {"pitch": score}, Measured(start=0, end=1, cents=0.0), f"mark {score:g}")
        for step, score in zip(DRILL.steps, scores, strict=False)
    )
    extra = ExtraNote(0, 1, 0.5, 1, "8", "extra note after step 2: blow 8")
    return Result(DRILL, "C", 96.0, marks, 76.0, False, (extra,))


def test_the_last_pass_is_not_cut_at_80_columns() -> None:
    marks = result().marks
    stopped = replace(result(), unplayed=16)
    row = VerdictLines().draw(VerdictState(marks[0], marks[1], 2, 20, stopped), 80, 2)[1]
    words = "".join(part for part, _ in row)
    assert words.endswith("stopped after 4 of 20 steps")


def lines_of(app: TrainerApp) -> list[str]:
    options = app.screen.query_one("#steps", OptionList).options
    return [line.lstrip("▶ ") for option in options for line in str(option.prompt).splitlines()]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_steps_are_in_order_or_worst_first_and_extra_notes_last(
    size: tuple[int, int],
) -> None:
    async def scene() -> None:
        app = TrainerApp(Puppet(), (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))
        async with app.run_test(size=size) as pilot:
            app.push_screen(ResultScreen(result()))
            await pilot.pause()
            assert [line.split()[0] for line in lines_of(app)[:4]] == ["1", "2", "3", "4"]
            assert "extra note after step 2" in lines_of(app)[-1]
            await pilot.press("o")
            await pilot.pause()
            assert [line.split()[0] for line in lines_of(app)[:4]] == ["2", "4", "1", "3"]
            await pilot.press("o")
            await pilot.pause()
            assert lines_of(app)[0].split()[0] == "1"

    asyncio.run(scene())


def test_a_free_drill_has_no_tempo_in_its_result() -> None:
    async def scene() -> None:
        free = replace(result(), drill=replace(DRILL, free=True))
        app = TrainerApp(Puppet(), (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))
        async with app.run_test(size=(80, 24)) as pilot:
            app.push_screen(ResultScreen(free))
            await pilot.pause()
            title = str(app.screen.query_one(".title", Static).visual)
            assert "no beat" in title
            assert "tempo" not in title

    asyncio.run(scene())


@pytest.mark.parametrize(("key", "tempo"), [("r", None), ("minus", DRILL.tempo - 8.0)])
def test_again_and_slower_start_a_new_take(key: str, tempo: float | None) -> None:
    async def scene() -> None:
        listener = Puppet()
        app = TrainerApp(listener, (DRILL,), Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL))
        async with app.run_test(size=(80, 24)) as pilot:
            screen = app.screen
            assert isinstance(screen, PracticeScreen)
            app.push_screen(ResultScreen(result()), screen._take_wish)
            await pilot.pause()
            await pilot.press(key)
            await pilot.pause()
            assert app.screen is screen
            assert [plan.tempo for plan in listener.plans] == [tempo]

    asyncio.run(scene())


async def walk(app: TrainerApp, pilot: Pilot[None], *keys: str) -> None:
    await pilot.press(*keys)
    await pilot.pause()


def test_step_is_chosen_and_its_trace_toggled() -> None:
    async def scene() -> None:
        plan = Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL)
        app = TrainerApp(Puppet(), (DRILL,), plan)
        take = TakeState(plan)
        take.outcome.audio, take.reading = "take.flac", Reading(0, 0, 48_000)
        async with app.run_test(size=(80, 24)) as pilot:
            screen = ResultScreen(result(), take, app.session)
            app.push_screen(screen)
            await pilot.pause()
            trace = screen.query_one(CloseUp)
            assert trace.display
            await walk(app, pilot, "down", "down")
            assert screen.mark is not None
            assert screen.mark.step.index == 2
            assert trace.state is not None
            assert trace.state.tab == DRILL.steps[2].tab
            await walk(app, pilot, "enter")
            assert not trace.display
            await walk(app, pilot, "enter")
            assert trace.display

    asyncio.run(scene())


def test_profile_has_a_bar_for_each_step_and_the_worst_of_many() -> None:
    marks = result().marks
    assert profile_content(marks, 4).plain == "█▄█▇"
    assert profile_content(marks, 9).plain == "██▄▄██▇▇"
    assert profile_content(marks, 2).plain == "▄▇"
    assert profile_content((), 9).plain == ""


def test_bars_have_their_mean_marks_and_the_worst_stay_where_the_line_is_short() -> None:
    mark = result().marks[0]
    marks = tuple(
        replace(mark, step=replace(mark.step, bar=bar), score=score)
        for bar, score in ((1, 80.0), (1, 90.0), (2, 40.0), (3, 100.0))
    )
    assert re.findall(r"\d+", bars_content(marks, 60).plain) == ["1", "85", "2", "40", "3", "100"]
    assert re.findall(r"\d+", bars_content(marks, 24).plain) == ["1", "85", "2", "40"]


def test_what_to_do_next_is_said_and_earlier_passes_stand_beside_the_total(
    tmp_path: Path,
) -> None:
    path = tmp_path / "journal.sqlite"
    shallow = replace(result(), marks=tuple(replace(m, score=100.0) for m in result().marks))
    assert next_content(replace(shallow, passed=True), (), 70).plain.startswith("Next: ")
    again = "Next: again with r; 1 of 5 passed."
    assert next_content(replace(shallow, passed=True), (), 70, again).plain == again
    assert "weakest" not in total_content(shallow).plain
    assert "weakest" in total_content(result()).plain
    words = next_content(result(), (), 40).plain
    assert "mark 40" in words
    assert len(words.splitlines()) <= 2
    with Journal(path) as journal:
        for score in (92.0, 81.0, 76.0):  # the newest is of the very same score as this pass
            earlier = replace(result(), score=score, extras=())
            steps = tuple(replace(result().marks[0], step=step) for step in DRILL.steps)
            record = TakeRecord.of(
                replace(earlier, marks=steps),
                Harp.of("C"),
                player="Runa",
                began=datetime.now(UTC),
                source="microphone",
            )
            journal.add(record)

    async def scene(own: str | None, words: str) -> None:
        plan = Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL, journal=path, player="Runa")
        app = TrainerApp(Puppet(), (DRILL,), plan)
        take = TakeState(plan)
        take.apply(PassEnded(result(), own))
        async with app.run_test(size=(80, 24)) as pilot:
            app.push_screen(ResultScreen(result(), take, app.session))
            await until(pilot, lambda: words in text(pilot))

    asyncio.run(scene(None, "before: last 76, best 92"))
    asyncio.run(scene(record.id, "before: last 81, best 92"))


def close_up(*offsets: float, leak: bool = False) -> list[str]:
    points = tuple(OffsetPoint(i * 0.005, cents, leak) for i, cents in enumerate(offsets))
    rows = close_up_rows(CloseUpState("-4'", 1.0, 10.0, points), 80, 11)
    return ["".join(part for part, _ in row) for row in rows]


def test_close_up_spans_60_cents_and_labels_its_scale_and_band() -> None:
    rows = close_up()
    assert [row[:GUTTER_CELLS].split() for row in rows if row[:GUTTER_CELLS].strip()] == [
        ["+60", "cents"],
        ["+30"],
        ["-4'", "±10"],
        ["-30"],
        ["-60"],
    ]
    plots = [row[GUTTER_CELLS:] for row in rows[:-1]]
    banded = [y for y, row in enumerate(plots) if set(row) - set(" ┊")]
    assert banded == [4, 5]
    assert all(len(set(plots[y])) == 1 for y in banded)  # over the whole width
    assert "0 s" in rows[-1]


@pytest.mark.parametrize(("cents", "row"), [(55.0, 0), (-55.0, 9), (0.0, 5)])
def test_close_up_plots_an_offset_at_its_height(cents: float, row: int) -> None:
    before, after = close_up(), close_up(*[cents] * 150)
    assert [y for y in range(10) if before[y] != after[y]] == [row]


@pytest.mark.parametrize(("cents", "row", "words"), [(87.0, 0, "▴+87 "), (-140.0, 9, "▾-140 ")])
def test_close_up_clips_a_value_with_an_arrow_and_its_size(
    cents: float, row: int, words: str
) -> None:
    assert words in close_up(*[cents] * 150)[row]


def test_close_up_shows_where_a_hole_leaked() -> None:
    rows = close_up(*[3.0] * 100, leak=True)
    assert rows[-2].startswith("      leak")
    assert "▒" in rows[-2]


def test_step_is_played_and_leaving_waits_for_its_end() -> None:
    async def scene() -> None:
        plan = Plan(Harp.of("C"), MicrophoneSpec(output="stage"), drill=DRILL)
        puppet = Puppet()
        app = TrainerApp(puppet, (DRILL,), plan)
        take = TakeState(plan)
        take.outcome.audio, take.reading = "take.flac", Reading(0, 0, 48_000)
        wishes: list[str | None] = []
        async with app.run_test(size=(80, 24)) as pilot:
            screen = ResultScreen(result(), take, app.session)
            app.push_screen(screen, wishes.append)
            await pilot.pause()
            await walk(app, pilot, "a")
            heard = puppet.plans[-1]
            assert heard.drill is None
            assert heard.source == RecordingSpec(
                Path("take.flac"),
                aloud=True,
                first=0.0,
                last=1 / 48_000 + PLAYBACK_MARGIN_S,
                output="stage",
            )
            await walk(app, pilot, "a")  # stops it
            await until(pilot, lambda: screen.playing is None)
            await walk(app, pilot, "e")
            assert puppet.plans[-1].bars == (1, 1)
            assert isinstance(puppet.plans[-1].source, PlayerSpec)
            assert not wishes
            await walk(app, pilot, "n")
            await until(pilot, lambda: wishes == ["next"])

    asyncio.run(scene())


def test_step_without_audio_is_reported() -> None:
    async def scene() -> None:
        plan = Plan(Harp.of("C"), MicrophoneSpec(), drill=DRILL)
        app = TrainerApp(Puppet(), (DRILL,), plan)
        async with app.run_test(size=(80, 24)) as pilot:
            screen = ResultScreen(result(), TakeState(plan), app.session)
            app.push_screen(screen)
            await pilot.pause()
            await walk(app, pilot, "a")
            assert "audio of this take is missing" in text(pilot)

    asyncio.run(scene())
