"""Passes without hands: they go on by themselves or on a note, and end with silence."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import pytest

from tests.support.hands_free import HandsFreePlayerSpec
from trainer.drill import parse_drill
from trainer.ear import Reading
from trainer.harp import Harp, Tab
from trainer.practice import (
    Event,
    HandsFree,
    HoldPasses,
    Listener,
    PassEnded,
    PassStarted,
    Plan,
    PlayTone,
    ReadingHeard,
    SilenceEnded,
    TakeFinished,
    WaitStarted,
    run_take,
)
from trainer.practice.plan import DURATION
from trainer.practice.session.waiting import WAITING, Decision, Waiting
from trainer.sound import Fault
from trainer.store import Journal

RATE = 1000
DRILL = parse_drill('title = "T"\nharp = "C"\ntempo = 120\ntab = "4:1 5:1 4:1 r:1 |"\n', "t")
PLAN = Plan(Harp.of("C"), HandsFreePlayerSpec(), drill=DRILL, hands_free=HandsFree())


def reading(second: float, tab: str = "") -> Reading:
    sample = round(second * RATE)
    if not tab:
        return Reading(sample, sample, RATE)
    return Reading(sample, sample, RATE, hz=440.0, tab=Tab.parse(tab), cents=0.0)


def decide(waiting: Waiting, *sounds: tuple[float, float, str]) -> tuple[float, object]:
    """Return when a wait ends, and how; `sounds` are (from, to, tab), the rest is silence."""
    for step in range(1, 12_000):
        now = step * 0.01
        tab = next((tab for first, last, tab in sounds if first <= now < last), "")
        decision = waiting.observe(reading(now, tab))
        if isinstance(decision, Decision):
            return now, decision
    raise AssertionError("it waits for ever")


def wait(seconds: float | None, *, armed: bool = False) -> Waiting:
    waiting = Waiting(PLAN, RATE)
    waiting.start(0, seconds, armed=armed)
    return waiting


def test_a_pass_begins_by_itself_after_a_breath_and_the_seconds() -> None:
    assert decide(wait(4.0)) == (pytest.approx(5.0, abs=0.02), Decision.BEGIN)


def test_a_last_note_that_rings_delays_the_breath_and_begins_nothing() -> None:
    when, decision = decide(wait(4.0), (0.0, 0.8, "4"))
    assert decision is Decision.BEGIN
    assert when == pytest.approx(0.8 + 1.0 + 4.0, abs=0.03)


def test_a_note_after_the_breath_begins_a_pass_at_once() -> None:
    when, decision = decide(wait(4.0), (2.0, 3.0, "-4"))
    assert (when, decision) == (pytest.approx(2.0 + WAITING.note_s, abs=0.03), Decision.BEGIN)
    assert decide(wait(None, armed=True), (7.0, 8.0, "6"))[0] == pytest.approx(7.2, abs=0.03)


def test_knocks_and_slides_are_no_note() -> None:
    knocks = [(2.0 + 0.5 * n, 2.05 + 0.5 * n, "4") for n in range(4)]
    assert decide(wait(4.0), *knocks)[0] > 4.0
    slide = [(2.0 + 0.1 * n, 2.1 + 0.1 * n, tab) for n, tab in enumerate(("4", "-4", "5", "-5"))]
    assert decide(wait(4.0), *slide)[0] > 4.0


def test_a_minute_of_silence_ends_it() -> None:
    assert decide(wait(None)) == (pytest.approx(WAITING.limit_s, abs=0.02), Decision.END)
    silent_before = Waiting(PLAN, RATE)
    silent_before.note_sound(reading(10.0, "4"))
    silent_before.start(50 * RATE, None)
    assert decide(silent_before) == (pytest.approx(70.0, abs=0.02), Decision.END)


def test_the_reference_tone_begins_nothing() -> None:
    waiting = wait(None, armed=True)
    waiting.hear_tone(True, 0)
    assert all(waiting.observe(reading(0.01 * n, "4")) is None for n in range(300))
    waiting.hear_tone(False, 3 * RATE)
    assert all(waiting.observe(reading(3.0 + 0.01 * n, "4")) is None for n in range(60))  # echo
    assert decide(waiting, (5.0, 6.0, "4")) == (pytest.approx(5.2, abs=0.03), Decision.BEGIN)


def test_a_held_wait_begins_nothing_and_begins_anew_when_released() -> None:
    waiting = wait(4.0, armed=True)
    assert waiting.hold(True, 0) is None
    for n in range(1, 1000):
        assert waiting.observe(reading(0.01 * n, "4" if 200 < n < 300 else "")) is None
    released = waiting.hold(False, 10 * RATE)
    assert released == WaitStarted(14 * RATE, armed=True)
    assert decide(waiting, (11.0, 12.0, "4")) == (pytest.approx(11.2, abs=0.03), Decision.BEGIN)


@pytest.mark.parametrize("hands_free", [HandsFree(first_s=0.0), None])
def test_no_pass_begins_while_passes_are_held(hands_free: HandsFree | None) -> None:
    """A command in the first pass; without hands, the take ends after a minute of silence."""
    plan = replace(PLAN, hands_free=hands_free, loop=hands_free is None)
    commands = [HoldPasses(True)]
    events = list(run_take(plan, lambda: False, lambda: commands.pop() if commands else None))
    kept = [event for event in events if isinstance(event, PassStarted | PassEnded)]
    assert [type(event) for event in kept] == [PassStarted, PassEnded]
    assert isinstance(events[-1], TakeFinished)


def play(plan: Plan, passes: int, limit: int = 200_000) -> list[Event]:
    """Run a take until a number of passes have ended."""
    events: list[Event] = []

    def over() -> bool:
        return sum(isinstance(event, PassEnded) for event in events) >= passes

    for event in run_take(plan, over):
        if not isinstance(event, ReadingHeard):
            events.append(event)
        assert len(events) < limit
    return events


def kinds(events: list[Event]) -> list[str]:
    kept = (PassStarted, PassEnded, WaitStarted, SilenceEnded, TakeFinished)
    return [type(event).__name__ for event in events if isinstance(event, kept)]


def test_passes_follow_each_other_by_themselves_with_the_marks_of_single_ones(
    tmp_path: Path,
) -> None:
    faults = {1: Fault(cents=-18.0)}
    plan = replace(
        PLAN,
        source=HandsFreePlayerSpec(faults=faults),
        hands_free=HandsFree(first_s=0.0, between_s=0.5),
        journal=tmp_path / "journal.sqlite",
    )
    events = play(plan, 2)
    assert kinds(events) == [
        "PassStarted",
        "PassEnded",
        *("WaitStarted", "WaitStarted"),  # the breath, then the seconds
        "PassStarted",
        "PassEnded",
        "WaitStarted",
        "TakeFinished",
    ]
    (single,) = [
        event.result
        for event in run_take(replace(plan, hands_free=None, journal=None))
        if isinstance(event, PassEnded)
    ]
    for ended in events:
        if isinstance(ended, PassEnded):
            figures = [mark.measured.cents for mark in ended.result.marks]
            expected = [mark.measured.cents for mark in single.marks]
            assert figures == pytest.approx(expected, abs=1.0)
    with Journal(tmp_path / "journal.sqlite") as journal:
        assert len(journal.takes()) == 2


def test_notes_begin_the_passes() -> None:
    source = HandsFreePlayerSpec(notes=(1.0, 3.0))
    events = play(replace(PLAN, source=source, hands_free=HandsFree(None, 60.0)), 2)
    waits = [event for event in events if isinstance(event, WaitStarted)]
    assert waits[0] == WaitStarted(None, armed=True)
    starts = [event.clock for event in events if isinstance(event, PassStarted)]
    count_in_s = 2.0
    first, second = (clock.sample(0) / 48_000 - count_in_s for clock in starts if clock)
    assert 1.2 <= first <= 1.6
    assert second - first < 2.0 + 2.0 + 3.0 + 1.0  # by its note, long before the minute


def test_silence_is_no_pass_and_is_not_stored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("trainer.practice.session.waiting.WAITING", replace(WAITING, limit_s=6.0))
    absent = HandsFreePlayerSpec(faults={step.index: Fault(skip=True) for step in DRILL.steps})
    path = tmp_path / "journal.sqlite"
    plan = replace(
        PLAN, source=absent, hands_free=HandsFree(first_s=0.0, between_s=0.5), journal=path
    )
    events = play(plan, 1)
    assert kinds(events) == [
        "PassStarted",
        *("WaitStarted", "WaitStarted"),
        "SilenceEnded",
        "TakeFinished",
    ]
    assert all(event.until is None for event in events if isinstance(event, WaitStarted))
    with Journal(path) as journal:
        assert not journal.takes()


def test_a_saved_take_of_several_passes_is_marked_as_it_was_played(tmp_path: Path) -> None:
    from trainer.sound import RecordingSpec

    flac = tmp_path / "take.flac"
    source = HandsFreePlayerSpec(faults={1: Fault(cents=15.0)}, notes=(1.0, 2.5))
    events = play(replace(PLAN, source=source, save=flac, hands_free=HandsFree(None, 60.0)), 2)
    live = [event.result for event in events if isinstance(event, PassEnded)]
    again = [
        event.result
        for event in run_take(replace(PLAN, source=RecordingSpec(flac)))
        if isinstance(event, PassEnded)
    ]
    assert [result.score for result in again] == [result.score for result in live]
    assert [m.measured for r in again for m in r.marks] == [
        m.measured for r in live for m in r.marks
    ]


def test_the_listener_process_plays_on_and_stops() -> None:
    source = HandsFreePlayerSpec(notes=(0.5,))
    plan = replace(PLAN, source=source, hands_free=HandsFree(None, DURATION.between_takes_s))
    listener = Listener()
    events: list[Event] = []
    try:
        listener.begin(plan)
        until = time.monotonic() + 30.0
        while not isinstance(events[-1] if events else None, TakeFinished):
            assert time.monotonic() < until
            new = listener.poll()
            if any(isinstance(event, PassEnded) for event in new):
                listener.ask(PlayTone())
                listener.stop()
            events += [event for event in new if not isinstance(event, ReadingHeard)]
            time.sleep(0.002)
    finally:
        listener.close()
    assert kinds(events)[:3] == ["WaitStarted", "PassStarted", "PassEnded"]
