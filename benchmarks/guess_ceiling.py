"""How often a listener who knows a generator of tunes can guess the harp from the notes.

The likelihood of a tune of :mod:`benchmarks.tunes` is computed for each standard key and position,
summed over the scale, the ladder, the range of the walk, all walks and all coloured notes (forward
algorithm). The listener also knows which bars repeat which, which a real one must hear, and that
all keys and positions are as frequent. Nobody who knows less is right more often on average: it is
the Bayes rate of the material, but for tunes with few pitches, which the generator draws again.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from benchmarks.tunes import (
    BLUES_IN_MAJOR,
    FIFTH,
    GRACED,
    MAJOR_POSITIONS,
    MAJOR_SCALES,
    MINOR_SCALES,
    OFF_TONIC,
    OVERBLOWN,
    POSITIONS,
    STEP_WEIGHTS,
    STEPS,
    MadeTune,
    ladder_of,
    make_tune,
)
from trainer.core.types import Floats
from trainer.harp import STANDARD_KEYS, Harp, Tab

Numbers = NDArray[np.intp]
Flags = NDArray[np.bool_]
TIE = 1e-6
"""Relative difference of probability under which two harps cannot be distinguished."""


def best_guess(key: str, position: int, seed: int) -> tuple[int, float, bool]:
    """Return rank of the true harp, probability of the first, and whether it has an equal."""
    tune = make_tune(key, position, seed)
    by_key = np.array(
        [sum(likelihood(tune, k, other) for other in POSITIONS) for k in STANDARD_KEYS]
    )
    odds = by_key / by_key.sum()
    true = STANDARD_KEYS.index(key)
    rank = int((odds > odds[true] * (1.0 + TIE)).sum())
    ordered = np.sort(odds)
    return rank, float(ordered[-1]), bool(ordered[-2] > ordered[-1] * (1.0 - TIE))


def likelihood(tune: MadeTune, key: str, position: int) -> float:
    """Return the probability of a tune's pitches on a harp in a position, given its rhythm."""
    played = Harp.of(tune.key)
    pitches = [played.midi(tab) for _, _, tab in tune.notes]
    major = position in MAJOR_POSITIONS
    shares = [(BLUES_IN_MAJOR if major else 1.0, MINOR_SCALES)]
    shares += [(1.0 - BLUES_IN_MAJOR, MAJOR_SCALES)] if major else []
    return sum(
        share / len(scales) * part * _on_ladder(tune, pitches, key, position, scale, over)
        for share, scales in shares
        for scale in scales.values()
        for over, part in ((True, OVERBLOWN), (False, 1.0 - OVERBLOWN))
    )


@lru_cache(maxsize=4096)
def _ladder(
    key: str, position: int, scale: tuple[int, ...], over: bool
) -> tuple[Numbers, Flags, Flags]:
    """Return the note of each rung, whether it can be coloured, and whether it is a tonic."""
    harp = Harp.of(key)
    tonic = (harp.key.tonic + FIFTH * (position - 1)) % 12
    first = [tabs[0] for tabs in ladder_of(harp, tonic, scale, over=over)]
    notes = np.array([harp.midi(tab) for tab in first])
    coloured = [tab.is_natural and harp.can_play(Tab(tab.hole, tab.breath, 1)) for tab in first]
    return notes, np.array(coloured), (notes - tonic) % 12 == 0


@lru_cache(maxsize=64)
def _walks(size: int) -> tuple[Floats, Floats]:
    """Return transitions of each range, shape (ranges, size, size), and the first rung's odds."""
    ranges = [
        (low, min(size - 1, low + span))
        for low in range(max(1, size // 3))
        for span in range(7, 13)
    ]
    moves = np.zeros((len(ranges), size, size))
    start = np.zeros((len(ranges), size))
    for i, (low, high) in enumerate(ranges):
        start[i, low : high + 1] = 1.0 / (high - low + 1) / len(ranges)
        for rung in range(low, high + 1):
            for step, weight in zip(STEPS, STEP_WEIGHTS, strict=True):
                moves[i, rung, min(max(rung + step, low), high)] += weight
    return moves, start


def _on_ladder(
    tune: MadeTune,
    pitches: Sequence[int],
    key: str,
    position: int,
    scale: tuple[int, ...],
    over: bool,
) -> float:
    notes, coloured, home = _ladder(key, position, scale, over)
    size = len(notes)
    moves, start = _walks(size)
    lowest = start.argmax(axis=1)
    highest = size - 1 - start[:, ::-1].argmax(axis=1)
    rungs = np.arange(size)
    emitted: dict[int, Floats] = {}
    for i, (pitch, (link, shifts)) in enumerate(zip(pitches, tune.sources, strict=True)):
        odds = np.where(notes == pitch, np.where(coloured, 1.0 - GRACED, 1.0), 0.0)
        odds += np.where((notes - 1 == pitch) & coloured, GRACED, 0.0)
        if i == len(pitches) - 1:
            odds = np.zeros(size)
            for part, allowed in ((1.0 - OFF_TONIC, home), (OFF_TONIC, ~home)):
                options = np.flatnonzero(allowed)
                if len(options):
                    near = options[np.abs(options[None, :] - rungs[:, None]).argmin(axis=1)]
                    odds += part * (notes[near] == pitch)
        if not odds.any():
            return 0.0
        at = np.broadcast_to(rungs, (len(start), size))
        for by in shifts:
            at = np.clip(at + by, lowest[:, None], highest[:, None])
        emitted[link] = emitted.get(link, 1.0) * odds[at]
    alpha = start
    for link in range(max(emitted) + 1):
        alpha = np.einsum("rs,rst->rt", alpha, moves) * emitted.get(link, 1.0)
        if not alpha.any():
            return 0.0
    return float(alpha.sum())


def ceiling_lines(best: Sequence[tuple[int, float, bool]]) -> list[str]:
    """Return the figures of the ideal listener."""
    ranks, first, tied = zip(*best, strict=True)
    return [
        f"independent tunes ranked by their own generator's likelihood: {len(best)} tunes",
        f"  harp first {np.mean(np.array(ranks) == 0):.3f}, "
        f"first three {np.mean(np.array(ranks) < 3):.3f}, probability {np.mean(first):.3f}, "
        f"two harps equally likely {np.mean(tied):.3f}",
    ]
