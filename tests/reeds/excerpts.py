"""The notes of the excerpts, and functions to load and analyse them.

Conventions. Times are seconds from the start of the file, pitches cents from the reed as it was
sampled: a path of (seconds after the note's start, cents) is followed in straight lines, and the
pitch stays where it is before the first point and after the last.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import accumulate
from pathlib import Path

import numpy as np
import soundfile as sf

from trainer.core.types import Samples
from trainer.ear import Ear, Reading
from trainer.harp import Harp, Tab
from trainer.sound import Block, round_to_24_bits

FOLDER = Path(__file__).parent
RATE = 48_000
LEAD_S = 0.3
"""Silence before the first note of an excerpt, in seconds."""


@dataclass(frozen=True)
class Note:
    """One reed: start and length in seconds, natural tab entry, and path in cents.

    With `leak_db` it is the leak of the note that starts with it, at that RMS level re the note.
    """

    at: float
    length: float
    tab: str
    path: tuple[tuple[float, float], ...] = ()
    leak_db: float | None = None

    @property
    def end(self) -> float:
        return self.at + self.length


@dataclass(frozen=True)
class Excerpt:
    """A file: the harp, and the notes that are played on it."""

    harp: Harp
    notes: tuple[Note, ...]

    @property
    def length(self) -> float:
        return max(note.end for note in self.notes) + LEAD_S


def _one_by_one(tabs: str, length: float, gap: float) -> tuple[Note, ...]:
    """Return notes one after the other."""
    return tuple(
        Note(LEAD_S + i * (length + gap), length, tab) for i, tab in enumerate(tabs.split())
    )


def _bent(bends: Sequence[tuple[str, float, float]]) -> tuple[Note, ...]:
    """Return notes held for 0.3 s and then bent, from (tab, cents, seconds of the bend)."""
    plain = _one_by_one(" ".join(tab for tab, _, _ in bends), 0.75, 0.3)
    return tuple(
        replace(note, path=((0.3, 0.0), (0.3 + seconds, -cents)))
        for note, (_, cents, seconds) in zip(plain, bends, strict=True)
    )


def _again(tabs: str, gaps: Sequence[float]) -> tuple[Note, ...]:
    """Return notes that are attacked again after each gap."""
    length, notes = 0.22, []
    starts = [0.0, *accumulate(length + gap for gap in gaps)]
    for i, tab in enumerate(tabs.split()):
        first = LEAD_S + i * (starts[-1] + length + 0.4)
        notes += [Note(first + start, length, tab) for start in starts]
    return tuple(notes)


BEAT_S = 60.0 / 96.0
PHRASE_ZERO_S = 4 * BEAT_S
"""Time of the phrase's first beat, after a bar of count-in."""
_PHRASE: tuple[tuple[float, float, str, tuple[float, float]], ...] = (
    # beat, beats, reed, cents at its start and end: drills/harbour-bell.toml
    (0.0, 1.0, "4", (0.0, 0.0)),
    (1.0, 1.0, "5", (0.0, 0.0)),
    (2.0, 1.0, "4", (0.0, 0.0)),
    (4.5, 1.5, "-4", (0.0, 0.0)),
    (6.0, 1.0, "-4", (-100.0, -100.0)),
    (8.0, 2.0, "-4", (-100.0, 0.0)),
    (10.0, 1.0, "4", (0.0, 0.0)),
    (12.0, 1.0, "-3", (0.0, 0.0)),
    (13.0, 2.0, "4", (0.0, 0.0)),
    (13.0, 2.0, "5", (0.0, 0.0)),
)
OUT_CENTS, SHALLOW_CENTS, LEAK_DB, LATE_S = -18.0, 15.0, -12.0, 0.060
OUT_STEP, LEAKING_STEP, LATE_STEP, SHALLOW_STEP = 0, 2, 3, 4
"""Faults of the faulty phrase, and the steps of the drill that have them."""


def _phrase() -> Iterator[Note]:
    """Yield the notes; each ends 60 ms early, a glide is held in its first and last quarter."""
    for beat, beats, reed, (first, last) in _PHRASE:
        length = beats * BEAT_S
        path = ((0.25 * length, first), (0.75 * length, last)) if first or last else ()
        yield Note(PHRASE_ZERO_S + beat * BEAT_S, length - 0.06, reed, path)


def _faulty_phrase() -> Iterator[Note]:
    for i, note in enumerate(_phrase()):
        if i == OUT_STEP:
            yield replace(note, path=((0.0, OUT_CENTS),))
        elif i == SHALLOW_STEP:
            yield replace(note, path=((0.0, -100.0 + SHALLOW_CENTS),))
        elif i == LATE_STEP:
            yield replace(note, at=note.at + LATE_S, length=note.length - LATE_S)
        else:
            yield note
        if i == LEAKING_STEP:
            yield replace(note, tab="3", leak_db=LEAK_DB)


C = Harp.of("C")
EXCERPTS = {
    "c-harp": Excerpt(
        C, _one_by_one("1 2 3 4 5 6 7 8 9 10 -1 -2 -3 -4 -5 -6 -7 -8 -9 -10", 0.7, 0.3)
    ),
    "low-f-harp": Excerpt(Harp.of("low F"), _one_by_one("1 -1 2 -3 4 -5 7 -10", 0.6, 0.3)),
    "high-g-harp": Excerpt(Harp.of("high G"), _one_by_one("1 -2 -3 4 -5 6 7 8", 0.6, 0.3)),
    "bends": Excerpt(
        C,
        _bent(
            [
                *((tab, 100.0, 0.150) for tab in ("-1", "-2", "-3", "-4", "-6", "8", "9", "10")),
                *((tab, 200.0, 0.120) for tab in ("-2", "-3", "10")),
            ]
        ),
    ),
    "again": Excerpt(C, _again("2 4 -4 -6 8", (0.04, 0.06, 0.1))),
    "phrase": Excerpt(C, tuple(_phrase())),
    "faulty-phrase": Excerpt(C, tuple(_faulty_phrase())),
}


def midi(note: Note, harp: Harp) -> int:
    """MIDI note number of the sampled reed."""
    return harp.midi(Tab.parse(note.tab))


def path_of(name: str) -> Path:
    return FOLDER / f"{name}.flac"


@cache
def load(name: str) -> Samples:
    """Return the samples of an excerpt, float32, at `RATE`."""
    samples, rate = sf.read(path_of(name), dtype="float32")
    assert rate == RATE
    samples.flags.writeable = False
    return samples


def cut(name: str, tab: str, before: float = LEAD_S, after: float = 0.0) -> Samples:
    """Return the first note of a tab in an excerpt, with `before` and `after` seconds around it."""
    note = next(note for note in EXCERPTS[name].notes if note.tab == tab)
    first = round((note.at - before) * RATE)
    return load(name)[first : first + round((before + note.length + after) * RATE)]


def speaks(samples: Samples) -> int:
    """Return the first sample of a single note within 40 dB of its peak."""
    size = np.abs(samples)
    return int(np.argmax(size > 0.01 * size.max()))


def hear(
    samples: Samples,
    harp: Harp,
    rate: int = RATE,
    block: int = 512,
    reference: Samples | None = None,
) -> list[Reading]:
    """Return all readings of samples that the ear receives in blocks of one size.

    `reference` is what the trainer played, as in `Block.reference`.
    """
    ear = Ear(rate, harp)
    on = round_to_24_bits(samples)
    parts = [slice(start, start + block) for start in range(0, len(on), block)]
    return [
        reading
        for part in parts
        for reading in ear.analyze(
            Block(part.start, on[part], rate, None if reference is None else reference[part])
        )
    ]
