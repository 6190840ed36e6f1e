"""Compare every screen at every size and in every theme with stored text.

To change a screen on purpose, run with HARP_TRAINER_RENEW=1, read what git says has
changed in tests/snapshots, and commit it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator
from concurrent.futures import Future
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from benchmarks.solos import Composer, form
from devtools import demo_journal as demo
from devtools import pictures, scripted
from tests.support.colour import too_faint
from tests.support.emulator import Emulator
from tests.support.evenings import TODAY, an_input, evenings
from tests.support.pilots import ANSWERS, answered, painted, until
from tests.support.snapshots import SIZES, SNAPSHOTS, hold, text
from tests.support.transcripts import HEARD, PICKS
from trainer.app.app import TrainerApp
from trainer.app.daily_set_view import DailySetView
from trainer.app.placing import Beginning
from trainer.app.screens import progress
from trainer.app.screens.begin import BeginScreen, LevelsScreen
from trainer.app.screens.course import CourseScreen
from trainer.app.screens.guide import GuideScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.measure import MeasureScreen
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.summary import SummaryScreen
from trainer.app.screens.today import TodayScreen
from trainer.app.screens.transcript import TranscriptScreen
from trainer.app.transcript_file import TranscriptFile
from trainer.coach import (
    ComparisonVerdict,
    DailySet,
    Reason,
    SetEntry,
    course_standing,
    overview_at,
)
from trainer.drill import find_drill, read_course, read_shelf
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import (
    Event,
    GuessHarps,
    ListDevices,
    Plan,
    ReadingHeard,
    TakeFinished,
    WaitStarted,
)
from trainer.sound import Passage, PlayerSpec
from trainer.store import Journal, Placement

MOVES = {
    BeginScreen: ("down", "down", "space", "up"),
    CourseScreen: ("down", "down", "right", "up"),
    ShelfScreen: ("down", "down", "down", "up"),
    TodayScreen: ("down", "down", "up"),
    ResultScreen: ("down", "down", "down", "up"),
    ProgressScreen: ("down", "down", "up"),
}
"""Keys that move the cursor of a list; each change repaints only some rows."""
COURSE = read_course()
REEDS = Path(__file__).parent.parent / "reeds"
DAY = DailySet(
    "Runa",
    TODAY,
    15.0,
    (
        SetEntry(
            *("slack-tide", "Slack tide", Reason.WARM_UP, "easy on the lips; 94 last time"),
            *("C", "richter", 1, 2, 60.0, 70.0, 94.0),
        ),
        SetEntry(
            *("mole-lights", "Lights on the mole", Reason.DUE, "due since Monday; 71 last time"),
            *("A", "richter", 2, 4, 200.0, 80.0, 71.0),
        ),
        SetEntry(
            *("harbour-bell", "The harbour bell", Reason.NEW, "never played"),
            *("low F", "raised-third-blow", 1, 3, 120.0, 75.0, None),
        ),
    ),
    {"slack-tide": (88.0, 96.0)},
)
SHELF = (replace(find_drill("harbour-bell"), name="mole-lights"), find_drill("harbour-bell"))
PRACTISED = frozenset(TODAY - timedelta(days=n) for n in (0, 1, 2, 4, 8, 9, 15, 16, 17, 29, 33))
SOLO_DRILL = find_drill("over-to-you")
SOLO_FORM = form(900)
SOLO_MARK = Composer(SOLO_FORM, Harp.of("C"), 900).mark(
    Composer(SOLO_FORM, Harp.of("C"), 900).solo("scale", 1.0)
)
"""The mark of a solo with notes outside its scale."""
SOLO_RESULT = Result(
    replace(SOLO_FORM, title="Eight bars of your own"),
    *("C", SOLO_FORM.tempo, (), SOLO_MARK.score, False),
    solos=(SOLO_MARK,),
)
RECENT = {"slack-tide": (71.0, 80.0, 94.0, 88.0, 96.0), "mole-lights": (55.0, 62.0, 71.0)}


class Puppet:
    """A listener that replays a scripted take up to a given time."""

    def __init__(self) -> None:
        self.queue: list[Event] = []
        self._script: Iterator[tuple[float, Event]] = iter(())

    def begin(self, plan: Plan) -> None:
        self._script = scripted.scripted_events(plan)

    def poll(self) -> list[Event]:
        events, self.queue = self.queue, []
        return events

    def request(self, request: object) -> Future[Any]:
        return answered(request)

    def stop(self) -> None:
        self.queue.append(TakeFinished())

    def close(self) -> None:
        """Do nothing."""

    def play(self, until: float) -> None:
        """Replay the take up to a time in seconds."""
        for second, event in self._script:
            self.queue.append(event)
            if second >= until:
                return


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal of seven weeks."""
    path = tmp_path_factory.mktemp("class") / "journal.sqlite"
    with Journal(path) as journal:
        journal.add(*evenings(3, days=50, gain=6.0))
    return path


async def walk(
    pilot: Pilot[None], puppet: Puppet, look: Callable[[str], Awaitable[None]], journal: Path
) -> None:
    """Walk through all screens, and look at each."""
    app = pilot.app
    assert isinstance(app, TrainerApp)

    async def play(second: float) -> None:
        puppet.play(second)
        await painted(pilot, puppet)

    await look("practice-before")
    await pilot.press("space")
    await play(1.6)
    await look("practice-count-in")
    await play(12.3)
    await look("practice-during")
    await pilot.press("v")
    await pilot.pause()
    await look("practice-far")
    await pilot.press("v")
    await pilot.pause()
    await play(99.0)
    await until(pilot, lambda: isinstance(app.screen, ResultScreen))
    await look("result")
    await pilot.press("escape")
    await pilot.pause()
    await look("practice-after")
    await pilot.press("a")
    at_1_s = Reading(48_000, 48_000, 48_000, level_db=-60.0)
    puppet.queue += [ReadingHeard(at_1_s), WaitStarted(4 * 48_000, armed=True)]
    await painted(pilot, puppet)
    await look("practice-waiting")
    await pilot.press("a")
    await painted(pilot, puppet)
    app.push_screen(SummaryScreen(DAY.plus("mole-lights", 83.0).plus("harbour-bell", 66.0)))
    await until(pilot, lambda: "on average" in text(pilot))
    await look("summary")
    await pilot.press("escape")
    await pilot.press("s")
    await until(pilot, lambda: isinstance(app.screen, ShelfScreen))
    await look("shelf")
    await pilot.press("escape")
    standings = course_standing(COURSE, [*COURSE[0].drills, *COURSE[1].drills[:4]])
    app.push_screen(CourseScreen(lambda: standings, read_shelf().drills))
    await until(pilot, lambda: "drills passed" in text(pilot))
    await look("course")
    await pilot.press("escape")
    skills = (("single notes", 3), ("rhythm", 5), ("half-step bends", 7))
    app.push_screen(BeginScreen(lambda: Beginning(True, skills)))
    await until(pilot, lambda: "I can already" in text(pilot))
    await look("begin")
    await pilot.press("escape")
    app.push_screen(LevelsScreen([Placement(skill, level, TODAY) for skill, level in skills]))
    await until(pilot, lambda: "begins here" in text(pilot))
    await look("levels")
    await pilot.press("escape")
    app.push_screen(TodayScreen(lambda: DailySetView(DAY, RECENT, practised=PRACTISED), SHELF))
    await until(pilot, lambda: "to play" in text(pilot))
    await look("today")
    await pilot.press("escape")
    app.push_screen(ProgressScreen(journal, "Runa"))
    await until(pilot, lambda: "everything" in text(pilot))
    await look("progress")
    await pilot.press("escape", "question_mark")
    await pilot.pause()
    await look("help")
    await pilot.press("escape")
    app.push_screen(GuideScreen(app.session))
    await until(pilot, lambda: "on the stand" in text(pilot))
    await look("guide")
    puppet.play(99.0)
    await pilot.press("escape")
    await until(pilot, lambda: isinstance(app.screen, PracticeScreen))
    app.push_screen(MeasureScreen(app.session, Harp.of("C"), None, "Runa", journal))
    await until(pilot, lambda: "Give it a name" in text(pilot))
    await look("measure")
    await pilot.press("escape")
    await until(pilot, lambda: isinstance(app.screen, PracticeScreen))
    await pilot.press("i")
    await until(pilot, lambda: isinstance(app.screen, ListenScreen))
    await play(3.2)
    await look("listen")
    puppet.play(99.0)
    await pilot.press("escape")
    await until(pilot, lambda: isinstance(app.screen, PracticeScreen))
    passage = Passage(REEDS / "phrase.flac", 1.0, 2.5, 0.6, -3.0, count_in=4)
    app.push_screen(LoopScreen(app.session, passage))
    await until(pilot, lambda: "█" in text(pilot))
    await play(3.2)
    await look("loop")
    puppet.play(99.0)
    await pilot.press("escape")
    await until(pilot, lambda: isinstance(app.screen, PracticeScreen))
    assert HEARD.recording is not None
    recording = replace(HEARD.recording, folder=str(journal.parent))
    opened = TranscriptFile.of_drill(replace(HEARD, recording=recording))
    assert opened is not None
    app.push_screen(TranscriptScreen(app.session, app.session.plan, opened))
    await until(pilot, lambda: "2nd position (G)" in text(pilot))
    await pilot.press("n", "up")
    await play(3.2)
    await look("transcript")
    puppet.play(99.0)
    await pilot.press("escape", "escape")  # a moved note is not saved: it asks first
    await until(pilot, lambda: isinstance(app.screen, PracticeScreen))
    app.session.prepare(replace(app.session.plan, drill=SOLO_DRILL))
    await pilot.press("space")
    await play(12.0)
    await look("solo-during")
    puppet.play(99.0)
    await until(pilot, lambda: isinstance(app.screen, ResultScreen))
    await pilot.press("escape")
    app.push_screen(ResultScreen(SOLO_RESULT))
    await until(pilot, lambda: "phrases" in text(pilot))
    await look("solo-result")


@pytest.mark.parametrize("size", SIZES, ids=lambda size: "x".join(map(str, size)))
def test_screens_match_their_snapshots_and_are_legible(
    size: tuple[int, int], journal: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Today(date):
        @classmethod
        def today(cls) -> date:
            return TODAY

    monkeypatch.setattr(progress, "date", Today)
    inputs = (an_input("built in", 2), an_input("on the stand", 1))
    monkeypatch.setitem(ANSWERS, ListDevices, inputs)
    monkeypatch.setitem(ANSWERS, GuessHarps, PICKS)
    faint: set[tuple[str, str, str]] = set()

    async def inside() -> None:
        puppet = Puppet()
        plan = Plan(Harp.of("C"), PlayerSpec(), scripted.DRILL)
        app = TrainerApp(puppet, scripted.DRILLS, plan)
        emulator = Emulator(size)
        emulator.attach(app)
        async with app.run_test(size=size) as pilot:
            await pilot.pause()

            async def look(name: str) -> None:
                await hold(f"{name}-{size[0]}x{size[1]}", pilot)
                shown = text(pilot)
                assert emulator.text() == shown, f"{name}: rows of an earlier paint are left"
                for theme in ("light", "plain", "dark"):
                    app.theme = theme
                    await pilot.pause()
                    assert text(pilot) == shown
                    for strip in app.screen._compositor.render_strips():
                        faint.update((name, theme, part.text) for part in strip if too_faint(part))
                for key in MOVES.get(type(app.screen), ()):
                    await pilot.press(key)
                    await pilot.pause()
                    assert emulator.text() == text(pilot), f"{name}: rows are left after {key}"

            await walk(pilot, puppet, look, journal)

    asyncio.run(inside())
    assert not faint


def test_every_snapshot_has_a_known_size_and_fits() -> None:
    stored = list(SNAPSHOTS.iterdir())
    assert stored
    for path in stored:
        columns, rows = map(int, path.stem.rsplit("-", 1)[1].split("x"))
        lines = path.read_text(encoding="utf-8").splitlines()
        assert len(lines) == rows
        assert max(map(len, lines)) <= columns
        assert (columns, rows) in SIZES


def test_demo_journal_improves(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    with Journal(path) as kept:
        kept.add(*demo.demo_takes(TODAY))
    overview = overview_at(path, demo.PLAYER, TODAY)
    assert overview.find("-4'").compare("cents").verdict is ComparisonVerdict.BETTER
    assert [take.score for take in demo.demo_takes(TODAY)] == [
        t.score for t in demo.demo_takes(TODAY)
    ]


def test_tour_shows_every_picture() -> None:
    docs = Path(__file__).parent.parent.parent / "docs"
    tour = (docs / "tour.md").read_text(encoding="utf-8")
    for path in docs.glob("*.svg"):
        assert f"({path.name})" in tour
        assert pictures.FONTS.split(",")[0] in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("theme", ["dark", "light"])
def test_notices_are_legible(theme: str) -> None:
    async def inside() -> None:
        plan = Plan(Harp.of("C"), PlayerSpec(), scripted.DRILL)
        app = TrainerApp(Puppet(), scripted.DRILLS, plan, theme=theme)
        async with app.run_test(size=(80, 24), notifications=True) as pilot:
            for severity in ("information", "warning", "error"):
                app.notify(f"the {severity} of a microphone", severity=severity)
            await until(pilot, lambda: text(pilot).count("of a microphone") == 3)
            strips = app.screen._compositor.render_strips()
            assert not [part for strip in strips for part in strip if too_faint(part)]

    asyncio.run(inside())
