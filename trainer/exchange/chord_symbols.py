"""Chord symbols of a score, and the ground of a drill that they stand for.

A score has a chord where it changes. A ground has chords bar by bar, which share their bar evenly.
Kinds of chords that a ground does not have are read as simpler ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from trainer.drill import MAX_CHORDS_PER_BAR, MAX_GROUND_BARS, Ground, GroundStyle
from trainer.music import Chord

CHORD_KINDS = {
    "": "major",
    "m": "minor",
    "5": "power",
    "6": "major-sixth",
    "m6": "minor-sixth",
    "7": "dominant",
    "m7": "minor-seventh",
    "maj7": "major-seventh",
    "9": "dominant-ninth",
    "dim": "diminished",
}
"""Kinds of chords in MusicXML by their qualities."""
_QUALITIES = {kind: quality for quality, kind in CHORD_KINDS.items()}
_SIMPLER = {
    "augmented-seventh": "7",
    "dominant-11th": "9",
    "dominant-13th": "9",
    "diminished-seventh": "dim",
    "half-diminished": "dim",
    "major-minor": "m",
    "major-ninth": "maj7",
    "major-11th": "maj7",
    "major-13th": "maj7",
    "minor-ninth": "m7",
    "minor-11th": "m7",
    "minor-13th": "m7",
    "suspended-second": "5",
    "suspended-fourth": "5",
}
"""Qualities of further kinds, with the notes that the two have in common; others are major."""

Symbols = Sequence[tuple[Fraction, Chord]]
"""Chords with the beats on which they begin, in order."""


def quality_of(kind: str) -> tuple[str, bool]:
    """Return the quality of a kind of chord in MusicXML, and whether it is simpler than that."""
    if kind in _QUALITIES:
        return _QUALITIES[kind], False
    return _SIMPLER.get(kind, ""), True


def changes(symbols: Symbols) -> list[tuple[Fraction, Chord]]:
    """Return symbols without those that repeat the chord before."""
    repeats = [before[1] == here[1] for before, here in pairwise(symbols)]
    return [symbol for symbol, same in zip(symbols, [False, *repeats], strict=False) if not same]


def ground_of(
    symbols: Symbols, meter_beats: int, end: Fraction, style: GroundStyle = GroundStyle.CHORDS
) -> Ground | None:
    """Return the shortest ground that has the chords of a score.

    Chords before the first full bar count from its beginning; a bar that begins before the first
    symbol has that symbol's chord. Within a bar, chords begin on the nearest part of it of which a
    ground has at most `MAX_CHORDS_PER_BAR`.

    Args:
        symbols: the chords.
        meter_beats: beats in a bar.
        end: beat on which the score ends.
        style: how they are played.

    Returns:
        The ground; None without chords, or if it would be too long.
    """
    if not symbols:
        return None
    bars: list[tuple[Chord, ...]] = []
    chord = symbols[0][1]
    left = list(symbols)
    for number in range(math.ceil(end / meter_beats)):
        first = Fraction(number * meter_beats)
        inside: list[tuple[Fraction, Chord]] = []
        while left and left[0][0] < first + meter_beats:
            at, new = left.pop(0)
            inside.append((max(Fraction(0), at - first), new))
        parts = _parts([at / meter_beats for at, _ in inside])
        bar = []
        for part in range(parts):
            begun = [new for at, new in inside if round(at / meter_beats * parts) <= part]
            bar.append(begun[-1] if begun else chord)
        chord = inside[-1][1] if inside else chord
        bars.append((bar[0],) if len(set(bar)) == 1 else tuple(bar))
    period = next(n for n in range(1, len(bars) + 1) if bars == (bars[:n] * len(bars))[: len(bars)])
    return Ground(tuple(bars[:period]), style) if period <= MAX_GROUND_BARS else None


def _parts(places: Sequence[Fraction]) -> int:
    """Return the least number of equal parts of a bar on which all places in it lie."""
    for parts in range(1, MAX_CHORDS_PER_BAR + 1):
        if all((place * parts).denominator == 1 for place in places):
            return parts
    return MAX_CHORDS_PER_BAR
