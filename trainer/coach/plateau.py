"""Drills that stay at the same mark, and what to do about them.

A drill is on a plateau if its best scores of many days, at full tempo, hold no pass and no upward
change. The change is the most likely one over all its times, as a step or a steady rise
(:mod:`trainer.core.stats.change_point`), and counts from a size in standard errors that chance
alone seldom reaches. The days after the last upward change count, so that a plateau ends with
progress and may begin again.

Then the drill is offered at a slower tempo, faster again after each pass. Where that does not help
on some days, or the drill has no tempo, it is put to rest for a while. All of it follows from the
takes; nothing is stored.

The constants are in :class:`trainer.coach.parameters.PlateauParameters`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

import numpy as np

from trainer.coach.parameters import PLATEAU, REVIEW
from trainer.core.stats.change_point import find_change_point
from trainer.core.types import Floats
from trainer.drill import Drill
from trainer.store import TakeRecord


@dataclass(frozen=True, slots=True)
class Plateau:
    """A drill that stays at the same mark.

    Attributes:
        score: median of the best scores of its days.
        since: first of these days.
        tempo: tempo to play it at, in beats per minute; None where it rests.
        rests_until: first day on which it is offered again; None where it does not rest.
    """

    score: float
    since: date
    tempo: float | None = None
    rests_until: date | None = None


def find_plateau(
    drill: Drill, days: Mapping[date, Sequence[TakeRecord]], today: date
) -> Plateau | None:
    """The plateau that a drill is on before a day; None if it is on none.

    Args:
        drill: the drill.
        days: whole takes of the player by day, before `today`.
        today: the day.
    """
    last_takes = days[max(days)]
    is_full = all(_ratio(drill, take) >= REVIEW.min_tempo_ratio for take in last_takes)
    if is_full and any(take.score >= drill.goal.pass_mark for take in last_takes):
        return None
    full = {
        day: max(take.score for take in takes if _ratio(drill, take) >= REVIEW.min_tempo_ratio)
        for day, takes in sorted(days.items())
        if any(_ratio(drill, take) >= REVIEW.min_tempo_ratio for take in takes)
    }
    first = _stagnant_from(list(full), list(full.values()), drill.goal.pass_mark)
    if first is None:
        return None
    stagnant = list(full)[first:]
    score = median(list(full.values())[first:])
    slow = {
        day: max(takes, key=lambda take: take.score)
        for day, takes in sorted(days.items())
        if day > stagnant[0] and all(_ratio(drill, t) < REVIEW.min_tempo_ratio for t in takes)
    }
    last = max(days)
    is_stuck = len(slow) >= PLATEAU.slow_days and not any(
        take.passed for take in list(slow.values())[-PLATEAU.slow_days :]
    )
    if drill.free or is_stuck:
        until = last + timedelta(days=PLATEAU.rest_days)
        if today < until:
            return Plateau(score, stagnant[0], rests_until=until)
        return Plateau(score, stagnant[0], None if drill.free else drill.tempo)
    ratio = PLATEAU.slow_ratio
    if slow:
        latest = list(slow.values())[-1]
        ratio = _ratio(drill, latest) + (PLATEAU.step_ratio if latest.passed else 0.0)
    return Plateau(score, stagnant[0], tempo=round(min(ratio, 1.0) * drill.tempo))


def _ratio(drill: Drill, take: TakeRecord) -> float:
    return 1.0 if drill.free else take.tempo / drill.tempo


def _stagnant_from(days: Sequence[date], scores: Sequence[float], pass_mark: float) -> int | None:
    """Index of the first day of the plateau at the end of a series; None if there is none."""
    first = max((i + 1 for i, score in enumerate(scores) if score >= pass_mark), default=0)
    while _is_long(days[first:]):
        rise = _upward_change(days[first:], scores[first:])
        if rise is None:
            return first
        first += rise
    return None


def _is_long(days: Sequence[date]) -> bool:
    return len(days) >= PLATEAU.min_days and (days[-1] - days[0]).days >= PLATEAU.min_span_days


def _upward_change(days: Sequence[date], scores: Sequence[float]) -> int | None:
    """Index of the first day after an upward change; None if there is none."""
    time: Floats = np.array([day.toordinal() for day in days], dtype=float)
    value: Floats = np.array(scores, dtype=float)
    # Successive differences do not see a slow change; those of normal noise have sqrt(2) its size.
    noise = max(float(np.std(np.diff(value))) / 2.0**0.5, PLATEAU.min_noise_points)
    change = find_change_point(time, -value, np.ones(len(value)), noise)
    if change is None or change.z_score < PLATEAU.change_z:
        return None
    return max(change.index, 1)
