"""Days until a simulated player masters the shelf, by the daily set and by simpler schedules.

    python -m benchmarks.learner [--seeds 9]
    python -m benchmarks.learner --first-week

`--first-week` prints what the daily set asks of a new player in the first week, and why.

**The player** learns and forgets by a published model that is unrelated to the scheduler's: the
activation of ACT-R, as fitted to practice with gaps from seconds to weeks (Pavlik and Anderson
2005, Cognitive Science 29). What was practised at times t_k has at time t the activation

    m(t) = ln(sum of (t - t_k)^-d_k),    d_k = C exp(m(t_k)) + A

Each practice fades by a power law, the faster the higher the activation was: spaced practice lasts,
massed practice does not. What has activation m is recalled with probability
1 / (1 + exp((threshold - m) / S)). A, C, S and the factor H for time between sessions are from that
paper (from memory).

The rest of the player is assumed. The strength of a drill is the mean of its own activation and of
the activations of its skills, bends and overblows, which are shared by all drills with them.
Thresholds rise with the level and vary at random from drill to drill. A take passes with the
probability of recall: its score is the pass mark plus `POINTS` per unit of strength above the
threshold, with logistic noise of scale S. A note is in tune with the probability that its entry is
recalled.

**Mastered** is the shelf on the first day on which every drill would pass with a probability of at
least `MASTERED`, before anything is played on it. All schedules have the same minutes of every day;
each take costs its time and each drill the time to open it. A drill is played until its entry is
done, by the same rule.

- *daily set*: :mod:`trainer.coach.selection`, from the takes alone.
- *rotation*: the whole shelf in the order of the course, each day from where the last one stopped.
- *random*: a new order every day.

The daily set introduces at most three new drills a day and opens levels one by one, so it cannot
finish before the shelf has been introduced; the others start with everything at once. Where all
drills are easy, or equally hard, that decides: for the learners *quick* and *even*, rotation is
faster.
"""

from __future__ import annotations

import argparse
import math
import random
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import product
from statistics import fmean, median

import trainer  # noqa: F401 - before numpy, see trainer/__init__.py

# isort: split

import numpy as np

from benchmarks import results
from benchmarks.simulated_takes import simulated_take
from trainer.coach import (
    DURATION,
    DayTries,
    DrillTraits,
    SetEntry,
    Trait,
    TraitKind,
    choose_entries,
    count_tries,
    drill_statuses,
    success_rates,
)
from trainer.drill import read_shelf
from trainer.harp import Harp, Tab
from trainer.store import StepRecord, TakeRecord

A, C, S = 0.177, 0.217, 0.255
H = 0.025
"""Factor by which time between sessions counts for forgetting."""
DAY_S = H * 86_400.0
NEVER = -4.0
"""Activation of what was never practised."""
OWN = 0.5
"""Weight of a drill's own activation in its strength."""
POINTS = 10.0
IN_TUNE = 0.95
"""Probability that a natural note is in tune."""
MASTERED = 0.8
MOST_DAYS = 730
FIRST_DAY = date(2026, 1, 1)
MINUTES = 20.0


@dataclass(frozen=True)
class Learner:
    """Parameters of a player.

    Attributes:
        easiest: threshold of a drill of level 1, and of bends and overblows.
        level: rise of the threshold per level.
        chance: standard deviation of the threshold from drill to drill.
    """

    easiest: float
    level: float
    chance: float


LEARNERS = {
    "usual": Learner(-1.6, 0.15, 0.15),
    "quick": Learner(-1.9, 0.1, 0.15),
    "slow": Learner(-1.4, 0.15, 0.15),
    "even": Learner(-0.6, 0.0, 0.1),
    "uneven": Learner(-1.6, 0.1, 0.3),
}


class MemoryTrace:
    """Memory of one drill, skill or entry."""

    def __init__(self) -> None:
        self._times = np.zeros(16)
        self._decays = np.zeros(16)
        self._count = 0

    def at(self, now: float) -> float:
        """Return the activation at a time."""
        n = self._count
        left = np.sum((now - self._times[:n]) ** -self._decays[:n]) if n else 0.0
        return math.log(math.exp(NEVER) + float(left))

    def practise(self, now: float) -> None:
        """Practise at a time."""
        if self._count == len(self._times):
            self._times = np.concatenate([self._times, np.zeros(self._count)])
            self._decays = np.concatenate([self._decays, np.zeros(self._count)])
        self._decays[self._count] = C * math.exp(self.at(now)) + A
        self._times[self._count] = now
        self._count += 1


class Student:
    """A player with a known learning curve."""

    def __init__(self, kind: Learner, traits: Sequence[DrillTraits], seed: int) -> None:
        self._kind = kind
        self._rng = random.Random(seed)
        self._own = {trait.drill.name: MemoryTrace() for trait in traits}
        self._shared: dict[Trait, MemoryTrace] = {}
        self._keys: dict[str, list[Trait]] = {}
        self._thresholds: dict[str, float] = {}
        for trait in traits:
            name = trait.drill.name
            self._keys[name] = [key for key in trait.trains if _is_shared(key)]
            self._shared |= {key: MemoryTrace() for key in self._keys[name]}
            more = kind.level * (trait.drill.level - 1) + kind.chance * self._rng.gauss(0.0, 1.0)
            self._thresholds[name] = kind.easiest + more

    def chance(self, trait: DrillTraits, now: float) -> float:
        """Return the probability that a take of a drill passes."""
        return _logistic(self._over(trait, now) / S)

    def play(self, trait: DrillTraits, now: float, day: date) -> TakeRecord:
        """Play a drill and learn from it."""
        drill = trait.drill
        over = self._over(trait, now) + _logit(self._rng.random()) * S
        score = min(max(drill.goal.pass_mark + POINTS * over, 0.0), 100.0)
        steps = tuple(self._step(i, entry, now) for i, entry in enumerate(_notes(trait)))
        self._own[drill.name].practise(now)
        for key in self._keys[drill.name]:
            self._shared[key].practise(now)
        return simulated_take(drill, day, score, steps)

    def _over(self, trait: DrillTraits, now: float) -> float:
        """Return a drill's strength above its threshold."""
        name = trait.drill.name
        own = self._own[name].at(now)
        shared = fmean([self._shared[key].at(now) for key in self._keys[name]] or [own])
        return OWN * own + (1.0 - OWN) * shared - self._thresholds[name]

    def _step(self, index: int, entry: str, now: float) -> StepRecord:
        trace = self._shared.get((TraitKind.ENTRY, entry))
        chance = IN_TUNE
        if trace is not None:
            chance = _logistic((trace.at(now) - self._kind.easiest) / S)
        part, cents = (95.0, 2.0) if self._rng.random() < chance else (50.0, 25.0)
        return StepRecord(
            index, entry, "note", entry, "plain", 1.0, part, {"pitch": part}, "", entry, cents
        )


@dataclass(frozen=True)
class Run:
    """The outcome of a schedule.

    Attributes:
        days: until the shelf was mastered; None if it never was.
        minutes: of practice until then.
        takes: played until then.
    """

    days: int | None
    minutes: float
    takes: int


class Schedule:
    """Chooses what to practise."""

    def __init__(self, traits: Sequence[DrillTraits], seed: int) -> None:
        self.traits = traits
        self.rng = random.Random(seed)
        self._known: set[str] = set()

    def day(self, day: date) -> Iterator[tuple[DrillTraits, int, int]]:
        """Yield drills, each with the number of passes wanted and the maximum number of takes."""
        raise NotImplementedError

    def heard(self, take: TakeRecord) -> None:
        """Take note of a take."""
        self._known.add(take.drill)

    def knows(self, trait: DrillTraits) -> bool:
        """Return whether a drill was played before."""
        return trait.drill.name in self._known

    def rule(self, trait: DrillTraits) -> tuple[int, int]:
        """Return passes and maximum takes of the daily set for a known or a new drill."""
        return (1, 3) if self.knows(trait) else (2, 5)


class Rotation(Schedule):
    """The whole shelf in turn."""

    at = 0

    def day(self, day: date) -> Iterator[tuple[DrillTraits, int, int]]:
        """Yield drills from where it stopped."""
        while True:
            trait = self.traits[self.at % len(self.traits)]
            self.at += 1
            yield (trait, *self.rule(trait))


class RandomOrder(Schedule):
    """A new order every day."""

    def day(self, day: date) -> Iterator[tuple[DrillTraits, int, int]]:
        """Yield the whole shelf in random order."""
        for trait in self.rng.sample(self.traits, len(self.traits)):
            yield (trait, *self.rule(trait))


class DailySet(Schedule):
    """The daily set."""

    def __init__(self, traits: Sequence[DrillTraits], seed: int) -> None:
        super().__init__(traits, seed)
        self._drills = {trait.drill.name: trait.drill for trait in traits}
        self._by_name = {trait.drill.name: trait for trait in traits}
        self._takes: list[TakeRecord] = []
        self._today: list[TakeRecord] = []
        self._tallies: list[DayTries] = []

    def day(self, day: date) -> Iterator[tuple[DrillTraits, int, int]]:
        """Yield the entries of the daily set."""
        for entry in self.entries(day, MINUTES):
            yield self._by_name[entry.drill], entry.passes, entry.most

    def entries(self, day: date, minutes: float) -> tuple[SetEntry, ...]:
        """Return the daily set."""
        self._takes += self._today
        self._tallies += count_tries(self._today, self._drills)
        self._today = []
        statuses = drill_statuses(self._takes, self._drills, day)
        rates = success_rates(self._tallies, day)
        return choose_entries(self.traits, statuses, rates, day, minutes)

    def heard(self, take: TakeRecord) -> None:
        """Take note of a take."""
        super().heard(take)
        self._today.append(take)


SCHEDULES: Mapping[str, type[Schedule]] = {
    "daily set": DailySet,
    "rotation": Rotation,
    "random": RandomOrder,
}


def practise(
    schedule: Schedule, traits: Sequence[DrillTraits], seed: int, kind: Learner = LEARNERS["usual"]
) -> Run:
    """Let a player practise day by day until the shelf is mastered."""
    student = Student(kind, traits, seed)
    hardest_first = sorted(traits, key=lambda trait: -trait.drill.level)
    seconds, takes = 0.0, 0
    for number in range(MOST_DAYS):
        day, morning = FIRST_DAY + timedelta(days=number), number * DAY_S
        if all(student.chance(trait, morning) >= MASTERED for trait in hardest_first):
            return Run(number, seconds / 60.0, takes)
        left = 60.0 * MINUTES
        for trait, passes, most in schedule.day(day):
            left -= DURATION.read_s if schedule.knows(trait) else DURATION.read_new_s
            passed = 0
            while (
                passed < passes
                and most
                and (left := left - trait.take_s - DURATION.between_takes_s) > 0.0
            ):
                take = student.play(trait, morning + 60.0 * MINUTES - left, day)
                schedule.heard(take)
                most -= 1
                takes += 1
                passed += take.passed
            if left <= 0.0:
                break
        seconds += 60.0 * MINUTES - max(left, 0.0)
    return Run(None, seconds / 60.0, takes)


@dataclass(frozen=True)
class PlannedDay:
    """A day of a simulated player.

    Attributes:
        entries: the daily set.
        takes: the takes that were played of it.
    """

    entries: tuple[SetEntry, ...]
    takes: tuple[TakeRecord, ...]


def first_week(
    traits: Sequence[DrillTraits],
    seed: int,
    kind: Learner = LEARNERS["usual"],
    minutes: float = MINUTES,
    days: int = 7,
) -> list[PlannedDay]:
    """Return the first days of a new player, who plays each entry until it is done."""
    student, schedule = Student(kind, traits, seed), DailySet(traits, seed)
    by_name = {trait.drill.name: trait for trait in traits}
    week = []
    for number in range(days):
        day, now = FIRST_DAY + timedelta(days=number), number * DAY_S
        entries = schedule.entries(day, minutes)
        takes: list[TakeRecord] = []
        for entry in entries:
            scores: list[float] = []
            while not entry.is_done(scores):
                take = student.play(by_name[entry.drill], now, day)
                now += by_name[entry.drill].take_s + DURATION.between_takes_s
                schedule.heard(take)
                takes.append(take)
                scores.append(take.score)
        week.append(PlannedDay(entries, tuple(takes)))
    return week


def week_table(week: Sequence[PlannedDay], traits: Sequence[DrillTraits]) -> str:
    """Return days, drills, levels and reasons as a table."""
    levels = {trait.drill.name: trait.drill.level for trait in traits}
    lines = [f"{'day':>3} {'drill':22} {'level':>5} {'best':>4}  {'for':8} why"]
    for number, day in enumerate(week, start=1):
        for entry in day.entries:
            best = max(take.score for take in day.takes if take.drill == entry.drill)
            why = f"{entry.reason:8} {entry.why}"
            lines.append(
                f"{number:>3} {entry.drill:22} {levels[entry.drill]:>5} {best:>4.0f}  {why}"
            )
    return "\n".join(lines)


def shelf_traits() -> list[DrillTraits]:
    """Return all drills of the shelf for a C harp in the standard tuning."""
    harp = Harp.of()
    return [
        DrillTraits.of(drill, harp) for drill in read_shelf().drills if drill.tuning == "richter"
    ]


def _is_shared(key: Trait) -> bool:
    kind, name = key
    return kind is TraitKind.SKILL or (kind is TraitKind.ENTRY and not Tab.parse(name).is_natural)


def _notes(trait: DrillTraits) -> list[str]:
    steps = [step for step in trait.drill.steps if not step.call and not step.has_path]
    return [str(step.last[0]) for step in steps if not step.is_chord]


def _logistic(x: float) -> float:
    return 1.0 / (1.0 + math.exp(-min(max(x, -50.0), 50.0)))


def _logit(p: float) -> float:
    return math.log(p / (1.0 - p)) if 0.0 < p < 1.0 else 0.0


def _run(job: tuple[str, str, int]) -> Run:
    learner, schedule, seed = job
    traits = shelf_traits()
    return practise(SCHEDULES[schedule](traits, seed), traits, seed, LEARNERS[learner])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.learner")
    parser.add_argument("--seeds", type=int, default=9, help="number of simulated players")
    parser.add_argument("--first-week", action="store_true", help="print a new player's week")
    results.add_options(parser)
    options = parser.parse_args()
    if options.first_week:
        traits = shelf_traits()
        print(week_table(first_week(traits, 0), traits))
        return
    learners = list(LEARNERS)[:1] if options.smoke else list(LEARNERS)
    schedules = ["rotation"] if options.smoke else list(SCHEDULES)
    seeds = 1 if options.smoke else options.seeds
    output = results.Results(
        "benchmarks.learner",
        f"simulated players on the shelf, seeds 0 to {seeds - 1}",
        "the constants of the daily set were compared on these players",
    )
    jobs = list(product(learners, schedules, range(seeds)))
    with ProcessPoolExecutor() as pool:
        runs = dict(zip(jobs, pool.map(_run, jobs), strict=True))
    output.print(
        f"{'learner':8} {'schedule':9} {'median days':>11} {'hours':>6} {'takes':>6}  days by seed"
    )
    for learner, schedule in product(learners, schedules):
        group = [runs[learner, schedule, seed] for seed in range(seeds)]
        days = median(math.inf if run.days is None else run.days for run in group)
        hours, takes = median(r.minutes for r in group) / 60.0, median(r.takes for r in group)
        each = " ".join(_days(run.days) for run in group)
        output.print(
            f"{learner:8} {schedule:9} {_days(days):>11} {hours:>6.1f} {takes:>6.0f}  {each}"
        )
    output.finish(options)


def _days(days: float | None) -> str:
    return f"over {MOST_DAYS}" if days is None or math.isinf(days) else f"{days:g}"


if __name__ == "__main__":
    main()
