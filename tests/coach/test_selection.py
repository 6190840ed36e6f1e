"""How the daily set is chosen, from drills and statuses made by hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, timedelta

import pytest

from trainer.coach import (
    DrillStatus,
    DrillTraits,
    Reason,
    SetEntry,
    SuccessRate,
    Trait,
    TraitKind,
    Wishes,
    choose_entries,
)
from trainer.coach.parameters import DURATION, SELECTION
from trainer.coach.set_entry import expected_take_count
from trainer.drill import parse_drill, read_course
from trainer.harp import Harp
from trainer.store import Focus, Placement

TODAY = date(2026, 5, 14)
DRILL = parse_drill('title = "T"\nharp = "C"\ntempo = 60\ntab = "4 -4 5 -5"\n', "t")
TAKE_S = 20.0


def drill(
    name: str,
    *,
    level: int = 1,
    skill: str = "single notes",
    trains: Mapping[Trait, float] | None = None,
    strain: float = 0.0,
    warm_up: bool = False,
    music: bool = False,
    take_s: float = TAKE_S,
) -> DrillTraits:
    written = replace(DRILL, name=name, title=name.title(), level=level, skills=(skill,))
    return DrillTraits(written, Harp.of(), trains or {}, strain, warm_up, music, take_s)


def status(
    name: str,
    *,
    last: int = 3,
    due: int = 0,
    score: float = 85.0,
    best: float | None = None,
    recall: float = 0.9,
) -> DrillStatus:
    """Last played `last` days ago, due `due` days from today."""
    best = score if best is None else best
    return DrillStatus(
        name,
        3,
        TODAY - timedelta(days=last),
        score,
        best,
        score >= 80.0,
        best >= 80.0,
        TODAY + timedelta(days=due),
        recall,
    )


def chosen(
    drills: Iterable[DrillTraits],
    statuses: Iterable[DrillStatus] = (),
    *,
    weak: Iterable[Trait] = (),
    minutes: float = 20.0,
    kept: Iterable[SetEntry] = (),
    focus: Focus | None = None,
    placements: Mapping[str, Placement] | None = None,
) -> tuple[SetEntry, ...]:
    wishes = Wishes(focus, placements or {})
    rates = {trait: weak_rate(trait, place) for place, trait in enumerate(weak)}
    by_name = {known.drill: known for known in statuses}
    return choose_entries(tuple(drills), by_name, rates, TODAY, minutes, tuple(kept), wishes)


def weak_rate(trait: Trait, place: int = 0) -> SuccessRate:
    """A weak trait; the first is the weakest."""
    return SuccessRate(*trait, 12, 4, 0.3 + 0.05 * place, 0.9, 0.99, 10.0, f"{trait[1]} is weak")


def reasons(entries: Iterable[SetEntry]) -> dict[str, Reason]:
    return {entry.drill: entry.reason for entry in entries}


def names(entries: Iterable[SetEntry], *wanted: Reason) -> list[str]:
    return [entry.drill for entry in entries if entry.reason in wanted]


def seconds(passes: int, chance: float, read_s: float, take_s: float = TAKE_S) -> float:
    takes = expected_take_count(chance, passes, 2 * passes + 1)
    return read_s + takes * (take_s + DURATION.between_takes_s)


# --- what is due ------------------------------------------------------------------------------


def test_due_drills_come_in_the_order_in_which_they_are_forgotten() -> None:
    """The names and the days of practice would sort them otherwise."""
    recalls = {"a": 0.8, "b": 0.5, "c": 0.9, "d": 0.5}
    drills = [drill(name, skill=name) for name in recalls]
    statuses = [status(name, recall=recall) for name, recall in recalls.items()]
    assert names(chosen(drills, statuses, minutes=7.9), Reason.DUE) == ["b", "d", "a", "c"]


@pytest.mark.parametrize(
    ("due", "reason"), [(-3, Reason.DUE), (0, Reason.DUE), (1, Reason.DUE), (4, Reason.KEEP)]
)
def test_a_drill_is_due_on_its_day_and_soon_after_half_of_the_interval(
    due: int, reason: Reason
) -> None:
    """Played three days ago: due in one day is soon, due in four is not."""
    assert reasons(chosen([drill("a")], [status("a", due=due)])) == {"a": reason}


def test_a_due_drill_comes_before_one_that_is_due_soon() -> None:
    drills = [drill("a"), drill("b"), drill("c")]
    statuses = [status("a", due=2), status("b", due=1), status("c", due=-9, recall=0.99)]
    two = 2.5 * seconds(1, 0.9, DURATION.read_s) / 60.0
    assert set(reasons(chosen(drills, statuses, minutes=two))) == {"c", "b"}


def test_what_was_played_yesterday_comes_last() -> None:
    drills = [drill("a"), drill("b")]
    statuses = [status("a", last=1, due=30, recall=0.1), status("b", last=2, due=30, recall=0.9)]
    assert set(reasons(chosen(drills, statuses, minutes=1.0))) == {"b"}
    statuses[1] = replace(statuses[1], recall=0.05)
    assert set(reasons(chosen(drills, statuses, minutes=1.0))) == {"b"}


def test_due_drills_come_before_new_ones() -> None:
    due = [drill(f"due {i}", skill=str(i)) for i in range(5)]
    statuses = [status(known.drill.name) for known in due]
    new = [drill(f"new {i}") for i in range(3)]
    whole = sum(entry.seconds for entry in chosen(due, statuses)) / 60.0
    full = chosen([*new, *due], statuses, minutes=whole + 0.1)
    assert set(reasons(full).values()) == {Reason.DUE}
    # Of the time that is left, new drills may take up to 30 % of the whole.
    some = chosen([*new, *due], statuses, minutes=whole + 4.0)
    assert len(names(some, Reason.DUE)) == 5
    assert len(names(some, Reason.NEW)) == 1


@pytest.mark.parametrize(("minutes", "most"), [(5.0, 6), (10.0, 8), (20.0, 12), (45.0, 22)])
def test_a_busy_day_has_few_drills_and_fills_its_minutes(minutes: float, most: int) -> None:
    due = [drill(f"due {i:02}", skill=str(i)) for i in range(60)]
    statuses = [status(known.drill.name, recall=0.5 + 0.005 * i) for i, known in enumerate(due)]
    entries = chosen(due, statuses, minutes=minutes)
    assert len(entries) <= most
    planned = sum(entry.seconds for entry in entries)
    assert 0.85 * 60.0 * minutes <= planned <= 60.0 * minutes
    first = {known.drill.name for known in due[: len(entries)]}
    assert set(names(entries, Reason.DUE)) == first  # those most likely to be forgotten


def test_new_drills_take_at_most_30_percent_before_what_will_be_due_soon() -> None:
    soon = [drill(f"soon {i}", skill=str(i)) for i in range(20)]
    new = [drill(f"new {i}") for i in range(3)]
    statuses = [status(known.drill.name, due=1) for known in soon]
    entries = chosen([*new, *soon], statuses, minutes=11.0)
    known = seconds(2, 0.4, DURATION.read_new_s)
    assert known <= 0.3 * 660.0 < 2.0 * known
    assert len(names(entries, Reason.NEW)) == 1


# --- the warm-up ------------------------------------------------------------------------------


def test_the_warm_up_is_easy_known_and_first() -> None:
    drills = [
        drill("hard"),
        drill("high", warm_up=True, level=4),
        drill("lost", warm_up=True),
        drill("new", warm_up=True),
        drill("good", warm_up=True, level=3),
    ]
    statuses = [status("hard"), status("high"), status("lost", score=70.0), status("good", due=9)]
    entries = chosen(drills, statuses, minutes=30.0)
    assert names(entries, Reason.WARM_UP) == ["good"]
    assert entries[0].drill == "good"


def test_a_warm_up_that_is_due_or_rested_longest_is_taken() -> None:
    drills = [drill(name, warm_up=True) for name in "abcd"]
    statuses = [
        status("a", due=5, last=9),
        status("b", due=0, last=2),
        status("c", due=-1, last=4),
        status("d", due=5, last=20),
    ]
    entries = chosen(drills, statuses, minutes=30.0)
    assert names(entries, Reason.WARM_UP) == ["c", "b"]
    entries = chosen(drills, [known for known in statuses if known.due > TODAY], minutes=30.0)
    assert names(entries, Reason.WARM_UP) == ["d", "a"]


def test_the_warm_up_takes_at_most_15_percent() -> None:
    drills = [drill(name, warm_up=True) for name in "abc"]
    statuses = [status(name) for name in "abc"]
    known = seconds(1, 0.9, DURATION.read_s) / 60.0
    assert names(chosen(drills, statuses, minutes=1.9 * known / 0.15), Reason.WARM_UP) == ["a"]
    assert len(names(chosen(drills, statuses, minutes=2.1 * known / 0.15), Reason.WARM_UP)) == 2
    assert len(names(chosen(drills, statuses, minutes=9.0 * known / 0.15), Reason.WARM_UP)) == 2


# --- what is to be enjoyed --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("last", "score", "best", "enjoyed"),
    [(5, 85.0, 90.0, True), (4, 85.0, 90.0, False), (5, 85.0, 89.0, False), (5, 79.0, 95.0, False)],
)
def test_a_drill_to_enjoy_went_well_and_has_rested(
    last: int, score: float, best: float, enjoyed: bool
) -> None:
    entries = chosen([drill("a")], [status("a", last=last, due=9, score=score, best=best)])
    assert (reasons(entries)["a"] is Reason.ENJOY) is enjoyed


def test_music_is_enjoyed_before_exercises_and_what_rested_longest_first() -> None:
    drills = [drill("a"), drill("b"), drill("c", music=True), drill("d"), drill("e", music=True)]
    statuses = [
        status("a", last=20, best=95.0),
        status("b", last=30, best=92.0),
        status("c", last=6, best=92.0),
        status("d", last=20, best=99.0),
        status("e", last=9, best=92.0),
    ]
    entries = chosen(drills, [replace(known, due=TODAY + timedelta(days=40)) for known in statuses])
    assert names(entries, Reason.ENJOY) == ["e", "c", "b"]
    few = chosen(drills[:2] + drills[3:4], [statuses[i] for i in (0, 3)])
    assert names(few, Reason.ENJOY)[0] == "d"  # rested as long, and better
    assert entries[-1].reason is Reason.ENJOY


def test_a_short_set_has_no_room_for_joy_before_what_is_due() -> None:
    drills = [drill("song", music=True), drill("a"), drill("b")]
    statuses = [status("song", last=9, due=30, best=99.0), status("a"), status("b")]
    two = 2.0 * seconds(1, 0.9, DURATION.read_s) / 60.0 + 0.01
    assert two < SELECTION.short_set_min
    assert set(reasons(chosen(drills, statuses, minutes=two))) == {"a", "b"}


# --- what is weak -----------------------------------------------------------------------------

BEND: Trait = (TraitKind.ENTRY, "-4'")
TIME: Trait = (TraitKind.CRITERION, "time")
SPLITS: Trait = (TraitKind.SKILL, "splits")


def test_the_drill_that_trains_most_of_a_weak_trait_is_taken() -> None:
    drills = [
        drill("some", trains={BEND: 0.3}),
        drill("most", trains={BEND: 0.6}),
        drill("hardly", trains={BEND: 0.09}),
        drill("new", trains={BEND: 1.0}),
    ]
    statuses = [status(name, due=9) for name in ("some", "most", "hardly")]
    entries = chosen(drills, statuses, weak=[BEND])
    assert names(entries, Reason.WEAK) == ["most"]
    (weak,) = [entry for entry in entries if entry.reason is Reason.WEAK]
    assert weak.why == "-4' is weak; 60 % of the notes of this drill train it"
    assert names(chosen(drills[2:], statuses[2:], weak=[BEND]), Reason.WEAK) == []
    assert (weak.passes, weak.most) >= (2, 5)


def test_a_drill_that_was_just_played_is_worth_less() -> None:
    drills = [drill("most", trains={BEND: 0.6}), drill("some", trains={BEND: 0.3})]
    entries = chosen(drills, [status("most", last=1), status("some", last=3)], weak=[BEND])
    assert names(entries, Reason.WEAK) == ["some"]
    entries = chosen(drills, [status("most", last=2), status("some", last=9)], weak=[BEND])
    assert names(entries, Reason.WEAK) == ["most"]


def test_two_weak_traits_at_most_and_none_that_is_trained_already() -> None:
    traits: list[Trait] = [BEND, TIME, SPLITS]
    drills = [drill(str(i), trains={trait: 0.5}) for i, trait in enumerate(traits)]
    statuses = [status(str(i), due=9) for i in range(3)]
    entries = chosen(drills, statuses, weak=traits, minutes=60.0)
    assert set(names(entries, Reason.WEAK)) == {"0", "1"}
    drills[0] = drill("0", trains={BEND: 0.5, TIME: 0.2})
    entries = chosen(drills, statuses, weak=traits, minutes=60.0)
    assert set(names(entries, Reason.WEAK)) == {"0", "2"}
    assert "splits is weak; this drill trains it" in {entry.why for entry in entries}


def test_only_a_drill_for_a_weak_trait_counts_as_training_another() -> None:
    """The warm-up holds the weak entry too, and is not played for it."""
    drills = [drill("a", warm_up=True, trains={BEND: 0.5}), drill("b", trains={BEND: 0.4})]
    entries = chosen(drills, [status("a"), status("b", due=9)], weak=[BEND])
    assert reasons(entries) == {"a": Reason.WARM_UP, "b": Reason.WEAK}


def test_weak_traits_take_at_most_30_percent_and_one_drill_more() -> None:
    drills = [drill(str(i), trains={trait: 0.5}) for i, trait in enumerate((BEND, TIME))]
    statuses = [status(str(i), due=9) for i in range(2)]
    known = seconds(2, 0.9, DURATION.read_s) / 60.0
    assert known > 0.3 * SELECTION.short_set_min / 3
    entries = chosen(
        [drill("0", trains={BEND: 0.5}, take_s=90.0), drills[1]],
        statuses,
        weak=[BEND, TIME],
        minutes=9.0,
    )
    assert names(entries, Reason.WEAK) == ["0"]


def test_a_weak_trait_that_was_trained_today_is_not_trained_again() -> None:
    drills = [drill("0", trains={BEND: 0.5}), drill("1", trains={BEND: 0.5})]
    statuses = [status("0", due=9), status("1", due=9)]
    (first,) = [e for e in chosen(drills, statuses, weak=[BEND]) if e.reason is Reason.WEAK]
    again = chosen(drills, statuses, weak=[BEND], kept=[first])
    assert names(again, Reason.WEAK) == []
    assert first.drill not in reasons(again)


# --- new drills -------------------------------------------------------------------------------


def test_new_drills_come_in_the_order_of_levels_and_of_the_course() -> None:
    drills = [drill("d", level=2), drill("c"), drill("a"), drill("b", level=2), drill("z")]
    entries = chosen(drills, minutes=60.0)
    assert names(entries, Reason.NEW) == ["c", "a", "z"]
    known = [drill(f"known {i}") for i in range(8)]
    statuses = [status(traits.drill.name, due=30, last=1) for traits in known]
    entries = chosen([*drills[:4], *known], statuses, minutes=60.0)
    assert names(entries, Reason.NEW) == ["c", "a", "d"]


@pytest.mark.parametrize(("passed", "level"), [(1, 1), (2, 2), (3, 2)])
def test_a_level_opens_when_two_thirds_of_the_one_below_were_passed(
    passed: int, level: int
) -> None:
    first = [drill(f"first {i}") for i in range(3)]
    statuses = [status(f"first {i}", due=9, score=85.0) for i in range(passed)]
    statuses += [status(f"first {i}", due=9, score=60.0) for i in range(passed, 3)]
    entries = chosen([*first, drill("second", level=2), drill("third", level=3)], statuses)
    assert max(entry.drill in ("second", "third") for entry in entries) == (level == 2)
    assert "third" not in reasons(entries)


def test_a_level_stays_open_once_passed() -> None:
    first = [drill(f"first {i}") for i in range(3)]
    statuses = [status(f"first {i}", due=9, score=60.0, best=90.0) for i in range(3)]
    entries = chosen([*first, drill("second", level=2)], statuses)
    assert reasons(entries)["second"] is Reason.NEW
    (new,) = [entry for entry in entries if entry.reason is Reason.NEW]
    assert new.why == "level 2; 3 of 3 drills of level 1 passed"


def test_a_level_of_which_a_drill_was_passed_is_open() -> None:
    drills = [drill("first"), drill("third", level=3), drill("other third", level=3)]
    entries = chosen(drills, [status("third", due=9)])
    assert reasons(entries)["other third"] is Reason.NEW


def test_where_two_passes_do_not_fit_one_does() -> None:
    read = DURATION.read_new_s
    known, two = (seconds(passes, 0.4, read) / 60.0 for passes in (1, 2))
    assert chosen([drill("a")], minutes=known - 0.01) == ()
    assert [entry.passes for entry in chosen([drill("a")], minutes=two - 0.01)] == [1]
    assert [entry.passes for entry in chosen([drill("a")], minutes=two + 0.01)] == [2]


def test_minutes_that_are_left_bring_more_takes_of_what_is_new_or_weak() -> None:
    (entry,) = chosen([drill("a")], minutes=60.0)
    assert (entry.passes, entry.most) == (6, 13)
    (entry,) = chosen([drill("a")], [status("a")], minutes=60.0)
    assert (entry.passes, entry.most) == (1, 3)


# --- time -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("score", "recall", "chance"),
    [(85.0, 0.7, 0.7), (85.0, 0.2, 0.5), (85.0, 0.99, 0.95), (60.0, 0.9, 0.5)],
)
def test_takes_are_expected_by_the_recall(score: float, recall: float, chance: float) -> None:
    (entry,) = chosen([drill("a")], [status("a", score=score, recall=recall)])
    assert entry.seconds == pytest.approx(seconds(1, chance, DURATION.read_s))
    assert entry.last == score


def test_the_set_never_takes_longer_than_its_minutes() -> None:
    drills = [drill(str(i), take_s=11.0 * i) for i in range(12)]
    statuses = [status(str(i)) for i in range(9)]
    for minutes in (2.0, 5.0, 11.0, 23.0):
        entries = chosen(drills, statuses, minutes=minutes)
        assert sum(entry.seconds for entry in entries) <= 60.0 * minutes
    kept = chosen(drills[:3], statuses[:3])
    spent = sum(entry.seconds for entry in kept)
    entries = chosen(drills, statuses, minutes=10.0, kept=kept)
    assert sum(entry.seconds for entry in entries) <= 600.0 - spent
    assert not {entry.drill for entry in kept} & set(reasons(entries))


# --- the order --------------------------------------------------------------------------------


def test_skills_take_turns() -> None:
    skills = {"a": "x", "b": "x", "c": "y", "d": "y"}
    drills = [drill(name, skill=skill) for name, skill in skills.items()]
    statuses = [status(name, recall=0.5 + 0.1 * i) for i, name in enumerate(skills)]
    assert [entry.drill for entry in chosen(drills, statuses)] == ["a", "c", "b", "d"]


def test_hard_drills_are_spread_among_easy_ones() -> None:
    drills = [drill(name, skill=name, strain=0.3 if name in "ab" else 0.29) for name in "abcdef"]
    statuses = [status(name, recall=0.4 + 0.05 * i) for i, name in enumerate("abcdef")]
    order = [entry.drill for entry in chosen(drills, statuses)]
    assert order == ["c", "d", "a", "e", "f", "b"]


# --- the course -------------------------------------------------------------------------------


def test_new_drills_wait_until_their_stage_is_open() -> None:
    """Of the course as shipped; a drill in no stage does not wait."""
    first, second = read_course()[:2]
    drills = [drill(name) for name in (*first.drills, *second.drills, "my-own")]
    new = names(chosen(drills, minutes=60.0), Reason.NEW)
    assert new
    assert set(new) <= {*first.drills, "my-own"}
    passed = [status(name) for name in first.drills]
    assert set(names(chosen(drills, passed, minutes=60.0), Reason.NEW)) & set(second.drills)
