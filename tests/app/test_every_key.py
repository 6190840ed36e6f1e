"""Press every key of every screen, and random keys in random order."""

from __future__ import annotations

import importlib
import pkgutil
import random
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Self

import pytest
from textual.command import CommandInput, CommandList, CommandPalette
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widgets import Input, OptionList

from devtools import scripted
from tests.support.colour import too_faint
from tests.support.evenings import TODAY, an_input, evenings
from tests.support.pilots import ANSWERS, LARGE, SMALL, Puppet, run, settle, text, until
from tests.support.transcripts import HEARD, PICKS
from trainer.app import screens
from trainer.app.app import TrainerApp
from trainer.app.screens import progress, settings
from trainer.app.screens.begin import BeginScreen, LevelsScreen
from trainer.app.screens.course import CourseScreen
from trainer.app.screens.guide import TEST_TONE_HZ, GuideScreen
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.help import HelpScreen
from trainer.app.screens.listen import ListenScreen
from trainer.app.screens.loop import LoopScreen
from trainer.app.screens.measure import MeasureScreen
from trainer.app.screens.playback_base import PlaybackScreen
from trainer.app.screens.practice import CLIMB_BPM, TEMPO_STEP_BPM, PracticeScreen
from trainer.app.screens.progress import ProgressScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.settings import SettingsScreen
from trainer.app.screens.shelf import ShelfScreen
from trainer.app.screens.summary import SummaryScreen
from trainer.app.screens.today import TodayScreen
from trainer.app.screens.transcript import TranscriptScreen
from trainer.app.transcript_file import TranscriptFile
from trainer.coach import DailySet, course_standing
from trainer.drill import Drill, Section, Step, read_course, read_drill, read_shelf
from trainer.harp import Harp, load_tuning, tuning_names
from trainer.practice import (
    GuessHarps,
    ListDevices,
    PassControl,
    PassStarted,
    Plan,
    PlayLoop,
    PlayTone,
    TakeFinished,
    WriteDown,
    WrittenDown,
)
from trainer.settings import SETTING_KEYS
from trainer.sound import MicrophoneSpec, Passage, PlayerSpec, RecordingSpec
from trainer.store import Journal, Placement

SCREENS: dict[type, tuple[str, ...]] = {
    BeginScreen: (),
    CourseScreen: (),
    GuideScreen: ("m",),
    HarpsScreen: ("h",),
    HelpScreen: ("question_mark",),
    LevelsScreen: (),
    ListenScreen: ("i",),
    LoopScreen: (),
    MeasureScreen: ("h", "m"),
    PracticeScreen: (),
    ProgressScreen: ("g",),
    ResultScreen: (),
    SettingsScreen: ("comma",),
    ShelfScreen: ("s",),
    SummaryScreen: (),
    TodayScreen: ("t",),
    TranscriptScreen: (),
}
"""The screens and the keys that open them."""
WRITTEN_DOWN = replace(scripted.DRILL, name="written-down")
"""What the listener's process makes of a passage."""
NEED_MORE = ((PracticeScreen, "e"), (PracticeScreen, "u"), (PracticeScreen, "j"))
"""Keys that need a drill with a recording, or sections."""
PRESSES = 150
REEDS = Path(__file__).parent.parent / "reeds"


class ClassDay(date):
    """A date whose today is that of the evening class."""

    @classmethod
    def today(cls) -> Self:
        return cls(TODAY.year, TODAY.month, TODAY.day)


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Plan:
    """A plan whose files are in a temporary folder."""
    monkeypatch.setenv("TRAINER_SETTINGS", str(tmp_path / "settings.toml"))
    monkeypatch.setitem(ANSWERS, ListDevices, (an_input("on the stand", 1),))
    monkeypatch.setitem(ANSWERS, WriteDown, WrittenDown(WRITTEN_DOWN))
    monkeypatch.setitem(ANSWERS, GuessHarps, PICKS)
    monkeypatch.setattr(progress, "date", ClassDay)
    monkeypatch.setattr(settings, "calibration_message", lambda *given: "✓ round trip 12 ms")
    journal = tmp_path / "journal.sqlite"
    return Plan(
        Harp.of("C"), MicrophoneSpec(), drill=scripted.DRILL, journal=journal, player="Runa"
    )


def keys_of(screen: type) -> list[str]:
    bindings = getattr(screen, "BINDINGS")  # noqa: B009 - of any screen
    return [key for binding in bindings for key in binding.key.split(",")]


async def go_to(pilot: Pilot[None], puppet: Puppet, screen: type) -> None:
    app = pilot.app
    assert isinstance(app, TrainerApp)
    if screen is ResultScreen:
        events = [event for _, event in scripted.scripted_events(app.session.plan)]
        events[-1] = TakeFinished(sound=str(REEDS / "phrase.flac"))
        await pilot.press("space")
        puppet.queue += events
    if screen is LoopScreen:
        passage = Passage(REEDS / "c-harp.flac", 1.0, 2.0)
        app.push_screen(LoopScreen(app.session, passage, -3.0, can_write_down=True))
        await until(pilot, lambda: "space plays it" in text(pilot))
    if screen is TranscriptScreen:
        assert app.session.plan.journal is not None
        folder = app.session.plan.journal.parent
        (folder / "heard.wav").touch()
        assert HEARD.recording is not None
        drill = replace(
            HEARD,
            second=(replace(HEARD.steps[-1], index=0),),
            recording=replace(HEARD.recording, folder=str(folder)),
        )
        opened = TranscriptFile.of_drill(drill)
        assert opened is not None
        app.push_screen(TranscriptScreen(app.session, app.session.plan, opened))
        await until(pilot, lambda: "2nd position (G)" in text(pilot))
    if screen is BeginScreen:
        app.screen.action_begin()  # type: ignore[attr-defined]
        await until(pilot, lambda: "I can already" in text(pilot))
    if screen is CourseScreen:
        standings = course_standing(read_course(), ())
        app.push_screen(CourseScreen(lambda: standings, read_shelf().drills))
        await until(pilot, lambda: "Opens first tunes" in text(pilot))
    if screen is LevelsScreen:
        app.push_screen(LevelsScreen([Placement("rhythm", 3, TODAY)]))
    if screen is SummaryScreen:
        app.push_screen(SummaryScreen(DailySet("Runa", TODAY, 15.0, ())))
    for key in SCREENS[screen]:
        await pilot.press(key)
        await settle(pilot)
    await until(pilot, lambda: isinstance(app.screen, screen))


@dataclass
class Now:
    """The app now, and as it was before a key was pressed."""

    pilot: Pilot[None]
    puppet: Puppet
    was: tuple[Plan, int | None, str] | None = None

    @property
    def app(self) -> TrainerApp:
        assert isinstance(self.pilot.app, TrainerApp)
        return self.pilot.app

    @property
    def plan(self) -> Plan:
        return self.app.session.plan

    @property
    def drill(self) -> str:
        assert self.plan.drill is not None
        return self.plan.drill.name

    @property
    def tempo(self) -> float:
        return self.plan.first_tempo

    @property
    def to(self) -> float:
        """Tempo at which the climb ends."""
        return self.plan.ladder.to if self.plan.ladder else 0.0

    @property
    def at(self) -> int | None:
        """Index of the list's cursor."""
        lists = self.app.screen.query(OptionList)
        return lists.first().highlighted if lists else None

    @property
    def words(self) -> str:
        return text(self.pilot)

    @property
    def tones(self) -> list[float | None]:
        asked = [asked.hz for asked in self.puppet.asked if isinstance(asked, PlayTone)]
        return [hz[0] if hz else None for hz in asked]

    @property
    def loops(self) -> list[PlayLoop]:
        return [asked for asked in self.puppet.asked if isinstance(asked, PlayLoop)]

    def remember(self) -> None:
        self.was = self.plan, self.at, self.words


Effect = Callable[[Now], bool]


@dataclass(frozen=True)
class Case:
    """A key, the condition that it makes true, and the keys to press before it."""

    keys: str
    effect: Effect
    before: str = ""


def on(screen: type) -> Effect:
    return lambda now: isinstance(now.app.screen, screen)


def says(words: str) -> Effect:
    return lambda now: words in now.words


def no_more(words: str) -> Effect:
    return lambda now: words not in now.words


def moved(by: int) -> Effect:
    """The list's cursor has moved up or down."""

    def effect(now: Now) -> bool:
        assert now.was is not None
        before, at = now.was[1], now.at
        return before is not None and at is not None and (at - before) * by > 0

    return effect


def begun(now: Now) -> bool:
    """A take of the current drill has begun, on the practice screen."""
    return on(PracticeScreen)(now) and now.puppet.plans[-1:] == [now.plan] and now.app.session.busy


def plays(aloud: type) -> Effect:
    """Something plays through the loudspeaker."""
    return lambda now: bool(now.puppet.plans) and isinstance(now.puppet.plans[-1].source, aloud)


def step_of(now: Now) -> Step:
    """The step under the cursor of a transcript."""
    screen = now.app.screen
    assert isinstance(screen, TranscriptScreen)
    assert screen.edited is not None
    return screen.edited.step


def tab_is(tab: str) -> Effect:
    """The note under the cursor of a transcript."""
    return lambda now: step_of(now).tab == tab


def length_is(beats: Fraction) -> Effect:
    """The length of the note under the cursor of a transcript."""
    return lambda now: step_of(now).beats == beats


def notes_are(more: int) -> Effect:
    """A transcript has more notes than were heard, or fewer."""
    return says(f"of {len(HEARD.steps) + more}")


def with_file(now: Now) -> Drill:
    """The drill in the file of the transcript."""
    assert now.plan.journal is not None
    return read_drill(now.plan.journal.parent / "heard.toml")


WALKS = (
    Case("up", moved(-1), "down"),
    Case("down", moved(1)),
    Case("pageup", moved(-1), "pagedown"),
    Case("pagedown", moved(1)),
    Case("home", moved(-1), "down"),
    Case("end", moved(1)),
)
TO_NATURALS = "down " * (SETTING_KEYS.index(("harp", "naturals")) + 1)
"""Keys from the first setting to that one; player and journal, which are changed, come first."""
FIRST, SECOND, *_, LAST = (drill.name for drill in scripted.DRILLS)
OWN = scripted.DRILL.tempo
BARS = scripted.DRILL.bars
CASES: dict[type, tuple[Case, ...]] = {
    TrainerApp: (
        Case("question_mark", on(HelpScreen)),
        Case("q", lambda now: not now.app.is_running),
        Case("ctrl+p", on(CommandPalette)),
    ),
    PracticeScreen: (
        Case("space", begun),
        Case("a", lambda now: begun(now) and now.plan.hands_free is not None),
        Case("d", plays(PlayerSpec)),
        Case("f", lambda now: now.plan.follows),
        Case("l", lambda now: now.plan.loops),
        Case("j", lambda now: now.plan.bars == (2, 3) and "turnaround, bars 2 to 3" in now.words),
        Case("up plus equals_sign", lambda now: now.tempo > OWN),
        Case("down minus", lambda now: now.tempo < OWN),
        Case("0", lambda now: now.tempo == OWN, "up"),
        Case("left_square_bracket", lambda now: now.plan.bars == (2, BARS)),
        Case("right_square_bracket", lambda now: now.plan.bars == (1, BARS - 1)),
        Case("n", lambda now: now.drill == SECOND),
        Case("p", lambda now: now.drill == LAST),
        Case("r", begun),
        Case("k", lambda now: now.puppet.asked == [PassControl.PAUSE], "space"),
        Case("b", lambda now: now.puppet.asked == [PassControl.GO_BACK], "space"),
        Case("c", lambda now: now.plan.loops and now.to > OWN),
        Case("less_than_sign", lambda now: now.to == OWN + CLIMB_BPM - TEMPO_STEP_BPM, "c"),
        Case("greater_than_sign", lambda now: now.to == OWN + CLIMB_BPM + TEMPO_STEP_BPM, "c"),
        Case("v", lambda now: not now.app.screen.query_one("#page").display),
        Case("t", on(TodayScreen)),
        Case("s", on(ShelfScreen)),
        Case("o", on(CourseScreen)),
        Case("i", on(ListenScreen)),
        Case("g", on(ProgressScreen)),
        Case("h", on(HarpsScreen)),
        Case("comma", on(SettingsScreen)),
        Case("m", on(GuideScreen)),
        Case("e", on(TranscriptScreen)),
        Case("u", says("recorded harp -6 dB")),
    ),
    TodayScreen: (
        Case("space", lambda now: begun(now) and now.drill == FIRST, "down"),
        Case("enter", lambda now: on(PracticeScreen)(now) and now.drill == LAST, "end"),
        Case("s", on(ShelfScreen)),
        Case("o", on(CourseScreen)),
        Case("i", on(ListenScreen)),
        Case("g", on(ProgressScreen)),
        Case("h", on(HarpsScreen)),
        Case("comma", on(SettingsScreen)),
        Case("m", on(GuideScreen)),
        Case("escape t", on(PracticeScreen)),
    ),
    ResultScreen: (
        Case("escape space", lambda now: on(PracticeScreen)(now) and len(now.puppet.plans) == 1),
        Case("r", lambda now: begun(now) and len(now.puppet.plans) == 2),
        Case("minus", lambda now: begun(now) and now.tempo < OWN),
        Case("n", lambda now: on(PracticeScreen)(now) and now.drill == SECOND),
        Case("o", says("▶  4  -4")),
        Case("enter", no_more("±10")),
        Case("a", plays(RecordingSpec)),
        Case("e", plays(PlayerSpec)),
        Case("w", lambda now: on(LoopScreen)(now) and "70 % speed" in now.words),
    ),
    ShelfScreen: (
        Case("escape", on(PracticeScreen)),
        *WALKS[:4],
        Case("enter", lambda now: on(PracticeScreen)(now) and now.drill == SECOND, "down"),
        Case("tab", plays(PlayerSpec)),
        Case("ctrl+o", on(CourseScreen)),
        Case("question_mark", on(HelpScreen)),
    ),
    ListenScreen: (
        Case("space", says("stopped")),
        Case("d", lambda now: len(now.tones) == 1 and now.tones[0] is not None, "up"),
        Case("up", says("d plays -4'  Db5")),
        Case("down", says("d plays 4  C5"), "up"),
        Case("o", lambda now: now.tones[1:] == [approx(now.tones[0], 0.5)], "up d"),
        Case("escape i", on(PracticeScreen)),
    ),
    LoopScreen: (
        Case("space", lambda now: len(now.loops) == 1),
        Case("up", says("105 % speed")),
        Case("down", says("95 % speed")),
        Case("right", says("2.00 to 3.00 s")),
        Case("left", says("0.00 to 1.00 s")),
        Case("left_square_bracket", says("1.10 to 2.00 s")),
        Case("left_curly_bracket", says("0.90 to 2.00 s")),
        Case("right_square_bracket", says("1.00 to 1.90 s")),
        Case("right_curly_bracket", says("1.00 to 2.10 s")),
        Case("less_than_sign", says("1 half step down")),
        Case("greater_than_sign", says("1 half step up")),
        Case("k", says("3 half steps down")),
        Case("c", says("count-in 4")),
        Case("p", lambda now: on(PracticeScreen)(now) and now.plan.drill.name == WRITTEN_DOWN.name),
        Case("t", on(TranscriptScreen)),
        Case("escape", on(PracticeScreen)),
    ),
    TranscriptScreen: (
        Case("space", lambda now: len(now.loops) == 1 and "bar 1 at 70 %" in now.words),
        Case("right", says("note 2 of")),
        Case("left", says("note 1 of"), "right"),
        Case("pagedown", says("bar 2, beat 1")),
        Case("pageup", says("bar 1, beat 1"), "pagedown"),
        Case("up", tab_is("-5")),
        Case("down", tab_is("-3")),
        Case("n", says("note 2 of")),
        Case("enter", says("note 4 of"), "n"),
        Case("a", lambda now: len(now.loops) == 1 and "as recorded" in now.words),
        Case("d", lambda now: len(now.tones) == 1 and "D5 as written" in now.words),
        Case("b", tab_is("4")),
        Case("apostrophe v", tab_is("-4'")),
        Case("quotation_mark V", tab_is("-4"), "v"),
        Case("left_square_bracket", length_is(Fraction(1, 2))),
        Case("right_square_bracket", length_is(Fraction(3, 4)), "t g g"),
        Case("less_than_sign", says("pick-up, beat 4.5")),
        Case("greater_than_sign", says("bar 1, beat 1.5"), "left_square_bracket"),
        Case("g", says("step 1/3 beat")),
        Case("i", notes_are(+1), "left_square_bracket"),
        Case("x delete", notes_are(-1)),
        Case("t", notes_are(+1)),
        Case("j", notes_are(-1)),
        Case("o", tab_is("2")),
        Case("u", tab_is("-4"), "up"),
        Case("y", tab_is("-5"), "up u"),
        Case("1", says("▶1 C harp"), "2"),
        Case("2", says("▶2 F harp")),
        Case("3", says("▶3 Bb harp")),
        Case("4", says("3 harps are listed")),
        Case("plus equals_sign", says("loop at 75 %")),
        Case("minus", says("loop at 65 %")),
        Case("s", says("✓ saved in"), "up"),
        Case("w", lambda now: "heard-2.toml" in now.words),
        Case("p", lambda now: on(PracticeScreen)(now) and now.plan.drill == with_file(now)),
        Case("escape", on(PracticeScreen)),
        Case("q", lambda now: not now.app.is_running),
    ),
    ProgressScreen: (
        Case("escape g", on(PracticeScreen)),
        *WALKS,
        Case("enter space", says("a day")),
        Case("m", says("in tune, four weeks")),
        Case("w", says("how far off, since the start")),
    ),
    HarpsScreen: (
        Case("escape h", on(PracticeScreen)),
        *(Case(case.keys, case.effect, f"home {case.before}") for case in WALKS),
        Case("enter", lambda now: now.plan.harp.key.name == "Db", "down"),
        Case("right", says("2nd position")),
        Case("left", says("12th position")),
        Case("d", says("C: degrees")),
        Case("t", says(f"C harp, {load_tuning(tuning_names()[1]).title}")),
        Case("m", on(MeasureScreen)),
    ),
    MeasureScreen: (Case("escape", on(HarpsScreen)),),
    GuideScreen: (
        Case("up", says("▶ on the stand")),
        Case("down", says("▶ on the stand")),
        Case("left", says("Take a B harp"), "enter"),
        Case("right", says("Take a Db harp"), "enter"),
        Case("enter", says("Step 2 of 3")),
        Case("t", lambda now: now.tones == [TEST_TONE_HZ]),
        Case("escape", on(PracticeScreen)),
    ),
    SettingsScreen: (
        Case("escape comma", on(PracticeScreen)),
        *WALKS,
        Case("enter", lambda now: now.app.screen.query_one(Input).has_focus),
        Case("space", says("harp.naturals is set to"), TO_NATURALS),
        Case("m", on(GuideScreen)),
        Case("l", says("round trip 12 ms")),
        Case("u delete", says("no longer set"), f"{TO_NATURALS} space"),
    ),
    BeginScreen: (
        *WALKS,
        Case("enter", on(TodayScreen)),
        Case("space", says("▶ ●"), "down down"),
        Case("escape", on(TodayScreen)),
    ),
    LevelsScreen: (Case("escape space enter", on(PracticeScreen)),),
    CourseScreen: (
        Case("up", says("▶ · Overblows")),
        Case("down", no_more("▶ ○ First breath")),
        Case("left right", lambda now: now.was is not None and now.words != now.was[2]),
        Case("enter escape o", on(PracticeScreen)),
    ),
    SummaryScreen: (Case("escape space enter", on(PracticeScreen)),),
    HelpScreen: (Case("escape question_mark space", on(PracticeScreen)),),
}
"""The effect of each key of each screen."""


def approx(hz: float | None, times: float) -> object:
    return pytest.approx((hz or 0.0) * times)


def test_table_has_every_key_of_every_screen() -> None:
    here = Path(screens.__file__ or "").parent
    names = [module.name for module in pkgutil.iter_modules([str(here)])]
    modules = [importlib.import_module(f"{screens.__name__}.{name}") for name in names]
    bound = {
        value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, type) and issubclass(value, Screen) and "BINDINGS" in vars(value)
    }
    assert bound - {Screen} | {TrainerApp} == set(CASES)
    assert set(SCREENS) == set(CASES) - {TrainerApp}
    for screen, cases in CASES.items():
        assert sorted(keys_of(screen)) == sorted(key for case in cases for key in case.keys.split())


@pytest.mark.parametrize(
    ("screen", "key", "case"),
    [
        pytest.param(screen, key, case, id=f"{screen.__name__} {key}")
        for screen, cases in CASES.items()
        for case in cases
        for key in case.keys.split()
    ],
)
def test_each_key_has_its_effect(plan: Plan, screen: type, key: str, case: Case) -> None:
    if screen is ProgressScreen:
        assert plan.journal is not None
        with Journal(plan.journal) as journal:
            journal.add(*evenings(3, days=50, gain=6.0))

    if (screen, key) in NEED_MORE:
        plan = replace(plan, drill=replace(HEARD, sections=(Section("turnaround", 2, 3),)))

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        if screen is not TrainerApp:
            await go_to(pilot, puppet, screen)
            await until(pilot, lambda: "Reading the" not in text(pilot))
        if screen in (ListenScreen, LoopScreen, TranscriptScreen):
            puppet.queue.append(PassStarted(None, 0, 0, "the microphone", False))
            await until(pilot, lambda: "the microphone" in text(pilot))
        now = Now(pilot, puppet)
        for earlier in case.before.split():
            await pilot.press(earlier)
            await settle(pilot)
        now.remember()
        assert not case.effect(now)
        await pilot.press(key)
        await until(pilot, lambda: case.effect(now))
        puppet.queue.append(TakeFinished())
        await pilot.pause()

    run(test, plan)


@pytest.mark.parametrize("seed", range(1))
def test_random_keys_do_not_crash_the_app(plan: Plan, seed: int) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        dice = random.Random(seed)
        app = pilot.app
        assert isinstance(app, TrainerApp)
        for press in range(PRESSES):
            keys = keys_of(type(app.screen)) if type(app.screen) in SCREENS else ["escape"]
            await pilot.press(dice.choice([*keys, *keys, "question_mark", "escape"]))
            if press % 25 == 24:
                size = dice.choice([SMALL, LARGE, (60, 15)])
                await pilot.resize_terminal(*size)
            is_running = app.session.busy and puppet.plans[-1] == app.session.take.plan
            if is_running and not puppet.queue and dice.random() < 0.2:
                puppet.queue += [event for _, event in scripted.scripted_events(puppet.plans[-1])][
                    :400
                ]
            assert app.is_running
            assert not isinstance(app.screen, PlaybackScreen) or app.screen.query("#sound")
        await pilot.resize_terminal(*LARGE)

    run(test, plan)


def test_palette_has_a_line_for_each_key_and_is_legible(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("ctrl+p")
        await until(pilot, lambda: isinstance(pilot.app.screen, CommandPalette))
        palette = pilot.app.screen
        await until(pilot, lambda: palette.query_one(CommandList).option_count > 0)
        commands = palette.query_one(CommandList)
        lines = [
            str(commands.get_option_at_index(at).prompt) for at in range(commands.option_count)
        ]
        assert all("\n" not in line for line in lines)
        assert re.match(r"space +Start with a count-in", lines[0])
        illegible = set()
        for theme in ("light", "plain", "dark"):
            pilot.app.theme = theme
            await pilot.pause()
            strips = palette._compositor.render_strips()
            for widget in (palette.query_one(CommandInput), palette.query_one(CommandList)):
                x, y, width, height = widget.content_region
                for strip in strips[y : y + height]:
                    inside = strip.crop(x, x + width)
                    illegible |= {(theme, part.text) for part in inside if too_faint(part)}
        assert not illegible

    run(test, plan)


def test_settings_measure_latency_and_choose_a_microphone(plan: Plan) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await go_to(pilot, puppet, SettingsScreen)
        await settle(pilot)
        await pilot.press("l")
        await until(pilot, lambda: "round trip 12 ms" in text(pilot))
        await pilot.press("m")
        await until(pilot, lambda: isinstance(pilot.app.screen, GuideScreen))
        await pilot.press("escape")
        puppet.queue.append(TakeFinished())
        await until(pilot, lambda: isinstance(pilot.app.screen, SettingsScreen))

    run(test, plan)
