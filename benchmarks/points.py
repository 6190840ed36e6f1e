"""Can a drill be passed while its aim is missed?

    python -m benchmarks.points [--record] [--smoke] [DRILL ...]
    python -m benchmarks.points --keys 3 [--record] [DRILL ...]
    nice python -m benchmarks.points --keys all --log keys.jsonl [--workers 1] [--record]

Prints for each drill of the shelf the score of a faultless pass of the built-in player, and of
passes that miss one aim: grossly (must stay 10 points below the pass mark) and moderately, by twice
the tolerance on half of the steps (must stay below 85). `trainer.practice.proof` has the faults.

``--keys`` plays the drills in other keys than their own: a number takes the first of `KEYS`,
``all`` takes all of them, and keys can be named (``--keys "low D, F#"``). A drill is played in
those that can play it: faultlessly at its narrowest tolerance, and with each of its aims missed
grossly at its widest. The rows are stages; what does not hold is listed. All keys take some hours
of one core: with ``--log``, what holds is kept in a file of JSON lines, and a later run with the
same file goes on where this one was stopped. It plays again what did not hold, and drills that have
changed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

from benchmarks.results import Results, add_options
from trainer.drill import (
    Drill,
    DrillError,
    describe_aim,
    find_drill,
    move_to_harp,
    read_course,
    read_shelf,
    write_drill,
)
from trainer.harp import LOW_AND_HIGH_KEYS, STANDARD_KEYS, Harp, HarpError, parse_key
from trainer.practice.proof import (
    MIN_DISTANCE,
    MIN_FAULTLESS,
    Trial,
    faults_of,
    perform,
    prove,
)

SMOKE = ("first-clean-notes",)
KEYS = tuple(dict.fromkeys(("low C", "C", "high G", "G", "F#", *LOW_AND_HIGH_KEYS, *STANDARD_KEYS)))
"""Keys of harps that are commonly sold: the lowest, a middle one and the highest, then the rest."""
KEYS_AT_ONCE = 3
"""Number of keys in which all drills are played before the next ones."""


def prove_drill(drill: Drill) -> tuple[Drill, tuple[Trial, ...]]:
    """A drill and its proof on the harp that it is written for."""
    return drill, prove(drill, Harp.of(drill.key, drill.tuning))


@dataclass(frozen=True, slots=True)
class KeyProof:
    """A drill in one key.

    Attributes:
        drill: name of the drill.
        key: the key.
        digest: of the drill's music and goal.
        score: score of a faultless pass.
        missed: scores of passes that miss an aim grossly, by aim.
        limit: bound of the latter.
    """

    drill: str
    key: str
    digest: str
    score: float
    missed: dict[str, float]
    limit: float

    @property
    def holds(self) -> bool:
        """Whether the faultless pass earns enough, and all others little enough."""
        return self.score >= MIN_FAULTLESS and all(s <= self.limit for s in self.missed.values())


def digest_of(drill: Drill) -> str:
    """Digest of what decides the marks of a drill: its file without the words about it."""
    music = replace(drill, title="-", about="", skills=(), level=1, sections=(), remarks=())
    return hashlib.sha256(write_drill(music).encode()).hexdigest()[:16]


def prove_in_key(name: str, key: str) -> KeyProof:
    """Play a drill in a key: faultlessly, and with each of its aims missed grossly."""
    source = find_drill(name)
    harp = Harp.of(key, source.tuning)
    narrow = move_to_harp(source, harp)
    wide = narrow.at_widest()
    missed = {}
    for aim in wide.aims:
        faults = faults_of(aim, aim.steps(wide.steps), wide)
        in_solos = {aim.criterion: 1.0} if aim.is_on_solos and wide.solos else {}
        missed[describe_aim(aim)] = round(perform(wide, harp, faults, in_solos).score, 1)
    score = round(perform(narrow, harp, {}).score, 1)
    limit = wide.goal.pass_mark - MIN_DISTANCE
    return KeyProof(name, key, digest_of(source), score, missed, limit)


def can_play(drill: Drill, key: str) -> bool:
    """Whether a harp of a key can play a drill by holes."""
    try:
        move_to_harp(drill, Harp.of(key, drill.tuning))
    except DrillError:
        return False
    return True


def read_log(file: Path | None) -> dict[tuple[str, str, str], KeyProof]:
    """Proofs of earlier runs by drill, key and digest; the last ones count."""
    if file is None or not file.exists():
        return {}
    lines = file.read_text(encoding="utf-8").splitlines()
    proofs = [KeyProof(**json.loads(line)) for line in lines if line.endswith("}")]
    return {(proof.drill, proof.key, proof.digest): proof for proof in proofs}


def proofs_in_keys(
    drills: Iterable[Drill], keys: Iterable[str], log: Path | None, workers: int
) -> Iterator[KeyProof]:
    """Prove drills in keys, some keys at a time and of each stage a drill in turn.

    Args:
        drills: the drills.
        keys: the keys, in this order.
        log: file of proofs; those in it that hold are not made again.
        workers: number of processes.
    """
    places = {name: i for stage in read_course() for i, name in enumerate(stage.drills)}
    order = {key: i // KEYS_AT_ONCE for i, key in enumerate(keys)}
    jobs = [(drill, key) for drill in drills for key in order if can_play(drill, key)]
    jobs.sort(key=lambda job: (order[job[1]], places.get(job[0].name, 0)))
    known = read_log(log)
    old = [known.get((drill.name, key, digest_of(drill))) for drill, key in jobs]
    yield from (proof for proof in old if proof and proof.holds)
    left = [job for job, proof in zip(jobs, old, strict=True) if not (proof and proof.holds)]
    with ProcessPoolExecutor(workers) as pool:
        names, of_names = [drill.name for drill, _ in left], [key for _, key in left]
        for proof in pool.map(prove_in_key, names, of_names):
            if log is not None:
                with log.open("a", encoding="utf-8") as lines:
                    lines.write(json.dumps(asdict(proof)) + "\n")
            yield proof


def print_keys(results: Results, proofs: Iterable[KeyProof]) -> None:
    """Print what does not hold as it comes, and a table of the stages by keys."""
    stage_of = {name: stage.name for stage in read_course() for name in stage.drills}
    proofs_of: dict[tuple[str, str], list[KeyProof]] = {}
    keys: dict[str, None] = {}
    for proof in proofs:
        stage = stage_of.get(proof.drill, "in no stage")
        proofs_of.setdefault((stage, proof.key), []).append(proof)
        keys.setdefault(proof.key)
        if not proof.holds:
            missed = ", ".join(f"{aim} {score:.1f}" for aim, score in proof.missed.items())
            results.print(
                f"x {proof.drill} in {proof.key}: faultless {proof.score:.1f}, "
                f"{missed} <{proof.limit:.0f}"
            )
    results.print("holding of drills played, by stage and key", "")
    results.print(f"{'':<25}" + "".join(f"{key:>8}" for key in keys))
    for stage in dict.fromkeys([*stage_of.values(), "in no stage"]):
        if any((stage, key) in proofs_of for key in keys):
            cells = [_fraction(proofs_of.get((stage, key), [])) for key in keys]
            results.print(f"{stage:<25}" + "".join(f"{cell:>8}" for cell in cells))
    every = [proof for some in proofs_of.values() for proof in some]
    results.print("", f"{sum(proof.holds for proof in every)} of {len(every)} hold")
    if every:
        least = min(proof.score for proof in every)
        margin = min(proof.limit - score for proof in every for score in proof.missed.values())
        results.print(f"lowest faultless score {least:.1f}, least margin of a miss {margin:.1f}")


def _fraction(proofs: list[KeyProof]) -> str:
    return f"{sum(proof.holds for proof in proofs)}/{len(proofs)}" if proofs else "-"


def read_keys(text: str) -> tuple[str, ...]:
    """Parse ``all``, a number, or keys with commas.

    Raises:
        argparse.ArgumentTypeError: it is none of these.
    """
    if text == "all":
        return KEYS
    if text.isdecimal():
        return KEYS[: int(text)]
    try:
        return tuple(parse_key(word).name for word in text.split(","))
    except HarpError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.points")
    parser.add_argument("drills", nargs="*", help="names of drills; all if none is given")
    parser.add_argument(
        "--keys", type=read_keys, default=(), help="keys to play them in: all, a number, or names"
    )
    parser.add_argument("--log", type=Path, help="with --keys, file of what has been played")
    parser.add_argument("--workers", type=int, default=os.cpu_count(), help="processes")
    add_options(parser)
    options = parser.parse_args()
    names = options.drills or (SMOKE if options.smoke else ())
    drills = [find_drill(name) for name in names] or list(read_shelf().drills)
    material = "on each drill's own harp"
    if options.keys:
        material = "drills moved by holes"
    results = Results(
        "benchmarks.points --keys" if options.keys else "benchmarks.points",
        f"the built-in player, seed 1, {material}, with the faults of proof.py",
        "the pitch curve and the aims' weight were chosen while benchmarks.points was looked at"
        + (", on other keys" if options.keys else ""),
    )
    if options.keys:
        print_keys(results, proofs_in_keys(drills, options.keys, options.log, options.workers))
        results.finish(options)
        return
    failed = total = 0
    with ProcessPoolExecutor(options.workers) as pool:
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
