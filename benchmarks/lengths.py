"""How often written lengths and meters are right, from notes with scattered onsets.

    python -m benchmarks.lengths [--tunes 1] [--first 0] [--scatter-ms 20]

The quantizer (`trainer/transcript/note_values.py`) gets notes whose onsets scatter by a normal
distribution; nothing is played or heard. Materials:

- *shelf*: the drills of the shelf that have a beat, on which the quantizer's constants were chosen;
- *made-up tunes*: those of :mod:`benchmarks.tunes`, in three and four beats, a third of them swung.

A length is right if it equals the written one in beats. A meter is right if its beats per bar and
their note value are, and most notes stand on the right beat of the bar.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np

from benchmarks import results
from benchmarks.tunes import GAP, POSITIONS, make_tune
from trainer.drill import BeatClock, Drill, Sound, read_shelf
from trainer.harp import STANDARD_KEYS
from trainer.transcript import TranscribedNote
from trainer.transcript.note_values import quantize

RATE = 48_000
LEAD_S = 1.0
"""Silence before the first beat."""


@dataclass(frozen=True)
class WrittenTune:
    """Notes as written and as played.

    Attributes:
        meter: beats per bar and the note value of a beat.
        written: start and length in beats of each note.
        notes: the same notes with start and end in seconds.
    """

    meter: tuple[int, int]
    written: tuple[tuple[Fraction, Fraction], ...]
    notes: tuple[TranscribedNote, ...]


@dataclass(frozen=True)
class Judged:
    """The result of one tune: right lengths, all lengths, and whether the meter is right."""

    right: int
    lengths: int
    meter_right: bool


def tune_of_drill(drill: Drill) -> WrittenTune:
    """Return the notes of a drill, played in time."""
    clock = BeatClock(round(LEAD_S * RATE), drill.tempo, RATE, drill.swing)
    notes = []
    for step in drill.steps:
        start, end = clock.sample(step.start) / RATE, clock.sample(step.start + step.beats) / RATE
        notes.append(_note(start, start + (1.0 - GAP) * (end - start), step.sounds))
    written = tuple((step.start, step.beats) for step in drill.steps)
    return WrittenTune(drill.meter, written, tuple(notes))


def made_up_tune(key: str, position: int, seed: int) -> WrittenTune:
    """Return the notes of a made-up tune, played in time."""
    tune = make_tune(key, position, seed)
    notes = [_note(LEAD_S + start, LEAD_S + end, ((tab,),)) for start, end, tab in tune.seconds()]
    written = tuple((Fraction(start), Fraction(length)) for start, length, _ in tune.notes)
    return WrittenTune((tune.beats, 4), written, tuple(notes))


def _note(start: float, end: float, sounds: tuple[Sound, ...]) -> TranscribedNote:
    return TranscribedNote(start, end, sounds, 0.0, 440.0)


def judge(tune: WrittenTune, scatter_s: float, seed: int) -> Judged:
    """Quantize a tune with scattered onsets and compare it with what is written."""
    scatter = np.random.default_rng(seed).normal(0.0, scatter_s, len(tune.notes))
    starts = np.maximum.accumulate([n.start for n in tune.notes] + scatter)
    played = [
        _note(float(start), max(float(start) + 0.05, note.end), note.sounds)
        for start, note in zip(starts, tune.notes, strict=True)
    ]
    (notes,), meter = quantize(played)
    if meter is None:
        return Judged(0, len(played), False)
    pairs = list(zip(notes, tune.written, strict=True))
    right = sum(note.beats == length for note, (_, length) in pairs)
    bar = tune.meter[0]
    on_beat = sum(
        note.at is not None and (note.at - start) % bar == 0 for note, (start, _) in pairs
    )
    return Judged(right, len(pairs), meter.meter == tune.meter and 2 * on_beat > len(pairs))


def row(name: str, judged: Sequence[Judged]) -> str:
    """Return a row of the table."""
    right = sum(tune.right for tune in judged) / sum(tune.lengths for tune in judged)
    meters = sum(tune.meter_right for tune in judged) / len(judged)
    notes = sum(tune.lengths for tune in judged)
    return f"{name:<32}{len(judged):>6}{notes:>8}{right:>10.3f}{meters:>10.3f}"


def table(tunes: int, first: int, scatter_s: float, keys: Sequence[str]) -> Iterator[str]:
    """Yield the table, a material a row."""
    yield f"{'':<32}{'tunes':>6}{'notes':>8}{'lengths':>10}{'meters':>10}"
    drills = [drill for drill in read_shelf().drills if not drill.free and not drill.second]
    shelf = [tune_of_drill(drill) for drill in drills[:: 1 if len(keys) > 1 else 20]]
    yield row("shelf", [judge(tune, scatter_s, first + i) for i, tune in enumerate(shelf)])
    jobs = [
        (key, position, first + n) for position in POSITIONS for key in keys for n in range(tunes)
    ]
    made = [(made_up_tune(*job), job[2]) for job in jobs]
    judged = [judge(tune, scatter_s, seed) for tune, seed in made]
    yield row("made-up tunes", judged)
    for beats in (3, 4):
        group = [j for j, (tune, _) in zip(judged, made, strict=True) if tune.meter[0] == beats]
        if group:
            yield row(f"  in {beats} beats", group)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.lengths")
    parser.add_argument("--tunes", type=int, default=1, help="tunes of each key and position")
    parser.add_argument("--first", type=int, default=0, help="seed of the first tune")
    parser.add_argument("--scatter-ms", type=float, default=20.0, help="of the onsets (SD)")
    results.add_options(parser)
    options = parser.parse_args()
    output = results.Results(
        "benchmarks.lengths",
        f"notes, not sound; onsets scattered by {options.scatter_ms:g} ms; seeds from "
        f"{options.first}",
        "the constants were chosen by hand on the shelf; none on the made-up tunes",
    )
    keys = STANDARD_KEYS[:1] if options.smoke else STANDARD_KEYS
    for line in table(options.tunes, options.first, options.scatter_ms / 1000.0, keys):
        output.print(line)
    output.finish(options)


if __name__ == "__main__":
    main()
