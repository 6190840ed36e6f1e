"""Can a drill be passed while its aim is missed?

    python -m benchmarks.points [--record] [--smoke] [DRILL ...]

Prints for each drill of the shelf the score of a faultless pass of the built-in player, and of
passes that miss one aim: grossly (must stay 10 points below the pass mark) and moderately, by twice
the tolerance on half of the steps (must stay below 85). `trainer.practice.proof` has the faults.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.results import Results, add_options
from trainer.drill import Drill, find_drill, read_shelf
from trainer.harp import Harp
from trainer.practice.proof import Trial, prove

SMOKE = ("first-clean-notes",)


def prove_drill(drill: Drill) -> tuple[Drill, tuple[Trial, ...]]:
    """A drill and its proof on the harp that it is written for."""
    return drill, prove(drill, Harp.of(drill.key, drill.tuning))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.points")
    parser.add_argument("drills", nargs="*", help="names of drills; all if none is given")
    add_options(parser)
    options = parser.parse_args()
    names = options.drills or (SMOKE if options.smoke else ())
    drills = [find_drill(name) for name in names] or list(read_shelf().drills)
    results = Results(
        "benchmarks.points",
        "the built-in player, seed 1, on each drill's own harp, with the faults of proof.py",
        "the pitch curve and the aims' weight were chosen while this table was looked at",
    )
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
