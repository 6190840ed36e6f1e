"""The harp of a tune, guessed from its notes: how often is it right, and in which position?

    python -m benchmarks.guessed [--tunes 2] [--first 0] [--heard 1]

Tunes are made for every standard key and for the positions 1, 2, 3, 4, 5 and 12. Each walks through
what the harp has of a scale that players use in that position (the mode that its natural notes
give, or a blues scale), by steps more than by leaps, over chords that change with the bars: on
strong beats it prefers notes of the chord, a phrase of a bar or two ends on one of the tonic's and
rests, and the tune ends on the tonic, seldom on its fifth. How it is drawn is common practice put
into numbers, and not what the guess (`trainer/transcript/harp_guess.py`) reckons with; both
share the notion of which scale belongs to which position, and neither has seen a real
player's tune.

Told are, for the harp: right first, right among the first three, and the mean share that the first
one was told with, which should be how often it is right; for the position: right where the harp is.
All positions count alike, and, in brackets, as often as they are played (`position_prior` there).
Constants of the guess were chosen on the seeds before 50; those from 50 on are held out.

`--heard` also plays so many tunes of each key and position with recorded reeds, and lets
`transcribe` hear and guess.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks.corpus import Player, Sound, hard
from benchmarks.fonts import RATE, VOICES, prepare
from benchmarks.melody import _still, _tongued
from trainer.drill.fingerings import TargetPitch
from trainer.harp import STANDARD_KEYS, Harp, Tab
from trainer.transcript import TranscriptRequest, transcribe
from trainer.transcript.harp_guess import HARP_GUESS, PitchEvent, candidate_harps, guess_harps

POSITIONS = (1, 2, 3, 4, 5, 12)
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
"""Half steps over the tonic, and how often each scale is taken (common practice)."""
MINOR = (3, 4, 5)
CHORDS = (0, 0, 5, 0, 7, 5, 0, 7)
"""Roots of chords, of which a tune draws one a bar; it begins and ends on the first."""
WHERE = {1: 5.0, 2: 3.5, 3: 5.0, 4: 5.5, 5: 4.5, 12: 5.5}
"""The hole about which a tune moves."""
OVERBLOWN = 0.03
"""Share of tunes in which overblows and overdraws are played."""
BARS = (2, 4, 8)
"""How long a tune is: one of these, each as often."""
BEAT_S = 0.5


@dataclass(frozen=True)
class Tune:
    """A tune that was made up.

    Attributes:
        key, position: what it is played on, and how.
        notes: start and end in seconds, and tab.
    """

    key: str
    position: int
    notes: tuple[tuple[float, float, Tab], ...]


@dataclass(frozen=True)
class Guessed:
    """What was guessed of a tune: the place of its harp among the guesses, from 0; the share of
    the first; whether the position is right, on the right harp."""

    key: str
    position: int
    place: int
    probability: float
    positioned: bool


def tune(key: str, position: int, seed: int) -> Tune:
    """Make up a tune."""
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
    middle = WHERE[position] + draw.normal(0.0, 1.0)
    bars = int(draw.choice(BARS))
    roots = [0, *(int(draw.choice(CHORDS)) for _ in range(bars - 2)), 0]
    third = 3 if position in MINOR else 4
    notes: list[tuple[float, float, Tab]] = []
    where = int(np.argmin([abs(tab.hole - middle) for tab in entries]))
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
                weight = np.exp(-abs(i - where) / 1.5) * (0.5 if i == where else 1.0)
                weight *= 3.0 if strong and degree in chord else 1.0
                weight *= np.exp(-(((tab.hole - middle) / 2.5) ** 2))
                weight *= 0.5**tab.bend if not tab.over else 0.3
                weights.append(weight)
            where = int(draw.choice(len(entries), p=np.array(weights) / np.sum(weights)))
            notes.append((beat * BEAT_S, (beat + 0.9 * length) * BEAT_S, entries[where]))
            beat += length
        if ends:
            last = bar == bars - 1
            home = {0} if draw.random() < (0.85 if last else 0.4) else {0, third, FIFTH}
            near = [i for i, tab in enumerate(entries) if (harp.midi(tab) - tonic) % 12 in home]
            where = min(near, key=lambda i: abs(i - where))
            notes.append((beat * BEAT_S, (beat + 1.3) * BEAT_S, entries[where]))
            beat += 2.0 if draw.random() < 0.7 else 1.5
    return Tune(key, position, tuple(notes))


def from_notes(key: str, position: int, seed: int) -> Guessed:
    """Guess the harp of a tune from its notes alone."""
    made, harp = tune(key, position, seed), Harp.of(key)
    sounded = [
        PitchEvent(start, end, (TargetPitch((harp.midi(tab),)),)) for start, end, tab in made.notes
    ]
    return _judged(made, guess_harps(sounded, candidate_harps()))


def from_sound(voice: str, key: str, position: int, seed: int) -> Guessed:
    """Guess the harp of a tune that recorded reeds play."""
    made, player = tune(key, position, seed), Player(voice, key)
    samples = np.zeros(round((made.notes[-1][1] + 0.8) * RATE))
    for start, end, tab in made.notes:
        natural = Tab(tab.hole, tab.breath)
        cents = 100.0 * (player.harp.midi(tab) - player.harp.midi(natural))
        if not player.has(str(natural)):
            continue
        sound: Sound = _tongued(hard(player.reed(str(natural)), end - start, _still, cents))
        at = round((start + 0.4) * RATE)
        samples[at : at + len(sound.samples)] += sound.samples
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tune.wav"
        sf.write(path, 0.5 * samples / np.abs(samples).max(), RATE, subtype="FLOAT")
        return _judged(made, transcribe(TranscriptRequest(path)).guesses)


def _judged(made: Tune, guesses: Sequence[object]) -> Guessed:
    from trainer.transcript import HarpGuess

    found = [one for one in guesses if isinstance(one, HarpGuess)]
    names = [one.harp.key.name for one in found]
    place = names.index(made.key)
    return Guessed(
        made.key, made.position, place, found[0].probability, found[place].position == made.position
    )


def line(name: str, some: Sequence[Guessed]) -> str:
    """A row of the table."""
    usual = np.array([HARP_GUESS.position_prior[one.position] for one in some])
    usual /= usual.sum()
    first = np.array([one.place == 0 for one in some], float)
    three = np.array([one.place < 3 for one in some], float)
    share = np.array([one.probability for one in some])
    there = np.array([one.positioned for one in some], float)
    told = [f"{one.mean():.3f} ({float(one @ usual):.3f})" for one in (first, three, share, there)]
    return f"{name:<22} {len(some):>5}  " + "  ".join(f"{one:>14}" for one in told)


def main() -> None:
    """Print the tables."""
    arguments = argparse.ArgumentParser(prog="python -m benchmarks.guessed")
    arguments.add_argument("--tunes", type=int, default=2, help="of each key and position")
    arguments.add_argument("--first", type=int, default=0, help="seed of the first tune")
    arguments.add_argument("--heard", type=int, default=0, help="tunes that are played and heard")
    given = arguments.parse_args()
    cores = os.cpu_count() or 1
    jobs = [
        (key, position, seed)
        for position in POSITIONS
        for key in STANDARD_KEYS
        for seed in range(given.first, given.first + given.tunes)
    ]
    with ProcessPoolExecutor(cores) as pool:
        _print("from notes", list(pool.map(from_notes, *zip(*jobs, strict=True), chunksize=4)))
    if not given.heard:
        return
    harps = [Harp.of(key) for key in STANDARD_KEYS]
    prepare(sorted({harp.midi(tab) for harp in harps for tab in harp.entries}), cores)
    voices = list(VOICES)
    heard = [
        (voices[(i + n) % 2], key, position, given.first + n)
        for i, (key, position) in enumerate((k, p) for p in POSITIONS for k in STANDARD_KEYS)
        for n in range(given.heard)
    ]
    with ProcessPoolExecutor(cores) as pool:
        _print("heard", list(pool.map(from_sound, *zip(*heard, strict=True))))


def _print(name: str, found: Sequence[Guessed]) -> None:
    heads = ("first", "first three", "share told", "position")
    print(f"{name:<22} {'tunes':>5}  " + "  ".join(f"{head:>14}" for head in heads))
    for position in POSITIONS:
        some = [one for one in found if one.position == position]
        print(line(f"position {position}", some))
    print(line("all", found))


if __name__ == "__main__":
    main()
