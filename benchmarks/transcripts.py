"""Transcription of recorded reeds: phrases alone, in rooms and with other instruments.

    python -m benchmarks.transcripts [--phrases 2] [--first 0] [--fit]

Each phrase has 24 tongued notes: naturals, bent notes, glides into bends, repeats, notes with a
neighbour 14 dB below, and pairs of holes. The harp is given. A written note is right if its onset
is within 50 ms of a played one and its tab, with the path, is equal or among the alternatives that
sound alone cannot distinguish (draw 2 and blow 3). *Strict* is within 20 ms and within 10 cents of
the held pitch. The figure is F1 over all notes of a condition; `alone` also separates the voice
that the ear was tuned on from those held out.

The confidence of notes (`trainer/transcript/confidence.py`) is compared with how many are right:
mean confidence, fraction right, and Brier score (Brier 1950; 0 is best, 0.25 is a coin's). `--fit`
prints the table that fits the phrases of the voice that the ear was tuned on; held-out voices have
no part in it.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks import results
from benchmarks.conditions import backing, room
from benchmarks.corpus import Item, PitchPath, Player, Sound, bend, hard, scaled, still
from benchmarks.fonts import RATE, VOICES, prepare
from benchmarks.melody import tongued
from trainer.harp import Tab
from trainer.transcript import TranscribedNote, TranscriptRequest, path_text, transcribe
from trainer.transcript.confidence import (
    CONFIDENCE_TABLE,
    ConfidenceTable,
    estimate_confidence,
    unexplained_db,
)

NOTES = 24
KEYS = ("C", "A", "F#")
CONDITIONS: dict[str, Callable[[Item], Item]] = {
    "alone": lambda item: item,
    "room, 0.3 s": lambda item: room(item, 0.3),
    "room, 0.6 s": lambda item: room(item, 0.6),
    "backing, 30 dB below": lambda item: backing(item, -30.0),
    "backing, 20 dB below": lambda item: backing(item, -20.0),
    "backing, 10 dB below": lambda item: backing(item, -10.0),
}
BLUR_DB = -14.0
SOON_S, SOONER_S, NEAR_CENTS = 0.05, 0.02, 10.0
MOVE_S, REST_S = 0.2, 0.2


POOL = 20
"""Minimum number of notes of a knot of the fitted table."""
KNOWN = (
    "the ear was tuned on voice harmonica 1; the table of confidence was fitted to phrases of "
    "all four voices, seeds below 6"
)


@dataclass(frozen=True)
class Played:
    """A played note: start and end in seconds, tab, and the pitches that it holds."""

    start: float
    end: float
    tab: str
    hz: tuple[float, ...]


@dataclass(frozen=True)
class Judged:
    """A written note: whether it is right, its confidence and what that is based on."""

    right: bool
    strictly: bool
    confidence: float
    share: float
    reverb_ratio: float


@dataclass(frozen=True)
class Scored:
    """The judged transcript of a phrase."""

    voice: str
    condition: str
    played: int
    notes: tuple[Judged, ...]


def phrase(player: Player, seed: int, notes: int = NOTES) -> tuple[Item, list[Played]]:
    """Return a phrase and its true notes."""
    draw = np.random.default_rng(seed)
    tabs = [tab for tab in player.naturals if player.midi(tab) >= 48]
    where, now = len(tabs) // 2, 0.4
    played: list[Played] = []
    sounds: list[tuple[float, Sound]] = []
    for _ in range(notes):
        again = draw.random() < 0.2
        where = where if again else int(np.clip(where + draw.integers(-4, 5), 0, len(tabs) - 1))
        tab, length = tabs[where], float(draw.uniform(0.2, 0.5))
        entry = Tab.parse(tab)
        bends = player.harp.can_play(Tab.parse(tab + "'"))
        written, cents, beside = tab, 0.0, None
        path: PitchPath = still
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
        sound = tongued(hard(player.reed(tab), length, path, cents if path is still else 0.0))
        sounds.append((now, sound))
        others: list[float] = []
        if beside is not None:
            level = 0.0 if kind > 0.87 else BLUR_DB
            other_sound = tongued(hard(player.reed(beside), length, still, 0.0))
            sounds.append((now, scaled(other_sound, level, sound)))
            if level == 0.0:
                pair = sorted((entry, Tab.parse(beside)))
                written = "+".join(map(str, pair))
                others = [float(hz) for hz in other_sound.hz(np.array([0.5]) * length)]
        ends = [*sound.hz(np.array([0.15, 0.9]) * length), *others]
        played.append(Played(now, now + length, written, tuple(float(hz) for hz in ends)))
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


def transcribe_item(item: Item, folder: Path) -> tuple[TranscribedNote, ...]:
    """Transcribe an item, given its harp."""
    path = folder / f"{os.getpid()}.wav"
    peak = float(np.max(np.abs(item.samples)))
    sf.write(path, 0.5 * item.samples / peak, item.rate, subtype="FLOAT")
    return transcribe(TranscriptRequest(path, harp=item.harp)).notes


def judged(played: list[Played], notes: tuple[TranscribedNote, ...]) -> Iterator[Judged]:
    """Judge each written note; a played note is matched once."""
    left = list(played)
    for note in notes:
        near = [truth for truth in left if abs(truth.start - note.start) <= SOON_S]
        alternatives = {_plain(path_text(sounds)) for sounds in (note.sounds, *note.alternatives)}
        same = [truth for truth in near if _plain(truth.tab) in alternatives]
        match = min(same, key=lambda truth: abs(truth.start - note.start), default=None)
        strictly = False
        if match is not None:
            left.remove(match)
            off = min(abs(1200.0 * np.log2(note.hz / hz)) for hz in match.hz)
            strictly = abs(match.start - note.start) <= SOONER_S and off <= NEAR_CENTS
        share = note.explained if note.explained is not None else np.nan
        confidence = note.confidence if note.confidence is not None else np.nan
        yield Judged(match is not None, strictly, confidence, share, note.reverb_ratio)


def _plain(tab: str) -> str:
    """Return a tab with one notation of chords."""
    return tab.replace("+-", "+")


def score(voice: str, key: str, seed: int, condition: str) -> Scored:
    """Transcribe and judge one phrase."""
    player = Player(voice, key)
    item, played = phrase(player, seed)
    changed = CONDITIONS[condition](item)
    with tempfile.TemporaryDirectory() as folder:
        notes = transcribe_item(changed, Path(folder))
    return Scored(voice, condition, len(played), tuple(judged(played, notes)))


def f1(group: list[Scored], strictly: bool) -> float:
    """Return the F-measure of all notes of some phrases."""
    hits = sum(n.strictly if strictly else n.right for s in group for n in s.notes)
    return 2.0 * hits / sum(s.played + len(s.notes) for s in group)


def seeds(voice: str, first: int, count: int, *, fit: bool) -> range:
    """Return the seeds of a voice's phrases.

    For a fit, the voices held out have other tunes than the tuned one, and a third as many.
    """
    if fit and VOICES[voice].aside:
        return range(first + count, first + count + max(1, count // 3))
    return range(first, first + count)


def line(name: str, group: list[Scored]) -> str:
    """Return a row of the table."""
    notes = [note for s in group for note in s.notes]
    right = np.array([note.right for note in notes], float)
    confidence = np.array([note.confidence for note in notes])
    share = np.array([note.share for note in notes])
    return (
        f"{name:<34} {sum(s.played for s in group):>6}"
        f" {f1(group, False):8.3f} {f1(group, True):8.3f}"
        f" {right.mean():8.3f} {confidence.mean():8.3f} {np.mean((confidence - right) ** 2):8.3f}"
        f" {np.median(share):9.3f} {np.mean([note.reverb_ratio for note in notes]):8.3f}"
    )


def fitted(notes: Sequence[Judged]) -> ConfidenceTable:
    """Fit the table of confidence to the fraction of notes that are right.

    The map from the unexplained level is an isotonic regression: pool adjacent violators (Ayer and
    others 1955). Neighbouring pools of fewer than `POOL` notes are merged, and each pool becomes
    a knot. The factor of each knot of reverberation is the number of right notes nearest to it over
    the sum of their confidences.
    """
    pairs = sorted((-unexplained_db(note.share), float(note.right)) for note in notes)
    pools: list[list[float]] = []  # right, notes, sum of levels
    for level, right in pairs:
        pools.append([right, 1.0, level])
        while len(pools) > 1 and pools[-2][0] / pools[-2][1] > pools[-1][0] / pools[-1][1]:
            _merge_last(pools)
    merged: list[list[float]] = []
    for pool in pools:
        merged.append(pool)
        if len(merged) > 1 and merged[-2][1] < POOL:
            _merge_last(merged)
    if len(merged) > 1 and merged[-1][1] < POOL:
        _merge_last(merged)
    knots = sorted((-level / count, right / count) for right, count, level in merged)
    table = replace(
        CONFIDENCE_TABLE,
        unexplained_db=tuple(round(level, 1) for level, _ in knots),
        right=tuple(round(right, 3) for _, right in knots),
        reverb_factor=(1.0,) * len(CONFIDENCE_TABLE.reverb_ratio),
    )
    nearest = [
        int(np.argmin([abs(note.reverb_ratio - knot) for knot in table.reverb_ratio]))
        for note in notes
    ]
    factors = []
    for knot in range(len(table.reverb_ratio)):
        group = [note for note, its_knot in zip(notes, nearest, strict=True) if its_knot == knot]
        expected = sum(estimate_confidence(note.share, table=table) for note in group)
        factors.append(round(sum(note.right for note in group) / expected, 2) if group else 1.0)
    return replace(table, reverb_factor=tuple(factors))


def _merge_last(pools: list[list[float]]) -> None:
    last = pools.pop()
    pools[-1] = [sum(pair) for pair in zip(pools[-1], last, strict=True)]


def prepare_reeds(cores: int) -> None:
    """Record all reeds that phrases use into the cache."""
    midis = {
        player.midi(tab)
        for key in KEYS
        for player in [Player("harmonica 1", key)]
        for tab in player.naturals
    }
    prepare(sorted(midis), cores)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.transcripts")
    parser.add_argument("--phrases", type=int, default=2, help="phrases of each voice and key")
    parser.add_argument("--first", type=int, default=0, help="seed of the first phrase")
    parser.add_argument("--fit", action="store_true", help="fit the table of confidence")
    results.add_options(parser)
    options = parser.parse_args()
    cores = os.cpu_count() or 1
    if not options.smoke:  # a smoke run records the few reeds that it needs
        prepare_reeds(cores)
    phrases = 1 if options.smoke else options.phrases
    jobs = [
        (voice, key, seed, condition)
        for condition in CONDITIONS
        for voice in VOICES
        for key in KEYS
        for seed in seeds(voice, options.first, phrases, fit=options.fit)
    ]
    jobs = jobs[:1] if options.smoke else jobs
    output = results.Results(
        "benchmarks.transcripts" + (" --fit" if options.fit else ""),
        f"phrases of 24 notes of recorded reeds, {phrases} of each of {len(VOICES)} voices, "
        f"{len(KEYS)} keys and {len(CONDITIONS)} conditions, seeds from {options.first}"
        + (", of voices held out the seeds that follow these" if options.fit else ""),
        KNOWN,
    )
    with ProcessPoolExecutor(cores) as pool:
        scored = list(pool.map(score, *zip(*jobs, strict=True), chunksize=2))
    output.print(
        f"{'':<34} {'notes':>6} {'50 ms':>8} {'strict':>8} {'right':>8} {'conf.':>8} {'Brier':>8}"
        f" {'explained':>9} {'reverb':>8}"
    )
    for condition in CONDITIONS:
        group = [phrase for phrase in scored if phrase.condition == condition]
        if condition == "alone":
            for aside in (False, True):
                voices = {name for name, voice in VOICES.items() if voice.aside is aside}
                kind = "held out" if aside else "tuned on"
                rows = [phrase for phrase in group if phrase.voice in voices]
                if rows:
                    output.print(line(f"alone, {kind}", rows))
        if group:
            output.print(line(condition, group))
    output.print(line("all", scored))
    if options.fit and not options.smoke:
        output.print(*fit_lines(scored))
    output.finish(options)


def fit_lines(scored: Sequence[Scored]) -> Iterator[str]:
    """Yield the table fitted on the tuned voice, and how it does on the voices held out."""
    tuned_on = [n for s in scored if not VOICES[s.voice].aside for n in s.notes]
    table = fitted(tuned_on)
    yield f"fitted to {len(tuned_on)} notes:"
    for name in ("unexplained_db", "right", "reverb_ratio", "reverb_factor"):
        yield f"    {name} = {getattr(table, name)}"
    yield f"{'held out':<30} {'notes':>6} {'right':>7} {'conf.':>14} {'Brier':>14} {'log loss':>14}"
    yield f"{'':<45} {'in use, fitted':>14} {'in use, fitted':>14} {'in use, fitted':>14}"
    held_out = [phrase for phrase in scored if VOICES[phrase.voice].aside]
    for condition in (*CONDITIONS, "all"):
        group = [n for s in held_out if condition in (s.condition, "all") for n in s.notes]
        if group:
            yield _calibration_line(condition, group, (CONFIDENCE_TABLE, table))


def _calibration_line(name: str, notes: list[Judged], tables: Sequence[ConfidenceTable]) -> str:
    right = np.array([note.right for note in notes], float)
    means, briers, losses = [], [], []
    for table in tables:
        p = [estimate_confidence(note.share, note.reverb_ratio, table=table) for note in notes]
        confidence = np.clip(p, 0.005, 0.995)
        means.append(f"{confidence.mean():.3f}")
        briers.append(f"{np.mean((confidence - right) ** 2):.4f}")
        losses.append(f"{-np.mean(np.log(np.where(right > 0.5, confidence, 1 - confidence))):.3f}")
    cells = " ".join(f"{', '.join(pair):>14}" for pair in (means, briers, losses))
    return f"{name:<30} {len(notes):>6} {right.mean():>7.3f} {cells}"


if __name__ == "__main__":
    main()
