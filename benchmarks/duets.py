"""Two harps over each other, written down: is the second noticed, and are both parts right?

    python -m benchmarks.duets [--phrases 8] [--first 0]

Two phrases of :mod:`benchmarks.transcripts`, by two voices or by one, on harps of one key, sound
over each other, the second begun a little later and at four levels under the first. The phrases
know nothing of each other: they walk through the same holes, cross, and meet in unisons, octaves
and twelfths as chance has it, which is harder than what two players do who listen to each other.
The key is told; whether there are two is not. Told are

- *noticed*: mixes of which two parts were written;
- F1 as in :mod:`benchmarks.transcripts`: of the first part, of the second, and of all notes,
  whichever part they were written in. Which written part is which player's is taken as fits best;
- *trust* beside *right*: the mean trust, and the share of written notes that were right.

The same mixes in two rooms follow, and at last how often a second player was written of a single
phrase, in every condition of :mod:`benchmarks.transcripts`. What decides that
(`trainer/transcript/two_parts.py`) was chosen on the phrases before number 200.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks.corpus import Item, Player
from benchmarks.fonts import RATE, VOICES, Floats
from benchmarks.transcripts import CONDITIONS, KEYS, Judged, judged, phrase, prepared
from trainer.transcript import Transcript, TranscriptRequest, transcribe

UNDER_DB = (0.0, -6.0, -12.0, -18.0)
ROOMS = ("alone", "room, 0.3 s", "room, 0.6 s")
LATER_S = 0.13
QUIET = 1e-4
"""What is softer, over the loudest sample, does not count towards a phrase's level."""


@dataclass(frozen=True)
class Mixed:
    """What came of a mix of two phrases.

    Attributes:
        condition, db: where it sounded, and how far the second was under the first.
        noticed: whether two parts were written.
        first, second, either: notes of each player, and of both together: how many were played,
            and what was written.
    """

    condition: str
    db: float
    noticed: bool
    first: tuple[int, tuple[Judged, ...]]
    second: tuple[int, tuple[Judged, ...]]
    either: tuple[int, tuple[Judged, ...]]


def mix(one: Item, other: Item, db: float) -> Item:
    """Two phrases over each other, the second so many dB under the first, by their RMS."""
    later = round(LATER_S * RATE)
    samples = np.zeros(max(len(one.samples), later + len(other.samples)))
    samples[: len(one.samples)] += one.samples
    gain = 10.0 ** (db / 20.0) * _rms(one.samples) / _rms(other.samples)
    samples[later : later + len(other.samples)] += gain * other.samples
    return replace(one, samples=samples, until=len(samples) / RATE)


def _rms(samples: Floats) -> float:
    loud = samples[np.abs(samples) > QUIET * np.abs(samples).max()]
    return float(np.sqrt(np.mean(loud**2)))


def transcript(one: Item) -> Transcript:
    """What is written of an item whose harp is told."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "item.wav"
        sf.write(path, 0.5 * one.samples / np.abs(one.samples).max(), one.rate, subtype="FLOAT")
        return transcribe(TranscriptRequest(path, harp=one.harp))


def duet(seed: int, db: float, condition: str) -> Mixed:
    """Score one mix: of the phrases `seed` and `seed` + 1."""
    voices, key = list(VOICES), KEYS[seed // 2 % len(KEYS)]
    voice = voices[seed // 2 % len(voices)], voices[seed // 4 % len(voices)]
    item, first = phrase(Player(voice[0], key), seed)
    other, second = phrase(Player(voice[1], key), seed + 1)
    second = [replace(n, start=n.start + LATER_S, end=n.end + LATER_S) for n in second]
    found = transcript(CONDITIONS[condition](mix(item, other, db)))
    parts = [found.notes, found.second]
    ways = [
        [tuple(judged(played, part)) for played, part in zip((first, second), some, strict=True)]
        for some in (parts, parts[::-1])
    ]
    best = max(ways, key=lambda way: sum(one.right for part in way for one in part))
    both = sorted([*first, *second], key=lambda note: note.start)
    every = tuple(sorted((n for part in parts for n in part), key=lambda note: note.start))
    return Mixed(
        condition,
        db,
        bool(found.second),
        (len(first), best[0]),
        (len(second), best[1]),
        (len(both), tuple(judged(both, every))),
    )


def alone(voice: str, key: str, seed: int, condition: str) -> tuple[str, bool]:
    """Whether a second player is written of a single phrase."""
    item, _ = phrase(Player(voice, key), seed)
    return condition, bool(transcript(CONDITIONS[condition](item)).second)


def f1(some: Sequence[tuple[int, tuple[Judged, ...]]], *, strictly: bool = False) -> float:
    """The F-measure of notes: how many were played, and what was written."""
    hits = sum(one.strictly if strictly else one.right for _, notes in some for one in notes)
    return 2.0 * hits / sum(played + len(notes) for played, notes in some)


def line(name: str, some: Sequence[Mixed]) -> str:
    """A row of the table."""
    notes = [note for one in some for note in one.either[1]]
    return (
        f"{name:<28} {sum(one.noticed for one in some):>4} of {len(some):<4}"
        f" {f1([one.first for one in some]):8.3f} {f1([one.second for one in some]):8.3f}"
        f" {f1([one.either for one in some]):8.3f}"
        f" {f1([one.either for one in some], strictly=True):8.3f}"
        f" {np.mean([note.right for note in notes]):8.3f}"
        f" {np.mean([note.confidence for note in notes]):8.3f}"
    )


def main() -> None:
    """Print the tables."""
    arguments = argparse.ArgumentParser(prog="python -m benchmarks.duets")
    arguments.add_argument("--phrases", type=int, default=8, help="mixes of each kind")
    arguments.add_argument("--first", type=int, default=0, help="seed of the first phrase")
    given = arguments.parse_args()
    cores = os.cpu_count() or 1
    prepared(cores)
    seeds = range(given.first, given.first + 2 * given.phrases, 2)
    mixes = [(seed, db, room) for room in ROOMS for db in UNDER_DB for seed in seeds]
    singles = [
        (list(VOICES)[i % len(VOICES)], KEYS[i % len(KEYS)], given.first + i, condition)
        for condition in CONDITIONS
        for i in range(2 * given.phrases)
    ]
    with ProcessPoolExecutor(cores) as pool:
        scored = list(pool.map(duet, *zip(*mixes, strict=True)))
        false = list(pool.map(alone, *zip(*singles, strict=True)))
    print(
        f"{'':<28} {'noticed':>12} {'first':>8} {'second':>8} {'either':>8} {'strict':>8}"
        f" {'right':>8} {'conf.':>8}"
    )
    for room in ROOMS:
        for db in UNDER_DB:
            some = [one for one in scored if (one.condition, one.db) == (room, db)]
            print(line(f"{room}, {-db:g} dB under", some))
    print("a second player written of one phrase:")
    for condition in CONDITIONS:
        told = [one for name, one in false if name == condition]
        print(f"{condition:<28} {sum(told):>4} of {len(told)}")


if __name__ == "__main__":
    sys.exit(main())
