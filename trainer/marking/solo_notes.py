"""The notes of a solo, from readings.

The ear's note tracker collects them; a bend that is let up within one of its notes is split into
the pitches that were held.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trainer.core.types import Floats
from trainer.drill import Clock, Solo, SoloBrief
from trainer.ear import HeardNote, NoteTracker, Reading
from trainer.harp import Harp, Tab
from trainer.marking.parameters import SOLO
from trainer.marking.solo_mark import SoloNote
from trainer.music import cents


class SoloListener:
    """Collects what is played in one solo."""

    def __init__(self, solo: Solo, brief: SoloBrief, harp: Harp, clock: Clock) -> None:
        """Start before the solo."""
        self.solo = solo
        self._brief, self._harp, self._clock = brief, harp, clock
        early = SOLO.early_beats
        self.first = clock.sample(float(solo.start) - early)
        """First sample of a note that belongs to the solo."""
        self.last = clock.sample(float(solo.end) - early)
        """First sample after those on which a note of the solo begins."""
        self.end = clock.sample(solo.end)
        """First sample after the solo."""
        self._tracker = NoteTracker(harp, with_motion=False)
        self._heard: list[HeardNote] = []

    def observe(self, reading: Reading) -> None:
        """Take the next reading."""
        if self.first <= reading.sample < self.end + reading.rate:
            self._heard += self._tracker.track(reading)

    def notes(self) -> tuple[SoloNote, ...]:
        """The notes so far, in order, with the one that still sounds."""
        unfinished = self._tracker.unfinished
        heard = [*self._heard, *([unfinished] if unfinished else [])]
        notes = [note for each in heard for note in _split(each, self._harp)]
        return tuple(
            self._timed(*note) for note in notes if self.first <= note[0].start < self.last
        )

    def _timed(self, heard: HeardNote, tab: Tab, off_cents: float) -> SoloNote:
        clock, rate = self._clock, heard.rate
        beat, late = nearest_part(heard.start, clock, self._brief.division)
        end = min(heard.end, self.end)
        return SoloNote(
            start=heard.start,
            end=end,
            beat=beat,
            late_ms=1000.0 * late / rate,
            beats=max(0.0, clock.beat(end) - clock.beat(heard.start)),
            tab=tab,
            midi=self._harp.midi(tab),
            cents=off_cents,
            leak_db=heard.leak_db,
            is_ornament=heard.end - heard.start < SOLO.ornament_s * rate,
        )


def nearest_part(sample: int, clock: Clock, division: int) -> tuple[float, int]:
    """Return the beat of a sample, and its distance from the nearest part of a beat.

    Args:
        sample: the sample.
        clock: its clock.
        division: equal parts of a beat, before swing.

    Returns:
        The beat on the written scale, where swung halves are halves; and the distance in samples,
        positive if the sample is late.
    """
    whole = math.floor(clock.beat(sample))
    parts = [whole + Fraction(i, division) for i in range(division + 1)]
    places = [clock.sample(part) for part in parts]
    beat = float(np.interp(sample, places, [float(part) for part in parts]))
    nearest = min(places, key=lambda place: abs(sample - place))
    return beat, sample - nearest


def _split(heard: HeardNote, harp: Harp) -> Iterator[tuple[HeardNote, Tab, float]]:
    """Yield the pitches that were held in a note, each as a note with its entry and cents off."""
    at, hz = np.array(heard.path, dtype=float).T
    own = _reeds_of(heard, harp)
    targets = np.array([harp.hz(tab) for tab in own])
    nearest = np.abs(np.log(hz[:, None] / targets[None, :])).argmin(axis=1)
    runs = _held_runs(nearest, at, heard)
    if len(runs) < 2:
        yield heard, heard.tab, heard.cents
        return
    for i, (first, end) in enumerate(runs):
        tab = own[int(nearest[first])]
        start = heard.start if i == 0 else int(at[first])
        stop = heard.end if i == len(runs) - 1 else int(at[end])
        off = cents(float(np.median(hz[first:end])), harp.hz(tab))
        yield replace(heard, start=start, end=stop, tab=tab), tab, off


def _reeds_of(heard: HeardNote, harp: Harp) -> list[Tab]:
    """Return the entries of the hole and breath of a note."""
    tab = heard.tab
    same = [
        other
        for other in harp.hole_entries(tab.hole)
        if other.breath is tab.breath and other.over == tab.over
    ]
    return same or [tab]


def _held_runs(
    nearest: NDArray[np.integer[Any]], at: Floats, heard: HeardNote
) -> list[tuple[int, int]]:
    """Return the runs of readings on one entry that were held, each as (first, end)."""
    edges = [0, *(np.flatnonzero(np.diff(nearest)) + 1).tolist(), len(nearest)]
    held: list[tuple[int, int]] = []
    for first, end in pairwise(edges):
        begins = heard.start if first == 0 else at[first]
        stops = heard.end if end == len(nearest) else at[end]
        least = SOLO.settling_s if first == 0 else SOLO.split_s
        if stops - begins >= least * heard.rate:
            held.append((first, end))
    return held
