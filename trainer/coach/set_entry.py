"""An entry of the daily set: which drill, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from trainer.core.quantities import quantity_text
from trainer.harp import Harp

_YEAR_FROM_DAYS = 300
"""Distance in days from which a date shows its year."""
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
    """A drill that is not due yet, where time is left."""


@dataclass(frozen=True, slots=True)
class SetEntry:
    """A drill in the daily set. The journal stores it with the names of its fields.

    Attributes:
        drill, title: name and title of the drill.
        reason: what it is for.
        why: the reason in words for a player, with figures.
        key, tuning: the harp to play it on.
        passes: number of passing takes to play.
        most: number of takes after which it is done, passed or not.
        seconds: expected time in seconds.
        pass_mark: pass mark of the drill.
        last: score of the best take of the last day on which it was played; None if there is none.
        tempo: tempo to play it at in beats per minute; None for the drill's.
        bars: first and last bar to play; None for all.
        tolerance: tolerance to mark it with in cents; None for the one that the player has reached.
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
    tempo: float | None = None
    bars: tuple[int, int] | None = None
    tolerance: float | None = None

    def counts(self, whole: bool, bars: tuple[int, int] | None) -> bool:
        """Whether a take of its drill counts: a whole one, or one of its bars.

        Args:
            whole: whether the whole drill was played.
            bars: the bars whose steps were all played; None if there are none.
        """
        return whole or (bars is not None and bars == self.bars)

    @property
    def harp(self) -> Harp:
        """The harp to play it on.

        Raises:
            HarpError: its tuning is no longer known.
        """
        return Harp.of(self.key, self.tuning)

    def is_done(self, scores: Sequence[float]) -> bool:
        """Whether it is done, given the scores of the day's takes that count."""
        passed = sum(score >= self.pass_mark for score in scores)
        return passed >= self.passes or len(scores) >= self.most


def expected_take_count(chance: float, passes: int, most: int) -> float:
    """Expected number of takes until enough have passed.

    Args:
        chance: chance that a take passes, 0 to 1.
        passes: number of passing takes to play.
        most: number of takes after which the drill is done anyway.
    """
    unfinished = [1.0] + [0.0] * (passes - 1)
    """By the number of takes that have passed: the chance that more takes are needed."""
    takes = 0.0
    for _ in range(most):
        takes += sum(unfinished)
        passing = [p * chance for p in unfinished]
        unfinished = [
            p - leaves + arrives
            for p, leaves, arrives in zip(unfinished, passing, [0.0, *passing], strict=False)
        ]
    return takes


def score_floor(score: float) -> str:
    """A score as a whole number, rounded down, so that it shows no mark that was not reached."""
    return str(int(score + 1e-9))


def days_text(days: int) -> str:
    """A number of days in words: ``9 days``, ``3 weeks``."""
    weeks = days // 7
    return f"{weeks} weeks" if weeks >= 2 else quantity_text(days, "day")


def relative_date(day: date, today: date, on: str = "") -> str:
    """A day in words, relative to today: ``today``, ``Tuesday``, ``3 May``.

    Args:
        day: the day.
        today: today.
        on: text before the name of a weekday or a date.
    """
    distance = (day - today).days
    if abs(distance) <= 1:
        return ("yesterday", "today", "tomorrow")[distance + 1]
    if abs(distance) < len(_WEEKDAYS):
        return on + _WEEKDAYS[day.weekday()]
    year = f" {day.year}" if abs(distance) > _YEAR_FROM_DAYS else ""
    return f"{on}{day.day} {_MONTHS[day.month - 1]}{year}"
