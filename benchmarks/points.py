"""Can a drill be passed while its aim is missed?

    python -m benchmarks.points [--record] [--smoke] [DRILL ...]
    python -m benchmarks.points --keys 12 [--record]

Prints for each drill of the shelf the score of a faultless pass of the built-in player, and of
passes that miss one aim: grossly (must stay 10 points below the pass mark) and moderately, by twice
the tolerance on half of the steps (must stay below 85). `trainer.practice.proof` has the faults.

``--keys`` is the number of keys in which drills of each stage of the course are played: another
drill in each key, without a fault and with its first aim missed grossly.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.results import Results, add_options
from trainer.drill import Drill, find_drill, move_to_harp, read_course, read_shelf
from trainer.harp import STANDARD_KEYS, Harp
from trainer.practice.proof import (
    MIN_DISTANCE,
    MIN_FAULTLESS,
    Trial,
    faults_of,
    perform,
    prove,
)

SMOKE = ("first-clean-notes",)


def prove_drill(drill: Drill) -> tuple[Drill, tuple[Trial, ...]]:
    """A drill and its proof on the harp that it is written for."""
    return drill, prove(drill, Harp.of(drill.key, drill.tuning))


def prove_in_key(name: str, key: str) -> tuple[float, float, float]:
    """Scores of a drill in a key, faultless and missing its first aim, and the limit of that."""
    source = find_drill(name)
    harp = Harp.of(key, source.tuning)
    drill = move_to_harp(source, harp).at_widest()
    (aim, *_) = drill.aims
    missed = faults_of(aim, aim.steps(drill.steps), drill)
    in_solos = {aim.criterion: 1.0} if aim.is_on_solos and drill.solos else {}
    faultless, gross = perform(drill, harp, {}), perform(drill, harp, missed, in_solos)
    return faultless.score, gross.score, drill.goal.pass_mark - MIN_DISTANCE


def spread_over_keys(count: int) -> list[tuple[str, str, str]]:
    """Return stages with a drill and a key, `count` of each stage; keys and drills take turns."""
    jobs = []
    for i, stage in enumerate(read_course()):
        drills = [name for name in stage.drills if find_drill(name).aims]
        for n in range(count if drills else 0):
            key = STANDARD_KEYS[(5 * i + n) % len(STANDARD_KEYS)]
            jobs.append((stage.name, drills[(i + n) % len(drills)], key))
    return jobs


def print_keys(results: Results, count: int) -> None:
    """Print the table of the drills in other keys."""
    jobs = spread_over_keys(count)
    held = 0
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        scores = pool.map(prove_in_key, *zip(*(job[1:] for job in jobs), strict=True))
        for (stage, name, key), (faultless, gross, limit) in zip(jobs, scores, strict=True):
            holds = faultless >= MIN_FAULTLESS and gross <= limit
            held += holds
            sign = " " if holds else "x"
            results.print(
                f"{sign} {stage:<24} {name:<24} {key:<3}{faultless:6.1f}{gross:6.1f} <{limit:.0f}"
            )
    results.print(f"{held} of {len(jobs)} hold")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.points")
    parser.add_argument("drills", nargs="*", help="names of drills; all if none is given")
    parser.add_argument("--keys", type=int, default=0, help="keys to play drills of each stage in")
    add_options(parser)
    options = parser.parse_args()
    names = options.drills or (SMOKE if options.smoke else ())
    drills = [find_drill(name) for name in names] or list(read_shelf().drills)
    material = "on each drill's own harp"
    if options.keys:
        material = f"drills of each stage in {options.keys} keys, moved by holes"
    results = Results(
        "benchmarks.points --keys" if options.keys else "benchmarks.points",
        f"the built-in player, seed 1, {material}, with the faults of proof.py",
        "the pitch curve and the aims' weight were chosen while this table was looked at",
    )
    if options.keys:
        print_keys(results, options.keys)
        results.finish(options)
        return
    failed = total = 0
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for drill, trials in pool.map(prove_drill, drills):
            for trial in trials:
                total, failed = total + 1, failed + (not trial.holds)
                bound = f"{'<' if trial.is_upper else '>'}{trial.limit:.0f}"
                sign, name = " " if trial.holds else "x", trial.name or "faultless"
                at = f"±{trial.tolerance:<3g}{trial.score:6.1f} {bound:>5}"
                results.print(f"{sign} {drill.name:<24} {name:<44} {at}")
    results.print(f"{total - failed} of {total} hold")
    results.finish(options)


if __name__ == "__main__":
    main()
