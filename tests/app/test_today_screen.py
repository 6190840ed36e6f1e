"""The daily set on the screen: choosing, starting and ticking off drills."""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import OptionList, Static

from tests.support.pilots import Puppet, text, until
from trainer.app.app import TrainerApp
from trainer.app.daily_set_view import DailySetView, load_daily_set_view
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.today import (
    TodayScreen,
    calendar_content,
    day_heading,
    entry_options,
)
from trainer.app.shapes import sparkline
from trainer.app.widgets.drill_preview import DrillPreviewState, drill_preview_rows
from trainer.coach import DailySet, Missing, Reason, SetEntry
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import MicrophoneSpec
from trainer.store import HarpTag, Journal, TakeRecord

SHELF = tuple(
    find_drill(name) for name in ("first-clean-notes", "long-level-tones", "harbour-bell")
)


def app_on(journal: Path, size: tuple[int, int]) -> TrainerApp:
    plan = Plan(Harp.of("C"), MicrophoneSpec(), drill=SHELF[2], journal=journal, player="Marit")
    return TrainerApp(Puppet(), SHELF, plan, today=True)  # type: ignore[arg-type]


async def until_read(app: TrainerApp, pilot: Pilot[None]) -> TodayScreen:
    """Wait until the daily set is listed, and return its screen."""

    def is_listed() -> bool:
        lists = app.screen.query(OptionList)  # none until the screen is composed
        return isinstance(app.screen, TodayScreen) and any(list_.option_count for list_ in lists)

    await until(pilot, is_listed)
    assert isinstance(app.screen, TodayScreen)
    return app.screen


def take_of(drill: str, score: float) -> TakeRecord:
    return TakeRecord(
        id=f"{drill}{score}",
        player="Marit",
        began=datetime.now(UTC),
        day=date.today(),
        drill=drill,
        title=drill,
        skills=("single notes",),
        harp=HarpTag("C"),
        tempo=72.0,
        source="microphone",
        score=score,
        passed=score >= 80.0,
        whole=True,
        seconds=30.0,
    )


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        (Missing.DRILLS, "The shelf is empty"),
        (Missing.HARP, "choose another one with h"),
        (Missing.TIME, "No drill fits into 1 minute: set more with ,"),
        (Missing.RESTING, "on the shelf with s"),
    ],
)
def test_an_empty_set_says_why_and_what_to_do(missing: Missing, words: str) -> None:
    view = DailySetView(DailySet("Marit", date.today(), 1.0, (), missing=missing), {})

    async def scene() -> None:
        app = TrainerApp(Puppet(), (), Plan(Harp.of("C"), MicrophoneSpec(), drill=SHELF[2]))  # type: ignore[arg-type]
        async with app.run_test(size=(80, 24)) as pilot:
            app.push_screen(TodayScreen(lambda: view))
            await until(pilot, lambda: words in text(pilot))
            assert "Today: nothing to play" in text(pilot)
            assert "all played" not in text(pilot)
            await pilot.press("space", "enter")  # nothing to open
            assert isinstance(app.screen, TodayScreen)

    asyncio.run(scene())


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_app_opens_on_the_daily_set_and_an_entry_opens_its_drill(
    tmp_path: Path, size: tuple[int, int]
) -> None:
    async def scene() -> None:
        app = app_on(tmp_path / "journal.sqlite", size)
        async with app.run_test(size=size) as pilot:
            screen = await until_read(app, pilot)
            assert "to play" in str(screen.query_one("#day", Static).visual)
            assert str(screen.query_one("#preview", Static).visual)
            await pilot.press("enter")
            await pilot.pause()
            assert isinstance(app.screen, PracticeScreen)
            assert app.session.plan.drill is not None
            assert app.session.plan.drill.name in {"first-clean-notes", "long-level-tones"}
            await pilot.press("t")
            assert isinstance(await until_read(app, pilot), TodayScreen)
            await pilot.press("escape")
            await pilot.pause()
            assert isinstance(app.screen, PracticeScreen)

    asyncio.run(scene())


def test_played_entries_are_ticked_and_the_next_is_selected(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"

    async def scene() -> None:
        app = app_on(path, (80, 24))
        async with app.run_test(size=(80, 24)) as pilot:
            screen = await until_read(app, pilot)
            assert screen._view is not None
            first = screen._view.day.entries[0]
            with Journal(path) as journal:
                journal.add(*(take_of(first.drill, 90.0 + i) for i in range(first.passes)))
            await pilot.press("escape")
            await pilot.press("t")
            screen = await until_read(app, pilot)
            drills = screen.query_one(OptionList)
            assert "✓" in str(drills.get_option("0").prompt)
            assert drills.highlighted == drills.get_option_index("1")
            assert screen.query_one("#calendar", Static).visual.plain.count("●") == 1  # type: ignore[attr-defined]
            assert "so far" in str(screen.query_one("#day", Static).visual)
            assert re.search("[▁-█]", str(drills.get_option("0").prompt))
            assert "●" * first.passes in str(drills.get_option("0").prompt)

    asyncio.run(scene())


def test_set_is_of_the_harp_that_the_settings_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = tmp_path / "settings.toml"
    settings.write_text('[harp]\nkey = "A"\n', encoding="utf-8")
    monkeypatch.setenv("TRAINER_SETTINGS", str(settings))
    plan = Plan(Harp.of("C"), MicrophoneSpec(), journal=tmp_path / "a.sqlite", player="Marit")
    view = load_daily_set_view(plan, SHELF)
    assert view.day.entries
    assert {entry.key for entry in view.day.entries} == {"A"}
    assert day_heading(view.day, view.harp).startswith("Today, A harp: ")
    settings.write_text("", encoding="utf-8")
    view = load_daily_set_view(replace(plan, journal=tmp_path / "b.sqlite"), SHELF)
    assert day_heading(view.day, view.harp).startswith("Today: ")


def test_unreadable_journal_is_reported(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")

    async def scene() -> None:
        app = app_on(tmp_path / "file" / "journal.sqlite", (80, 24))
        async with app.run_test(size=(80, 24)) as pilot:
            await until(pilot, lambda: isinstance(app.screen, TodayScreen))
            preview = app.screen.query_one("#preview", Static)
            await until(pilot, lambda: "cannot be opened" in str(preview.visual))
            await pilot.press("escape")
            await pilot.pause()
            assert isinstance(app.screen, PracticeScreen)

    asyncio.run(scene())


def test_space_starts_the_entry(tmp_path: Path) -> None:
    async def scene() -> None:
        app = app_on(tmp_path / "journal.sqlite", (80, 24))
        async with app.run_test(size=(80, 24)) as pilot:
            screen = await until_read(app, pilot)
            assert "Today: 2 of 2 to play" in str(screen.query_one("#day", Static).visual)
            assert " min" in str(screen.query_one("#day", Static).visual)
            await pilot.press("space")
            await pilot.pause()
            assert isinstance(app.screen, PracticeScreen)
            assert app.session.busy

    asyncio.run(scene())


def test_sparkline_spans_all_bars() -> None:
    assert sparkline((0.0, 12.0, 49.9, 50.0, 99.0, 100.0)) == "▁▁▄▅██"
    assert sparkline((0.0, 60.0, 79.9, 80.0, 99.0), 60.0) == "▁▁▄▅█"


def test_entries_stand_under_their_reason_and_weeks_in_a_calendar() -> None:
    entries = tuple(
        SetEntry(name, name, reason, "", "C", "richter", 2, 4, 130.0, 80.0)
        for name, reason in (("a", Reason.DUE), ("c", Reason.NEW), ("b", Reason.DUE))
    )
    today = date(2026, 11, 25)  # a Wednesday
    day = DailySet("Runa", today, 10.0, entries, {"b": (90.0, 70.0)})
    view = DailySetView(day, {}, practised=frozenset({today, date(2026, 10, 26)}))
    lines = [str(option.prompt).strip() for option in entry_options(view)]
    assert [line.split()[0] for line in lines] == ["Due", "1", "3", "New", "2"]
    assert lines[1].split()[2:6] == ["C", "○○", "2", "min"]
    assert "●○" in lines[2]
    days, *weeks = calendar_content(view).plain.splitlines()
    assert days == "        M T W T F S S"
    assert weeks[-1].rindex("●") == days.index("W")
    assert [week[:6] for week in weeks] == ["26 Oct", " 2 Nov", " 9 Nov", "16 Nov", "23 Nov"]
    assert weeks[0].split()[2:] == ["●", *"······"]
    assert weeks[-1].split()[2:] == [*"··", "●"]


def test_the_preview_of_today_names_no_harp_but_that_of_the_set() -> None:
    drill = find_drill("harbour-bell")
    own, today = (
        str(drill_preview_rows(DrillPreviewState(drill, with_harp=named), 80, 24))
        for named in (True, False)
    )
    assert f"{drill.key} harp" in own
    assert "harp;" not in today
