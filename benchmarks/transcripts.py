"""Recordings written down: phrases of recorded reeds, alone, in rooms and beside other instruments.

    python -m benchmarks.transcripts [--phrases 2] [--first 0] [--fit]

Each phrase has 24 notes with the attacks of a tongue: naturals, bent notes, glides into bends and
out of them, the same note again, loose notes whose neighbour sounds 14 dB under, and pairs of
holes. The harp is told. A written note is right if it begins within 50 ms of a played one and has
its tab, path and all, or lists it among the ways that sound alone cannot tell from its own (draw 2
and blow 3); more strictly, within 20 ms, and holds within 10 cents of what was held.
The figure is F1, over all notes of a kind of voice and a condition. `alone` is told for the voices
that the ear was tuned on and for those kept aside.

How far the notes are to be trusted (`trainer/transcript/confidence.py`) is held against how many
were right: the mean trust, the share that was right, and the Brier score (Brier 1950; 0 is best,
0.25 is what a coin earns), also of the share alone. `--fit` prints what the table there should be.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks.conditions import backing, room
from benchmarks.corpus import Item, Player, Sound, bend, hard, louder
from benchmarks.fonts import RATE, VOICES, prepare
from benchmarks.melody import _still, _tongued
from trainer.harp import Tab
from trainer.transcript import TranscribedNote, TranscriptRequest, path_text, transcribe
from trainer.transcript.confidence import unexplained_db

NOTES = 24
KEYS = ("C", "A", "F#")
CONDITIONS = {
    "alone": lambda one: one,
    "room, 0.3 s": lambda one: room(one, 0.3),
    "room, 0.6 s": lambda one: room(one, 0.6),
    "backing, 30 dB under": lambda one: backing(one, -30.0),
    "backing, 20 dB under": lambda one: backing(one, -20.0),
    "backing, 10 dB under": lambda one: backing(one, -10.0),
}
LOOSE_DB = -14.0
SOON_S, SOONER_S, NEAR_CENTS = 0.05, 0.02, 10.0
MOVE_S, REST_S = 0.2, 0.2


@dataclass(frozen=True)
class Played:
    """A note that was played: when, as which tab, and the pitches it rests on."""

    start: float
    end: float
    tab: str
    hz: tuple[float, ...]


@dataclass(frozen=True)
class Judged:
    """A written note, and whether it is right."""

    right: bool
    strictly: bool
    trust: float
    share: float
    reverb_ratio: float


@dataclass(frozen=True)
class Scored:
    """A phrase, scored."""

    voice: str
    condition: str
    played: int
    notes: tuple[Judged, ...]


def phrase(player: Player, seed: int) -> tuple[Item, list[Played]]:
    """A phrase and its truth."""
    draw = np.random.default_rng(seed)
    tabs = [tab for tab in player.naturals if player.midi(tab) >= 48]
    where, now = len(tabs) // 2, 0.4
    played: list[Played] = []
    sounds: list[tuple[float, Sound]] = []
    for _ in range(NOTES):
        again = draw.random() < 0.2
        where = where if again else int(np.clip(where + draw.integers(-4, 5), 0, len(tabs) - 1))
        tab, length = tabs[where], float(draw.uniform(0.2, 0.5))
        entry = Tab.parse(tab)
        bends = player.harp.can_play(Tab.parse(tab + "'"))
        written, cents, path, beside = tab, 0.0, _still, None
        kind = draw.random()
        if bends and kind < 0.2:
            written, cents = f"{tab}'", -100.0
        elif bends and kind < 0.4:
            length, path = REST_S + MOVE_S + REST_S, bend(100.0, MOVE_S, REST_S)
            written = f"{tab}>{tab}'"
        elif kind > 0.75:
            other = Tab(entry.hole + (1 if entry.hole < 10 else -1), entry.breath)
            if player.has(str(other)):
                beside = str(other)
        sound = _tongued(hard(player.reed(tab), length, path, cents if path is _still else 0.0))
        sounds.append((now, sound))
        others: list[float] = []
        if beside is not None:
            level = 0.0 if kind > 0.87 else LOOSE_DB
            other_sound = _tongued(hard(player.reed(beside), length, _still, 0.0))
            sounds.append((now, louder(other_sound, level, sound)))
            if level == 0.0:
                pair = sorted((entry, Tab.parse(beside)))
                written = "+".join(map(str, pair))
                others = [float(one) for one in other_sound.hz(np.array([0.5]) * length)]
        ends = [*sound.hz(np.array([0.15, 0.9]) * length), *others]
        played.append(Played(now, now + length, written, tuple(float(one) for one in ends)))
        rest = draw.random()
        now += length + (0.04 if rest < 0.5 else float(draw.uniform(0.08, 0.3)))
    samples = np.zeros(round((now + 0.3) * RATE))
    for start, sound in sounds:
        at = round(start * RATE)
        samples[at : at + len(sound.samples)] += sound.samples
    first = sounds[0][1]
    whole = Item(
        f"phrase {seed}",
        player.voice.name,
        player.harp,
        played[0].tab.split(">")[0].split("+")[0],
        frozenset(),
        samples,
        round(played[0].start * RATE),
        first.hz,
        played[-1].end,
    )
    return whole, played


def written_of(one: Item, folder: Path) -> tuple[TranscribedNote, ...]:
    """What is written down of an item."""
    path = folder / f"{os.getpid()}.wav"
    peak = float(np.max(np.abs(one.samples)))
    sf.write(path, 0.5 * one.samples / peak, one.rate, subtype="FLOAT")
    return transcribe(TranscriptRequest(path, harp=one.harp)).notes


def judged(played: list[Played], notes: tuple[TranscribedNote, ...]) -> Iterator[Judged]:
    """Each written note; a played one is found once."""
    left = list(played)
    for note in notes:
        near = [one for one in left if abs(one.start - note.start) <= SOON_S]
        ways = {_plain(path_text(sounds)) for sounds in (note.sounds, *note.alternatives)}
        same = [one for one in near if _plain(one.tab) in ways]
        found = min(same, key=lambda one: abs(one.start - note.start), default=None)
        strictly = False
        if found is not None:
            left.remove(found)
            off = min(abs(1200.0 * np.log2(note.hz / hz)) for hz in found.hz)
            strictly = abs(found.start - note.start) <= SOONER_S and off <= NEAR_CENTS
        share = note.explained if note.explained is not None else np.nan
        trust = note.trust if note.trust is not None else np.nan
        yield Judged(found is not None, strictly, trust, share, note.reverb_ratio)


def _plain(tab: str) -> str:
    """A tab whose chord signs are written one way."""
    return tab.replace("+-", "+")


def score(voice: str, key: str, seed: int, condition: str) -> Scored:
    """Score one phrase."""
    player = Player(voice, key)
    item, played = phrase(player, seed)
    changed = CONDITIONS[condition](item)
    with tempfile.TemporaryDirectory() as folder:
        notes = written_of(changed, Path(folder))
    return Scored(voice, condition, len(played), tuple(judged(played, notes)))


def f1(some: list[Scored], strictly: bool) -> float:
    """The F-measure of all notes of some phrases."""
    hits = sum(one.strictly if strictly else one.right for s in some for one in s.notes)
    return 2.0 * hits / sum(s.played + len(s.notes) for s in some)


def line(name: str, some: list[Scored]) -> str:
    """A row of the table."""
    notes = [one for s in some for one in s.notes]
    right = np.array([one.right for one in notes], float)
    trust = np.array([one.trust for one in notes])
    share = np.array([one.share for one in notes])
    return (
        f"{name:<34} {sum(s.played for s in some):>6} {f1(some, False):8.3f} {f1(some, True):8.3f}"
        f" {right.mean():8.3f} {trust.mean():8.3f} {np.mean((trust - right) ** 2):8.3f}"
        f" {np.median(share):8.3f} {np.mean([one.reverb_ratio for one in notes]):8.3f}"
    )


def fitted(some: list[Scored]) -> list[tuple[float, float]]:
    """The share of right notes for what is not explained, by isotonic steps (pool adjacent
    violators, Ayer and others 1955)."""
    pairs = sorted((-unexplained_db(one.share), float(one.right)) for s in some for one in s.notes)
    pools: list[list[float]] = []
    for share, right in pairs:
        pools.append([right, 1.0, share])
        while len(pools) > 1 and pools[-2][0] / pools[-2][1] > pools[-1][0] / pools[-1][1]:
            right_, count, share_ = pools.pop()
            pools[-1][0] += right_
            pools[-1][1] += count
            pools[-1][2] += share_
    return [(share / count, right / count) for right, count, share in pools if count >= 20]


def prepared(cores: int) -> None:
    """Have all reeds ready that phrases are made of."""
    midis = {
        player.midi(tab)
        for key in KEYS
        for player in [Player("harmonica 1", key)]
        for tab in player.naturals
    }
    prepare(sorted(midis), cores)


def main() -> None:
    """Print the tables."""
    arguments = argparse.ArgumentParser(prog="python -m benchmarks.transcripts")
    arguments.add_argument("--phrases", type=int, default=2)
    arguments.add_argument("--first", type=int, default=0, help="seed of the first phrase")
    arguments.add_argument("--fit", action="store_true")
    given = arguments.parse_args()
    cores = os.cpu_count() or 1
    prepared(cores)
    jobs = [
        (voice, key, seed, condition)
        for condition in CONDITIONS
        for voice in VOICES
        for key in KEYS
        for seed in range(given.first, given.first + given.phrases)
    ]
    with ProcessPoolExecutor(cores) as pool:
        scored = list(pool.map(score, *zip(*jobs, strict=True), chunksize=2))
    print(
        f"{'':<34} {'notes':>6} {'50 ms':>8} {'strict':>8} {'right':>8} {'trust':>8} {'Brier':>8}"
        f" {'share':>8} {'reverb':>8}"
    )
    for condition in CONDITIONS:
        some = [one for one in scored if one.condition == condition]
        if condition == "alone":
            for aside in (False, True):
                voices = {name for name, voice in VOICES.items() if voice.aside is aside}
                kind = "kept aside" if aside else "tuned on"
                print(line(f"alone, {kind}", [one for one in some if one.voice in voices]))
        print(line(condition, some))
    print(line("all", scored))
    if given.fit:
        for share, right in fitted(scored):
            print(f"  {-share:6.1f} dB {right:.3f}")
        print("rings a note, right of what was trusted:")
        notes = [one for s in scored for one in s.notes]
        for low, high in pairwise((0.0, 1e-9, 0.05, 0.1, 0.15, 0.2, 0.3, 1.0)):
            some_ = [one for one in notes if low <= one.reverb_ratio < high]
            if some_:
                right = sum(one.right for one in some_) / sum(one.trust for one in some_)
                print(f"  {low:.2f} to {high:.2f}: {len(some_)} notes, {right:.3f}")


if __name__ == "__main__":
    sys.exit(main())
