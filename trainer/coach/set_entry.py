"""An entry of the day's set, and why it is there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from trainer.harp import Harp

FAR_DAYS = 300
"""Dates further away than that are told with their year."""
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July", "August", "September"),
    *("October", "November", "December"),
)


class Reason(StrEnum):
    """What an entry is for."""

    WARM_UP = "warm-up"
    DUE = "due"
    WEAK = "weak"
    NEW = "new"
    ENJOY = "enjoy"
    KEEP = "keep"
    """What is not due yet, where there is time."""


@dataclass(frozen=True, slots=True)
class SetEntry:
    """A drill in the day's set.

    Attributes:
        drill, title: its name and title.
        reason: what it is for.
        why: that in a sentence, with figures.
        key, tuning: the harp to play it on.
        passes: how many takes that pass are asked for.
        most: the takes after which it is done, whether they passed or not.
        seconds: how long it is expected to last.
        pass_mark: the drill's.
        last: the best take of the last day on which it was played; None if it never was.
    """

    drill: str
    title: str
    reason: Reason
    why: str
    key: str
    tuning: str
    passes: int
    most: int
    seconds: float
    pass_mark: float
    last: float | None = None

    @property
    def harp(self) -> Harp:
        """The harp to play it on.

        Raises:
            HarpError: its tuning is not at hand any more.
        """
        return Harp.of(self.key, self.tuning)

    def is_done(self, scores: Sequence[float]) -> bool:
        """Whether it is done with the whole takes of the day, by their scores."""
        passed = sum(score >= self.pass_mark for score in scores)
        return passed >= self.passes or len(scores) >= self.most


def expected_take_count(chance: float, passes: int, most: int) -> float:
    """How many takes it needs until some have passed, if each passes with a chance; no more than
    `most`."""
    left = [1.0] + [0.0] * (passes - 1)
    """How likely it is that so many have passed and more are asked for."""
    takes = 0.0
    for _ in range(most):
        takes += sum(left)
        moved = [p * chance for p in left]
        left = [p - gone + come for p, gone, come in zip(left, moved, [0.0, *moved], strict=False)]
    return takes


def score_floor(score: float) -> str:
    """A score as a whole number, never rounded up to one that was not reached."""
    return str(int(score + 1e-9))


def relative_date(day: date, today: date, on: str = "") -> str:
    """A day near another one, as people say it: ``today``, ``Tuesday``, ``3 May``.

    Args:
        day: the day.
        today: the other one.
        on: what stands before a day that has a name or a date.
    """
    away = (day - today).days
    if abs(away) <= 1:
        return ("yesterday", "today", "tomorrow")[away + 1]
    if abs(away) < len(_WEEKDAYS):
        return on + _WEEKDAYS[day.weekday()]
    year = f" {day.year}" if abs(away) > FAR_DAYS else ""
    return f"{on}{day.day} {_MONTHS[day.month - 1]}{year}"
