"""Pausing, going on and going back, through the whole path with the built-in player."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from trainer.app.take_state import TakeState
from trainer.app.widgets.verdict import VerdictState
from trainer.drill import Climb, Drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import (
    BeatReached,
    Command,
    Event,
    Notice,
    PassControl,
    PassEnded,
    PassStarted,
    Plan,
    ReadingHeard,
    StepMarked,
    TakePaused,
    TakeResumed,
    run_take,
)
from trainer.sound import Fault, PlayerSpec, RecordingSpec

QUAY = parse_drill(
    '''
title = "Along the quay"
harp = "C"
tempo = 120
meter = "3/4"
pickup = 1
tab = """
4:1 | -4:1 4:1 -3:1 | 5:1 -5:1 r:1 | 6:3 | -6:1 6:1 5:1 | 4:2 |
"""
''',
    "quay",
)
WAITS = parse_drill(
    '''
title = "One after another"
harp = "C"
clock = "free"
tempo = 90
meter = "2/4"
tab = """
4:1 -4:1 | 5:1 -5:1 | 6:1 -6:1 |
"""
[goal]
hold = 0.2
''',
    "waits",
)


class Asking:
    """Gives commands when certain events have come.

    Args:
        wishes: pairs of a test of an event and the command that follows it, in order.
    """

    def __init__(self, *wishes: tuple[Callable[[Event], bool], Command]) -> None:
        self._wishes = list(wishes)
        self._due: list[Command] = []

    def see(self, event: Event) -> None:
        if self._wishes and self._wishes[0][0](event):
            self._due.append(self._wishes.pop(0)[1])

    def __call__(self) -> Command | None:
        return self._due.pop(0) if self._due else None

    @property
    def over(self) -> bool:
        return not self._wishes and not self._due


def beat(number: int) -> Callable[[Event], bool]:
    return lambda event: isinstance(event, BeatReached) and event.number == number


def paused(event: Event) -> bool:
    return isinstance(event, TakePaused)


def heard(event: Event) -> bool:
    return isinstance(event, ReadingHeard)


def play(plan: Plan, asking: Asking) -> list[Event]:
    events = []
    for event in run_take(plan, next_command=asking):
        events.append(event)
        asking.see(event)
    assert asking.over
    return events


def result_of(events: list[Event]) -> Result:
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    return result


def plan_of(drill: Drill = QUAY, **more: object) -> Plan:
    faults = {3: Fault(cents=-22.0), 6: Fault(cents=15.0)}
    spec = PlayerSpec(faults=faults if drill is QUAY else {})
    return replace(Plan(Harp.of("C"), spec, drill=drill), **more)


def test_a_paused_pass_goes_on_at_its_bar_and_has_one_result() -> None:
    events = play(plan_of(), Asking((beat(4), PassControl.PAUSE), (paused, PassControl.RESUME)))
    (pause,) = [event for event in events if isinstance(event, TakePaused)]
    assert pause == TakePaused("", 2)
    at = [i for i, event in enumerate(events) if isinstance(event, TakeResumed | PassStarted)]
    resumed, started = (events[i] for i in at[1:])
    assert isinstance(resumed, TakeResumed)
    assert isinstance(started, PassStarted)
    assert QUAY.steps[started.first].bar == 2
    result = result_of(events)
    assert [mark.step.index for mark in result.marks] == [step.index for step in QUAY.steps]
    whole = result_of(list(run_take(plan_of())))
    for mark, other in zip(result.marks, whole.marks, strict=True):
        assert mark.measured.cents == pytest.approx(other.measured.cents, abs=1.0)


def test_while_paused_nothing_is_marked_and_readings_are_shown() -> None:
    count = iter(range(10_000))
    later = lambda event: heard(event) and next(count) > 300  # noqa: E731
    events = play(plan_of(), Asking((beat(4), PassControl.PAUSE), (later, PassControl.RESUME)))
    first = next(i for i, event in enumerate(events) if isinstance(event, TakePaused))
    last = next(i for i, event in enumerate(events) if isinstance(event, TakeResumed))
    between = events[first + 1 : last]
    assert len(between) > 100
    assert all(isinstance(event, ReadingHeard) for event in between)
    end = [event.reading for event in between if isinstance(event, ReadingHeard)][-1]
    assert not end.sounding, "the player is silent while it waits"


def test_going_back_plays_a_bar_again_and_its_new_marks_count() -> None:
    events = play(plan_of(), Asking((beat(7), PassControl.GO_BACK)))
    assert [QUAY.steps[e.first].bar for e in events if isinstance(e, PassStarted)] == [0, 2]
    played = [event.mark.step.index for event in events if isinstance(event, StepMarked)]
    assert played.count(4) > 1, "the first of bar 2 was played twice"
    result = result_of(events)
    assert [mark.step.index for mark in result.marks] == [step.index for step in QUAY.steps]


def test_back_while_paused_goes_a_bar_further_each_time_and_no_further_than_the_first() -> None:
    events = play(
        plan_of(),
        Asking(
            (beat(10), PassControl.PAUSE),
            (paused, PassControl.GO_BACK),
            (paused, PassControl.GO_BACK),
            (paused, PassControl.GO_BACK),
            (paused, PassControl.GO_BACK),
            (paused, PassControl.RESUME),
        ),
    )
    assert [event.bar for event in events if isinstance(event, TakePaused)] == [4, 3, 2, 1, 1]
    result = result_of(events)
    assert [mark.step.index for mark in result.marks] == [step.index for step in QUAY.steps]


def test_back_stays_in_the_bars_that_are_played() -> None:
    events = play(plan_of(bars=(2, 4)), Asking((beat(4), PassControl.GO_BACK)))
    assert [QUAY.steps[e.first].bar for e in events if isinstance(e, PassStarted)] == [2, 2]
    assert {mark.step.bar for mark in result_of(events).marks} == {2, 3, 4}


def test_a_take_stopped_while_paused_counts_the_steps_due() -> None:
    events: list[Event] = []
    asking = Asking((beat(4), PassControl.PAUSE))
    for event in run_take(plan_of(), lambda: any(map(paused, events)), asking):
        events.append(event)
        asking.see(event)
    result = result_of(events)
    assert [mark.step.index for mark in result.marks] == [0, 1, 2, 3]
    assert result.unplayed == len(QUAY.steps) - 4
    assert not result.passed


def test_a_free_drill_goes_on_at_the_bar_that_was_reached() -> None:
    marks = iter(range(10))
    third = lambda event: isinstance(event, StepMarked) and next(marks) == 2  # noqa: E731
    events = play(plan_of(WAITS), Asking((third, PassControl.GO_BACK)))
    assert [WAITS.steps[e.first].bar for e in events if isinstance(e, PassStarted)] == [1, 1]


def test_a_loop_and_a_climbing_tempo_go_on_after_a_pause() -> None:
    ended: list[Event] = []
    asking = Asking((beat(4), PassControl.PAUSE), (paused, PassControl.RESUME))
    clocks = []
    plan = replace(plan_of(), source=PlayerSpec(), loop=True, climb=Climb(10.0, 130.0, 1))
    for event in run_take(plan, lambda: len(ended) >= 3, asking):
        asking.see(event)
        if isinstance(event, PassStarted):
            clocks.append(event)
        if isinstance(event, PassEnded):
            ended.append(event)
    tempos = [event.clock.tempo for event in clocks if event.clock]
    assert tempos == [120.0, 120.0, 130.0, 130.0]


def test_a_climb_by_nothing_keeps_the_drills_own_ladder_down() -> None:
    climbing = replace(QUAY, climb=Climb(10.0, 150.0, 1))
    assert Plan(Harp.of("C"), PlayerSpec(), drill=climbing).ladder == climbing.climb
    stays = Plan(Harp.of("C"), PlayerSpec(), drill=climbing, climb=Climb(0.0, 300.0))
    assert stays.ladder is None


def test_a_saved_take_with_pauses_gets_the_same_marks_to_the_last_digit(tmp_path: Path) -> None:
    flac = tmp_path / "take.flac"
    first = result_of(
        play(
            plan_of(save=flac),
            Asking(
                (beat(5), PassControl.PAUSE),
                (paused, PassControl.RESUME),
                (beat(7), PassControl.GO_BACK),
            ),
        )
    )
    again = result_of(list(run_take(Plan(Harp.of("C"), RecordingSpec(flac), drill=QUAY))))
    assert [asdict(mark) for mark in again.marks] == [asdict(mark) for mark in first.marks]


def test_a_recording_says_that_it_cannot_be_paused(tmp_path: Path) -> None:
    flac = tmp_path / "take.flac"
    list(run_take(plan_of(save=flac)))
    events = play(
        Plan(Harp.of("C"), RecordingSpec(flac), drill=QUAY), Asking((beat(2), PassControl.PAUSE))
    )
    (notice,) = [event for event in events if isinstance(event, Notice)]
    assert "cannot be paused" in notice.sentence
    assert len(result_of(events).marks) == len(QUAY.steps)


def test_the_screen_counts_the_steps_of_the_whole_pass() -> None:
    take = TakeState(plan_of())
    for event in play(plan_of(), Asking((beat(7), PassControl.GO_BACK))):
        take.apply(event)
        state = VerdictState.of(take)
        assert state.marked <= state.total == len(QUAY.steps)
    assert state.marked == state.total
