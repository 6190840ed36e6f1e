"""Drills that stay at the same mark, and what to do about them.

A drill is on a plateau if its best scores of many days, as written, hold no pass and no upward
change. The change is the most likely one over all its times, as a step or a steady rise
(:mod:`trainer.core.stats.change_point`), and counts from a size in standard errors that chance
alone seldom reaches. The days after the last upward change count, so that a plateau ends with
progress and may begin again.

Then the drill is made easier, in one way after the other (common practice):

1. at a slower tempo;
2. in fewer bars, those with the lowest marks, at a slower tempo, too;
3. with a wider tolerance, if its notes are out of tune by their marks.

Each pass brings it nearer to the drill as written. After some days without a pass the next way is
tried, and after the last one the drill is put to rest for a while. All of it follows from the
takes; nothing is stored.

The constants are in :class:`trainer.coach.parameters.PlateauParameters`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import Enum, auto
from statistics import fmean, median

import numpy as np

from trainer.coach.parameters import IN_TUNE_POINTS, PLATEAU, REVIEW
from trainer.coach.tolerance import is_wider, present_tolerance
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
        tempo: tempo to play it at, in beats per minute; None for the drill's.
        bars: first and last bar to play; None for all.
        tolerance: tolerance to mark it with, in cents; None for the one that the player has
            reached.
        rests_until: first day on which it is offered again; None where it does not rest.
    """

    score: float
    since: date
    tempo: float | None = None
    bars: tuple[int, int] | None = None
    tolerance: float | None = None
    rests_until: date | None = None


class _Way(Enum):
    """A way to make a drill easier."""

    SLOWER = auto()
    FEWER_BARS = auto()
    WIDER = auto()


def find_plateau(
    drill: Drill,
    days: Mapping[date, Sequence[TakeRecord]],
    today: date,
    of_bars: Iterable[TakeRecord] = (),
    marked: Sequence[TakeRecord] = (),
) -> Plateau | None:
    """The plateau that a drill is on before a day; None if it is on none.

    Args:
        drill: the drill.
        days: whole takes of the player by day, before `today`.
        today: the day.
        of_bars: the player's takes of some of its bars, before `today`.
        marked: recent whole takes with their steps. Without them, no bars are chosen, and no
            tolerance is widened.
    """
    ways: dict[date, list[tuple[_Way | None, TakeRecord]]] = {}
    earlier: list[TakeRecord] = []
    for day in sorted(days):
        reached = present_tolerance(drill, earlier)
        ways[day] = [(_way(drill, take, reached), take) for take in days[day]]
        earlier += days[day]
    as_written = {
        day: max(scores)
        for day, takes in ways.items()
        if (scores := [take.score for way, take in takes if way is None])
    }
    first = _stagnant_from(list(as_written), list(as_written.values()), drill.goal.pass_mark)
    if first is None:
        return None
    since, score = list(as_written)[first], median(list(as_written.values())[first:])
    for take in of_bars:
        ways.setdefault(take.day, []).append((_Way.FEWER_BARS, take))
    tries = [ways[day] for day in sorted(ways) if day > since]
    reached = present_tolerance(drill, earlier)
    bars = _hardest_bars(drill, marked)
    possible = []
    if not drill.free:
        possible.append(_Way.SLOWER)
    if bars is not None:
        possible.append(_Way.FEWER_BARS)
    if _is_out_of_tune(marked) and reached < PLATEAU.max_tolerance:
        possible.append(_Way.WIDER)
    way, easing = _next_try(drill, possible, tries, reached)
    if way is None:
        until = max(ways) + timedelta(days=PLATEAU.rest_days)
        return Plateau(score, since, rests_until=until if today < until else None)
    is_slower = easing > 0.0 and way is not _Way.WIDER and not drill.free
    wide = min(PLATEAU.max_tolerance, reached * (1.0 + (PLATEAU.wide_ratio - 1.0) * easing))
    return Plateau(
        score,
        since,
        tempo=round(_tempo_ratio(easing) * drill.tempo) if is_slower else None,
        bars=bars if way is _Way.FEWER_BARS and easing else None,
        tolerance=round(wide, 1) if way is _Way.WIDER and easing else None,
    )


def _way(drill: Drill, take: TakeRecord, tolerance: float) -> _Way | None:
    """How a whole take was easier than the drill as written; None if it was not."""
    if is_wider(take, tolerance):
        return _Way.WIDER
    return None if _ratio(drill, take) >= REVIEW.min_tempo_ratio else _Way.SLOWER


def _next_try(
    drill: Drill,
    possible: Sequence[_Way],
    days: Iterable[Sequence[tuple[_Way | None, TakeRecord]]],
    tolerance: float,
) -> tuple[_Way | None, float]:
    """The way to try next, and how far from the drill as written it is.

    Args:
        drill: the drill.
        possible: the ways, in order.
        days: takes of each day since the plateau began, with the way of each.
        tolerance: the tolerance that the player has reached, in cents.

    Returns:
        The way, and the easing: 1 at the first try, 0 for the drill as written. No way where none
        is left.
    """
    place, easing, failed = 0, 1.0, 0
    for takes in days:
        if place == len(possible):
            break
        tried = [take for way, take in takes if way is (possible[place] if easing else None)]
        if not tried:
            continue
        passed = [take for take in tried if take.score >= drill.goal.pass_mark]
        failed = 0 if passed else failed + 1
        if passed and easing:
            least = min(_easing(drill, possible[place], take, tolerance) for take in passed)
            easing = max(0.0, least - PLATEAU.step)
        if failed >= PLATEAU.tried_days:
            place, easing, failed = place + 1, 1.0, 0
    return (possible[place], easing) if place < len(possible) else (None, 0.0)


def _easing(drill: Drill, way: _Way, take: TakeRecord, tolerance: float) -> float:
    """How far a take was from the drill as written: 0 for none, 1 as at the first try."""
    if way is _Way.WIDER:
        assert take.tolerance is not None
        return (take.tolerance / tolerance - 1.0) / (PLATEAU.wide_ratio - 1.0)
    if drill.free:
        return 1.0
    return (1.0 - _ratio(drill, take)) / (1.0 - PLATEAU.slow_ratio)


def _tempo_ratio(easing: float) -> float:
    return 1.0 - (1.0 - PLATEAU.slow_ratio) * easing


def _ratio(drill: Drill, take: TakeRecord) -> float:
    return 1.0 if drill.free else take.tempo / drill.tempo


def _hardest_bars(drill: Drill, takes: Sequence[TakeRecord]) -> tuple[int, int] | None:
    """The bars in a row with the lowest marks; None where nothing is known, or for a single bar."""
    count = min(PLATEAU.max_bars, max(1, round(PLATEAU.fewer_bars * drill.bars)))
    scores: dict[int, list[float]] = {}
    for take in takes[-PLATEAU.bars_from_takes :]:
        for step in take.steps:
            if step.index < len(drill.steps):
                scores.setdefault(max(1, drill.steps[step.index].bar), []).append(step.score)
    if not scores or count >= drill.bars:
        return None
    means = {}
    for first in range(1, drill.bars - count + 2):
        marks = [score for bar in range(first, first + count) for score in scores.get(bar, ())]
        if marks:
            means[first, first + count - 1] = fmean(marks)
    return min(means, key=lambda bars: (means[bars], bars))


def _is_out_of_tune(takes: Sequence[TakeRecord]) -> bool:
    """Whether the mean of some takes' points for pitch is less than in tune."""
    points = [
        step.parts["pitch"]
        for take in takes[-PLATEAU.bars_from_takes :]
        for step in take.steps
        if "pitch" in step.parts
    ]
    return bool(points) and fmean(points) < IN_TUNE_POINTS


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
