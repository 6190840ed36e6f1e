"""Beats for a recording in free time: notes begin on them, so they last as long as it takes.

A drill counts in beats, and a recording that it is played along with says when each of them falls.
So a passage without a steady beat can be written exactly where it was played: its onsets are beats,
a longer note takes several, and the beats between two onsets are of equal length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise, zip_longest

import numpy as np

from trainer.transcript.model import Meter, TranscribedNote, Transcript
from trainer.transcript.note_values import beat_of


@dataclass(frozen=True, slots=True)
class FreeTimeParameters:
    """Constants of the beats in free time. Chosen by hand: they only decide how the tab reads."""

    min_beat_s: float = 0.15
    """Shortest beat in seconds. A note that begins sooner after another one begins within its
    beat."""
    quantile: float = 0.25
    """Quantile of the intervals between onsets that is one beat: most short notes are."""
    grid: Fraction = Fraction(1, 4)
    """Parts of a beat in which lengths are counted, and onsets that are on no beat."""
    bar: int = 4
    """Beats in a bar. It only counts."""


FREE_TIME = FreeTimeParameters()
"""The constants in use."""


def time_freely(transcript: Transcript) -> Transcript:
    """Return a transcript without a meter with one whose beats fall on its notes.

    Args:
        transcript: one note at least.
    """
    p = FREE_TIME
    onsets = _far_apart(sorted(note.start for part in transcript.parts for note in part))
    last = max(note.end for part in transcript.parts for note in part)
    onsets.append(max(last, onsets[-1] + p.min_beat_s))
    intervals = np.diff(onsets)
    beat_s = max(p.min_beat_s, float(np.quantile(intervals, p.quantile)))
    times = [onsets[0]]
    for start, end in pairwise(onsets):
        # A long note takes several beats, of which none is shorter than the shortest.
        count = max(1, min(round((end - start) / beat_s), int((end - start) / p.min_beat_s)))
        times.extend(start + (end - start) * (i + 1) / count for i in range(count))
    tempo = 60.0 / float(np.median(np.diff(times)))
    meter = Meter(tempo, (p.bar, 4), tuple(times), steady=False)
    first, second = (_placed(part, meter) for part in (transcript.notes, transcript.second))
    return replace(transcript, notes=first, second=second, meter=meter)


def _far_apart(onsets: Sequence[float]) -> list[float]:
    """Those of some ascending onsets that may be beats of their own."""
    chosen = [onsets[0]]
    for onset in onsets[1:]:
        if onset - chosen[-1] >= FREE_TIME.min_beat_s:
            chosen.append(onset)
    return chosen


def _placed(notes: Sequence[TranscribedNote], meter: Meter) -> tuple[TranscribedNote, ...]:
    """Notes at their beats, each after the one before it and no longer than up to the next."""
    grid = FREE_TIME.grid
    places: list[Fraction] = []
    for note in notes:
        place = round(beat_of(note.start, meter) / float(grid)) * grid
        places.append(max(place, places[-1] + grid) if places else place)
    placed = []
    for note, at, until in zip_longest(notes, places, places[1:]):
        end = max(at + grid, round(beat_of(note.end, meter) / float(grid)) * grid)
        if until is not None and until - end <= grid:
            end = until  # the breath between two notes is no rest
        placed.append(replace(note, at=at, beats=end - at))
    return tuple(placed)
