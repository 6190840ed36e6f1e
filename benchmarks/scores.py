"""Score items in several processes, and collect the scores."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from benchmarks import measure
from benchmarks.conditions import harp_under
from benchmarks.corpus import Item
from benchmarks.fonts import VOICES
from benchmarks.materials import ALL
from benchmarks.peers import PEERS, STAMPS
from trainer.core.types import Floats
from trainer.harp import Tab

SETTLED_S = {"soft pair": 0.15, "chord": 0.1, "split": 0.3}
"""Seconds after the onset from which holes are judged, by the first word of a material; else 60 ms.
Reeds with their own attacks start one after the other, and a split is detected by slow beats."""

HOP_S = 0.005
"""Time between readings of the ear."""
Values = dict[str, Floats | Sequence[float]]


@dataclass(frozen=True)
class Job:
    """One material on one harp.

    Attributes:
        material: its name.
        voice, key: of the harp.
        off: greatest deviation of its reeds from theory, cents.
        every: 1 in how many items is used.
        peers: names of the peers that analyse it too.
    """

    material: str
    voice: str
    key: str
    off: float = 0.0
    every: int = 1
    peers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Score:
    """The measures of one item.

    Attributes:
        job: the job it is part of.
        name: of the item.
        values: arrays by measure, see `judge`.
    """

    job: Job
    name: str
    values: Values


def judge(material: str, item: Item, peers: Iterable[str] = ()) -> Values:
    """Measure one item.

    Returns:
        ``failed``: whether the ear raised an error, which counts as a miss of everything;
        ``cents``: errors of the readings; ``own``: errors of the wanted reed's pitch; ``right``:
        whether a reading names the exact holes; ``settle``: seconds until they stay right;
        ``three``: seconds to three readings within 10 cents; ``f0``: Hz; ``leak``: error of the
        leak's level in dB; ``bound``: errors over the bound; and for each peer ``NAME at STAMP``,
        errors by time stamp, and ``NAME three``.
    """
    values: Values = {"f0": item.hz(np.array([item.begins + 0.1]))}
    try:
        values |= _judge_ear(material, item)
    except Exception as error:  # any error counts against the ear
        print(f"The ear failed at {item.name}: {error!r}", file=sys.stderr)
        values |= _all_missed(item)
    for peer in (PEERS[name] for name in peers):
        raw = peer.track(item)
        for share in STAMPS if peer.buffer else (0.0,):
            stamped = peer.stamped(raw, share, item.rate) if peer.buffer else raw
            values[f"{peer.name} at {share}"] = np.abs(measure.errors(item, stamped))
            if peer.buffer and share == 0.5:
                values[f"{peer.name} three"] = [measure.three_right(item, stamped)]
    return {name: np.asarray(value, dtype=float) for name, value in values.items()}


def _all_missed(item: Item) -> Values:
    """Return the measures of an item at which the ear raised an error."""
    count = round((item.until - item.begins - measure.SETTLED_S) / HOP_S)
    errors, none, never = np.full(count, np.inf), np.zeros(count), np.array([np.inf])
    values: Values = {"failed": [1.0], "settle": never, "three": never}
    return values | {"cents": errors, "own": errors, "right": none}


def _judge_ear(material: str, item: Item) -> Values:
    readings = measure.hear(item)
    track = measure.track(readings)
    settled = next(
        (s for name, s in SETTLED_S.items() if material.startswith(name)), measure.SETTLED_S
    )
    values: Values = {
        "failed": [0.0],
        "cents": np.abs(measure.errors(item, track)),
        "own": np.abs(measure.errors(item, measure.own_pitch(item, readings))),
        "right": measure.right_holes(item, readings, settled),
        "settle": [measure.settles(item, readings)],
        "three": [measure.three_right(item, track)],
    }
    others = item.holes - {Tab.parse(item.tab).hole}
    if item.db is not None and len(others) == 1:
        values["leak"] = [measure.leak(item, readings, next(iter(others))) - item.db]
    if item.partials is not None and item.noise:
        values["bound"] = measure.over_bound(item, readings)
    return values


def score(job: Job) -> list[Score]:
    """Score all items of a job."""
    condition = job.material.partition(" | ")[2]
    player = harp_under(condition, job.voice, job.key, job.off, job.every)
    return [
        Score(job, item.name, judge(job.material, item, job.peers))
        for item in ALL[job.material](player)
    ]


def score_all(jobs: Sequence[Job], processes: int) -> Iterator[list[Score]]:
    """Yield the scores of each job, in order."""
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(score, jobs)


@dataclass
class Scores:
    """Scores, selected by material and group of voices."""

    scores: list[Score] = field(default_factory=list)

    def of(self, *materials: str, off: bool = False) -> Scores:
        """Select materials, on reeds at (or `off`) their theoretical pitch."""
        return Scores(
            [s for s in self.scores if s.job.material in materials and bool(s.job.off) is off]
        )

    def group(self, *, aside: bool) -> Scores:
        """Select the voices that were held out from tuning, or the others."""
        return Scores([s for s in self.scores if VOICES[s.job.voice].aside is aside])

    def heard_by(self, *peers: str) -> Scores:
        """Select items that given peers analysed too."""
        return Scores([s for s in self.scores if set(peers) <= set(s.job.peers)])

    def values(self, name: str) -> Floats:
        """Return one measure of all items, shape (n,)."""
        arrays = [score.values[name] for score in self.scores if name in score.values]
        return np.concatenate(arrays) if arrays else np.zeros(0)

    def names(self) -> set[str]:
        """Return the names of all measures."""
        return {name for score in self.scores for name in score.values}
