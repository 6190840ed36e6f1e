"""What the notes of a tune say about the harp on which they are played.

The evidence of a harp is how often each of its entries would be played, how the mouth would move,
and which glides and chords it could play. That of a tonic is how often each degree above it is
played, and on which degrees the tune begins, rests and ends. The octave of a note counts, too: the
holes on which a tune lies say more than the names of its notes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray

from trainer.drill import PitchEvent
from trainer.harp import HOLES, Breath, Harp, Tab, Tuning, parse_key

STANDARD_TUNING = "richter"
"""Name of the standard tuning."""
MIDI_NOTES = 128
"""Number of MIDI notes."""
BEND_STEPS = 3
"""Half steps of bend that are distinguished; deeper ones count as the deepest."""
MAX_SPAN_HOLES = 5
"""Number of holes that a mouth covers (common practice)."""
REST_RATIO = 1.6
"""Time to the next note over its median from which a phrase ends."""
FAR_HOLES = 3
"""Number of holes from which a move is a jump."""

_NATURALS, _BENDS, _OVERS = 0, 2 * len(HOLES), (2 + BEND_STEPS) * len(HOLES)
_BELOW = _OVERS + len(HOLES)
_INSIDE, _ABOVE = _BELOW + 1, _BELOW + 2
KINDS = _BELOW + 3
"""Kinds of note on a harp: natural notes, bends and overblows of each hole, and notes that it lacks
below, inside and above its range."""
_MOVES = 8
_EXTRA = 6
_AVOIDED = 4
_RESTS = 5
_REACH = 3
HARP_FEATURES = KINDS + _MOVES + _EXTRA + _AVOIDED + _RESTS + _REACH + 3
"""Number of features of a harp."""
TONIC_FEATURES = 60
"""Number of features of a tonic: 12 degrees in five ways."""

Array = NDArray[np.float32]


@dataclass(frozen=True)
class Layout:
    """What a tuning can play on each note relative to hole 1 blow.

    Notes are indices from 0 to 127, for -`MIDI_NOTES` / 2 to `MIDI_NOTES` / 2 half steps.

    Attributes:
        kind: kind of note, shape (128,).
        hole, draw, bend: hole, whether it is drawn, and half steps of bend of its easiest entry;
            -1 where it is lacking. Shape (128,).
        bent_glide, slide: whether a note can move to another on one reed, and to that of a
            neighbouring hole in the same breath, shape (128, 128).
        together: whether one breath can sound two notes, shape (128, 128).
    """

    kind: NDArray[np.intp]
    hole: NDArray[np.intp]
    draw: NDArray[np.intp]
    bend: NDArray[np.intp]
    bent_glide: NDArray[np.bool_]
    slide: NDArray[np.bool_]
    together: NDArray[np.bool_]


@lru_cache(maxsize=32)
def layout(tuning: Tuning) -> Layout:
    """Return the layout of a tuning."""
    harp = Harp(parse_key("C"), tuning)
    root, offset = harp.key.tonic, MIDI_NOTES // 2
    entries = {tab: harp.midi(tab) - root + offset for tab in harp.entries}
    lowest, highest = min(entries.values()), max(entries.values())
    notes = np.arange(MIDI_NOTES)
    kind = np.where(notes < lowest, _BELOW, np.where(notes > highest, _ABOVE, _INSIDE))
    hole, draw, bend = (np.full(MIDI_NOTES, -1) for _ in range(3))
    for note in range(lowest, highest + 1):
        tabs = harp.entries_for(note - offset + root)
        if tabs:
            # Draw 2 rather than blow 3, as most players prefer.
            tab = min(tabs, key=lambda tab: (tab.over, tab.bend, tab.hole))
            kind[note] = _kind(tab)
            hole[note], draw[note], bend[note] = tab.hole, tab.breath is Breath.DRAW, tab.bend
    bent_glide, slide, together = (np.zeros((MIDI_NOTES, MIDI_NOTES), bool) for _ in range(3))
    for first, a in entries.items():
        for second, b in entries.items():
            if first.breath is not second.breath or first.over is not second.over:
                continue
            apart = abs(first.hole - second.hole)
            both_natural = first.is_natural and second.is_natural
            bent_glide[a, b] |= apart == 0 and first != second
            slide[a, b] |= apart == 1 and both_natural
            together[a, b] |= 0 < apart < MAX_SPAN_HOLES and both_natural
    return Layout(kind, hole, draw, bend, bent_glide, slide, together)


def _kind(tab: Tab) -> int:
    place = tab.hole - 1
    if tab.over:
        return _OVERS + place
    if tab.bend:
        return _BENDS + BEND_STEPS * place + min(tab.bend, BEND_STEPS) - 1
    return _NATURALS + 2 * place + (tab.breath is Breath.DRAW)


@dataclass(frozen=True)
class Evidence:
    """Features of the harps and the tonics.

    Attributes:
        harps: shape (harps, `HARP_FEATURES`).
        tonics: by pitch class, shape (12, `TONIC_FEATURES`).
    """

    harps: Array
    tonics: Array


def gather_evidence(events: Sequence[PitchEvent], harps: Sequence[Harp]) -> Evidence:
    """Return what notes say about harps and tonics.

    Args:
        events: in order of their start, at least one.
        harps: candidates.
    """
    line = np.array([min(pitch.notes) for event in events for pitch in event.path])
    paths = [event.path for event in events]
    glides = _pairs((min(a.notes), min(b.notes)) for path in paths for a, b in pairwise(path))
    chords = _pairs(
        pair for path in paths for pitch in path for pair in combinations(pitch.notes, 2)
    )
    held = np.array(
        [(event.end - event.start) / len(event.path) for event in events for _ in event.path]
    )
    held /= max(held.sum(), 1e-9)
    features = np.empty((len(harps), HARP_FEATURES), np.float32)
    for row, harp in zip(features, harps, strict=True):
        row[:] = _harp_features(line, held, glides, chords, harp)
    return Evidence(features, _tonic_features(events))


def _pairs(pairs: Iterable[tuple[int, int]]) -> NDArray[np.intp]:
    return np.array(list(pairs), np.intp).reshape(-1, 2)


def _harp_features(
    line: NDArray[np.intp],
    held: NDArray[np.float64],
    glides: NDArray[np.intp],
    chords: NDArray[np.intp],
    harp: Harp,
) -> Array:
    plan, shift = layout(harp.tuning), MIDI_NOTES // 2 - harp.key.tonic
    notes = np.clip(line + shift, 0, MIDI_NOTES - 1)
    counts = np.sqrt(np.bincount(plan.kind[notes], minlength=KINDS).astype(float))
    hole, draw, bend = plan.hole[notes], plan.draw[notes], plan.bend[notes]
    has = hole >= 0
    both = has[1:] & has[:-1] & (notes[1:] != notes[:-1])
    apart = np.abs(np.diff(hole))[both]
    turns = (draw[1:] != draw[:-1])[both]
    bent = (bend[1:] > 0)[both] & (bend[:-1] > 0)[both]
    scale = 1.0 / np.sqrt(max(len(line), 1))
    moves = scale * np.array(
        [
            turns.sum(),
            (turns & (apart == 0)).sum(),
            (~turns & (apart == 0)).sum(),
            (~turns & (apart == 1)).sum(),
            (apart >= FAR_HOLES - 1).sum(),
            (apart >= FAR_HOLES).sum(),
            (bent & (apart > 0)).sum(),
            (bend > 0).sum(),
        ]
    )
    glides = np.clip(glides + shift, 0, MIDI_NOTES - 1)
    chords = np.clip(chords + shift, 0, MIDI_NOTES - 1)
    on_reed = int(plan.bent_glide[glides[:, 0], glides[:, 1]].sum())
    over_holes = int((plan.slide & ~plan.bent_glide)[glides[:, 0], glides[:, 1]].sum())
    playable = int(plan.together[chords[:, 0], chords[:, 1]].sum())
    extra = np.log1p(
        np.array(
            [
                on_reed,
                over_holes,
                len(glides) - on_reed - over_holes,
                playable,
                len(chords) - playable,
                int(np.count_nonzero(~has)),
            ]
        )
    )
    last, first = notes[-1], notes[0]
    rests = [
        2.0 * np.sqrt(held[bend > 0].sum()),
        plan.bend[last] > 0,
        plan.draw[last] == 1 and plan.bend[last] == 0,
        plan.bend[first] > 0,
        plan.draw[first] == 1 and plan.bend[first] == 0,
    ]
    middle = hole[has].mean() if has.any() else 5.0
    reach = [middle, *(np.percentile(hole[has], (5, 95)) if has.any() else (5.0, 5.0))]
    avoided = 0.5 * np.sqrt(_avoided(notes, plan))
    low = harp.key.name.startswith("low")
    tuned = harp.tuning.name != STANDARD_TUNING
    rest = [*rests, *(0.2 * np.array(reach)), low, tuned, 0.25 * np.log(len(line))]
    return np.concatenate([0.5 * counts, moves, extra, avoided, rest])


def _avoided(notes: NDArray[np.intp], plan: Layout) -> NDArray[np.float64]:
    """Count notes that a tune has in another octave only, though they lie in its range.

    A note that is hard on the harp in this octave is a reason for that; one that lies open is not.

    Returns:
        Numbers of those that lie open, are draw bends, are blow bends, or are overblown or lacking.
    """
    span = np.arange(notes.min(), notes.max() + 1)
    absent = span[np.isin(span % 12, notes % 12) & ~np.isin(span, notes)]
    bend, drawn = plan.bend[absent], plan.draw[absent] == 1
    lacking = (plan.kind[absent] >= _OVERS).sum()
    bent = bend > 0
    return np.array(
        [len(absent) - lacking - bent.sum(), (bent & drawn).sum(), (bent & ~drawn).sum(), lacking],
        float,
    )


def _tonic_features(events: Sequence[PitchEvent]) -> Array:
    """Return the degrees that are played, by tonic: shape (12, `TONIC_FEATURES`)."""
    played, held, rests, first, last = (np.zeros(12) for _ in range(5))
    to_next = [after.start - before.start for before, after in pairwise(events)]
    usual = median(to_next) if to_next else 1.0
    for i, event in enumerate(events):
        for pitch in event.path:
            for note in pitch.notes:
                played[note % 12] += 1.0 / len(pitch.notes)
                held[note % 12] += (event.end - event.start) / len(event.path) / len(pitch.notes)
        if i + 1 < len(events) and to_next[i] >= REST_RATIO * usual:
            rests[min(event.path[-1].notes) % 12] += 1.0
    first[min(events[0].path[0].notes) % 12] = 1.0
    last[min(events[-1].path[-1].notes) % 12] = 1.0
    held = 2.0 * np.sqrt(held / max(held.sum(), 1e-9))
    ways = np.array([0.5 * np.sqrt(played), held, 0.7 * np.sqrt(rests), first, last])
    above = (np.arange(12)[:, None] + np.arange(12)[None, :]) % 12
    return ways[:, above].transpose(1, 0, 2).reshape(12, -1).astype(np.float32)
