"""Synthetic readings of a drill played with faults of known size, without sound."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from trainer.drill import BeatClock, Drill, Goal, Sound, Step
from trainer.drill.tab_reader import parse_tab
from trainer.ear import Reading
from trainer.harp import Harp, Tab

RATE = 48_000
HOP_MS = 5.0
HARP = Harp.of("C")
HZ = {tab: HARP.hz(tab) for tab in HARP.entries}
SAME_PITCH = {tab: HARP.same_pitch(tab) for tab in HARP.entries}
LEAD_BEATS = 1


def drill_of(tab: str, *, tempo: float = 100.0, tolerance: float = 10.0) -> Drill:
    music = parse_tab(tab, None)
    assert not music.problems
    goal = Goal(tolerance=tolerance)
    return Drill(
        "quay", "On the quay", "", "C", "richter", tempo, (4, 4), goal, music.steps, music.end
    )


def clock_of(drill: Drill) -> BeatClock:
    zero = round(LEAD_BEATS * 60 / drill.tempo * RATE)
    return BeatClock(zero=zero, tempo=drill.tempo, rate=RATE)


def sounds_of(tab: str) -> tuple[Sound, ...]:
    return parse_tab(tab, None).steps[0].sounds


@dataclass(frozen=True)
class Fault:
    """Faults of a step. `slurred`: no attack, and no gap before it."""

    cents: float = 0.0
    scoop: float = 0.0
    scoop_ms: float = 120.0
    wobble: float = 0.0
    drift: float = 0.0
    leak: float | None = None
    leak_hole: int = 9
    late_ms: float = 0.0
    skip: bool = False
    instead: str | None = None
    slurred: bool = False


@dataclass
class Note:
    """A note from `start` to `end` in ms. `length` in ms is what a glide is paced by."""

    start: float
    end: float
    sounds: tuple[Sound, ...]
    length: float
    fault: Fault = field(default_factory=Fault)

    def __post_init__(self) -> None:
        first = self.sounds[0][0]
        holes = {tab.hole for sound in self.sounds for tab in sound}
        self.path = [1200 * math.log2(HZ[sound[0]] / 440.0) for sound in self.sounds]
        self.playable = [tab for tab in HZ if tab.hole in holes and tab.breath is first.breath]

    def pitch(self, t: float) -> float:
        """Pitch at a time in ms, in cents from A4 = 440 Hz."""
        fault, into, length = self.fault, t - self.start, self.end - self.start
        part = min(max(into / length, 0.0), 1.0)
        place = min(max((into / self.length - 0.25) / 0.5, 0.0), 1.0) * (len(self.path) - 1)
        below = min(int(place), max(len(self.path) - 2, 0))
        above = min(below + 1, len(self.path) - 1)
        cycles = max(1, round(4.5 * length / 1000.0))
        return (
            self.path[below]
            + (place - below) * (self.path[above] - self.path[below])
            + fault.cents
            + fault.drift * (part - 0.5)
            + fault.wobble * math.sqrt(2) * math.cos(2 * math.pi * cycles * part)
            + fault.scoop * 0.5 * (1 + math.cos(math.pi * min(max(into / fault.scoop_ms, 0), 1)))
        )

    def tab(self, hz: float) -> Tab:
        """The entry nearest in pitch, on the hole and breath of the note."""
        return min(self.playable, key=lambda tab: abs(math.log2(hz / HZ[tab])))


def notes_of(
    drill: Drill,
    faults: Mapping[int, Fault] | None = None,
    *,
    gap_ms: float = 60.0,
    beats: Callable[[Step], float] = lambda step: float(step.start),
) -> list[Note]:
    """The notes of a drill as played. `beats` gives the beat of each step, apart from its fault."""
    beat_ms = 60_000.0 / drill.tempo
    notes = []
    for step in drill.steps:
        fault = (faults or {}).get(step.index, Fault())
        if fault.skip:
            continue
        start = (LEAD_BEATS + beats(step)) * beat_ms
        length = float(step.beats) * beat_ms
        sounds = step.sounds if fault.instead is None else sounds_of(fault.instead)
        notes.append(Note(start + fault.late_ms, start + length - gap_ms, sounds, length, fault))
    return in_turn(notes, gap_ms)


def in_turn(notes: Iterable[Note], gap_ms: float = 60.0) -> list[Note]:
    """Notes in order, each cut off before the next."""
    ordered = sorted(notes, key=lambda note: note.start)
    for note, after in pairwise(ordered):
        note.end = min(note.end, after.start - (0.0 if after.fault.slurred else gap_ms))
    return ordered


def readings_of(notes: Sequence[Note], *, delay: int = 480) -> list[Reading]:
    """Readings of some notes, as an ear makes them.

    An attack is detected after 10 ms, its pitch after 15 ms. A slur goes from one pitch to the
    other within 20 ms, and is halfway at the start of its note.
    """
    attacked: set[int] = set()
    i = 0
    readings = []
    for n in range(int((max((note.end for note in notes), default=3000.0) + 500.0) / HOP_MS)):
        t = n * HOP_MS
        sample = round(t * RATE / 1000.0)
        while i < len(notes) and notes[i].end <= t:
            i += 1
        if i < len(notes) and notes[i].start <= t:
            readings.append(_sounding(sample, delay, notes, i, t, attacked))
        else:
            readings.append(Reading(sample, sample + delay, RATE, level_db=-70.0))
    return readings


def _sounding(
    sample: int, delay: int, notes: Sequence[Note], i: int, t: float, attacked: set[int]
) -> Reading:
    note, into = notes[i], t - notes[i].start
    onset = None
    if not note.fault.slurred:
        if into >= 10.0 and i not in attacked:
            attacked.add(i)
            onset = round(note.start * RATE / 1000.0)
        if into < 15.0:
            return Reading(sample, sample + delay, RATE, None, -20.0, True, onset)
    hz = 440.0 * 2.0 ** (_slurred_pitch(notes, i, t) / 1200.0)
    main = note.sounds[0] if len(note.sounds[0]) > 1 else (note.tab(hz),)
    levels = [(tab.hole, 0.0) for tab in main]
    holes = [tab.hole for tab in main]
    leak = note.fault.leak
    leak_hole = None if leak is None else note.fault.leak_hole
    if leak is not None and leak_hole is not None:
        levels.append((leak_hole, leak))
        if leak > -33.0:  # loud enough to count as sounding
            holes = sorted([*holes, leak_hole])
    return Reading(
        sample,
        sample + delay,
        RATE,
        hz,
        -20.0,
        True,
        onset,
        tab=main[0],
        cents=1200 * math.log2(hz / HZ[main[0]]),
        also=SAME_PITCH[main[0]],
        breath=main[0].breath,
        holes=tuple(holes),
        leak_db=leak,
        leak_hole=leak_hole,
        levels=tuple(levels),
    )


def _slurred_pitch(notes: Sequence[Note], i: int, t: float) -> float:
    note = notes[i]
    pitch, into, left = note.pitch(t), t - note.start, note.end - t
    if note.fault.slurred and into < 10.0:
        before = notes[i - 1].pitch(t)
        return before + (pitch - before) * (0.5 + into / 20.0)
    if i + 1 < len(notes) and notes[i + 1].fault.slurred and left < 10.0:
        after = notes[i + 1].pitch(t)
        return after + (pitch - after) * (0.5 + left / 20.0)
    return pitch
