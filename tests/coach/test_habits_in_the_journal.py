"""Habits found in the journal, and what follows: levels stay shut, the set picks what trains them.

Takes are results that :func:`trainer.marking.make_mark` has marked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.support import shelf
from trainer.coach import (
    DrillTraits,
    Reason,
    SetEntry,
    TraitKind,
    choose_entries,
    count_tries,
    drill_statuses,
    find_weaknesses,
    success_rates,
)
from trainer.drill import Drill, Step, find_drill, format_sound, parse_drill
from trainer.harp import Harp
from trainer.marking import Measured, Result, find_habits, make_mark, pass_score
from trainer.store import TakeRecord

TODAY = date(2026, 5, 14)
HARP = Harp.of("C")
SHELF = [drill for drill in shelf.SHELF.drills if drill.tuning == "richter"]
Fault = Callable[[Step], dict[str, object]]
"""Changes of the figures of a step."""


def result(drill: Drill, fault: Fault) -> Result:
    marks = []
    for step in drill.steps:
        if step.call:
            continue
        measured = Measured(
            start=0,
            end=24_000,
            late_ms=0.0,
            cents=0.0,
            wobble_cents=1.0,
            drift_cents=0.0,
            scoop_cents=0.0,
            settle_ms=20.0,
            holes=tuple(tab.hole for tab in step.last),
            heard=format_sound(step.first),
        )
        measured = replace(measured, **fault(step))  # type: ignore[arg-type]
        marks.append(make_mark(step, measured, drill.goal, 60_000.0 / drill.tempo, harp=HARP))
    score = pass_score(drill, marks)
    return Result(drill, "C", drill.tempo, tuple(marks), score, score >= drill.goal.pass_mark)


def take(drill: Drill, fault: Fault, days_ago: int = 1) -> TakeRecord:
    began = datetime(2026, 5, 14, 18, tzinfo=UTC) - timedelta(days=days_ago)
    return TakeRecord.of(
        result(drill, fault), HARP, player="Marit", began=began, source="microphone"
    )


def tune(tab: str, name: str = "t", head: str = "") -> Drill:
    return parse_drill(
        f'title = "{name}"\nharp = "C"\ntempo = 80\n{head}\ntab = """\n{tab}\n"""\n', name
    )


def chosen(drills: Iterable[Drill], takes: list[TakeRecord]) -> dict[str, SetEntry]:
    by_name = {drill.name: drill for drill in drills}
    rates = success_rates(count_tries(takes, by_name), TODAY)
    statuses = drill_statuses(takes, by_name, TODAY)
    traits = [DrillTraits.of(drill, HARP) for drill in by_name.values()]
    return {e.drill: e for e in choose_entries(traits, statuses, rates, TODAY, 20.0)}


def faultless(step: Step) -> dict[str, object]:
    return {}


def on_bends(**changes: object) -> Fault:
    return lambda step: dict(changes) if step.first[0].bend else {}


def on_off_beats(**changes: object) -> Fault:
    return lambda step: dict(changes) if step.start.denominator > 1 else {}


def on_all(**changes: object) -> Fault:
    return lambda step: dict(changes)


def leak_below(step: Step) -> dict[str, object]:
    hole = step.first[0].hole
    return {"leak_db": -8.0, "leak_hole": hole - 1} if hole > 1 else {}


def played_natural(step: Step) -> dict[str, object]:
    tab = step.first[0]
    return {
        "heard": str(tab).strip("'"),
        "cents": 100.0 * tab.bend,
        "scoop_cents": 100.0 * tab.bend,
    }


SHALLOW = on_bends(cents=40.0)

# --- levels -----------------------------------------------------------------------------------


def missing_aims(drill: Drill) -> Fault:
    """A gross fault on the criteria that a drill aims at, and nothing else."""
    faults: dict[str, dict[str, object]] = {
        "pitch": {"cents": 60.0},
        "cleanness": {"leak_db": -8.0, "leak_hole": 9},
        "steadiness": {"wobble_cents": 60.0},
    }
    return on_all(**{k: v for aim in drill.aims for k, v in faults[aim.criterion].items()})


def test_a_take_below_its_aim_does_not_open_a_level() -> None:
    def is_plain(drill: Drill) -> bool:
        return not any(step.call or step.is_chord or step.is_gesture for step in drill.steps)

    shelf = list(filter(is_plain, SHELF))
    first = [drill for drill in shelf if drill.level == 1]
    for fault_of, is_open in ((lambda _: faultless, True), (missing_aims, False)):
        takes = [take(drill, fault_of(drill)) for drill in first]
        assert {played.passed for played in takes} == {is_open}
        entries = chosen(shelf, takes)
        assert any(drill.level == 2 for drill in shelf if drill.name in entries) is is_open


def test_a_bend_drill_without_its_bends_is_not_passed() -> None:
    drill = find_drill("half-step-on-four")
    assert take(drill, faultless).passed
    assert not take(drill, SHALLOW).passed
    status = drill_statuses([take(drill, SHALLOW)], {drill.name: drill}, TODAY)[drill.name]
    assert not status.ever_passed


# --- finding habits ---------------------------------------------------------------------------

BENDS = tune("-4:1 -4':1 -3':1 -2':1 | 4:1 -4':1 5:1 -3':1")
OFF_BEATS = tune("4:1/2 5:1/2 4:1/2 -4:1/2 5:1/2 -5:1/2 6:1/2 5:1/2")
SWUNG = tune("4:1/2 5:1/2 4:1/2 -4:1/2 5:1/2 -5:1/2 6:1/2 5:1/2", head="swing = 2")
SWING_MS = 60_000.0 / 80 / 6
PLAIN = tune("4:1 -4:1 5:1 -5:1 | 6:1 -6:1 5:1 4:1")


@pytest.mark.parametrize(
    ("drill", "fault", "habit"),
    [
        (BENDS, SHALLOW, "bends shallow"),
        (BENDS, on_bends(cents=-40.0), "bends deep"),
        (BENDS, on_bends(scoop_cents=90.0, settle_ms=200.0), "bends scooped"),
        (BENDS, lambda s: played_natural(s) if s.first[0].bend else {}, "not bent"),
        (OFF_BEATS, on_off_beats(late_ms=-110.0), "off-beats early"),
        (OFF_BEATS, on_off_beats(late_ms=110.0), "off-beats late"),
        (SWUNG, on_off_beats(late_ms=-SWING_MS), "swing straight"),
        (PLAIN, leak_below, "leaks below"),
        (PLAIN, lambda s: {"leak_db": -8.0, "leak_hole": s.first[0].hole + 1}, "leaks above"),
        (PLAIN, on_all(wobble_cents=20.0), "notes unsteady"),
        (PLAIN, on_all(drift_cents=-40.0), "notes sag"),
    ],
)
def test_the_journal_shows_the_habits_of_the_result(drill: Drill, fault: Fault, habit: str) -> None:
    assert habit in {each.name for each in find_habits(result(drill, fault))}
    takes = [take(drill, fault, day) for day in (1, 2, 3, 4)]
    rates = success_rates(count_tries(takes, {drill.name: drill}), TODAY)
    weak = [rate for rate in find_weaknesses(rates) if rate.kind is TraitKind.HABIT]
    assert weak[0].name == habit
    assert weak[0].sentence.endswith(" on 4 of the last 4 days")


def test_the_whole_harp_being_sharp_is_no_habit_of_the_player() -> None:
    takes = [take(PLAIN, on_all(cents=-30.0), day) for day in (1, 2, 3)]
    rates = success_rates(count_tries(takes, {PLAIN.name: PLAIN}), TODAY)
    assert not any(t.name in ("draws flat", "blows flat") for t in rates.values())


def test_a_fault_on_few_notes_is_no_habit() -> None:
    def shallow_on_two(step: Step) -> dict[str, object]:
        return {"cents": 40.0} if str(step.first[0]) == "-2'" else {}

    takes = [take(BENDS, shallow_on_two, day) for day in (1, 2, 3, 4)]
    rates = success_rates(count_tries(takes, {BENDS.name: BENDS}), TODAY)
    assert not rates[TraitKind.HABIT, "bends shallow"].is_weak


def test_a_take_without_its_drill_has_no_habits() -> None:
    rates = success_rates(count_tries([take(BENDS, SHALLOW)]), TODAY)
    assert not any(rate.kind is TraitKind.HABIT for rate in rates.values())
    changed = tune("4:1 5:1 6:1 5:1 | 6:1 5:1 6:1 5:1")
    rates = success_rates(count_tries([take(BENDS, SHALLOW)], {changed.name: changed}), TODAY)
    assert (TraitKind.HABIT, "bends shallow") not in rates


def test_a_sentence_counts_days_from_two_on_and_notes_before() -> None:
    def sentence(*days: bool) -> str:
        faults = [SHALLOW if is_shallow else faultless for is_shallow in days]
        takes = [take(BENDS, fault, len(days) - day) for day, fault in enumerate(faults)]
        rates = success_rates(count_tries(takes, {BENDS.name: BENDS}), TODAY)
        return rates[TraitKind.HABIT, "bends shallow"].sentence

    assert sentence(True, False, True, True) == "bends not deep enough on 3 of the last 4 days"
    assert sentence(True, True, False, False, True, True) == (
        "bends not deep enough on 2 of the last 4 days"
    )
    assert sentence(True) == "bends not deep enough in 5 of the last 5 notes"


# --- what trains them -------------------------------------------------------------------------


def test_the_set_picks_a_drill_that_aims_at_the_habit() -> None:
    tab = "-4:1 -4':1 -4:1 -4':1 | 5:1 -4':1 4:1 -4':1"
    drills = [
        replace(tune(tab, "beside"), aims=find_drill("on-the-and").aims),
        replace(tune(tab, "aimed"), aims=find_drill("half-step-on-four").aims),
    ]
    trains = [
        DrillTraits.of(d, HARP).trains.get((TraitKind.HABIT, "bends shallow")) for d in drills
    ]
    assert trains == [None, pytest.approx(0.5)]
    takes = [take(drill, SHALLOW, day) for day in (4, 3, 2, 1) for drill in drills]
    entries = chosen(drills, takes)
    assert entries["aimed"].reason is Reason.WEAK
    assert entries["aimed"].why == (
        "bends not deep enough on 4 of the last 4 days; this drill is for it"
    )
    assert entries["beside"].reason is not Reason.WEAK
