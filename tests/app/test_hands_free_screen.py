"""Practice without hands on the screen: what happens next, from drill to drill, to the summary."""

from __future__ import annotations

from dataclasses import replace

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.evenings import TODAY
from tests.support.pilots import Puppet, next_frame, run, settle, text, until
from trainer.app.app import TrainerApp
from trainer.app.daily_set_view import DailySetView
from trainer.app.screens import practice
from trainer.app.screens.practice import PracticeScreen
from trainer.app.screens.result import ResultScreen
from trainer.app.screens.summary import SummaryScreen
from trainer.app.set_run import SetRun
from trainer.coach import DURATION, DailySet, Reason, SetEntry
from trainer.drill import Drill
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.practice import (
    HandsFree,
    HoldPasses,
    PassControl,
    PassEnded,
    PassStarted,
    Plan,
    PlayTone,
    ReadingHeard,
    SilenceEnded,
    TakeFailed,
    TakeFinished,
    WaitStarted,
)
from trainer.sound import MicrophoneSpec, PlayerSpec

FIRST, SECOND, _ = scripted.DRILLS
PLAN = Plan(Harp.of("C"), MicrophoneSpec(), drill=FIRST, hands_free=HandsFree())
RATE = scripted.RATE


def entry(drill: Drill, passes: int = 1, last: float | None = None) -> SetEntry:
    return SetEntry(
        *(drill.name, drill.title, Reason.DUE, "due since Monday"),
        *("C", "richter", passes, 3, 60.0, 70.0, last),
    )


DAY = DailySet("Runa", TODAY, 15.0, (entry(FIRST, 2, 95.0), entry(SECOND, 1, 80.0)))


def passed(drill: Drill) -> PassEnded:
    """The end of a whole pass of a drill: 85 points."""
    plan = replace(PLAN, drill=drill)
    events = [event for _, event in scripted.scripted_events(plan)]
    (ended,) = [event for event in events if isinstance(event, PassEnded)]
    return replace(ended, result=replace(ended.result, score=85.0, passed=True))


def at(second: float) -> ReadingHeard:
    sample = round(second * RATE)
    return ReadingHeard(Reading(sample, sample, RATE, level_db=-60.0))


async def feed(pilot: Pilot[None], puppet: Puppet, *events: object) -> str:
    puppet.queue += events  # type: ignore[arg-type]
    await until(pilot, lambda: not puppet.queue)
    await next_frame(pilot)
    await settle(pilot)
    return text(pilot)


def test_a_waits_for_a_note_and_says_when_it_goes_on() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("a")
        (plan,) = puppet.plans
        assert plan.hands_free == HandsFree(first_s=None)
        words = await feed(pilot, puppet, at(1.0), WaitStarted(None, armed=True))
        assert "play any note to start; space stops" in words
        assert "hands-free  ○ waiting" in words
        words = await feed(pilot, puppet, WaitStarted(4 * RATE, armed=True), at(1.5))
        assert "goes on in 3 s, or play a note; space stops" in words
        words = await feed(pilot, puppet, WaitStarted())
        assert "let it ring out" in words
        await pilot.press("space")
        await settle(pilot)
        assert not pilot.app.session.busy  # type: ignore[attr-defined]
        assert len(puppet.plans) == 1

    run(test, replace(PLAN, hands_free=None))


def test_space_starts_at_once_without_hands_and_a_ends_it_with_the_result() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("space")
        assert puppet.plans[-1].hands_free == HandsFree(first_s=0.0)
        started = PassStarted(None, 0, len(FIRST.steps), "the microphone", False)
        await feed(pilot, puppet, started, passed(FIRST), WaitStarted())
        assert isinstance(pilot.app.screen, PracticeScreen)  # no result between passes
        await pilot.press("a")
        await until(pilot, lambda: isinstance(pilot.app.screen, ResultScreen))

    run(test, PLAN)


def test_a_loop_goes_on_without_hands_after_its_pass() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("l", "space", "a")
        await feed(pilot, puppet, passed(FIRST))
        await until(pilot, lambda: len(puppet.plans) == 2)
        first, second = puppet.plans
        assert first.loops
        assert first.hands_free is None
        assert second.hands_free == HandsFree(first_s=DURATION.between_takes_s)

    run(test, replace(PLAN, hands_free=None))


def test_the_set_is_played_drill_after_drill_and_ends_with_what_moved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(practice, "load_daily_set_view", lambda plan, shelf: DailySetView(DAY, {}))

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        screen = pilot.app.screen
        assert isinstance(screen, PracticeScreen)
        screen._open_entry((DAY.entries[0], True))
        await settle(pilot)
        words = await feed(pilot, puppet, passed(FIRST), WaitStarted())
        assert "1 of 2 passed, then The harbour bell" in words
        assert len(puppet.plans) == 1
        await feed(pilot, puppet, passed(FIRST))
        await until(pilot, lambda: len(puppet.plans) == 2)
        assert puppet.plans[-1].drill is not None
        assert puppet.plans[-1].drill.name == SECOND.name
        assert puppet.plans[-1].hands_free == HandsFree(first_s=DURATION.read_s)
        assert "0 of 1 passed, the last of the set" in text(pilot)
        await feed(pilot, puppet, passed(SECOND))
        await until(pilot, lambda: isinstance(pilot.app.screen, SummaryScreen))
        words = text(pilot)
        assert "2 drills, 85 on average, 2 worse than the last time" in words
        assert "▼ 10" in words
        assert "▲ 5" in words
        await pilot.press("space")
        await until(pilot, lambda: pilot.app.screen is screen)

    run(test, PLAN)


def test_no_take_begins_while_another_screen_covers_practice() -> None:
    """Neither the next pass of a drill nor the next drill: both wait for the way back."""

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        screen = pilot.app.screen
        await pilot.press("space")
        await pilot.press("question_mark")
        await until(pilot, lambda: pilot.app.screen is not screen)
        assert puppet.asked[-1] == HoldPasses(True)
        await feed(pilot, puppet, passed(FIRST), TakeFinished())
        await until(pilot, lambda: not pilot.app.session.busy)  # type: ignore[attr-defined]
        assert len(puppet.plans) == 1
        await pilot.press("escape")
        await until(pilot, lambda: len(puppet.plans) == 2)
        assert puppet.plans[1].hands_free == HandsFree(first_s=DURATION.between_takes_s)
        await pilot.press("question_mark")
        await until(pilot, lambda: pilot.app.screen is not screen)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is screen)
        assert puppet.asked[-2:] == [HoldPasses(True), HoldPasses(False)]

    run(test, PLAN)


def test_a_result_waits_until_no_screen_covers_practice() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        screen = pilot.app.screen
        await pilot.press("space", "question_mark")
        await until(pilot, lambda: pilot.app.screen is not screen)
        await feed(pilot, puppet, passed(FIRST), TakeFinished())
        assert not isinstance(pilot.app.screen, ResultScreen)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, ResultScreen))

    run(test, replace(PLAN, hands_free=None))


def test_silence_ends_with_a_message_and_no_result() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("a", "a", "a")
        words = await feed(pilot, puppet, WaitStarted(None, armed=True), SilenceEnded())
        words = await feed(pilot, puppet, TakeFinished())
        assert "a minute of silence" in words
        assert isinstance(pilot.app.screen, PracticeScreen)
        assert len(puppet.plans) == 1

    run(test, replace(PLAN, hands_free=None))


def test_a_harp_to_change_to_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    other = replace(entry(SECOND), key="A")
    day = replace(DAY, entries=(entry(FIRST), other))
    monkeypatch.setattr(practice, "load_daily_set_view", lambda plan, shelf: DailySetView(day, {}))

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        screen = pilot.app.screen
        assert isinstance(screen, PracticeScreen)
        screen._open_entry((day.entries[0], True))
        await settle(pilot)
        await feed(pilot, puppet, passed(FIRST))
        await until(pilot, lambda: len(puppet.plans) == 2)
        assert puppet.plans[-1].harp.key.name == "A"
        assert puppet.plans[-1].hands_free == HandsFree(first_s=None)
        assert "Take the A harp, then play any note." in text(pilot)

    run(test, PLAN)


def test_the_next_entry_is_the_next_that_is_not_done() -> None:
    day = DAY.plus(SECOND.name, 90.0)
    run_ = SetRun(day, DAY.entries[0])
    assert run_.next_entry is None
    assert SetRun(DAY, DAY.entries[1]).next_entry == DAY.entries[0]
    assert run_.next_step.startswith("Next: again with r; 0 of ")
    ended = replace(DAY, entries=DAY.entries[:1], played={DAY.entries[0].drill: (100.0,) * 9})
    assert SetRun(ended, DAY.entries[0]).next_step == "The set is done."
    half = replace(passed(FIRST).result, marks=passed(FIRST).result.marks[:9], unplayed=8)
    assert run_.plus(half) == run_  # a fragment is no pass


def test_the_wanted_note_is_heard_while_the_take_is_paused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(practice, "TONE_S", 0.05)

    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("space")
        plan = puppet.plans[-1]
        events = [event for _, event in scripted.scripted_events(plan)][:900]
        await feed(pilot, puppet, *events)
        app = pilot.app
        assert isinstance(app, TrainerApp)
        hz = plan.harp.hz(app.session.take.wanted[0])
        await pilot.press("d")
        assert puppet.asked[:2] == [PassControl.PAUSE, PlayTone((hz,))]
        assert "♪ -4" in text(pilot)
        await until(pilot, lambda: puppet.asked[2:] == [PlayTone()])

    run(test, replace(PLAN, hands_free=None))


def test_a_take_waits_for_the_end_of_the_bar_that_is_heard() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await pilot.press("d")
        await pilot.pause()
        assert isinstance(puppet.plans[-1].source, PlayerSpec)
        assert puppet.plans[-1].bars == (1, 1)
        assert "bar 1 as it should sound" in text(pilot)
        await pilot.press("space")
        await until(pilot, lambda: len(puppet.plans) == 2)
        assert puppet.plans[-1].source == MicrophoneSpec()

    run(test, replace(PLAN, hands_free=None))


def test_a_bar_that_is_heard_leaves_the_marks_and_reports_trouble() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        app = pilot.app
        assert isinstance(app, TrainerApp)
        take = app.session.take
        await pilot.press("d")
        await feed(pilot, puppet, *[event for _, event in scripted.scripted_events(PLAN)][:50])
        assert app.session.hearing
        assert app.session.take is take
        assert take.reading is None
        puppet.queue += [TakeFailed("no output device was found"), TakeFinished()]
        await until(pilot, lambda: not app.session.busy)
        await next_frame(pilot)
        assert "× no output device was found" in text(pilot)
        await pilot.press("d")
        await pilot.press("i")  # the microphone is opened once the bar has ended
        await until(pilot, lambda: len(puppet.plans) == 3)
        assert puppet.plans[-1].drill is None
        assert "♪" not in text(pilot)

    run(test, replace(PLAN, hands_free=None))


def test_f_follows_where_the_drill_allows_it_and_what_needs_a_count_in_says_so() -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        session = pilot.app.session  # type: ignore[attr-defined]
        await pilot.press("f")
        await settle(pilot)
        assert session.plan.hands_free is None
        assert "in your own time" in text(pilot)
        for key in ("a", "l", "c"):
            await pilot.press(key)
            await settle(pilot)
            assert "needs a count-in: f ends following you" in text(pilot)
        assert session.plan.hands_free is None
        assert not session.plan.loops
        session.prepare(replace(session.plan, drill=replace(FIRST, free=True)))
        assert session.plan.follow
        assert not session.plan.follows
        await pilot.press("f", "f")
        await settle(pilot)
        assert "has no beat and waits for you" in text(pilot)

    run(test, PLAN)
