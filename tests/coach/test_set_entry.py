"""Entries of the daily set: when they are done, and how days and scores are written."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from scipy.stats import binom

from trainer.coach import Reason, SetEntry, score_floor
from trainer.coach.set_entry import expected_take_count, relative_date

TODAY = date(2026, 5, 14)
"""A Thursday."""
ENTRY = SetEntry("t", "T", Reason.NEW, "", "C", "richter", 2, 5, 100.0, 80.0)


@pytest.mark.parametrize(
    ("scores", "done"),
    [
        ([], False),
        ([90.0], False),
        ([80.0, 60.0, 90.0], True),
        ([60.0] * 4, False),
        ([60.0] * 5, True),
    ],
)
def test_an_entry_is_done_when_enough_takes_passed_or_were_played(
    scores: list[float], done: bool
) -> None:
    assert ENTRY.is_done(scores) is done


@pytest.mark.parametrize(
    ("score", "text"), [(79.99, "79"), (80.0, "80"), (80.0 - 1e-12, "80"), (100.0, "100")]
)
def test_a_score_is_never_rounded_up(score: float, text: str) -> None:
    assert score_floor(score) == text


@pytest.mark.parametrize(("chance", "passes", "most"), [(0.4, 1, 3), (0.7, 2, 5), (0.5, 3, 7)])
def test_takes_are_expected_until_enough_have_passed(chance: float, passes: int, most: int) -> None:
    """Take k + 1 is played if fewer than `passes` of the first k passed."""
    expected = sum(float(binom.cdf(passes - 1, k, chance)) for k in range(most))
    assert expected_take_count(chance, passes, most) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("days", "text"),
    [
        *(
            (0, "today"),
            (1, "tomorrow"),
            (-1, "yesterday"),
            (2, "on Saturday"),
            (6, "on Wednesday"),
        ),
        *((-6, "on Friday"), (7, "on 21 May"), (-7, "on 7 May"), (300, "on 10 March")),
        *((301, "on 11 March 2027"), (-300, "on 18 July"), (-301, "on 17 July 2025")),
    ],
)
def test_a_day_is_written_relative_to_today(days: int, text: str) -> None:
    assert relative_date(TODAY + timedelta(days=days), TODAY, on="on ") == text
