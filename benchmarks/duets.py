"""Transcription of two harps at once: is the second noticed, and are both parts right?

    python -m benchmarks.duets [--phrases 8] [--first 0]

Two phrases of :mod:`benchmarks.transcripts`, by one voice or two, on harps of one key, overlap; the
second begins a little later, at four levels below the first. The phrases are independent: they use
the same holes, cross, and meet in unisons, octaves and twelfths by chance, which is harder than two
players who listen to each other. The key is given, the number of players is not. Figures:

- *noticed*: mixes for which two parts were written;
- F1 as in :mod:`benchmarks.transcripts`: of the first part, of the second, and of all notes in
  either part. Written parts are assigned to players as fits best;
- *right* and *conf.*: fraction of written notes that are right, and mean confidence.

The same mixes in two rooms follow, and finally how often a second player is written for a single
phrase, by condition of :mod:`benchmarks.transcripts`. The constants of
`trainer/transcript/two_parts.py` were chosen on phrases below number 200.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks import results
from benchmarks.corpus import Item, Player
from benchmarks.fonts import RATE, VOICES
from benchmarks.transcripts import CONDITIONS, KEYS, NOTES, Judged, judged, phrase, prepare_reeds
from trainer.core.types import Floats
from trainer.transcript import Transcript, TranscriptRequest, transcribe

LEVELS_DB = (0.0, -6.0, -12.0, -18.0)
ROOMS = ("alone", "room, 0.3 s", "room, 0.6 s")
LATER_S = 0.13
QUIET = 1e-4
"""Samples softer than this, re the loudest one, do not count towards a phrase's level."""


@dataclass(frozen=True)
class Mixed:
    """The transcript of a mix of two phrases, judged.

    Attributes:
        condition, db: condition, and level of the second phrase re the first.
        noticed: whether two parts were written.
        first, second, either: of each player and of both together: number of played notes, and
            the written ones.
    """

    condition: str
    db: float
    noticed: bool
    first: tuple[int, tuple[Judged, ...]]
    second: tuple[int, tuple[Judged, ...]]
    either: tuple[int, tuple[Judged, ...]]


def mix(first: Item, second: Item, db: float) -> Item:
    """Mix two phrases, the second at `db` re the first by RMS."""
    later = round(LATER_S * RATE)
    samples = np.zeros(max(len(first.samples), later + len(second.samples)))
    samples[: len(first.samples)] += first.samples
    gain = 10.0 ** (db / 20.0) * _rms(first.samples) / _rms(second.samples)
    samples[later : later + len(second.samples)] += gain * second.samples
    return replace(first, samples=samples, until=len(samples) / RATE)


def _rms(samples: Floats) -> float:
    loud = samples[np.abs(samples) > QUIET * np.abs(samples).max()]
    return float(np.sqrt(np.mean(loud**2)))


def transcript(item: Item) -> Transcript:
    """Transcribe an item, given its harp."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "item.wav"
        sf.write(path, 0.5 * item.samples / np.abs(item.samples).max(), item.rate, subtype="FLOAT")
        return transcribe(TranscriptRequest(path, harp=item.harp))


def duet(seed: int, db: float, condition: str, notes: int = NOTES) -> Mixed:
    """Judge the mix of the phrases `seed` and `seed` + 1."""
    voices, key = list(VOICES), KEYS[seed // 2 % len(KEYS)]
    voice = voices[seed // 2 % len(voices)], voices[seed // 4 % len(voices)]
    item, first = phrase(Player(voice[0], key), seed, notes)
    other, second = phrase(Player(voice[1], key), seed + 1, notes)
    second = [replace(n, start=n.start + LATER_S, end=n.end + LATER_S) for n in second]
    written = transcript(CONDITIONS[condition](mix(item, other, db)))
    parts = [written.notes, written.second]
    assignments = [
        [tuple(judged(played, part)) for played, part in zip((first, second), group, strict=True)]
        for group in (parts, parts[::-1])
    ]
    best = max(assignments, key=lambda way: sum(note.right for part in way for note in part))
    both = sorted([*first, *second], key=lambda note: note.start)
    every = tuple(sorted((n for part in parts for n in part), key=lambda note: note.start))
    return Mixed(
        condition,
        db,
        bool(written.second),
        (len(first), best[0]),
        (len(second), best[1]),
        (len(both), tuple(judged(both, every))),
    )


def alone(voice: str, key: str, seed: int, condition: str, notes: int = NOTES) -> tuple[str, bool]:
    """Return the condition, and whether a second player is written for a single phrase."""
    item, _ = phrase(Player(voice, key), seed, notes)
    return condition, bool(transcript(CONDITIONS[condition](item)).second)


def f1(group: Sequence[tuple[int, tuple[Judged, ...]]], *, strictly: bool = False) -> float:
    """Return the F-measure of notes, given pairs of number played and notes written."""
    hits = sum(note.strictly if strictly else note.right for _, notes in group for note in notes)
    return 2.0 * hits / sum(played + len(notes) for played, notes in group)


def line(name: str, group: Sequence[Mixed]) -> str:
    """Return a row of the table."""
    notes = [note for mixed in group for note in mixed.either[1]]
    return (
        f"{name:<28} {sum(mixed.noticed for mixed in group):>4} of {len(group):<4}"
        f" {f1([mixed.first for mixed in group]):8.3f} {f1([mixed.second for mixed in group]):8.3f}"
        f" {f1([mixed.either for mixed in group]):8.3f}"
        f" {f1([mixed.either for mixed in group], strictly=True):8.3f}"
        f" {np.mean([note.right for note in notes]):8.3f}"
        f" {np.mean([note.confidence for note in notes]):8.3f}"
    )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.duets")
    parser.add_argument("--phrases", type=int, default=8, help="mixes of each kind")
    parser.add_argument("--first", type=int, default=0, help="seed of the first phrase")
    results.add_options(parser)
    options = parser.parse_args()
    few = 1 if options.smoke else None
    phrases, notes = few or options.phrases, 5 if options.smoke else NOTES
    rooms, levels, conditions = ROOMS[:few], LEVELS_DB[:few], tuple(CONDITIONS)[:few]
    cores = os.cpu_count() or 1
    if not options.smoke:  # a smoke run records the few reeds that it needs
        prepare_reeds(cores)
    output = results.Results(
        "benchmarks.duets",
        f"mixes of two phrases of {notes} notes of recorded reeds, {phrases} of each kind, "
        f"seeds from {options.first}",
        "the separation of parts was chosen on seeds below 200; the ear on voice harmonica 1",
    )
    seeds = range(options.first, options.first + 2 * phrases, 2)
    mixes = [(seed, db, room, notes) for room in rooms for db in levels for seed in seeds]
    singles = [
        (list(VOICES)[i % len(VOICES)], KEYS[i % len(KEYS)], options.first + i, condition, notes)
        for condition in conditions
        for i in range(1 if options.smoke else 2 * phrases)
    ]
    with ProcessPoolExecutor(cores) as pool:
        scored = list(pool.map(duet, *zip(*mixes, strict=True)))
        alone_results = list(pool.map(alone, *zip(*singles, strict=True)))
    output.print(
        f"{'':<28} {'noticed':>12} {'first':>8} {'second':>8} {'either':>8} {'strict':>8}"
        f" {'right':>8} {'conf.':>8}"
    )
    for room in rooms:
        for db in levels:
            group = [mixed for mixed in scored if (mixed.condition, mixed.db) == (room, db)]
            output.print(line(f"{room}, {abs(db):g} dB below", group))
    output.print("a second player written for one phrase:")
    for condition in conditions:
        wrong = [noticed for name, noticed in alone_results if name == condition]
        output.print(f"{condition:<28} {sum(wrong):>4} of {len(wrong)}")
    output.finish(options)


if __name__ == "__main__":
    main()
