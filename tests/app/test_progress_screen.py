"""The progress screen, on journals of an evening class, through Textual's pilot."""

from __future__ import annotations

import asyncio
import re
import threading
from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import OptionList

from devtools import scripted
from tests.support.evenings import TODAY, evenings, step, take
from tests.support.pilots import settle, text, until
from trainer.app import theme
from trainer.app.app import TrainerApp
from trainer.app.screens import progress as module
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.widgets.progress_plot import (
    VERDICT_SIGNS,
    ProgressLine,
    ProgressPlot,
    detail_content,
    progress_content,
    summary_content,
)
from trainer.coach import SubjectKind, Trend, TrendVerdict, TrendWindow, overview_at
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.report.progress_report import trend_text, trend_verdict_text
from trainer.sound import PlayerSpec
from trainer.store import Journal, TakeRecord

SMALL, LARGE = (80, 24), (120, 40)
Test = Callable[[Pilot[None]], Awaitable[None]]


@pytest.fixture(autouse=True)
def today(monkeypatch: pytest.MonkeyPatch) -> None:
    """A date whose today is that of the evening class."""

    class Today(date):
        @classmethod
        def today(cls) -> date:
            return TODAY

    monkeypatch.setattr(module, "date", Today)


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal of seven weeks in which everything improved."""
    return written(tmp_path_factory.mktemp("class"), evenings(3, days=50, gain=6.0))


def written(folder: Path, takes: list[TakeRecord]) -> Path:
    path = folder / "journal.sqlite"
    with Journal(path) as journal:
        journal.add(*takes)
    return path


def run(test: Test, journal: Path, size: tuple[int, int] = SMALL, player: str = "Runa") -> None:
    """Run a test on the app at the progress screen."""

    async def inside() -> None:
        plan = Plan(Harp.of("C"), PlayerSpec(), scripted.DRILL, journal=journal, player=player)
        app = TrainerApp(scripted.ScriptedListener(), scripted.DRILLS, plan)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await pilot.press("g")
            await until(pilot, lambda: isinstance(app.screen, ProgressScreen))
            await test(pilot)

    asyncio.run(inside())


async def read(pilot: Pilot[None]) -> str:
    """Return the text on the screen once the journal has been read."""
    await until(pilot, lambda: not pilot.app.screen.has_class("-message"))
    return text(pilot)


def colors(pilot: Pilot[None]) -> dict[str, set[str]]:
    """Return each text colour on the screen, with the words in that colour."""
    words: dict[str, set[str]] = {}
    for strip in pilot.app.screen._compositor.render_strips():
        for segment in strip:
            if segment.text.strip() and segment.style and segment.style.color:
                name = segment.style.color.get_truecolor().hex
                words.setdefault(name, set()).add(segment.text.strip())
    return words


def test_small_window_switches_between_table_and_plot(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        table = await read(pilot)
        assert all(len(line) == 80 for line in table.splitlines())
        assert "Progress of Runa: four weeks" in table
        assert "↗ Better: -3'' " in table
        assert " on 7 days. The 7 before: " in table
        assert "▶ everything" in table
        assert "┤" not in table
        await pilot.press("down", "enter")
        await pilot.pause()
        plot = text(pilot)
        worst = overview_at(journal, "Runa", TODAY).of(SubjectKind.NOTE)[0]
        assert f"{worst.name}: how far off, cents" in plot
        assert "• a day   ⠒ the trend" in plot
        assert "┤" in plot
        for window in TrendWindow:
            assert trend_text(worst.trend("cents", window), "cents") in plot
        assert "Notes, the worst first" not in plot
        await pilot.press("down")  # choosing goes on while the list is out of sight
        await pilot.pause()
        second = overview_at(journal, "Runa", TODAY).of(SubjectKind.NOTE)[1]
        assert f"{second.name}: how far off, cents" in text(pilot)
        await pilot.press("enter")
        await pilot.pause()
        assert f"▶ {second.name}" in text(pilot)

    run(test, journal)


def test_large_window_shows_both_and_every_measure(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        shown = await read(pilot)
        assert "▶ everything" in shown
        everything = overview_at(journal, "Runa", TODAY).find("everything")
        for title in ("how far off, cents", "in tune, %", "clean, %", "timing, ms"):
            assert f"everything: {title}" in text(pilot)
            assert f"{title.split(',')[0]}, four weeks" in text(pilot)
            await pilot.press("m")
            await pilot.pause()
        assert "everything: how far off, cents" in text(pilot)
        for name, unit in (("cents", "cents"), ("in_tune", "%"), ("off_ms", "ms")):
            assert trend_text(everything.trend(name, TrendWindow.FOUR_WEEKS), unit) in shown
        assert trend_text(everything.trend("cents", TrendWindow.START), "cents") in shown
        assert "enter" not in shown.splitlines()[-1]  # there is nothing to turn

    run(test, journal, LARGE)


def test_arrows_move_the_cursor_past_headings(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        names = [subject.name for subject in overview_at(journal, "Runa", TODAY).subjects]
        for name in [*names[1:], names[0]]:
            await pilot.press("down")
            await pilot.pause()
            assert f"▶ {name} " in text(pilot)
            assert f"{name}: how far off" in text(pilot)
        await pilot.press("up")
        await pilot.pause()
        assert f"▶ {names[-1]} " in text(pilot)
        await pilot.press("home")
        await pilot.pause()
        assert f"▶ {names[0]} " in text(pilot)

    run(test, journal, LARGE)


def test_help_names_the_key_and_the_screen_closes(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        await pilot.press("question_mark")
        await until(pilot, lambda: isinstance(pilot.app.screen, HelpScreen))
        assert re.search(r"m +next measure", text(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, ProgressScreen))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))

    run(test, journal)


def is_fitted(pilot: Pilot[None], width: int) -> bool:
    """Whether the screen fills a width, with the plot where there is room for it."""
    shown = text(pilot)
    fills = all(len(line) == width for line in shown.splitlines())
    return fills and ("┤" in shown) is (width >= 116)


def test_window_may_be_resized_at_any_time(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        await pilot.press("end")
        for width, height in (LARGE, SMALL, (200, 60), (116, 24), (115, 24)):
            await pilot.resize_terminal(width, height)
            await until(pilot, partial(is_fitted, pilot, width))
            assert "▶ steadiness" in text(pilot)

    run(test, journal)


def test_the_screen_does_not_wait_for_the_journal(
    journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    may_go_on = threading.Event()

    def slow(*words: Any, **more: Any) -> Any:
        assert may_go_on.wait(30)
        return overview_at(*words, **more)

    monkeypatch.setattr(module, "overview_at", slow)

    async def test(pilot: Pilot[None]) -> None:
        assert "Reading the journal" in text(pilot)
        await pilot.press("down", "m", "enter", "question_mark")
        await until(pilot, lambda: isinstance(pilot.app.screen, HelpScreen))
        await pilot.press("escape")
        may_go_on.set()
        assert "▶ everything" in await read(pilot)

    run(test, journal)


def test_screen_can_be_left_while_the_journal_is_read(
    journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    may_go_on = threading.Event()
    ended = threading.Event()

    def slow(*words: Any, **more: Any) -> Any:
        assert may_go_on.wait(30)
        ended.set()
        return overview_at(*words, **more)

    monkeypatch.setattr(module, "overview_at", slow)

    async def test(pilot: Pilot[None]) -> None:
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, PracticeScreen))
        may_go_on.set()
        await until(pilot, ended.is_set)
        await settle(pilot)
        assert isinstance(pilot.app.screen, PracticeScreen)

    run(test, journal)


def test_empty_and_broken_journals_are_reported(tmp_path: Path) -> None:
    async def empty(pilot: Pilot[None]) -> None:
        await until(pilot, lambda: "journal has no takes of Runa yet" in text(pilot))
        await pilot.press("down", "up", "m", "enter", "end")
        await pilot.pause()
        assert "no takes of Runa" in text(pilot)

    run(empty, tmp_path / "none.sqlite")
    assert not (tmp_path / "none.sqlite").exists()

    async def broken(pilot: Pilot[None]) -> None:
        await until(pilot, lambda: "restore a backup" in " ".join(text(pilot).split()))

    (tmp_path / "broken.sqlite").write_text("This is no journal, and longer than a header is. " * 9)
    run(broken, tmp_path / "broken.sqlite")


def test_settings_name_player_and_journal_if_the_plan_does_not(
    journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAINER_JOURNAL", str(journal))
    monkeypatch.setenv("TRAINER_PLAYER", "Runa")

    async def inside() -> None:
        plan = Plan(Harp.of("C"), PlayerSpec(), scripted.DRILL)
        async with TrainerApp(scripted.ScriptedListener(), scripted.DRILLS, plan).run_test(
            size=SMALL
        ) as pilot:
            await pilot.press("g")
            await until(pilot, lambda: isinstance(pilot.app.screen, ProgressScreen))
            assert "Progress of Runa" in await read(pilot)

    asyncio.run(inside())


def test_no_verdict_depends_on_colour_alone(tmp_path: Path) -> None:
    shapes = [VERDICT_SIGNS[verdict][0] for verdict in TrendVerdict]
    assert len(set(shapes)) == len(shapes)
    takes = [
        take(
            date.fromordinal(TODAY.toordinal() - 27 + at),
            [step("-4'", 34.0 - at + at % 3)] * 5 + [step("4", 6.0 + at + at % 2)] * 5,
        )
        for at in range(28)
    ]

    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        used = colors(pilot)
        good, wrong = (theme.DARK_PENS[pen].color for pen in ("good", "wrong"))
        assert any(re.fullmatch(r"↗ better \d+\.\d", words) for words in used[good])
        assert any(re.fullmatch(r"↘ worse \d+\.\d", words) for words in used[wrong])
        assert any(words.startswith("↗ Better: -4' ") for words in used[good])
        assert any(words.startswith("↘ Worse: 4 ") for words in used[wrong])

    run(test, written(tmp_path, takes))


def test_a_key_switches_the_days_of_the_trends(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        overview = overview_at(journal, "Runa", TODAY)
        for window in (*TrendWindow, TrendWindow.FOUR_WEEKS):
            shown = await read(pilot)
            assert f"Progress of Runa: {window}" in shown
            assert f"how far off, {window}" in shown
            trend = overview.find("everything").trend("cents", window)
            assert f"↗ {trend_verdict_text(trend, 'cents')}" in shown
            await pilot.press("w")
            await pilot.pause()

    run(test, journal, LARGE)


def test_a_very_large_window_plots_every_measure(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        shown = text(pilot)
        for title in ("how far off, cents", "in tune, %", "clean, %", "timing, ms"):
            assert f"everything: {title}" in shown

    run(test, journal, (200, 60))


def test_the_plot_is_drawn_in_the_themes_colours(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        used = colors(pilot)
        assert any("•" in word for word in used[theme.SKY_BLUE])
        assert any("⠀" < letter <= "⣿" for word in used[theme.YELLOW] for letter in word)
        plot = next(plot for plot in pilot.app.screen.query(ProgressPlot) if plot.display)
        assert plot.size.height > 18

    run(test, journal, LARGE)


def test_a_long_name_leaves_the_columns_in_place(tmp_path: Path) -> None:
    long = "breathing through the nose on the night boat"
    path = written(tmp_path, [take(TODAY, [step("4", 3.0)] * 6, skills=(long, "breath"))])
    lines = [
        ProgressLine.of(subject)
        for subject in overview_at(path, "Runa", TODAY).of(SubjectKind.SKILL)
    ]
    window = TrendWindow.START
    rows = [progress_content(line, "cents", window).plain for line in lines]
    assert len({row.index("100 %") for row in rows}) == 1
    assert all(len(row) <= 66 for row in rows)
    assert long in detail_content(lines[1], "cents", window, every=True).plain


def test_the_summary_names_what_has_moved_most_first(journal: Path) -> None:
    subjects = overview_at(journal, "Runa", TODAY).subjects
    lines = [ProgressLine.of(subject) for subject in subjects]
    gains = {
        line.progress.name: line.trends["cents", TrendWindow.START].gain or 0.0
        for line in lines
        if line.progress.name != "everything"
    }
    first, second = sorted(gains, key=lambda name: -gains[name])[:2]
    shown = summary_content(lines, "cents", TrendWindow.START).plain
    assert shown.startswith(f"↗ Better: {first} {gains[first]:.1f}, {second} ")
    assert "everything" not in shown
    assert "no clear change" in summary_content(lines, "clean", TrendWindow.START).plain


def test_lines_match_the_command(journal: Path) -> None:
    window = TrendWindow.START
    line = ProgressLine.of(overview_at(journal, "Runa", TODAY).find("-4"))
    assert line.trends["cents", window] == line.progress.trend("cents", window)
    trend = Trend(TrendVerdict.BETTER, 2.0, 1.0, 3.0)
    better = replace(line, trends={**line.trends, ("cents", window): trend})
    assert progress_content(better, "cents", window).plain.endswith("↗ better 2.0")
    detail = detail_content(better, "cents", window, every=False).plain
    assert "since the start  ↗ better 2.0 ± 1.0" in detail
    assert "in tune" not in detail
    few = Trend(TrendVerdict.TOO_FEW_DAYS)
    fewer = replace(line, trends={**line.trends, ("cents", window): few})
    assert progress_content(fewer, "cents", window).plain.endswith("○ too few days")


def test_list_consumes_no_keys_of_the_screen(journal: Path) -> None:
    async def test(pilot: Pilot[None]) -> None:
        await read(pilot)
        assert pilot.app.screen.focused is None
        assert pilot.app.screen.query_one(OptionList).option_count > 8

    run(test, journal)
