"""Playing a daily set: from entry to entry, and what is remembered of it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from trainer.coach import DrillTraits, Missing, PlacementTest
from trainer.coach.daily_set import DailySet, open_daily_set
from trainer.coach.set_entry import Reason
from trainer.drill import Drill, Shelf, parse_drill
from trainer.harp import Harp
from trainer.practice import (
    DayEnded,
    EntryEnded,
    EntryStarted,
    PassControl,
    PassEnded,
    PlacementEnded,
    Plan,
    TakeFailed,
    TakeFinished,
    day_session,
    run_day,
    run_placement,
    run_take,
)
from trainer.report.daily_set_report import daily_set_text
from trainer.sound import Fault, PlayerSpec
from trainer.store import Journal


def journal_of(path: Path) -> Journal:
    return Journal(path / "journal.sqlite")


def tiny(name: str, tab: str, **more: object) -> Drill:
    head = "".join(f"{key} = {json.dumps(value)}\n" for key, value in more.items())
    text = f'title = "{name.title()}"\nharp = "C"\ntempo = 240\n{head}tab = """{tab}"""\n'
    return parse_drill(text, name)


TINY = Shelf(
    (
        tiny("buoys", "4:2 -4:2 |", level=1),
        tiny("gulls", "5:2 -5:2 |", level=1),
        tiny("piles", "6:2 -6:2 |", level=1),
    ),
    (),
)
TINY_DRILLS = {drill.name: drill for drill in TINY.drills}


def run_tiny(
    journal: Journal,
    day: DailySet,
    source: PlayerSpec | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> list[Any]:
    base = Plan(Harp.of(), source or PlayerSpec(), journal=journal.path, player="Marit")
    return list(
        run_day(
            day, TINY_DRILLS, base, lambda entry: (entry.harp, "old C"), should_stop=should_stop
        )
    )


def todays(journal: Journal, day: date | None = None) -> DailySet:
    sources = ("microphone", "player")
    return open_daily_set(journal, "Marit", day or date.today(), 4.0, TINY, counted_sources=sources)


def test_a_day_goes_from_drill_to_drill_and_is_remembered(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        events = run_tiny(journal, day)
        began = [event for event in events if isinstance(event, EntryStarted)]
        done = [event for event in events if isinstance(event, EntryEnded)]
        assert [(e.number, e.count, e.entry) for e in began] == [
            (i, 3, entry) for i, entry in enumerate(day.entries, 1)
        ]
        assert [event.entry for event in done] == list(day.entries)
        assert isinstance(events[-1], DayEnded)
        over = events[-1].day
        assert over.left == ()
        takes = journal.takes()
        assert over == todays(journal)  # what was heard is what was written
    assert len(takes) == sum(entry.passes for entry in day.entries)
    assert {(played.player, played.harp.name, played.whole) for played in takes} == {
        ("Marit", "old C", True)
    }
    assert over.score is not None
    assert over.score > 90
    assert over.mean_gain is None


def test_bars_alone_with_a_wider_tolerance_count_for_their_entry(tmp_path: Path) -> None:
    drills = Shelf((tiny("buoys", "4:2 -4:2 | 5:2 -5:2 | 6:2 -6:2 |", level=1),), ())
    with journal_of(tmp_path) as journal:
        sources = ("microphone", "player")

        def opened() -> DailySet:
            today = date.today()
            return open_daily_set(journal, "Marit", today, 4.0, drills, counted_sources=sources)

        day = opened()
        entry = replace(day.entries[0], bars=(2, 2), tolerance=22.0, passes=1)
        journal.save_daily_set("Marit", day.day, day.minutes, [asdict(entry)])
        assert opened().entries == (entry,)
        base = Plan(Harp.of(), PlayerSpec(), journal=journal.path, player="Marit")
        by_name = {drill.name: drill for drill in drills.drills}
        events = list(run_day(opened(), by_name, base, lambda entry: (entry.harp, None)))
        (played,) = journal.takes()
        assert (played.bars, played.whole, played.tolerance) == ((2, 2), False, 22.0)
        assert [step.index for step in played.steps] == [2, 3]
        assert isinstance(events[-1], DayEnded)
        assert events[-1].day == opened()
        assert opened().is_done(entry)


def test_an_empty_set_has_its_reason_and_is_made_again(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:

        def opened(minutes: float, shelf: Shelf = TINY, harp: Harp | None = None) -> DailySet:
            return open_daily_set(journal, "Marit", date.today(), minutes, shelf, harp)

        assert opened(4.0, Shelf((), ())).missing is Missing.DRILLS
        assert opened(4.0, harp=Harp.of("C", "natural-minor")).missing is Missing.HARP
        short = opened(0.05)
        assert short.missing is Missing.TIME
        assert "ask for more with --minutes" in " ".join(daily_set_text(short).split())
        again = opened(0.05)
        assert (again.entries, again.missing) == ((), Missing.TIME)
        assert opened(4.0).missing is None
        assert opened(4.0).entries


def test_a_day_that_was_stopped_is_taken_up_where_it_was(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        ended = 0

        def counted(events: list[Any]) -> list[Any]:
            return [event for event in events if isinstance(event, PassEnded)]

        def after_two() -> bool:
            return len(journal.takes()) >= 2

        events = run_tiny(journal, day, should_stop=after_two)
        over = events[-1].day
        ended = len(counted(events))
        assert over.left
        assert len(over.left) < len(day.entries) or over.played
        rest = run_tiny(journal, todays(journal))
        assert rest[-1].day.left == ()
        whole = sum(entry.passes for entry in day.entries)
        partly = sum(not played.whole for played in journal.takes())
        assert ended + len(counted(rest)) == whole + partly


def test_a_drill_that_does_not_pass_is_left_after_some_takes(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        events = run_tiny(journal, day, PlayerSpec(faults={0: Fault(cents=45.0)}))
        over = events[-1].day
    assert all(len(over.scores(entry)) == entry.most for entry in day.entries)
    assert over.left == ()
    assert max(over.best(entry) or 0.0 for entry in day.entries) < 80


def test_a_take_that_cannot_go_on_ends_the_day(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        events = run_tiny(journal, day, PlayerSpec(faults={7: Fault(cents=9.0)}))  # no such step
        over = events[-1].day
    assert [type(event) for event in events[-3:]] == [TakeFinished, EntryEnded, DayEnded]
    assert over.played == {}
    assert sum(isinstance(event, EntryStarted) for event in events) == 1


# Rests between takes, without their time.


class Rests:
    """Records the rests of a day instead of waiting."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.seconds: list[float] = []
        monkeypatch.setattr(day_session, "rest", lambda seconds, *_: self.seconds.append(seconds))


def live_day(journal: Journal, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """A day whose source counts as live, played by the built-in player."""
    monkeypatch.setattr(PlayerSpec, "is_live", True)
    return run_tiny(journal, todays(journal))


def test_a_live_player_has_time_to_read_and_between_takes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rests = Rests(monkeypatch)
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        events = live_day(journal, monkeypatch)
    began = [event for event in events if isinstance(event, EntryStarted)]
    read_s = [30.0 if entry.reason is Reason.NEW else 12.0 for entry in day.entries]
    assert [event.rest_s for event in began] == read_s
    expected: list[float] = []
    for entry, first_s in zip(day.entries, read_s, strict=True):
        expected += [first_s, *[4.0] * (entry.passes - 1)]
    assert rests.seconds == expected


def test_a_new_drill_that_was_played_today_needs_less_time_to_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Rests(monkeypatch)
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        assert day.entries[0].reason is Reason.NEW
        assert day.entries[0].passes > 1
        run_tiny(journal, day, should_stop=lambda: any(take.whole for take in journal.takes()))
        events = live_day(journal, monkeypatch)
    first = next(event for event in events if isinstance(event, EntryStarted))
    assert first.entry == day.entries[0]
    assert first.rest_s == 12.0


def test_a_player_that_is_not_live_does_not_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rests = Rests(monkeypatch)
    with journal_of(tmp_path) as journal:
        events = run_tiny(journal, todays(journal))
    assert rests.seconds == []
    assert {event.rest_s for event in events if isinstance(event, EntryStarted)} == {0.0}


def test_a_command_or_stopping_ends_a_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    now = 0.0

    def sleep(seconds: float) -> None:
        nonlocal now
        now += seconds

    clock = SimpleNamespace(monotonic=lambda: now, sleep=sleep)
    monkeypatch.setattr(day_session, "time", clock)

    def rested(seconds: float, stop_s: float = 99.0, command_s: float = 99.0) -> float:
        began = now
        day_session.rest(
            seconds,
            lambda: now - began >= stop_s,
            lambda: PassControl.RESUME if now - began >= command_s else None,
        )
        return now - began

    assert rested(4.0) == pytest.approx(4.0, abs=0.06)
    assert rested(4.0, stop_s=1.0) == pytest.approx(1.0, abs=0.06)
    assert rested(4.0, command_s=2.0) == pytest.approx(2.0, abs=0.06)


def test_an_entry_whose_drill_is_gone_is_skipped(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:
        day = todays(journal)
        base = Plan(Harp.of(), PlayerSpec(), journal=journal.path, player="Marit")
        gone = {name: drill for name, drill in TINY_DRILLS.items() if name != day.entries[0].drill}
        events = list(run_day(day, gone, base, lambda entry: (entry.harp, None)))
    began = [event for event in events if isinstance(event, EntryStarted)]
    assert [event.number for event in began] == [2, 3]
    assert [event.entry for event in began] == list(day.entries[1:])


def test_a_day_that_is_stopped_at_once_plays_nothing(tmp_path: Path) -> None:
    with journal_of(tmp_path) as journal:
        (event,) = run_tiny(journal, todays(journal), should_stop=lambda: True)
    assert isinstance(event, DayEnded)
    assert event.day.played == {}


def test_a_take_that_fails_after_its_pass_ends_the_day(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail_at_the_end(*words: Any) -> Iterator[Any]:
        yield from run_take(*words)
        yield TakeFailed("the disk is full")

    monkeypatch.setattr(day_session, "run_take", fail_at_the_end)
    with journal_of(tmp_path) as journal:
        events = run_tiny(journal, todays(journal))
    assert sum(isinstance(event, PassEnded) for event in events) == 1
    assert [type(event) for event in events[-3:]] == [TakeFailed, EntryEnded, DayEnded]
    assert len(events[-1].day.played) == 1


def test_a_take_that_ends_without_a_whole_pass_ends_the_day(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(day_session, "run_take", lambda *_: iter([TakeFinished()]))
    with journal_of(tmp_path) as journal:
        events = run_tiny(journal, todays(journal))
    assert [type(event) for event in events] == [EntryStarted, TakeFinished, EntryEnded, DayEnded]


def test_a_placement_plays_what_it_asks_for_and_stops_where_it_fails(tmp_path: Path) -> None:
    drills = [
        replace(tiny(f"buoy {level}", "4:2 -4:2 |", level=level), skills=("moves",))
        for level in range(1, 7)
    ]
    traits = [DrillTraits.of(drill, Harp.of()) for drill in drills]
    with journal_of(tmp_path) as journal:
        base = Plan(Harp.of(), PlayerSpec(), journal=journal.path, player="Marit")
        events = list(
            run_placement(PlacementTest(traits), base, lambda harp: (harp, None), date.today())
        )
        assert len(journal.takes(player="Marit")) == sum(isinstance(e, PassEnded) for e in events)
        last = events[-1]
        assert isinstance(last, PlacementEnded)
        (placement,) = last.placements
        assert (placement.skill, placement.level >= 5) == ("moves", True)
        silent = Plan(Harp.of(), PlayerSpec(faults={0: Fault(skip=True), 1: Fault(cents=45.0)}))
        *_, ended = run_placement(
            PlacementTest(traits), silent, lambda harp: (harp, None), date.today()
        )
        assert isinstance(ended, PlacementEnded)
        assert all(each.level <= 1 for each in ended.placements)
