"""How often written lengths, meters and swing are right, from notes with human timing.

    python -m benchmarks.lengths [--tunes 1] [--first 0] [--scatter-ms 20] [--choice]

The quantizer (`trainer/transcript/note_values.py`) gets notes with onsets and ends; nothing is
played or heard. Materials:

- *shelf*: the drills of the shelf that have a beat, on which constants were chosen by hand; onsets
  scatter by a normal distribution, as in the next;
- *made-up tunes*: those of :mod:`benchmarks.tunes`, in three and four beats, a third of them swung;
- *grammar*: those of :mod:`benchmarks.rhythm_grammar`, on which constants were chosen, too;
- *styles*: those of :mod:`benchmarks.rhythm_styles`, which no constant knows of.

A length is right if it equals the written one in beats. A meter is right if its beats per bar and
their note value are, and most notes stand on the right beat of the bar. Swing is right if it is
written for a tune that is swung, and for no other. Two tables of confusion follow: of meters, by
tunes, and of lengths, by notes of tunes with the right meter and swing. `--choice` leaves the
styles out.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np

from benchmarks import results
from benchmarks.rhythm_grammar import make_divided_tune
from benchmarks.rhythm_styles import LEAD_S, STYLES, WrittenTune, make_styled_tune
from benchmarks.tunes import GAP, POSITIONS, make_tune
from trainer.drill import BeatClock, Drill, Sound, read_shelf
from trainer.harp import STANDARD_KEYS, Harp
from trainer.transcript import TranscribedNote
from trainer.transcript.note_values import quantize

RATE = 48_000


@dataclass(frozen=True)
class Judged:
    """The result of one tune.

    Attributes:
        right, lengths: number of right lengths, and of all.
        meter_right, swing_right: whether the meter and the swing are right.
        meters: written and found, as text.
        pairs: written and found length of each note, beats.
    """

    right: int
    lengths: int
    meter_right: bool
    swing_right: bool
    meters: tuple[str, str]
    pairs: tuple[tuple[Fraction, Fraction], ...]


def tune_of_drill(drill: Drill) -> WrittenTune:
    """Return the notes of a drill, played in time."""
    clock = BeatClock(round(LEAD_S * RATE), drill.tempo, RATE, drill.swing)
    harp = Harp.of(drill.key, drill.tuning)
    notes = []
    for step in drill.steps:
        start, end = clock.sample(step.start) / RATE, clock.sample(step.start + step.beats) / RATE
        notes.append(_note(start, start + (1.0 - GAP) * (end - start), step.sounds, harp))
    written = tuple((step.start, step.beats) for step in drill.steps)
    return WrittenTune(drill.meter, written, tuple(notes), drill.swing > 1.0)


def made_up_tune(key: str, position: int, seed: int) -> WrittenTune:
    """Return the notes of a made-up tune, played in time."""
    tune = make_tune(key, position, seed)
    harp = Harp.of(key)
    notes = [
        _note(LEAD_S + start, LEAD_S + end, ((tab,),), harp) for start, end, tab in tune.seconds()
    ]
    written = tuple((Fraction(start), Fraction(length)) for start, length, _ in tune.notes)
    halves = any(start % 1 == Fraction(1, 2) for start, _ in written)
    return WrittenTune((tune.beats, 4), written, tuple(notes), tune.swung and halves)


def _note(start: float, end: float, sounds: tuple[Sound, ...], harp: Harp) -> TranscribedNote:
    return TranscribedNote(start, end, sounds, 0.0, harp.hz(sounds[0][0]))


def scattered(tune: WrittenTune, scatter_s: float, seed: int) -> WrittenTune:
    """Return a tune with scattered onsets."""
    scatter = np.random.default_rng(seed).normal(0.0, scatter_s, len(tune.notes))
    starts = np.maximum.accumulate([n.start for n in tune.notes] + scatter)
    played = [
        replace(note, start=float(start), end=max(float(start) + 0.05, note.end))
        for start, note in zip(starts, tune.notes, strict=True)
    ]
    return replace(tune, notes=tuple(played))


def judge(tune: WrittenTune) -> Judged:
    """Quantize a tune and compare it with what is written."""
    (notes,), meter = quantize(tune.notes)
    written_meter = "{}/{}".format(*tune.meter)
    if meter is None:
        return Judged(0, len(notes), False, False, (written_meter, "none"), ())
    written = [length for _, length in tune.written]
    pairs = tuple((w, n.beats or Fraction(0)) for w, n in zip(written, notes, strict=True))
    bar = tune.meter[0]
    on_beat = sum(
        note.at is not None and (note.at - start) % bar == 0
        for note, (start, _) in zip(notes, tune.written, strict=True)
    )
    return Judged(
        sum(estimate == length for length, estimate in pairs),
        len(pairs),
        meter.meter == tune.meter and 2 * on_beat > len(pairs),
        (meter.swing > 1.0) == tune.swung,
        (written_meter, "{}/{}".format(*meter.meter)),
        pairs,
    )


HEADING = (
    f"{'':<32}{'tunes':>6}{'notes':>8}{'lengths':>10}{'meters':>10}{'bar lines':>10}{'swing':>10}"
)


def row(name: str, judged: Sequence[Judged]) -> str:
    """Return a row of the table."""
    notes = sum(tune.lengths for tune in judged)
    right = sum(tune.right for tune in judged) / notes
    named = np.mean([tune.meters[0] == tune.meters[1] for tune in judged])
    barred = np.mean([tune.meter_right for tune in judged])
    swing = np.mean([tune.swing_right for tune in judged])
    figures = f"{right:>10.3f}{named:>10.3f}{barred:>10.3f}{swing:>10.3f}"
    return f"{name:<32}{len(judged):>6}{notes:>8}{figures}"


def confusion(pairs: Sequence[tuple[str, str]], name: str) -> Iterator[str]:
    """Yield a table of pairs of written and found classes, a written class a row."""
    counts = Counter(pairs)
    columns = sorted({estimate for _, estimate in pairs}, key=_size)
    yield f"{name:<16}" + "".join(f"{column:>7}" for column in columns)
    for written in sorted({written for written, _ in pairs}, key=_size):
        cells = "".join(f"{counts[written, column] or '.':>7}" for column in columns)
        yield f"  {written:<14}{cells}"


def _size(name: str) -> tuple[float, str]:
    try:
        return float(Fraction(name)), name
    except ValueError:
        return np.inf, name


def length_class(beats: Fraction) -> str:
    """Return the name of a length's class; uncommon ones have one name."""
    common = {Fraction(n, 12) for n in (3, 4, 6, 8, 9, 12, 18, 24, 36, 48)}
    return str(beats) if beats in common else "other"


Material = dict[str, list[WrittenTune]]


def materials(tunes: int, first: int, scatter_s: float, *, choice: bool, smoke: bool) -> Material:
    """Return the tunes of each row."""
    drills = [drill for drill in read_shelf().drills if not drill.free and not drill.second]
    shelf = [tune_of_drill(drill) for drill in drills[:: 20 if smoke else 1]]
    keys = STANDARD_KEYS[:1] if smoke else STANDARD_KEYS
    jobs = [
        (key, position, first + n) for position in POSITIONS for key in keys for n in range(tunes)
    ]
    made = [scattered(made_up_tune(*job), scatter_s, job[2]) for job in jobs]
    rows: Material = {
        "shelf": [scattered(tune, scatter_s, first + i) for i, tune in enumerate(shelf)],
        "made-up tunes": made,
        "  in 3 beats": [tune for tune in made if tune.meter[0] == 3],
        "  in 4 beats": [tune for tune in made if tune.meter[0] == 4],
    }
    grammar = [make_divided_tune(first + n) for n in range(4 if smoke else 100 * tunes)]
    rows["grammar"] = [tune for _, tune in grammar]
    for kind in sorted({kind for kind, _ in grammar}):
        rows[f"  {kind}"] = [tune for name, tune in grammar if name == kind]
    if not choice:
        count = 1 if smoke else 12 * tunes
        styles = {s: [make_styled_tune(s, first + n) for n in range(count)] for s in STYLES}
        rows["styles"] = [tune for group in styles.values() for tune in group]
        rows |= {f"  {style}": group for style, group in styles.items()}
    return {name: group for name, group in rows.items() if group}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.lengths")
    parser.add_argument("--tunes", type=int, default=1, help="tunes of each key and position")
    parser.add_argument("--first", type=int, default=0, help="seed of the first tune")
    parser.add_argument("--scatter-ms", type=float, default=20.0, help="of the onsets (SD)")
    parser.add_argument("--choice", action="store_true", help="the material of the constants")
    results.add_options(parser)
    options = parser.parse_args()
    output = results.Results(
        "benchmarks.lengths" + (" --choice" if options.choice else ""),
        f"notes, not sound; onsets of the first two scattered by {options.scatter_ms:g} ms; seeds "
        f"from {options.first}",
        "the constants were chosen by hand on the shelf, on seeds below 200 of the grammar and on "
        "seeds below 100 of the made-up tunes; none on the styles",
    )
    rows = materials(
        options.tunes,
        options.first,
        options.scatter_ms / 1000.0,
        choice=options.choice,
        smoke=options.smoke,
    )
    every = [name for name in rows if not name.startswith(" ")]
    distinct = {id(tune): tune for name in every for tune in rows[name]}
    judged = dict(zip(distinct, _each(judge, list(distinct.values()), options.smoke), strict=True))
    output.print(HEADING)
    for name, group in rows.items():
        output.print(row(name, [judged[id(tune)] for tune in group]))
    for name in every:
        outcomes = [judged[id(tune)] for tune in rows[name]]
        output.print("", *confusion([tune.meters for tune in outcomes], f"{name}: meter"))
        clear = [tune for tune in outcomes if tune.meter_right and tune.swing_right]
        pairs = [(length_class(w), length_class(f)) for tune in clear for w, f in tune.pairs]
        output.print("", *confusion(pairs, "length"))
    output.finish(options)


def _each(
    work: Callable[[WrittenTune], Judged], tunes: Sequence[WrittenTune], smoke: bool
) -> list[Judged]:
    if smoke:
        return [work(tune) for tune in tunes]
    with ProcessPoolExecutor(os.cpu_count() or 1) as pool:
        return list(pool.map(work, tunes, chunksize=4))


if __name__ == "__main__":
    main()
