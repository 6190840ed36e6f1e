"""A simulated year under the daily set: does it go through the course in its order?

    python -m benchmarks.course_year [--days 365] [--record] [--smoke]

**The players** are made here; no constant of the daily set was chosen on them. A drill has a
strength of its own and shares that of its skills. Each take closes a fraction of the gap to 1, and
each day without one loses a fraction of what is above a floor, which rises with the takes. A take's
score lies above or below the pass mark by the strength beyond the level's difficulty, with normal
noise. Slow, usual and quick players differ in the fraction that a take closes, and practise 15, 20
and 30 minutes a day on five, six and seven days of the week.

Printed for each stage and player: the week of its first drill, the week in which two thirds of its
drills had been passed, and the fraction passed at the end. Below: how many new drills came before
the stages that open theirs were done, and how many before an easier one, or an earlier one as easy,
of their own stage.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import fmean

import trainer  # noqa: F401 - before numpy, see trainer/__init__.py

# isort: split

from benchmarks import results
from benchmarks.learner import DailySet, shelf_traits
from benchmarks.simulated_takes import simulated_take
from trainer.coach import DURATION, DrillTraits, StageStanding, course_standing, playable_course
from trainer.drill import read_course
from trainer.store import StepRecord, TakeRecord

FIRST_DAY = date(2026, 1, 5)
"""A Monday."""


@dataclass(frozen=True)
class Kind:
    """How a player learns and practises.

    Attributes:
        gain: fraction of the gap to full strength that a take closes.
        minutes: of practice on a day.
        days: of practice in a week.
    """

    gain: float
    minutes: float
    days: int


KINDS = {"slow": Kind(0.02, 15.0, 5), "usual": Kind(0.04, 20.0, 6), "quick": Kind(0.1, 30.0, 7)}
LOSS_PER_DAY = 0.03
"""Fraction of the strength above its floor that a day without a take loses."""
FLOOR = 0.6
"""Fraction of the highest strength that is never lost."""
OWN = 0.6
"""Weight of a drill's own strength beside that of its skills."""
EASIEST, PER_LEVEL = 0.05, 0.07
"""Strength at which half of the takes of level 1 pass, and its rise per level."""
POINTS, NOISE = 60.0, 5.0
"""Points per unit of strength, and the standard deviation of a take's score."""


class _Strength:
    """Strength of a drill or a skill, 0 to 1."""

    def __init__(self) -> None:
        self._value = self._best = 0.0
        self._day = 0

    def at(self, day: int) -> float:
        floor = FLOOR * self._best
        kept = (1.0 - LOSS_PER_DAY) ** (day - self._day)
        return max(self._value * kept, min(self._value, floor))

    def practise(self, day: int, gain: float) -> None:
        now = self.at(day)
        self._value, self._day = now + gain * (1.0 - now), day
        self._best = max(self._best, self._value)


class YearPlayer:
    """A player who learns drills and the skills that they share."""

    def __init__(self, kind: Kind, traits: Sequence[DrillTraits], seed: int) -> None:
        self._kind, self._rng = kind, random.Random(seed)
        self._own = {trait.drill.name: _Strength() for trait in traits}
        self._skills = {skill: _Strength() for trait in traits for skill in trait.drill.skills}

    def play(self, trait: DrillTraits, number: int, day: date) -> TakeRecord:
        """Play a drill on a day with a number, and learn from it."""
        drill = trait.drill
        own, skills = self._own[drill.name], [self._skills[name] for name in drill.skills]
        shared = fmean([skill.at(number) for skill in skills] or [own.at(number)])
        strength = OWN * own.at(number) + (1.0 - OWN) * shared
        over = strength - EASIEST - PER_LEVEL * (drill.level - 1)
        points = drill.goal.pass_mark + POINTS * over + self._rng.gauss(0.0, NOISE)
        score = min(max(points, 0.0), 100.0)
        own.practise(number, self._kind.gain)
        for skill in skills:
            skill.practise(number, self._kind.gain / 3.0)
        chance = 0.5 + 0.5 * strength
        steps = tuple(
            self._step(step.index, str(step.last[0]), chance)
            for step in drill.steps
            if not (step.call or step.has_path or step.is_chord)
        )
        return simulated_take(drill, day, score, steps)

    def _step(self, index: int, entry: str, chance: float) -> StepRecord:
        part, cents = (95.0, 2.0) if self._rng.random() < chance else (50.0, 25.0)
        return StepRecord(
            index, entry, "note", entry, "plain", 1.0, part, {"pitch": part}, "", entry, cents
        )


@dataclass(frozen=True)
class Year:
    """What happened in a year.

    Attributes:
        first: day on which the first drill of each stage was played, by its name.
        done: day on which each stage was done.
        passed: names of the drills passed at the end.
        early: for each new drill of the course, whether its stage still waited for another.
        unordered: for each, whether an earlier drill of its stage, no harder, had not been played.
    """

    first: dict[str, int]
    done: dict[str, int]
    passed: frozenset[str]
    early: tuple[bool, ...]
    unordered: tuple[bool, ...]


def practise_year(kind: Kind, traits: Sequence[DrillTraits], seed: int, days: int) -> Year:
    """Let a player follow the daily set for some days."""
    course = playable_course(read_course(), {trait.drill.name for trait in traits})
    stage_of = {name: stage for stage in course for name in stage.drills}
    by_name = {trait.drill.name: trait for trait in traits}
    player, schedule = YearPlayer(kind, traits, seed), DailySet(traits, seed)
    first: dict[str, int] = {}
    done: dict[str, int] = {}
    played: set[str] = set()
    passed: set[str] = set()
    early: list[bool] = []
    unordered: list[bool] = []
    for number in range(days):
        if number % 7 >= kind.days:
            continue
        day = FIRST_DAY + timedelta(days=number)
        standings = {s.stage.name: s for s in course_standing(course, passed)}
        left_s = 60.0 * kind.minutes
        for entry in schedule.entries(day, kind.minutes):
            name, trait = entry.drill, by_name[entry.drill]
            stage = stage_of.get(name)
            if name not in played and stage is not None:
                early.append(bool(standings[stage.name].waits_for))
                before = stage.drills[: stage.drills.index(name)]
                level = trait.drill.level
                unordered.append(
                    any(
                        by_name[other].drill.level <= level
                        for other in before
                        if other not in played
                    )
                )
                first.setdefault(stage.name, number)
            played.add(name)
            left_s -= DURATION.read_s
            scores: list[float] = []
            while not entry.is_done(scores) and left_s > 0.0:
                left_s -= trait.take_s + DURATION.between_takes_s
                take = player.play(trait, number, day)
                schedule.heard(take)
                scores.append(take.score)
                if take.passed:
                    passed.add(name)
        for standing in course_standing(course, passed):
            if standing.is_done:
                done.setdefault(standing.stage.name, number)
    return Year(first, done, frozenset(passed), tuple(early), tuple(unordered))


def _row(standing: StageStanding, years: Sequence[Year]) -> str:
    name = standing.stage.name
    cells = []
    for year in years:
        begun = f"{year.first[name] // 7 + 1}" if name in year.first else "-"
        done = f"{year.done[name] // 7 + 1}" if name in year.done else "-"
        part = fmean(drill in year.passed for drill in standing.stage.drills)
        cells.append(f"{begun:>6}{done:>6}{part:>7.2f}")
    return f"{name:<26}" + "  ".join(cells)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.course_year")
    parser.add_argument("--days", type=int, default=365, help="days of the year")
    results.add_options(parser)
    options = parser.parse_args()
    traits = shelf_traits()
    kinds = dict(list(KINDS.items())[:1]) if options.smoke else KINDS
    days = 7 if options.smoke else options.days
    output = results.Results(
        "benchmarks.course_year",
        f"simulated players on a C harp, {len(traits)} drills, {days} days, seed 1",
        "no constant of the daily set; the players' gains were lowered once, after a run of 60 "
        "days in which the slow one had begun 64 drills",
    )
    jobs = [(kind, traits, 1, days) for kind in kinds.values()]
    with ProcessPoolExecutor(2) as pool:
        years = list(pool.map(practise_year, *zip(*jobs, strict=True)))
    output.print(f"{'':<26}" + "  ".join(f"{name:>19}" for name in kinds))
    output.print(
        f"{'weeks':<26}" + "  ".join(f"{'first':>6}{'done':>6}{'passed':>7}" for _ in kinds)
    )
    course = playable_course(read_course(), {trait.drill.name for trait in traits})
    for standing in course_standing(course, frozenset()):
        if standing.stage.drills:
            output.print(_row(standing, years))
    for name, flags in (
        ("before its stage opened", [year.early for year in years]),
        ("before one of its stage", [year.unordered for year in years]),
    ):
        cells = (f"{sum(each)} of {len(each)}" for each in flags)
        output.print(f"{name:<26}" + "  ".join(f"{cell:>19}" for cell in cells))
    output.finish(options)


if __name__ == "__main__":
    main()
