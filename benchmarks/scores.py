"""Items heard and scored, in two processes, and the scores gathered."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from benchmarks import measure
from benchmarks.conditions import harp_under
from benchmarks.corpus import Item
from benchmarks.fonts import VOICES, Floats
from benchmarks.materials import ALL
from benchmarks.peers import PEERS, STAMPS
from trainer.harp import Tab

SETTLED_S = {"soft pair": 0.15, "chord": 0.1, "split": 0.3}
"""From so long after the onset the holes are counted, by the material's first words: reeds that
come up by themselves do so one after the other, and a split shows by slow beats. Else 60 ms."""

HOP_S = 0.005
"""From one reading of the ear to the next."""
Values = dict[str, Floats | Sequence[float]]


@dataclass(frozen=True)
class Job:
    """One material on one harp.

    Attributes:
        material: its name.
        voice, key: of the harp.
        off: cents by which its reeds may lie away from theory.
        every: only each so-manieth item is played.
        peers: names of those who hear it too.
    """

    material: str
    voice: str
    key: str
    off: float = 0.0
    every: int = 1
    peers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Score:
    """What was measured of one item.

    Attributes:
        job: what it was part of.
        name: the item's.
        values: arrays by what was counted; see `judge`.
    """

    job: Job
    name: str
    values: Values


def judge(material: str, one: Item, peers: Iterable[str] = ()) -> Values:
    """Scores of one item.

    Returns:
        ``fell over``: whether the ear broke off with an error, and all is missed; ``cents``:
        errors of the readings; ``own``: errors of the wanted reed's own pitch; ``right``: whether
        the exact holes were told, by reading; ``settle``: seconds until they stay so; ``three``:
        seconds to three readings within 10 cents; ``f0``: Hz; ``leak``: dB between the leak as
        told and as played; ``bound``: errors over the bound; and for each peer ``NAME at SHARE``
        errors by where it is stamped, and ``NAME three``.
    """
    values: Values = {"f0": one.hz(np.array([one.begins + 0.1]))}
    try:
        values |= _judge_ear(material, one)
    except Exception as error:  # whatever it is, it counts against the ear and is told
        print(f"The ear fell over at {one.name}: {error!r}", file=sys.stderr)
        values |= _all_missed(one)
    for peer in (PEERS[name] for name in peers):
        raw = peer.track(one)
        for share in STAMPS if peer.buffer else (0.0,):
            stamped = peer.stamped(raw, share, one.rate) if peer.buffer else raw
            values[f"{peer.name} at {share}"] = np.abs(measure.errors(one, stamped))
            if peer.buffer and share == 0.5:
                values[f"{peer.name} three"] = [measure.three_right(one, stamped)]
    return {name: np.asarray(value, dtype=float) for name, value in values.items()}


def _all_missed(one: Item) -> Values:
    """What an item counts on which the ear broke off with an error."""
    count = round((one.until - one.begins - measure.SETTLED_S) / HOP_S)
    errors, none, never = np.full(count, np.inf), np.zeros(count), np.array([np.inf])
    values: Values = {"fell over": [1.0], "settle": never, "three": never}
    return values | {"cents": errors, "own": errors, "right": none}


def _judge_ear(material: str, one: Item) -> Values:
    readings = measure.hear(one)
    found = measure.track(readings)
    settled = next(
        (s for name, s in SETTLED_S.items() if material.startswith(name)), measure.SETTLED_S
    )
    values: Values = {
        "fell over": [0.0],
        "cents": np.abs(measure.errors(one, found)),
        "own": np.abs(measure.errors(one, measure.own_pitch(one, readings))),
        "right": measure.right_holes(one, readings, settled),
        "settle": [measure.settles(one, readings)],
        "three": [measure.three_right(one, found)],
    }
    others = one.holes - {Tab.parse(one.tab).hole}
    if one.db is not None and len(others) == 1:
        values["leak"] = [measure.leak(one, readings, next(iter(others))) - one.db]
    if one.partials is not None and one.noise:
        values["bound"] = measure.over_bound(one, readings)
    return values


def score(job: Job) -> list[Score]:
    """All items of a job."""
    condition = job.material.partition(" | ")[2]
    player = harp_under(condition, job.voice, job.key, job.off, job.every)
    return [
        Score(job, one.name, judge(job.material, one, job.peers))
        for one in ALL[job.material](player)
    ]


def score_all(jobs: Sequence[Job], processes: int) -> Iterator[list[Score]]:
    """The jobs' scores in so many processes, in the order of the jobs."""
    with ProcessPoolExecutor(processes) as pool:
        yield from pool.map(score, jobs)


@dataclass
class Scores:
    """All scores, asked for by material and group of voices."""

    scores: list[Score] = field(default_factory=list)

    def of(self, *materials: str, off: bool = False) -> Scores:
        """Those of some materials, on reeds that lie where theory puts them or off it."""
        return Scores(
            [s for s in self.scores if s.job.material in materials and bool(s.job.off) is off]
        )

    def group(self, *, aside: bool) -> Scores:
        """Those of voices that were kept aside from tuning, or of the others."""
        return Scores([s for s in self.scores if VOICES[s.job.voice].aside is aside])

    def heard_by(self, *peers: str) -> Scores:
        """Those of items that some peers heard too."""
        return Scores([s for s in self.scores if set(peers) <= set(s.job.peers)])

    def values(self, name: str) -> Floats:
        """One kind of figure over all of them, shape (n,)."""
        found = [one.values[name] for one in self.scores if name in one.values]
        return np.concatenate(found) if found else np.zeros(0)

    def names(self) -> set[str]:
        """What was counted in any of them."""
        return {name for one in self.scores for name in one.values}
