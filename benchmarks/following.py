"""Is a player who keeps their own time followed while they play?

    python -m benchmarks.following [--record] [--smoke] [--performances N]

The live follower (:mod:`trainer.marking.live_follower`) hears performances of
:mod:`benchmarks.free_performances`, and knows at each moment only what came before.

After the first 60 ms of each note, where is the player? *At once* is the fraction of the notes
that were played for a step for which that step is named. *First*, *second* and *third* are the
fractions of the returns, repeats and skips after which it is right by that note. The last line says
what the pitches of these notes can show: after which of them they fit neither the drill going on
nor a shorter return or skip. A follower may be quicker by the time that a player takes, and slower
because one such note may be a wrong note as well. How soon the cursor moves in a sound is in
``benchmarks.homework --only sounds``.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import pairwise

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np

from benchmarks.free_performances import FAMILIES, RATE, FreeTake, Played, heard_notes
from benchmarks.homework import FIRST_SEED, REPORTED
from benchmarks.results import Results, add_options
from trainer.drill import Step
from trainer.marking.alignment import Alignment

FIRST_S = 0.06
"""Length in seconds of the part of a note that is heard when its step is named."""
NEAR_S = 0.05
"""Greatest distance in seconds between the onset of a note and that of the same note as heard."""


@dataclass(frozen=True)
class Followed:
    """How one performance was followed.

    Attributes:
        at_once: for each note that was played for a step, whether its step was named.
        jumps: for each jump, number of notes until the step was named; 3 for more than two.
        shown: for each jump, number of notes until their pitches show it; 3 for more than two.
    """

    at_once: tuple[bool, ...]
    jumps: tuple[int, ...]
    shown: tuple[int, ...]


def _played(take: FreeTake) -> list[Played]:
    """The notes of the whole tries that were played for a step."""
    return [note for note in take.notes if note.step is not None and note.attempt in take.whole]


def follow_notes(seed: int, family: str = REPORTED, errors: bool = False) -> Followed:
    """Follow a performance note by note."""
    take = FAMILIES[family](seed)
    alignment = Alignment(take.drill.steps, take.harp, take.drill.clock(RATE))
    named: list[tuple[int, int | None]] = []
    for heard in heard_notes(take, errors=errors):
        begun = replace(heard, end=min(heard.end, heard.start + round(FIRST_S * RATE)))
        named.append((heard.start, alignment.step_with(begun)))
        alignment.add(heard)
    starts = np.array([start for start, _ in named])
    notes = _played(take)
    at_once = []
    for note in notes:
        nearest = int(np.abs(starts - note.start * RATE).argmin())
        is_near = abs(int(starts[nearest]) - note.start * RATE) <= NEAR_S * RATE
        at_once.append(is_near and named[nearest][1] == note.step)
    jumps, shown = [], []
    for place, (before, after) in enumerate(pairwise(notes), 1):
        assert before.step is not None
        omitted = {step for number, step in take.omitted if number == after.attempt}
        due = before.step + 1
        while due in omitted and due != after.step:
            due += 1
        if after.attempt == before.attempt and after.step != due:
            jumps.append([*at_once[place : place + 3], True].index(True))
            shown.append(notes_that_show(take.drill.steps, due, notes[place : place + 3]))
    return Followed(tuple(at_once), tuple(jumps), tuple(shown))


def notes_that_show(steps: Sequence[Step], due: int, played: Sequence[Played]) -> int:
    """Number of notes after a jump until their pitches show it, 3 for more than two.

    Args:
        steps: the drill's.
        due: index of the step that would have come next.
        played: the notes from the jump on.
    """
    to = played[0].step
    assert to is not None
    nearer = {place for place in range(len(steps)) if abs(place - due) <= abs(to - due)} - {to}
    for count, note in enumerate(played):
        if note.step != to + count:
            break  # another jump
        sounds = steps[to + count].sounds
        nearer = {
            place
            for place in nearer
            if place + count < len(steps) and steps[place + count].sounds == sounds
        }
        if not nearer:
            return count
    return 3


def notes_line(name: str, followed: Sequence[Followed]) -> str:
    """Return the figures of some performances as a line."""
    at_once = np.array([each for f in followed for each in f.at_once])
    jumps = np.array([each for f in followed for each in f.jumps])
    after = " ".join(f"{np.mean(jumps <= limit):8.4f}" for limit in range(3))
    counts = f"{len(followed):4} {len(at_once):6} {at_once.mean():8.4f} {len(jumps):5}"
    return f"{name:<26} {counts} {after}"


def shown_line(followed: Sequence[Followed]) -> str:
    """Return what pitches show of the jumps in some performances, as a line."""
    shown = np.array([each for f in followed for each in f.shown])
    after = " ".join(f"{np.mean(shown <= limit):8.4f}" for limit in range(3))
    return f"{'shown by pitch':<26} {'':4} {'':6} {'':8} {len(shown):5} {after}"


def tables(pool: ProcessPoolExecutor, options: argparse.Namespace) -> Iterator[str]:
    """Yield the lines of both tables."""
    yield f"{'notes':26} {'n':>4} {'notes':>6}  at once jumps    first   second    third"
    seeds = range(FIRST_SEED, FIRST_SEED + options.performances)
    for errors in (False, True):
        name = f"{REPORTED}, ear's errors" if errors else f"{REPORTED}, as played"
        work = [pool.submit(follow_notes, seed, REPORTED, errors) for seed in seeds]
        followed = [future.result() for future in work]
        yield notes_line(name, followed)
    yield shown_line(followed)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.following")
    parser.add_argument("--performances", type=int, default=500, help="as notes; 500")
    parser.add_argument("--processes", type=int, default=os.cpu_count(), help="all cores")
    add_options(parser)
    options = parser.parse_args()
    if options.smoke:
        options.performances = 4
    results = Results(
        "benchmarks.following",
        f"made-up performances of the family '{REPORTED}' as notes, seeds from {FIRST_SEED}",
        "alignment was chosen on the families 'walks' and 'sections'",
    )
    with ProcessPoolExecutor(options.processes) as pool:
        for line in tables(pool, options):
            results.print(line)
    results.finish(options)


if __name__ == "__main__":
    main()
