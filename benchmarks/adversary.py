"""Do the marks hold against faults that nobody chose?

    python -m benchmarks.adversary [--record] [--smoke] [--seed N] [--count N] [DRILL ...]

`benchmarks.points` misses each aim with one fault of one size on all its steps, or on every other
one. Here sizes, signs, sides and steps are drawn at random, from a seed, and faults are combined.
For each aim of each drill:

- a gross fault, up to twice as large as that of `trainer.practice.proof`, stays 10 points below the
  pass mark;
- a moderate one on a random half of the steps stays below 85;
- the same fault on as many steps beside the aim costs less than on those of the aim;
- more of a fault never earns more, and two faults never earn more than one of them.
"""

from __future__ import annotations

import argparse
import os
import random
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.results import Results, add_options
from trainer.drill import Aim, Drill, Step, describe_aim, find_drill, parse_drill, read_shelf
from trainer.harp import Harp
from trainer.practice.proof import (
    GROSS_CENTS,
    GROSS_EARLY_MS,
    GROSS_LEAK_DB,
    GROSS_SCOOP_CENTS,
    GROSS_SCOOP_MS,
    GROSS_TOLERANCES,
    MAX_MODERATE,
    MIN_DISTANCE,
    perform,
)
from trainer.sound import Fault

SMOKE = parse_drill(
    'title = "T"\nharp = "C"\ntempo = 120\ntab = """\n-4:1 -4\':1 4:1 -4\':1 |\n"""\n'
    '[aim]\npitch = ["bends"]\n',
    "smoke",
)
SLACK = 1.0
"""Points by which a score may lie above one with less fault: measurements are not exact."""
SLACK_TOGETHER = 4.0
"""The same for two faults at once: under a wobble of 20 cents a pitch is measured to a cent or two,
and each cent beyond the tolerance is 3 points."""
SIZED = ("pitch", "steadiness", "attack", "cleanness", "time")
"""Criteria whose faults have a size."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """An attempt to pass a drill with a fault.

    Attributes:
        drill: name of the drill.
        name: what was wrong.
        score: score of the pass.
        limit: score that it must not exceed.
    """

    drill: str
    name: str
    score: float
    limit: float

    @property
    def holds(self) -> bool:
        """Whether the score is low enough."""
        return self.score <= self.limit


def fault_of(criterion: str, step: Step, drill: Drill, size: float, rng: random.Random) -> Fault:
    """A fault on a criterion.

    Args:
        criterion: one of `SIZED`.
        step: the step.
        drill: the drill, for its tolerance.
        size: its size; 1 is gross.
        rng: draws its sign or side.
    """
    sign, tolerance = rng.choice((-1.0, 1.0)), drill.goal.tolerance
    match criterion:
        case "pitch":
            return Fault(cents=sign * size * max(GROSS_CENTS, GROSS_TOLERANCES * tolerance))
        case "steadiness":
            return Fault(wobble_cents=2.0 * size * tolerance)
        case "attack":
            cents = sign * size * GROSS_SCOOP_CENTS
            return Fault(scoop_cents=cents, scoop_ms=GROSS_SCOOP_MS)
        case "cleanness":
            hole = step.first[0].hole
            sides = [side for side in (hole - 1, hole + 1) if 1 <= side <= 10]
            taken = {tab.hole for tab in step.tabs}
            free = [side for side in sides if side not in taken]
            return Fault(leak_db=GROSS_LEAK_DB / size, leak_hole=rng.choice(free or sides))
        case _:
            return Fault(late_ms=sign * size * GROSS_EARLY_MS)


def faults(
    criterion: str, steps: Sequence[Step], drill: Drill, size: float, seed: int
) -> dict[int, Fault]:
    """Faults on some steps by index; the same seed gives the same signs and sides."""
    rng = random.Random(seed)
    return {step.index: fault_of(criterion, step, drill, size, rng) for step in steps}


def _moderate_size(criterion: str, step: Step, drill: Drill) -> float:
    """Size of a moderate fault: twice the tolerance, or as in the proof."""
    tolerance = drill.goal.tolerance
    lost_ms = min(1000.0 * drill.beat_s(step.start) / 3.0, 250.0)
    return {
        "pitch": 2.0 * tolerance / max(GROSS_CENTS, GROSS_TOLERANCES * tolerance),
        "steadiness": 0.5,
        "attack": 4.0 * tolerance / GROSS_SCOOP_CENTS,
        "cleanness": 0.5,
        "time": 0.4 * lost_ms / GROSS_EARLY_MS,
    }[criterion]


def attempts(drill: Drill, seed: int) -> Iterator[Attempt]:
    """All attempts at a drill, on the harp that it is written for."""
    harp, rng = Harp.of(drill.key, drill.tuning), random.Random(f"{seed} {drill.name}")
    play = partial(_score, drill, harp)
    faultless = play({})
    for aim in drill.aims:
        if aim.criterion in SIZED:
            yield from _attempts_at(aim, drill, play, faultless, rng)


def _score(drill: Drill, harp: Harp, wrong: dict[int, Fault]) -> float:
    return perform(drill, harp, wrong).score


def _attempts_at(
    aim: Aim, drill: Drill, play: partial[float], faultless: float, rng: random.Random
) -> Iterator[Attempt]:
    criterion, aimed, name = aim.criterion, aim.steps(drill.steps), describe_aim(aim)
    seed = rng.randrange(1 << 30)

    def attempt(what: str, score: float, limit: float) -> Attempt:
        return Attempt(drill.name, f"{name}, {what}", score, limit)

    size = rng.uniform(1.0, 2.0)
    gross = play(faults(criterion, aimed, drill, size, seed))
    yield attempt(f"gross x {size:.2f}", gross, drill.goal.pass_mark - MIN_DISTANCE)

    half = rng.sample(aimed, (len(aimed) + 1) // 2)
    larger = rng.uniform(1.0, 1.5)
    wrong = {
        index: fault
        for step in half
        for index, fault in faults(
            criterion, [step], drill, larger * _moderate_size(criterion, step, drill), seed
        ).items()
    }
    on = f"on {len(half)} of {len(aimed)}"
    yield attempt(f"moderate x {larger:.2f} {on}", play(wrong), MAX_MODERATE)

    small, middle = sorted(rng.uniform(0.2, 0.9) for _ in range(2))
    scores = [play(faults(criterion, aimed, drill, part, seed)) for part in (small, middle)]
    yield attempt(f"{middle:.2f} not above {small:.2f}", scores[1], scores[0] + SLACK)
    yield attempt(f"{size:.2f} not above {middle:.2f}", gross, scores[1] + SLACK)

    aims = {other.criterion for other in drill.aims}
    beside = [name for name in SIZED if name not in aims]
    if beside:
        other = rng.choice(beside)
        count = rng.randint(1, len(aimed))
        some = rng.sample(aimed, count)
        in_point = play(faults(criterion, some, drill, 1.0, seed))
        off_point = play(faults(other, some, drill, 1.0, seed))
        yield attempt(f"costs more than {other} on {count}", in_point, off_point + SLACK)
        both = {
            index: _joined(fault, criterion, other, step, drill, seed)
            for step in some
            for index, fault in faults(criterion, [step], drill, 1.0, seed).items()
        }
        yield attempt(
            f"with {other} on {count}", play(both), min(in_point, off_point) + SLACK_TOGETHER
        )
    outside = [step for step in drill.steps if step not in aimed and not step.call]
    if outside:
        count = rng.randint(1, min(len(aimed), len(outside)))
        in_point = play(faults(criterion, rng.sample(aimed, count), drill, 1.0, seed))
        off_point = play(faults(criterion, rng.sample(outside, count), drill, 1.0, seed))
        yield attempt(f"costs more than beside, on {count}", in_point, off_point + SLACK)
        yield attempt(f"beside, on {count}", 0.75 * faultless, off_point)


def _joined(fault: Fault, criterion: str, other: str, step: Step, drill: Drill, seed: int) -> Fault:
    """A fault with another one on the same step."""
    second = faults(other, [step], drill, 1.0, seed)[step.index]
    changed = {
        name: getattr(second, name)
        for name in Fault.__dataclass_fields__
        if getattr(second, name) != getattr(Fault(), name)
    }
    return replace(fault, **changed)


def attempts_at_drill(drill: Drill, seed: int) -> list[Attempt]:
    """All attempts at a drill, at the tolerance of a new player."""
    return list(attempts(drill.at_widest(), seed))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.adversary")
    parser.add_argument("drills", nargs="*", help="names of drills; a sample if none is given")
    parser.add_argument("--seed", type=int, default=1, help="draws drills, sizes, signs and steps")
    parser.add_argument("--count", type=int, default=12, help="size of the sample")
    add_options(parser)
    options = parser.parse_args()
    drills = [SMOKE] if options.smoke else [find_drill(name) for name in options.drills]
    if not drills:
        shelf = list(read_shelf().drills)
        drills = random.Random(options.seed).sample(shelf, min(options.count, len(shelf)))
    results = Results(
        "benchmarks.adversary",
        f"the built-in player on each drill's own harp, faults drawn with seed {options.seed}",
        "nothing was fitted on these draws",
    )
    failed = total = 0
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for tried in pool.map(partial(attempts_at_drill, seed=options.seed), drills):
            for attempt in tried:
                total, failed = total + 1, failed + (not attempt.holds)
                sign = " " if attempt.holds else "x"
                figures = f"{attempt.score:6.1f} <{attempt.limit:5.1f}"
                results.print(f"{sign} {attempt.drill:<24} {attempt.name:<58} {figures}")
    results.print(f"{total - failed} of {total} hold")
    results.finish(options)


if __name__ == "__main__":
    main()
