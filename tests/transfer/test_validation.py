"""Limits of the values that an imported record may have."""

from __future__ import annotations

import pytest

from trainer.transfer.validation import (
    InvalidRecord,
    check_player_name,
    parse_calibration,
    parse_take,
)

TAKE = {
    "id": "5a" * 16,
    "player": "Marit",
    "began": "2026-11-25T18:30:00+01:00",
    "day": "2026-11-25",
    "drill": "slack-tide",
    "title": "Slack tide",
    "skills": ["single notes"],
    "harp": {"key": "C"},
    "tempo": 72,
    "source": "microphone",
    "score": 81.5,
    "passed": True,
    "whole": True,
    "seconds": 30,
}
CALIBRATION = {
    "input": "USB",
    "output": "hall",
    "rate": 48_000,
    "latency_ms": 20.5,
    "spread_ms": 0.5,
    "measured": "2026-11-25T18:30:00+01:00",
}


@pytest.mark.parametrize("day", ["2026-11-24", "2026-11-25", "2026-11-26"])
def test_the_local_day_may_differ_from_the_day_in_utc_by_one(day: str) -> None:
    assert parse_take({**TAKE, "day": day}).day.isoformat() == day


@pytest.mark.parametrize("day", ["2026-11-23", "2026-11-27"])
def test_and_by_no_more(day: str) -> None:
    with pytest.raises(InvalidRecord, match="'day' must be the day on which it began"):
        parse_take({**TAKE, "day": day})


@pytest.mark.parametrize(("field", "value"), [("score", 100.0), ("score", 0.0), ("tempo", 1000.0)])
def test_values_at_a_limit_are_valid(field: str, value: float) -> None:
    assert getattr(parse_take({**TAKE, field: value}), field) == value


@pytest.mark.parametrize(
    ("field", "value"),
    [("score", 100.1), ("score", -0.1), ("tempo", 1000.1), ("tempo", 0.0), ("seconds", -1.0)],
)
def test_values_beyond_a_limit_are_not(field: str, value: float) -> None:
    with pytest.raises(InvalidRecord, match=f"^'{field}' must"):
        parse_take({**TAKE, field: value})


@pytest.mark.parametrize("rate", [0, 10**7])
def test_a_rate_must_be_possible(rate: int) -> None:
    assert parse_calibration(CALIBRATION).rate == 48_000
    with pytest.raises(InvalidRecord, match="'rate' must be a sample rate in hertz"):
        parse_calibration({**CALIBRATION, "rate": rate})


def test_a_player_has_a_name_of_one_line_and_80_characters_at_most() -> None:
    assert check_player_name("x" * 80) == "x" * 80
    for name in ("x" * 81, " ", "two\nlines"):
        with pytest.raises(InvalidRecord, match="one line of text, up to 80 characters"):
            check_player_name(name)
