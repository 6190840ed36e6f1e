"""Can a drill be passed while its aim is missed?

    python -m benchmarks.points [DRILL ...]

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

from trainer.drill import Drill, find_drill, read_shelf
from trainer.harp import Harp
from trainer.practice.proof import Trial, prove


def prove_drill(drill: Drill) -> tuple[Drill, tuple[Trial, ...]]:
    """A drill and its proof on the harp that it is written for."""
    return drill, prove(drill, Harp.of(drill.key, drill.tuning))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.points")
    parser.add_argument("drills", nargs="*", help="names of drills; all if none is given")
    names = parser.parse_args().drills
    drills = [find_drill(name) for name in names] or read_shelf().drills
    failed = total = 0
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        for drill, trials in pool.map(prove_drill, drills):
            for trial in trials:
                total, failed = total + 1, failed + (not trial.holds)
                bound = f"{'<' if trial.is_upper else '>'}{trial.limit:.0f}"
                sign = " " if trial.holds else "x"
                name = trial.name or "faultless"
                print(
                    f"{sign} {drill.name:<24} {name:<44} {trial.score:6.1f} {bound:>5}", flush=True
                )
    print(f"{total - failed} of {total} hold")


if __name__ == "__main__":
    main()
