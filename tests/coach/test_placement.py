"""Placements of simulated players whose levels are known, and levels named by hand."""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import replace
from datetime import date

import pytest

from benchmarks.learner import shelf_traits
from tests.coach.test_selection import chosen, drill, names, status
from trainer.coach import (
    CoachError,
    PlacementTest,
    Reason,
    Track,
    find_focus,
    place_by_hand,
)
from trainer.coach.parameters import PLACEMENT
from trainer.coach.placement import track_of
from trainer.store import Focus, Placement

TODAY = date(2026, 5, 14)
TRAITS = shelf_traits()


def placed(levels: dict[Track, int], rng: random.Random) -> PlacementTest:
    """Place a player who passes drills above the level by luck, and fails below by accident.

    The chance of a pass depends on the level of the drill, and on how hard this drill is for this
    player.
    """
    test = PlacementTest(TRAITS)
    while (traits := test.next_drill()) is not None:
        track = track_of(traits)
        assert track is not None
        over = levels[track] + 0.5 - traits.drill.level + rng.gauss(0.0, 0.3)
        chance = 0.03 + 0.94 / (1.0 + math.exp(-over / 0.4))
        test.observe(traits, rng.random() < chance)
    return test


def test_players_are_placed_within_one_level_in_five_minutes() -> None:
    rng = random.Random(1)
    near: Counter[Track] = Counter()
    asked: Counter[Track] = Counter()
    for number in range(315):
        notes = number % 7
        levels = {
            Track.NOTES: notes,
            Track.BENDS: min(max(notes + rng.randint(-1, 3), 3), 9),
            Track.CHORDS: min(max(notes + rng.randint(-1, 1), 1), 5),
            Track.OVERBLOWS: 7,
        }
        test = placed(levels, rng)
        assert test.spent_s <= PLACEMENT.budget_s + 5.0
        near[Track.NOTES] += abs(test.level(Track.NOTES) - notes) <= 1
        asked[Track.NOTES] += 1
        if test.level(Track.BENDS):
            asked[Track.BENDS] += 1
            near[Track.BENDS] += abs(test.level(Track.BENDS) - levels[Track.BENDS]) <= 1
    print({str(track): f"{near[track]} of {count}" for track, count in asked.items()})
    assert all(near[track] >= 0.95 * count for track, count in asked.items())
    assert asked[Track.BENDS] > 275


def test_levels_are_those_of_drills_and_a_beginner_is_one() -> None:
    rng = random.Random(2)
    nothing = dict.fromkeys(Track, 0)
    assert all(each.level == 1 for each in placed(nothing, rng).placements(TODAY))
    levels = {
        each.skill: each.level for each in placed(dict.fromkeys(Track, 9), rng).placements(TODAY)
    }
    for skill in ("single notes", "half-step bends"):
        assert levels[skill] == hardest(skill)


def test_skills_are_named_in_plain_words() -> None:
    assert place_by_hand(TRAITS, ["bends half"], TODAY) == [
        Placement("half-step bends", hardest("half-step bends"), TODAY, True),
        Placement("single notes", hardest("single notes"), TODAY, True),
    ]
    with pytest.raises(CoachError, match="choose of: blow bends, deep bends, half-step bends"):
        place_by_hand(TRAITS, ["bends"], TODAY)
    assert find_focus("-3''", TRAITS) == "-3''"
    assert find_focus("Rhythm", TRAITS) == "rhythm"
    with pytest.raises(CoachError, match="no drill for your harp has -9'''"):
        find_focus("-9'''", TRAITS)


def test_a_placement_opens_levels_is_checked_and_corrected() -> None:
    drills = [drill(f"l{level}", level=level, skill="moves") for level in range(1, 7)]
    drills += [drill("s1", skill="single notes")]
    level = {
        "moves": Placement("moves", 4, TODAY),
        "single notes": Placement("single notes", 1, TODAY),
    }
    opened = chosen(drills, placements=level)
    assert names(opened, Reason.NEW) == ["l5"]
    assert "your placement opens" in next(e.why for e in opened if e.drill == "l5")
    checks = [entry for entry in opened if entry.reason is Reason.KEEP]
    assert {entry.drill for entry in checks} >= {"l4"}
    assert checks[0].why.endswith("this drill checks it")
    # Two of its drills fail: what they are for is new again, and level 5 closes.
    failed = [status("l4", score=40.0), status("l3", score=40.0)]
    assert "l5" not in {entry.drill for entry in chosen(drills, failed, placements=level)}
    passed = [status("l4"), status("l3")]
    assert "l5" in {entry.drill for entry in chosen(drills, passed, placements=level)}


def test_a_focus_comes_into_the_set_with_its_end() -> None:
    trait = find_trait("-3''")
    drills = [drill("a", trains={trait: 0.5}), drill("b"), drill("c", level=4, trains={trait: 0.2})]
    focus = Focus("-3''", TODAY, date(2026, 5, 20))
    entries = {entry.drill: entry for entry in chosen(drills, [status("a", due=9)], focus=focus)}
    assert entries["a"].reason is Reason.WEAK
    assert entries["a"].why == "your focus until Wednesday: -3'', 50 % of the notes"
    assert entries["c"].reason is Reason.NEW  # of a level that is not open yet: it is asked for
    assert "c" not in {entry.drill for entry in chosen(drills, [status("a", due=9)])}


def test_what_is_known_fills_no_set() -> None:
    drills = [drill(f"d{i}", skill=f"s{i}", take_s=30.0) for i in range(12)]
    easy = [replace(status(f"d{i}", due=9, last=2, score=98.0), is_easy=True) for i in range(12)]
    with_others = [*drills, *(drill(f"e{i}", skill=f"t{i}", take_s=60.0) for i in range(10))]
    learning = [status(f"e{i}", due=9, last=2) for i in range(10)]
    kept = names(chosen(with_others, [*easy, *learning]), Reason.KEEP)
    assert len([name for name in kept if name.startswith("d")]) <= 2


def hardest(skill: str) -> int:
    return max(traits.drill.level for traits in TRAITS if traits.main_skill == skill)


def find_trait(name: str) -> tuple:  # type: ignore[type-arg]
    return next(trait for traits in TRAITS for trait in traits.trains if trait[1] == name)
