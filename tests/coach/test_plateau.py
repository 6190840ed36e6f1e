"""Plateaus: found where scores stay, not where they rise, and what is done about them.

Players here are made of scores with normal noise; nothing of the coach's constants was chosen on
them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from tests.coach.test_day import take
from tests.coach.test_selection import chosen, drill
from tests.coach.test_selection import status as status_of
from trainer.coach import DrillStatus, Plateau, Reason, drill_statuses, present_tolerance
from trainer.coach.parameters import PLATEAU
from trainer.coach.plateau import find_plateau
from trainer.drill import Drill, Tightening, find_drill
from trainer.store import StepRecord, TakeRecord

TODAY = date(2026, 5, 14)
STUCK = find_drill("half-step-on-three")
FREE = find_drill("bends-that-wait")
REACHED = 25.0
"""Tolerance in cents of a new player on the drill."""
Days = dict[date, list[TakeRecord]]


def days_of(scores: list[float], every: int = 2, tempo: float = 1.0, end: int = 1) -> Days:
    """A take every few days, the last one `end` days ago."""
    days: Days = {}
    for back, score in zip(range(len(scores) - 1, -1, -1), scores, strict=True):
        day = TODAY - timedelta(days=end + every * back)
        days[day] = [take(STUCK, day, max(score, 0.0), tempo=tempo * STUCK.tempo)]
    return days


def share_found(gain: float, runs: int = 60, count: int = 21) -> float:
    """Fraction of six weeks that are called a plateau, by the gain in points over all of them."""
    rng = np.random.default_rng(1)
    plateaus = 0
    for _ in range(runs):
        scores = 41.0 + gain * np.linspace(0.0, 1.0, count) + rng.normal(0.0, 5.0, count)
        plateaus += find_plateau(STUCK, days_of(scores.tolist()), TODAY) is not None
    print(f"{gain:g} points in six weeks: a plateau in {plateaus / runs:.0%}")
    return plateaus / runs


def test_scores_that_stay_are_a_plateau_and_those_that_rise_are_none() -> None:
    assert share_found(0.0) > 0.9
    assert share_found(25.0) <= 0.05


def test_forty_one_for_six_weeks_is_named_with_its_first_day() -> None:
    rng = np.random.default_rng(2)
    scores = (41.0 + rng.normal(0.0, 3.0, 21)).tolist()
    plateau = find_plateau(STUCK, days_of(scores), TODAY)
    assert plateau is not None
    assert plateau.score == pytest.approx(41.0, abs=3.0)
    assert plateau.since == TODAY - timedelta(days=41)
    assert plateau.tempo == round(PLATEAU.slow_ratio * STUCK.tempo)


@pytest.mark.parametrize(
    "scores",
    [
        [41.0] * 7,  # too few days
        [41.0] * 20 + [95.0],  # passed
        [20.0] * 10 + [60.0] * 6,  # a step up, and little since
    ],
)
def test_what_is_no_plateau(scores: list[float]) -> None:
    assert find_plateau(STUCK, days_of(scores), TODAY) is None


def test_many_days_within_a_week_are_none_yet() -> None:
    assert find_plateau(STUCK, days_of([41.0] * 12, every=1), TODAY) is None


def test_it_goes_slower_then_faster_then_rests_and_returns() -> None:
    stuck = days_of([41.0] * 15, end=12)
    plateau = find_plateau(STUCK, stuck, TODAY)
    assert plateau is not None
    assert plateau.tempo == round(0.8 * STUCK.tempo)
    passed = find_plateau(STUCK, stuck | days_of([90.0], tempo=0.8), TODAY)
    assert passed is not None
    assert passed.tempo == pytest.approx(0.9 * STUCK.tempo, abs=1.0)
    slow = stuck | days_of([45.0] * 4, tempo=0.8, end=2)
    resting = find_plateau(STUCK, slow, TODAY)
    assert resting is not None
    assert (resting.tempo, resting.rests_until) == (None, TODAY + timedelta(days=12))
    back = find_plateau(STUCK, slow, TODAY + timedelta(days=12))
    assert back is not None
    assert (back.tempo, back.rests_until) == (None, None)


def marked(drill: Drill, day: date, bad_bar: int, pitch: float) -> TakeRecord:
    """A take with one bad bar, and some points for the pitch of every note."""
    steps = tuple(
        StepRecord(
            index=step.index,
            tab=step.tab,
            kind="note",
            entry=None,
            care="plain",
            beats=float(step.beats),
            score=10.0 if step.bar == bad_bar else 80.0,
            parts={"pitch": pitch},
            sentence="",
        )
        for step in drill.steps
    )
    return replace(take(drill, day, 41.0), steps=steps)


def of_bars(bars: tuple[int, int], ratio: float, score: float, ends: list[int]) -> list[TakeRecord]:
    """Takes of some bars; `ends` are the days since each."""
    takes = []
    for end in ends:
        day = TODAY - timedelta(days=end)
        played = take(STUCK, day, score, tempo=ratio * STUCK.tempo)
        takes.append(replace(played, whole=False, first_bar=bars[0], last_bar=bars[1]))
    return takes


def test_after_slower_come_the_hardest_bars_then_a_wider_tolerance_then_rest() -> None:
    stuck = days_of([41.0] * 15, end=30)
    slow = stuck | days_of([45.0] * 3, tempo=0.8, end=20)
    marks = [marked(STUCK, TODAY - timedelta(days=20), bad_bar=2, pitch=40.0)]

    def found(days: Days, bars: list[TakeRecord]) -> Plateau:
        plateau = find_plateau(STUCK, days, TODAY, bars, marks)
        assert plateau is not None
        return plateau

    first = found(slow, [])
    assert first.bars is not None
    assert first.bars[0] <= 2 <= first.bars[1]
    assert first.bars != (1, STUCK.bars)
    assert (first.tempo, first.tolerance) == (round(0.8 * STUCK.tempo), None)
    # A pass of the bars brings them nearer to the tempo, and another one the whole drill back.
    passed = of_bars(first.bars, 0.8, 95.0, [18])
    assert found(slow, passed).bars == first.bars
    assert found(slow, passed).tempo == round(0.9 * STUCK.tempo)
    again = found(slow, passed + of_bars(first.bars, 0.9, 95.0, [17]))
    assert (again.tempo, again.bars, again.tolerance) == (None, None, None)
    # Without a pass, the tolerance is wider next.
    failed = of_bars(first.bars, 0.8, 50.0, [18, 17, 16])
    wide = found(slow, failed)
    assert wide.tolerance == pytest.approx(1.5 * REACHED)
    assert (wide.tempo, wide.bars) == (None, None)

    def wide_days(ratio: float, score: float, ends: list[int]) -> Days:
        days = {TODAY - timedelta(days=end): [] for end in ends}
        for day in days:
            played = take(STUCK, day, score, tempo=STUCK.tempo)
            days[day] = [replace(played, tolerance=ratio * REACHED)]
        return days

    nearer = found(slow | wide_days(1.5, 90.0, [14]), failed)
    assert nearer.tolerance == pytest.approx(1.25 * REACHED, abs=0.06)
    rests = found(slow | wide_days(1.5, 50.0, [6, 5, 4]), failed)
    assert rests.rests_until == TODAY + timedelta(days=10)


def test_the_tolerance_is_widened_only_where_notes_are_out_of_tune() -> None:
    stuck = days_of([41.0] * 15, end=30) | days_of([45.0] * 3, tempo=0.8, end=20)
    failed = of_bars((2, 2), 0.8, 50.0, [18, 17, 16])
    in_tune = [marked(STUCK, TODAY - timedelta(days=20), bad_bar=2, pitch=95.0)]
    plateau = find_plateau(STUCK, stuck, TODAY, failed, in_tune)
    assert plateau is not None
    assert (plateau.tolerance, plateau.rests_until) == (None, None)  # it has rested already
    assert plateau.tempo is None


def test_a_wider_tolerance_neither_ends_a_plateau_nor_tightens() -> None:
    day = TODAY - timedelta(days=1)
    wide = replace(take(STUCK, day, 95.0), tolerance=1.5 * REACHED)
    assert find_plateau(STUCK, days_of([41.0] * 15, end=3) | {day: [wide]}, TODAY) is not None
    as_written = replace(wide, tolerance=REACHED)
    assert find_plateau(STUCK, days_of([41.0] * 15, end=3) | {day: [as_written]}, TODAY) is None
    drill = replace(STUCK, tightening=Tightening(30.0, 5.0, STUCK.goal.tolerance))
    assert present_tolerance(drill, [replace(wide, tolerance=40.0, passed=True)]) == 30.0
    assert present_tolerance(drill, [replace(wide, tolerance=30.0, passed=True)]) == 25.0


def test_a_drill_without_a_tempo_rests() -> None:
    days = {day: [take(FREE, day, 41.0)] for day in days_of([41.0] * 15)}
    plateau = find_plateau(FREE, days, TODAY)
    assert plateau is not None
    assert plateau.rests_until == TODAY + timedelta(days=13)


def test_the_status_of_a_drill_has_its_plateau() -> None:
    takes = [played for day in days_of([41.0] * 15).values() for played in day]
    status = drill_statuses(takes, {STUCK.name: STUCK}, TODAY)[STUCK.name]
    assert status.plateau is not None
    assert not status.is_easy


def with_plateau(status: DrillStatus, plateau: Plateau) -> DrillStatus:
    return replace(status, plateau=plateau)


def test_the_set_says_slower_or_what_comes_instead() -> None:
    since = TODAY - timedelta(days=42)
    drills = [drill("hard", level=3), drill("easy", level=2)]
    stuck = status_of("hard", score=41.0)
    slower = with_plateau(stuck, Plateau(41.0, since, tempo=48.0))
    (entry,) = [e for e in chosen(drills, [slower, status_of("easy")]) if e.drill == "hard"]
    assert entry.tempo == 48.0
    assert entry.why.endswith("at 41 for 6 weeks: slower, at 48 beats a minute")
    for plateau, how in (
        (Plateau(41.0, since, tempo=48.0, bars=(3, 4)), "bars 3 to 4 alone, at 48 beats a minute"),
        (Plateau(41.0, since, bars=(2, 2)), "bar 2 alone"),
        (Plateau(41.0, since, tolerance=15.0), "a wider tolerance, 15 cents"),
    ):
        eased = with_plateau(stuck, plateau)
        (entry,) = [e for e in chosen(drills, [eased, status_of("easy")]) if e.drill == "hard"]
        assert (entry.bars, entry.tolerance) == (plateau.bars, plateau.tolerance)
        assert entry.why.endswith(f"at 41 for 6 weeks: {how}")
    assert entry.counts(whole=True, bars=None)
    assert not entry.counts(whole=False, bars=(3, 4))
    assert replace(entry, bars=(3, 4)).counts(whole=False, bars=(3, 4))
    resting = with_plateau(stuck, Plateau(41.0, since, rests_until=TODAY + timedelta(days=9)))
    entries = chosen(drills, [resting, status_of("easy", due=3)])
    assert [(each.drill, each.reason) for each in entries] == [("easy", Reason.WEAK)]
    assert entries[0].why == "instead of Hard, at 41 for 6 weeks, which rests until 23 May"
    assert entries[0].tempo is None
