"""Do the marks hold against faults that nobody chose?

    python -m benchmarks.adversary [--record] [--smoke] [--seed N] [--count N] [--chains N]
        [DRILL ...]

`benchmarks.points` misses each aim with one fault of one size on all its steps, or on every other
one. Here kinds of faults (`benchmarks.drawn_faults`), sizes, signs, sides and steps are drawn at
random, from a seed, and faults are combined. For each aim of each drill:

- a gross fault, up to twice as large as that of `trainer.practice.proof`, stays 10 points below the
  pass mark;
- a moderate one on a random half of the steps stays below 85;
- the same fault on as many steps beside the aim costs less than on those of the aim.

And for chains of performances, each with all faults of the one before it and more: a larger fault,
a second and a third one on the same steps, on the first or last or any of those that can show them,
a strange note, a late entry or a skipped step between. More faults never earn more.
"""

from __future__ import annotations

import argparse
import os
import random
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.drawn_faults import (
    KINDS,
    Faults,
    combine,
    draw_between,
    draw_steps,
    kinds_for,
    makes_worse,
)
from benchmarks.results import Results, add_options
from trainer.drill import Aim, Drill, Step, describe_aim, find_drill, parse_drill, read_shelf
from trainer.harp import Harp
from trainer.practice.proof import (
    GROSS_CENTS,
    GROSS_EARLY_MS,
    GROSS_SCOOP_CENTS,
    GROSS_TOLERANCES,
    MAX_MODERATE,
    MIN_DISTANCE,
    perform,
)

SMOKE = parse_drill(
    'title = "T"\nharp = "C"\ntempo = 120\ntab = """\n-4:1 -4\':1 4:1 -4\':1 |\n"""\n'
    '[aim]\npitch = ["bends"]\n',
    "smoke",
)
SLACK = 1.0
"""Points by which a score may lie above one with less fault: measurements are not exact."""
SLACK_TOGETHER = 2.0
"""The same for faults of several kinds: under a wobble, the ear measures a leak up to 0.4 dB too
low, and each dB above -12 dB is 4 points."""
MAX_KINDS = 3
"""Most kinds of faults at once on a step."""
PLAIN_KINDS = {
    kind.criterion: kind
    for kind in KINDS
    if kind.name in ("pitch", "wobble", "scoop", "leak", "time")
}
"""For each criterion that every note has, the kind of fault that misses it."""

Score = Callable[[Faults], float]
"""Score of a pass with some faults."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """An attempt to pass a drill with a fault, or to earn more with more faults.

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

    def line(self) -> str:
        """One line of the table."""
        sign = " " if self.holds else "x"
        return f"{sign} {self.drill:<24} {self.name:<70} {self.score:6.1f} <{self.limit:5.1f}"


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


def attempts(drill: Drill, seed: int, chains: int) -> Iterator[Attempt]:
    """All attempts at a drill, on the harp that it is written for.

    Args:
        drill: the drill.
        seed: draws everything.
        chains: number of chains of performances.
    """
    harp, rng = Harp.of(drill.key, drill.tuning), random.Random(f"{seed} {drill.name}")

    def play(wrong: Faults) -> float:
        return perform(drill, harp, wrong).score

    faultless = play({})
    for aim in drill.aims:
        if aim.criterion in PLAIN_KINDS:
            yield from _attempts_at(aim, drill, play, faultless, rng)
    for _ in range(chains):
        yield from _chain(drill, play, faultless, rng)


def _attempts_at(
    aim: Aim, drill: Drill, play: Score, faultless: float, rng: random.Random
) -> Iterator[Attempt]:
    criterion, aimed, name = aim.criterion, aim.steps(drill.steps), describe_aim(aim)
    seed, kind = rng.randrange(1 << 30), PLAIN_KINDS[aim.criterion]
    able = [step for step in aimed if kind.on([step], drill, 1.0, seed)]

    def attempt(what: str, score: float, limit: float) -> Attempt:
        return Attempt(drill.name, f"{name}, {what}", score, limit)

    if len(able) == len(aimed):  # else what cannot show the fault may carry the aim
        size = rng.uniform(1.0, 2.0)
        gross = play(kind.on(aimed, drill, size, seed))
        yield attempt(f"gross x {size:.2f}", gross, drill.goal.pass_mark - MIN_DISTANCE)

        half = rng.sample(aimed, (len(aimed) + 1) // 2)
        larger = rng.uniform(1.0, 1.5)
        wrong = combine(
            *(
                kind.on([step], drill, larger * _moderate_size(criterion, step, drill), seed)
                for step in half
            )
        )
        on = f"on {len(half)} of {len(aimed)}"
        yield attempt(f"moderate x {larger:.2f} {on}", play(wrong), MAX_MODERATE)

    aims = {other.criterion for other in drill.aims}
    beside = [  # but no pitch, because a note that far off is another one and misses any aim
        other
        for other in PLAIN_KINDS.values()
        if other.criterion not in {*aims, "pitch"} and other.on(able, drill, 1.0, seed)
    ]
    if beside:
        other = rng.choice(beside)
        _, some = draw_steps([s for s in able if other.on([s], drill, 1.0, seed)], rng)
        in_point = play(kind.on(some, drill, 1.0, seed))
        off_point = play(other.on(some, drill, 1.0, seed))
        yield attempt(f"costs more than {other.name} on {len(some)}", in_point, off_point + SLACK)
    outside = [
        step for step in drill.steps if step not in aimed and kind.on([step], drill, 1.0, seed)
    ]
    if outside and able:
        count = rng.randint(1, min(len(able), len(outside)))
        in_point = play(kind.on(rng.sample(able, count), drill, 1.0, seed))
        off_point = play(kind.on(rng.sample(outside, count), drill, 1.0, seed))
        yield attempt(f"costs more than beside, on {count}", in_point, off_point + SLACK)
        yield attempt(f"beside, on {count}", 0.75 * faultless, off_point)


def _chain(drill: Drill, play: Score, faultless: float, rng: random.Random) -> Iterator[Attempt]:
    """A chain of performances, each with the faults of the one before it and more."""
    kinds = kinds_for(drill)
    rng.shuffle(kinds)
    first, *others = kinds
    seed = rng.randrange(1 << 30)
    where, steps = draw_steps(
        [step for step in drill.steps if first.on([step], drill, 1.0, seed)], rng
    )
    small, large = sorted(rng.uniform(0.2, 2.0) for _ in range(2))
    faults = first.on(steps, drill, small, seed), first.on(steps, drill, large, seed)
    names = [f"{first.name} {size:.2f} on {where}" for size in (small, large)]
    scores = [play(each) for each in faults]
    yield Attempt(drill.name, f"{names[0]} / none", scores[0], faultless + SLACK)
    if all(step.index in faults[1] for step in steps):
        yield Attempt(drill.name, f"{names[1]} / {small:.2f}", scores[1], scores[0] + SLACK)
    together, name, score = faults[1], names[1], scores[1]
    joined = [first]
    for other in others:
        if len(joined) == MAX_KINDS or not all(makes_worse(other, kind) for kind in joined):
            continue
        size = rng.uniform(0.2, 2.0)
        more = other.on([step for step in steps if step.index in together], drill, size, seed)
        if not more:
            continue
        alone = play(more)
        both = combine(together, more)
        limit = min(score, alone) + SLACK_TOGETHER
        together, name, score = both, f"{name} + {other.name} {size:.2f}", play(both)
        joined.append(other)
        yield Attempt(drill.name, name, score, limit)
    what, between = draw_between(drill.steps, together, drill, rng)
    if between:
        with_it = play(combine(together, between))
        yield Attempt(drill.name, f"{name}, {what} between", with_it, score + SLACK_TOGETHER)


def attempts_at_drill(drill: Drill, seed: int, chains: int) -> list[Attempt]:
    """All attempts at a drill, at the tolerance of a new player."""
    return list(attempts(drill.at_widest(), seed, chains))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.adversary")
    parser.add_argument("drills", nargs="*", help="names of drills; a sample if none is given")
    parser.add_argument("--seed", type=int, default=1, help="draws drills, sizes, signs and steps")
    parser.add_argument("--count", type=int, default=12, help="size of the sample")
    parser.add_argument("--chains", type=int, default=2, help="chains of performances per drill")
    add_options(parser)
    options = parser.parse_args()
    drills = [SMOKE] if options.smoke else [find_drill(name) for name in options.drills]
    chains = 1 if options.smoke else options.chains
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
        attempt_all = partial(attempts_at_drill, seed=options.seed, chains=chains)
        for tried in pool.map(attempt_all, drills):
            for attempt in tried:
                total, failed = total + 1, failed + (not attempt.holds)
                results.print(attempt.line())
    results.print(f"{total - failed} of {total} hold")
    results.finish(options)


if __name__ == "__main__":
    main()
