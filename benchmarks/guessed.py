"""How often the harp and the position of a tune are guessed right from its notes.

    python -m benchmarks.guessed [--tunes 2] [--first 0] [--heard 1] [--ceiling 60]

The guess was fitted on the generators of `training/harp_tunes.py` (training/README.md). None of the
tunes here are of them:

- *licks*, *dances*, *songs*: :mod:`benchmarks.played_tunes`, with harps and positions about as
  often as they are played;
- *shelf*: the drills on the shelf in the standard tuning of 12 steps and 5 pitches or more, each in
  another key; their positions are those that a drill names or that the drill room estimates;
- *independent*: :mod:`benchmarks.tunes`, every standard key and the positions 1, 2, 3, 4, 5 and 12;
- *same scales*: `same_scales_tune`, the same keys and positions. Its scales and bend factor are
  those of an earlier guesser.

Figures, for the harp: fraction of tunes with the right harp first, and among the first three; mean
probability reported for the first guess, which should equal the fraction that is right; and the
expected calibration error in ten bins (Guo et al. 2017). For the position: fraction of tunes with
the right position on the right harp. All tunes count alike.

A second table has tunes of the independent generator on harps in other tunings, each in the
positions that it is made for, and on standard harps: fraction with the right tuning first, and with
the right harp first where all tunings are tried and where the tuning is named.

``--heard`` also plays that many independent tunes of each key and position with recorded reeds,
transcribes them and guesses from the transcript. ``--ceiling`` also ranks that many independent
tunes by their likelihood under their own generator (:mod:`benchmarks.guess_ceiling`): this is how
often a listener is right who knows all of its rules.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks import results
from benchmarks.corpus import Player, Sound, hard, still
from benchmarks.fonts import RATE, VOICES, prepare
from benchmarks.guess_ceiling import best_guess, ceiling_lines
from benchmarks.melody import tongued
from benchmarks.played_tunes import GENERATORS as PLAYED_GENERATORS
from benchmarks.played_tunes import PlayedTune
from benchmarks.tunes import POSITIONS, TUNED_POSITIONS, make_tune
from trainer.drill import (
    PitchEvent,
    TargetPitch,
    drill_position,
    read_shelf,
    target_pitches,
)
from trainer.harp import STANDARD_KEYS, Harp, Tab
from trainer.transcript import HarpGuess, TranscriptRequest, transcribe
from trainer.transcript.harp_guess import candidate_harps, guess_harps

FIFTH = 7
BLUES = (0, 3, 5, 6, 7, 10)
SCALES: dict[int, tuple[tuple[float, tuple[int, ...]], ...]] = {
    1: ((0.75, (0, 2, 4, 5, 7, 9, 11)), (0.25, (0, 2, 4, 7, 9))),
    2: ((0.3, (0, 2, 4, 5, 7, 9, 10)), (0.2, (0, 2, 4, 7, 9)), (0.5, (*BLUES, 4))),
    3: ((0.6, (0, 2, 3, 5, 7, 9, 10)), (0.4, BLUES)),
    4: ((1.0, (0, 2, 3, 5, 7, 8, 10)),),
    5: ((0.6, (0, 1, 3, 5, 7, 8, 10)), (0.4, (0, 3, 5, 7, 10))),
    12: ((1.0, (0, 2, 4, 6, 7, 9, 11)),),
}
"""By position: probability and half steps above the tonic of each scale. Those of the guesser."""
MINOR = (3, 4, 5)
CHORDS = (0, 0, 5, 0, 7, 5, 0, 7)
"""Roots of the chords from which one is drawn a bar; a tune begins and ends on the first."""
CENTRAL_HOLE = {1: 5.0, 2: 3.5, 3: 5.0, 4: 5.5, 5: 4.5, 12: 5.5}
"""Hole around which a tune moves, by position."""
OVERBLOWN = 0.03
"""Fraction of tunes that use overblows and overdraws."""
BARS = (2, 4, 8)
"""Lengths of tunes in bars, each as often."""
BEAT_S = 0.5
SHORTEST_DRILL, FEWEST_PITCHES = 12, 5
STANDARD = "richter"
WIDTH = 22


@dataclass(frozen=True)
class Tune:
    """A made-up tune.

    Attributes:
        key, position, tuning: of the harp it is played on.
        notes: start and end in seconds, and the entry, in order of time.
    """

    key: str
    position: int
    notes: tuple[tuple[float, float, Tab], ...]
    tuning: str = "richter"


@dataclass(frozen=True)
class Guessed:
    """What was guessed of a tune.

    Attributes:
        key, position: the true ones.
        rank: of the true harp among the guesses, from 0.
        probability: reported for the first guess.
        position_right: whether the position guessed for the true harp is right.
        tuning_right: whether the first guess has the right tuning.
    """

    key: str
    position: int
    rank: int
    probability: float
    position_right: bool
    tuning_right: bool = True


def shelf_tunes() -> list[PlayedTune]:
    """Return the drills on the shelf as tunes, each in another key."""
    drills = [
        drill
        for drill in read_shelf().drills
        if drill.tuning == STANDARD and len(drill.steps) >= SHORTEST_DRILL
    ]
    tunes = []
    for i, drill in enumerate(drills):
        key = STANDARD_KEYS[i % len(STANDARD_KEYS)]
        harp, beat = Harp.of(key), 60.0 / drill.tempo
        events = [
            PitchEvent(
                float(step.start) * beat,
                float(step.end) * beat - 0.05,
                target_pitches(step, harp),
            )
            for step in drill.steps
        ]
        if len({event.path for event in events}) >= FEWEST_PITCHES:
            tunes.append(PlayedTune(key, drill_position(drill, harp), tuple(events)))
    return tunes


def independent_tune(key: str, position: int, seed: int) -> Tune:
    """Return a tune of the generator that shares nothing with the guesser."""
    return Tune(key, position, tuple(make_tune(key, position, seed).seconds()))


def same_scales_tune(key: str, position: int, seed: int) -> Tune:
    """Return a tune over the guesser's own scales.

    It walks by steps more than by leaps over chords that change with the bars, prefers notes of the
    chord on strong beats, rests after one or two bars on a note of the tonic chord, and ends on the
    tonic, sometimes on its third or fifth.
    """
    draw = np.random.default_rng((seed, STANDARD_KEYS.index(key), position))
    harp = Harp.of(key)
    tonic = (harp.key.tonic + FIFTH * (position - 1)) % 12
    odds, scales = zip(*SCALES[position], strict=True)
    scale = scales[int(draw.choice(len(scales), p=odds))]
    over = draw.random() < OVERBLOWN
    entries = sorted(
        (tab for tab in harp.entries if (harp.midi(tab) - tonic) % 12 in scale),
        key=lambda tab: (harp.midi(tab), tab.bend, tab.hole),
    )
    entries = [tab for tab in entries if over or not tab.over]
    middle = CENTRAL_HOLE[position] + draw.normal(0.0, 1.0)
    bars = int(draw.choice(BARS))
    roots = [0, *(int(draw.choice(CHORDS)) for _ in range(bars - 2)), 0]
    third = 3 if position in MINOR else 4
    notes: list[tuple[float, float, Tab]] = []
    place = int(np.argmin([abs(tab.hole - middle) for tab in entries]))
    beat = 0.0
    for bar, root in enumerate(roots):
        chord = {root, (root + third) % 12, (root + FIFTH) % 12}
        ends = bar % 2 == 1 or draw.random() < 0.3
        while beat < 4.0 * (bar + 1) - (1.0 if ends else 0.0):
            strong = beat % 2.0 == 0.0
            length = float(draw.choice((0.5, 1.0, 1.5, 2.0), p=(0.45, 0.4, 0.1, 0.05)))
            weights = []
            for i, tab in enumerate(entries):
                degree = (harp.midi(tab) - tonic) % 12
                weight = np.exp(-abs(i - place) / 1.5) * (0.5 if i == place else 1.0)
                weight *= 3.0 if strong and degree in chord else 1.0
                weight *= np.exp(-(((tab.hole - middle) / 2.5) ** 2))
                weight *= 0.5**tab.bend if not tab.over else 0.3
                weights.append(weight)
            place = int(draw.choice(len(entries), p=np.array(weights) / np.sum(weights)))
            notes.append((beat * BEAT_S, (beat + 0.9 * length) * BEAT_S, entries[place]))
            beat += length
        if ends:
            last = bar == bars - 1
            home = {0} if draw.random() < (0.85 if last else 0.4) else {0, third, FIFTH}
            near = [i for i, tab in enumerate(entries) if (harp.midi(tab) - tonic) % 12 in home]
            start = place
            place = min(near, key=lambda i: abs(i - start))
            notes.append((beat * BEAT_S, (beat + 1.3) * BEAT_S, entries[place]))
            beat += 2.0 if draw.random() < 0.7 else 1.5
    return Tune(key, position, tuple(notes))


GENERATORS: dict[str, Callable[[str, int, int], Tune]] = {
    "independent": independent_tune,
    "same scales": same_scales_tune,
}


def guess_from_notes(played: PlayedTune) -> Guessed:
    """Guess the harp of a tune from its notes alone."""
    guesses = guess_harps(played.events, candidate_harps())
    return _compare(played.key, played.position, STANDARD, guesses)


def played_material(tunes: int, first: int, keys: Sequence[str]) -> dict[str, list[PlayedTune]]:
    """Return the tunes of each generator, without the shelf.

    Args:
        tunes: of each key and position.
        first: seed of the first.
        keys: standard keys.
    """
    count = tunes * len(keys) * len(POSITIONS)
    material = {
        name: [make(first * count + n) for n in range(count)]
        for name, make in PLAYED_GENERATORS.items()
    }
    for name, make_one in GENERATORS.items():
        material[name] = [
            PlayedTune(key, position, tuple(_events(make_one(key, position, first + n))))
            for position in POSITIONS
            for key in keys
            for n in range(tunes)
        ]
    return material


def guess_tuned(tuning: str, key: str, position: int, seed: int) -> tuple[Guessed, Guessed]:
    """Guess the harp of a tune in a tuning: of all tunings, and where the tuning is named."""
    notes = tuple(make_tune(key, position, seed, tuning).seconds())
    events = _events(Tune(key, position, notes, tuning))
    tried, named = candidate_harps(), candidate_harps(tuning)
    return (
        _compare(key, position, tuning, guess_harps(events, tried)),
        _compare(key, position, tuning, guess_harps(events, named)),
    )


def _events(tune: Tune) -> list[PitchEvent]:
    harp = Harp.of(tune.key, tune.tuning)
    return [
        PitchEvent(start, end, (TargetPitch((harp.midi(tab),)),)) for start, end, tab in tune.notes
    ]


def tuning_table(guessed: dict[str, list[tuple[Guessed, Guessed]]]) -> list[str]:
    """Return a row for each tuning."""
    heads = ("tuning first", "harp first", "tuning named")
    lines = [f"{'':<{WIDTH}} {'tunes':>5}  " + "  ".join(f"{head:>14}" for head in heads)]
    for tuning, guesses in guessed.items():
        columns = (
            [tried.tuning_right for tried, _ in guesses],
            [tried.rank == 0 for tried, _ in guesses],
            [named.rank == 0 for _, named in guesses],
        )
        cells = "  ".join(f"{np.mean(column):>14.3f}" for column in columns)
        lines.append(f"{tuning:<{WIDTH}} {len(guesses):>5}  {cells}")
    return lines


def guess_from_sound(voice: str, generator: str, key: str, position: int, seed: int) -> Guessed:
    """Guess the harp of a tune that recorded reeds play."""
    tune, player = GENERATORS[generator](key, position, seed), Player(voice, key)
    samples = np.zeros(round((tune.notes[-1][1] + 0.8) * RATE))
    for start, end, tab in tune.notes:
        natural = Tab(tab.hole, tab.breath)
        cents = 100.0 * (player.harp.midi(tab) - player.harp.midi(natural))
        if not player.has(str(natural)):
            continue
        sound: Sound = tongued(hard(player.reed(str(natural)), end - start, still, cents))
        at = round((start + 0.4) * RATE)
        samples[at : at + len(sound.samples)] += sound.samples
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tune.wav"
        sf.write(path, 0.5 * samples / np.abs(samples).max(), RATE, subtype="FLOAT")
        return _compare(key, position, STANDARD, transcribe(TranscriptRequest(path)).guesses)


def _compare(key: str, position: int, tuning: str, guesses: Sequence[HarpGuess]) -> Guessed:
    harps = [(guess.harp.key.name, guess.harp.tuning.name) for guess in guesses]
    rank = harps.index((key, tuning)) if (key, tuning) in harps else len(harps)
    return Guessed(
        key,
        position,
        rank,
        guesses[0].probability,
        rank < len(harps) and guesses[rank].position == position,
        harps[0][1] == tuning,
    )


def calibration_error(guessed: Sequence[Guessed]) -> float:
    """Return the expected calibration error in ten bins (Guo et al. 2017)."""
    reported = np.array([guess.probability for guess in guessed])
    right = np.array([guess.rank == 0 for guess in guessed], float)
    bins = np.minimum((reported * 10).astype(int), 9)
    gaps = [abs(float((reported - right)[bins == number].sum())) for number in range(10)]
    return sum(gaps) / len(guessed)


def row(name: str, guessed: Sequence[Guessed]) -> str:
    """Return the cells of some tunes in a row."""
    columns = (
        [guess.rank == 0 for guess in guessed],
        [guess.rank < 3 for guess in guessed],
        [guess.probability for guess in guessed],
        [guess.position_right for guess in guessed],
    )
    cells = [f"{np.mean(column):.3f}" for column in columns]
    cells.insert(3, f"{calibration_error(guessed):.3f}")
    return f"{name:<{WIDTH}} {len(guessed):>5}  " + "  ".join(f"{cell:>11}" for cell in cells)


def table(guessed: dict[str, list[Guessed]]) -> list[str]:
    """Return the rows of all generators, by position."""
    heads = ("harp first", "first three", "probability", "ECE", "position")
    lines = [f"{'':<{WIDTH}} {'tunes':>5}  " + "  ".join(f"{head:>11}" for head in heads)]
    for position in (None, *POSITIONS):
        lines.append("all positions" if position is None else f"position {position}")
        for name, guesses in guessed.items():
            group = [guess for guess in guesses if position in (None, guess.position)]
            if group:
                lines.append(row(f"  {name}", group))
    return lines


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.guessed")
    parser.add_argument("--tunes", type=int, default=2, help="tunes of each key and position")
    parser.add_argument("--first", type=int, default=0, help="seed of the first tune")
    parser.add_argument("--heard", type=int, default=0, help="how many of them to play and hear")
    parser.add_argument("--ceiling", type=int, default=0, help="tunes ranked by their generator")
    results.add_options(parser)
    options = parser.parse_args()
    keys = STANDARD_KEYS[:1] if options.smoke else STANDARD_KEYS
    positions = POSITIONS[:2] if options.smoke else POSITIONS
    tunes = 1 if options.smoke else options.tunes
    output = results.Results(
        "benchmarks.guessed",
        f"made-up tunes, {tunes} of each of {len(keys)} keys and {len(positions)} positions, "
        f"seeds from {options.first}, and the shelf, from notes",
        "none: the weights were fitted and calibrated on other generators (training/harp_tunes.py)",
    )
    cores = os.cpu_count() or 1
    material = played_material(tunes, options.first, keys)
    if options.smoke:
        material = {name: played[:1] for name, played in material.items()}
    else:
        material["shelf"] = shelf_tunes()
    jobs = [(name, played) for name, all_played in material.items() for played in all_played]
    with ProcessPoolExecutor(cores) as pool:
        guesses = list(pool.map(guess_from_notes, [played for _, played in jobs], chunksize=8))
    output.print("from notes", *table(_by_generator([name for name, _ in jobs], guesses)))
    if options.ceiling:
        chosen = [
            (key, position, options.first + n)
            for n in range(1 + options.ceiling // (len(keys) * len(POSITIONS)))
            for position in POSITIONS
            for key in keys
        ]
        chosen = [chosen[i] for i in np.linspace(0, len(chosen) - 1, options.ceiling).astype(int)]
        with ProcessPoolExecutor(cores) as pool:
            best = list(pool.map(best_guess, *zip(*chosen, strict=True)))
        output.print("", *ceiling_lines(best))
    tuned_jobs = [
        (tuning, key, position, options.first + n)
        for tuning, made_for in ({"richter": POSITIONS} | TUNED_POSITIONS).items()
        for position in (made_for[:1] if options.smoke else made_for)
        for key in keys
        for n in range(tunes)
    ]
    with ProcessPoolExecutor(cores) as pool:
        pairs = list(pool.map(guess_tuned, *zip(*tuned_jobs, strict=True), chunksize=4))
    tuned: dict[str, list[tuple[Guessed, Guessed]]] = {}
    for job, pair in zip(tuned_jobs, pairs, strict=True):
        tuned.setdefault(job[0], []).append(pair)
    output.print("", "by tuning, independent generator", *tuning_table(tuned))
    if options.heard:
        harps = [Harp.of(key) for key in keys]
        prepare(sorted({harp.midi(tab) for harp in harps for tab in harp.entries}), cores)
        voices = list(VOICES)
        heard = [
            (voices[(i + n) % 2], name, key, position, options.first + n)
            for name in GENERATORS
            for i, (key, position) in enumerate((k, p) for p in positions for k in keys)
            for n in range(options.heard)
        ]
        with ProcessPoolExecutor(cores) as pool:
            guesses = list(pool.map(guess_from_sound, *zip(*heard, strict=True)))
        names = [job[1] for job in heard]
        output.print("", "played by recorded reeds", *table(_by_generator(names, guesses)))
    output.finish(options)


def _by_generator(names: Sequence[str], guesses: Sequence[Guessed]) -> dict[str, list[Guessed]]:
    grouped: dict[str, list[Guessed]] = {}
    for name, guess in zip(names, guesses, strict=True):
        grouped.setdefault(name, []).append(guess)
    return grouped


if __name__ == "__main__":
    main()
