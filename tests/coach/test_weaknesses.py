"""Success rates by hand: weights of tries, the prior, and what counts as weak."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from scipy.stats import beta

from trainer.coach import (
    SuccessRate,
    Trait,
    TraitKind,
    count_tries,
    find_weaknesses,
    success_rates,
)
from trainer.store import HarpTag, StepRecord, TakeRecord

TODAY = date(2026, 5, 14)


def step(
    entry: str | None = "4",
    *,
    pitch: float | None = 95.0,
    cents: float | None = 3.0,
    heard: str | None = None,
    kind: str = "note",
    **criteria: float,
) -> StepRecord:
    """A note with points for pitch, or one that was not heard."""
    parts = {**({} if pitch is None else {"pitch": pitch}), **criteria}
    return StepRecord(
        0, entry or "4+5", kind, entry, "plain", 1.0, 90.0, parts, "", heard or entry, cents
    )


def silent(entry: str = "4") -> StepRecord:
    return StepRecord(0, entry, "note", entry, "plain", 1.0, 0.0, {}, "", None, None)


def take(steps: Sequence[StepRecord], days_ago: int = 1, **changes: Any) -> TakeRecord:
    day = TODAY - timedelta(days=days_ago)
    record = TakeRecord(
        id="",
        player="Marit",
        began=datetime(day.year, day.month, day.day, 18, tzinfo=UTC),
        day=day,
        drill="t",
        title="T",
        skills=("breath",),
        harp=HarpTag("C"),
        tempo=60.0,
        source="microphone",
        score=90.0,
        passed=True,
        whole=True,
        seconds=10.0,
        steps=tuple(steps),
    )
    return replace(record, **changes)


def rates(*takes: TakeRecord) -> dict[Trait, SuccessRate]:
    return success_rates(count_tries(takes), TODAY)


FOUR: Trait = (TraitKind.ENTRY, "4")
PITCH: Trait = (TraitKind.CRITERION, "pitch")
TIME: Trait = (TraitKind.CRITERION, "time")
BREATH: Trait = (TraitKind.SKILL, "breath")


# --- tries ------------------------------------------------------------------------------------


def test_notes_of_one_take_count_by_their_design_effect() -> None:
    estimates = rates(take([step()] * 5))[FOUR]
    assert estimates.effective_tries == pytest.approx(5.0 / (1.0 + 4.0 * 0.3))
    apart = rates(take([step()] * 5), take([step()] * 2))[FOUR]
    assert apart.effective_tries == pytest.approx(5.0 / 2.2 + 2.0 / 1.3)


@pytest.mark.parametrize(
    ("days_ago", "weight"), [(1, 1.0), (15, 0.5), (29, 0.25), (56, 0.5 ** (55 / 14))]
)
def test_a_try_counts_half_after_two_weeks(days_ago: int, weight: float) -> None:
    assert rates(take([step()], days_ago))[FOUR].effective_tries == pytest.approx(weight)


@pytest.mark.parametrize("days_ago", [0, 57])
def test_tries_of_today_and_of_long_ago_do_not_count(days_ago: int) -> None:
    assert rates(take([step()], days_ago)) == {}


@pytest.mark.parametrize(("points", "good"), [(85.0, 1), (84.9, 0)])
def test_a_note_is_good_from_85_points_on(points: float, good: int) -> None:
    estimates = rates(take([step(pitch=points, time=points)]))
    assert (estimates[FOUR].good, estimates[PITCH].good, estimates[TIME].good) == (good, good, good)


def test_a_note_that_was_not_heard_is_a_miss_of_its_entry_alone() -> None:
    estimates = rates(take([step(), silent()]))
    assert (estimates[FOUR].tried, estimates[FOUR].good) == (2, 1)
    assert estimates[PITCH].tried == 1


def test_a_note_that_was_not_judged_for_pitch_is_no_try_of_its_entry() -> None:
    estimates = rates(take([step(pitch=None, time=90.0), step(None, time=90.0, kind="chord")]))
    assert FOUR not in estimates
    assert (estimates[TIME].tried, estimates[PITCH].tried) == (2, 1)


@pytest.mark.parametrize(("heard", "counts"), [(2, True), (1, False)])
def test_a_take_counts_if_half_of_it_was_heard(heard: int, counts: bool) -> None:
    steps = [step()] * heard + [silent("5")] * (4 - heard)
    assert bool(rates(take(steps))) is counts


def test_only_a_whole_take_is_a_try_of_its_skill() -> None:
    assert BREATH not in rates(take([step()], whole=False))
    estimates = rates(take([step()]), take([step()], passed=False))
    assert (estimates[BREATH].tried, estimates[BREATH].good) == (2, 1)


def test_the_built_in_players_takes_do_not_count() -> None:
    assert rates(take([step()], source="player")) == {}
    assert FOUR in rates(take([step()], source="recording"))


# --- rates ------------------------------------------------------------------------------------


def test_few_traits_are_drawn_to_their_mean_with_ten_tries() -> None:
    """Three tries of one entry and one of another, two thirds of them good."""
    takes = [take([step("4", pitch=points)]) for points in (95.0, 95.0, 20.0)]
    estimates = rates(*takes, take([step("5", pitch=20.0)]))
    usual = (2.0 + 0.5) / (4.0 + 1.0)
    four, five = estimates[FOUR], estimates[TraitKind.ENTRY, "5"]
    assert four.usual_rate == pytest.approx(usual)
    assert four.rate == pytest.approx((10.0 * usual + 2.0) / 13.0)
    assert five.rate == pytest.approx(10.0 * usual / 11.0)
    below = beta.cdf(usual, 10.0 * usual, 10.0 * (1.0 - usual) + 1.0)
    assert five.probability_below == pytest.approx(below)


def prior_tries(*goods: tuple[int, int]) -> float:
    """Weight of the prior, solved from the rate of the first entry; a take for each try."""
    takes = [
        take([step(str(entry), pitch=95.0 if number < good else 20.0)])
        for entry, (good, tried) in enumerate(goods, start=1)
        for number in range(tried)
    ]
    estimates = rates(*takes)[TraitKind.ENTRY, "1"]
    good, tried = goods[0]
    return (good - estimates.rate * tried) / (estimates.rate - estimates.usual_rate)


def test_the_prior_weighs_by_how_far_entries_lie_apart() -> None:
    """The moments worked out by hand: see the formula at `_prior`."""
    goods = ((4, 10), (9, 10), (7, 10), (8, 10))
    n = 10.0
    mean = (28.0 + 0.5) / (40.0 + 1.0)
    spread = sum(n * (good / n - mean) ** 2 for good, _ in goods)
    c = 4.0 * n * (1.0 - n / 40.0)
    g = (spread / (mean * (1.0 - mean)) - 3.0) / (c - 3.0)
    assert 4.0 < 1.0 / g - 1.0 < 20.0
    assert prior_tries(*goods) == pytest.approx(1.0 / g - 1.0)


def test_the_prior_weighs_from_four_to_twenty_tries() -> None:
    assert prior_tries((0, 10), (10, 10), (10, 10), (5, 10)) == pytest.approx(4.0)
    assert prior_tries((7, 10), (8, 10), (8, 10), (7, 10)) == pytest.approx(20.0)
    assert prior_tries((0, 1), (1, 1), (1, 1)) == pytest.approx(10.0)  # nothing to estimate it by
    assert prior_tries((3, 10), (9, 10)) == pytest.approx(10.0)  # too few entries


def rate(**changes: Any) -> SuccessRate:
    return replace(SuccessRate(TraitKind.ENTRY, "4", 12, 6, 0.5, 0.8, 0.95, 9.0, ""), **changes)


@pytest.mark.parametrize(
    ("changes", "is_weak"),
    [
        ({}, True),
        ({"probability_below": 0.9}, True),
        ({"probability_below": 0.89}, False),
        ({"rate": 0.75}, True),
        ({"rate": 0.76}, False),
        ({"rate": 0.89, "usual_rate": 0.99}, True),
        ({"rate": 0.92, "usual_rate": 0.99}, False),
    ],
)
def test_a_trait_is_weak_by_a_gap_that_is_sure(changes: dict[str, float], is_weak: bool) -> None:
    assert rate(**changes).is_weak is is_weak


def test_the_weakest_comes_first_by_its_gap() -> None:
    estimates = {
        estimate.trait: estimate
        for estimate in (
            rate(name="a", rate=0.5, usual_rate=0.8),
            rate(name="b", rate=0.45, usual_rate=0.6),
            rate(name="c", rate=0.5, usual_rate=0.85),
            rate(name="d", rate=0.9),
        )
    }
    assert [estimate.name for estimate in find_weaknesses(estimates)] == ["c", "a", "b"]


# --- sentences --------------------------------------------------------------------------------


def said(*steps: StepRecord) -> str:
    return rates(take(steps))[FOUR].sentence


def test_a_sentence_names_the_direction_of_two_thirds_of_the_misses() -> None:
    sharp, flat = step(pitch=20.0, cents=18.0), step(pitch=20.0, cents=-22.0)
    assert said(sharp, sharp, flat) == "blow 4 was 18 cents sharp in 2 of its last 3 notes"
    assert said(flat, flat, sharp) == "blow 4 was 22 cents flat in 2 of its last 3 notes"
    assert said(sharp, flat) == "blow 4 was out of tune in 2 of its last 2 notes"
    assert said(step(), step()) == "blow 4 was out of tune in 0 of its last 2 notes"


def test_a_sentence_names_silence_beyond_two_thirds_of_the_misses() -> None:
    assert said(step(), step(), silent()) == "blow 4 did not sound in 1 of its last 3 notes"
    two_of_three = [step()] * 3 + [silent()] * 2 + [step(pitch=20.0, cents=-22.0)]
    assert said(*two_of_three) == "blow 4 was out of tune in 3 of its last 6 notes"


def test_a_wrong_note_has_no_direction() -> None:
    wrong = step(pitch=0.0, cents=-100.0, heard="-4")
    assert said(step(), wrong) == "blow 4 was out of tune in 1 of its last 2 notes"


def test_a_sentence_covers_whole_days_until_there_are_enough_tries() -> None:
    days = [take([step(pitch=20.0 if n > 2 else 95.0)] * 6, n) for n in (4, 3, 2, 1)]
    assert rates(*days)[FOUR].tried == 12
    assert rates(*days)[FOUR].good == 12
    days[-1] = take([step()] * 5, 1)
    assert (rates(*days)[FOUR].tried, rates(*days)[FOUR].good) == (17, 11)
