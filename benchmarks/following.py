"""Is a player who keeps their own time followed while they play?

    python -m benchmarks.following [--record] [--smoke] [--performances N] [--sounds N]

The live follower (:mod:`trainer.marking.live_follower`) hears performances of
:mod:`benchmarks.free_performances`, and knows at each moment only what came before.

1. *Notes*: after the first 60 ms of each note, where is the player? *At once* is the fraction of
   the notes that were played for a step for which that step is named. *After a jump*: the fraction
   of the returns, repeats and skips after which it is right from the first, the second and the
   third note on.
2. *Sounds*: some of them rendered by the built-in player, dry and in modelled rooms, and heard by
   the ear. *Latency* is the time from the true onset of a note until the follower is on its step,
   in samples that have been received. The fractions within 50, 100 and 300 ms are of all notes that
   were played for a step (a note in score following is aligned within a tolerance; 300 ms is that
   of Cont, Schwarz, Schnell and Raphael 2007, Evaluation of real-time audio-to-score alignment,
   ISMIR; from memory). *Never* is the fraction for which it was not there before the next note.
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
from benchmarks.homework import FIRST_SEED, REPORTED, ROOMS, in_room, render, short_seeds
from benchmarks.results import Results, add_options
from trainer.ear import analyze_blocks
from trainer.marking import LiveFollower
from trainer.marking.alignment import Alignment
from trainer.sound import Block

FIRST_S = 0.06
"""Length in seconds of the part of a note that is heard when its step is named."""
NEAR_S = 0.05
"""Greatest distance in seconds between the onset of a note and that of the same note as heard."""
BLOCK = 256


@dataclass(frozen=True)
class Followed:
    """How one performance was followed.

    Attributes:
        at_once: for each note that was played for a step, whether its step was named.
        jumps: for each jump, number of notes until the step was named; 3 for more than two.
    """

    at_once: tuple[bool, ...]
    jumps: tuple[int, ...]


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
    jumps = []
    for place, (before, after) in enumerate(pairwise(notes), 1):
        assert before.step is not None
        omitted = {step for number, step in take.omitted if number == after.attempt}
        due = before.step + 1
        while due in omitted and due != after.step:
            due += 1
        if after.attempt == before.attempt and after.step != due:
            jumps.append([*at_once[place : place + 3], True].index(True))
    return Followed(tuple(at_once), tuple(jumps))


def follow_sound(seed: int, rt60_s: float = 0.0) -> list[float]:
    """Latencies in seconds of the notes of a performance; infinite for one that was missed.

    Args:
        seed: of the performance.
        rt60_s: reverberation time of the room in seconds; 0 for none.
    """
    take = FAMILIES[REPORTED](seed)
    sound = render(take.drill, take.harp, take.notes)
    if rt60_s:
        sound = in_room(sound, rt60_s, seed)
    sound = sound / max(1.0, 1.05 * float(np.abs(sound).max()))
    steps = range(len(take.drill.steps))
    follower = LiveFollower(take.drill, take.harp, take.drill.tempo, RATE, steps)
    blocks = (
        Block(first, sound[first : first + BLOCK].astype(np.float32), RATE)
        for first in range(0, len(sound), BLOCK)
    )
    moves: list[tuple[float, int | None]] = []
    for reading in analyze_blocks(blocks, RATE, take.harp):
        follower.observe(reading)
        step = follower.position.step if follower.position else None
        if not moves or moves[-1][1] != step:
            moves.append((reading.heard / RATE, step))
    latencies = []
    notes = _played(take)
    for note, end in zip(notes, [*(n.start for n in notes[1:]), notes[-1].end + 1.0], strict=True):
        before = [step for at, step in moves if at <= note.start]
        since = [at for at, step in moves if note.start < at < end and step == note.step]
        if before and before[-1] == note.step and not since:
            since = [note.start]  # the same step once more
        latencies.append(since[0] - note.start if since else float("inf"))
    return latencies


def notes_line(name: str, followed: Sequence[Followed]) -> str:
    """Return the figures of some performances as a line."""
    at_once = np.array([each for f in followed for each in f.at_once])
    jumps = np.array([each for f in followed for each in f.jumps])
    after = " ".join(f"{np.mean(jumps <= limit):8.4f}" for limit in range(3))
    counts = f"{len(followed):4} {len(at_once):6} {at_once.mean():8.4f} {len(jumps):5}"
    return f"{name:<26} {counts} {after}"


def sounds_line(name: str, takes: Sequence[list[float]]) -> str:
    """Return the latencies of some performances as a line."""
    latency = np.array([each for take in takes for each in take])
    within = " ".join(f"{np.mean(latency <= limit):8.4f}" for limit in (0.05, 0.1, 0.3))
    never = np.mean(np.isinf(latency))
    median = 1000.0 * np.median(latency)
    return f"{name:<26} {len(takes):4} {len(latency):6} {median:6.0f} {within} {never:8.4f}"


def tables(pool: ProcessPoolExecutor, options: argparse.Namespace) -> Iterator[str]:
    """Yield the lines of both tables."""
    yield f"{'notes':26} {'n':>4} {'notes':>6}  at once jumps    first   second    third"
    seeds = range(FIRST_SEED, FIRST_SEED + options.performances)
    for errors in (False, True):
        name = f"{REPORTED}, ear's errors" if errors else f"{REPORTED}, as played"
        work = [pool.submit(follow_notes, seed, REPORTED, errors) for seed in seeds]
        yield notes_line(name, [future.result() for future in work])
    if not options.sounds:
        return
    yield f"{'sounds':26} {'n':>4} {'notes':>6} median    50 ms   100 ms   300 ms    never"
    for rt60_s in (0.0, *ROOMS):
        heard = [pool.submit(follow_sound, seed, rt60_s) for seed in short_seeds(options.sounds)]
        name = f"room, {rt60_s} s" if rt60_s else "dry"
        yield sounds_line(name, [future.result() for future in heard])


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.following")
    parser.add_argument("--performances", type=int, default=500, help="as notes; 500")
    parser.add_argument("--sounds", type=int, default=40, help="of each kind; 40")
    parser.add_argument("--processes", type=int, default=os.cpu_count(), help="all cores")
    add_options(parser)
    options = parser.parse_args()
    if options.smoke:
        options.performances, options.sounds = 4, 0
    results = Results(
        "benchmarks.following",
        f"made-up performances of the family '{REPORTED}', seeds from {FIRST_SEED}; as sound those "
        "of few notes, by the built-in player",
        "alignment was chosen on the families 'walks' and 'sections'",
    )
    with ProcessPoolExecutor(options.processes) as pool:
        for line in tables(pool, options):
            results.print(line)
    results.finish(options)


if __name__ == "__main__":
    main()
