"""Assign the tones of two harps that sound together to two players.

One mouth on one harp sounds neighbouring holes in one breath, with a common onset. Such tones are
one note, or a note and a leak. Tones that overlap otherwise need a second player. Notes are
assigned to two parts so that within each part they do not overlap, are near on the harp and alike
in level, by dynamic programming over the last note of each part; a note that fits neither part is
left out. Two players are detected by how long notes of the two parts overlap.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trainer.ear import HeardNote, estimate_motion, held_parts
from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.transcript.notation import NOTATION, nearest_entry_of_reed
from trainer.transcript.tones import Tone


@dataclass(frozen=True, slots=True)
class PartParameters:
    """Constants of the assignment to two players.

    Two players are detected if b > `min_both_s` and b - `left_weight` l > `min_both` f, where b is
    the time in which both play, l the time of notes in neither part, and f that of the first
    part's notes. These three, and the costs, were chosen on mixes of two phrases and on single
    ones, in rooms and with piano and bass (``python -m benchmarks.duets``, seeds below 200).
    """

    same_onset_s: float = 0.05
    """Maximum difference between onsets of reeds of one breath, seconds."""
    same_end_s: float = 0.08
    """Maximum difference between offsets of reeds of one breath, seconds."""
    min_overlap_s: float = 0.08
    """Minimum overlap in seconds of two notes of two players."""
    max_difference_db: float = 20.0
    """Maximum difference in level between notes of two players, dB. A softer one may be
    reverberation, a leak or hum."""
    max_fall_db_s: float = 12.0
    """Rate of decay from which a tone is struck, plucked or reverberation, and not blown, dB per
    second."""
    min_both_s: float = 1.0
    """Minimum time in which both play, seconds."""
    min_both: float = 0.2
    """Minimum fraction of the first part's time in which both play."""
    left_weight: float = 0.4
    """Weight of the time of notes in neither part."""
    max_overlap_s: float = 0.05
    """Maximum overlap of two notes of one part, seconds: reverberation."""
    hole_cost: float = 0.25
    """Cost per hole between notes of a part."""
    level_cost: float = 0.5
    """Cost of a level that differs from the part's by `level_sd_db`; grows with its square."""
    level_sd_db: float = 4.0
    """Standard deviation of the levels of a part, dB."""
    max_level_cost: float = 4.0
    """Maximum cost of a level."""
    resume_cost: float = 0.5
    """Cost of a note after a rest of `rest_s` or more."""
    rest_s: float = 1.0
    """Length of such a rest, seconds."""
    left_out_cost: float = 4.0
    """Cost of a note in neither part."""
    rounds: int = 5
    """Maximum number of rounds of assignment and estimation of the parts' levels."""
    max_states: int = 200
    """Beam width of the dynamic programming."""
    moving_cents: float = 50.0
    """Range of pitch from which a tone glides, cents."""


PARTS = PartParameters()
"""The constants in use."""


@dataclass(frozen=True)
class ToneGroup:
    """Tones that are one note: those of one mouth at a time.

    Attributes:
        tones: loudest first.
        tabs: entry of each tone.
        also: other entries that the first tone may be.
    """

    tones: tuple[Tone, ...]
    tabs: tuple[Tab, ...]
    also: tuple[Tab, ...] = ()

    @property
    def start(self) -> float:
        """Onset in seconds."""
        return self.tones[0].start

    @property
    def end(self) -> float:
        """Offset in seconds."""
        return self.tones[0].end

    @property
    def seconds(self) -> float:
        """Duration in seconds."""
        return self.end - self.start

    @property
    def level_db(self) -> float:
        """Level of its loudest tone, dB."""
        return self.tones[0].level_db

    @cached_property
    def holes(self) -> tuple[int, ...]:
        """Holes that its first tone may be on."""
        return tuple({self.tabs[0].hole, *(tab.hole for tab in self.also)})


@dataclass(frozen=True, slots=True)
class PartAssignment:
    """Notes of two players.

    Attributes:
        first, second: notes of each, in order; the first player is the one who sounds more.
        left: notes in neither part.
    """

    first: tuple[ToneGroup, ...]
    second: tuple[ToneGroup, ...]
    left: tuple[ToneGroup, ...]

    @property
    def two(self) -> bool:
        """Whether two players are detected; see :class:`PartParameters`."""
        both = sum(self._overlaps())
        first, left = (sum(note.seconds for note in notes) for notes in (self.first, self.left))
        return both > PARTS.min_both_s and both - PARTS.left_weight * left > PARTS.min_both * first

    @property
    def louder_db(self) -> float:
        """Median level of the first player over that of the second, dB; 0 without a second."""
        levels = [[note.level_db for note in part] for part in (self.first, self.second)]
        return float(np.median(levels[0]) - np.median(levels[1])) if all(levels) else 0.0

    def _overlaps(self) -> Iterator[float]:
        """Seconds of each overlap of blown notes of comparable level."""
        for note in self.first:
            for other in self.second:
                overlap = min(note.end, other.end) - max(note.start, other.start)
                if (
                    overlap >= PARTS.min_overlap_s
                    and abs(note.level_db - other.level_db) <= PARTS.max_difference_db
                    and max(note.tones[0].fall_db_s, other.tones[0].fall_db_s) < PARTS.max_fall_db_s
                ):
                    yield overlap


def group_tones(tones: Sequence[Tone], harp: Harp) -> list[ToneGroup]:
    """Group tones that one mouth can sound together, in order of their start."""
    left = sorted(tones, key=lambda tone: -tone.level_db)
    groups: list[ToneGroup] = []
    while left:
        tone = left.pop(0)
        entries = candidate_entries(tone, harp)
        simultaneous = [
            (other, candidate_entries(other, harp)) for other in left if _simultaneous(tone, other)
        ]
        best: list[tuple[Tone, Tab]] = []
        main = entries[0]
        for entry in entries:
            neighbours = _neighbours(entry, simultaneous)
            if len(neighbours) > len(best):
                best, main = neighbours, entry
        grouped = {id(other) for other, _ in best}
        left = [other for other in left if id(other) not in grouped]
        also = () if best else tuple(entry for entry in entries if entry != main)
        tones_of_group = (tone, *(other for other, _ in best))
        groups.append(ToneGroup(tones_of_group, (main, *(tab for _, tab in best)), also))
    return sorted(groups, key=lambda group: group.start)


def _simultaneous(tone: Tone, other: Tone) -> bool:
    return (
        abs(tone.start - other.start) <= PARTS.same_onset_s
        and abs(tone.end - other.end) <= PARTS.same_end_s
    )


def _neighbours(
    entry: Tab, simultaneous: Sequence[tuple[Tone, tuple[Tab, ...]]]
) -> list[tuple[Tone, Tab]]:
    """Tones on adjacent holes of an entry's breath, outward from it without a gap."""
    neighbours: list[tuple[Tone, Tab]] = []
    for direction in (1, -1):
        hole = entry.hole + direction
        while True:
            matches = [
                (tone, tab)
                for tone, tabs in simultaneous
                for tab in tabs
                if tab.is_natural and tab.hole == hole and tab.breath is entry.breath
            ]
            if not matches:
                break
            neighbours.append(matches[0])
            hole += direction
    return neighbours


def candidate_entries(tone: Tone, harp: Harp) -> tuple[Tab, ...]:
    """Return the entries that a tone may be, nearest first, one per hole and breath.

    For a gliding tone: those whose hole and breath it can follow from start to end.
    """
    held = harp.nearest_entries(tone.held_hz)
    low, high = (float(hz) for hz in np.quantile(tone.hz, (0.1, 0.9)))
    if cents(high, low) < PARTS.moving_cents:
        return held
    reeds = {(tab.hole, tab.breath) for tab in harp.nearest_entries(low)} & {
        (tab.hole, tab.breath) for tab in harp.nearest_entries(high)
    }
    entries = [
        min(of_reed, key=lambda tab: abs(cents(harp.hz(tab), tone.held_hz)))
        for hole, breath in sorted(reeds)
        if (
            of_reed := [
                tab for tab in harp.hole_entries(hole) if tab.breath is breath and not tab.over
            ]
        )
    ]
    return tuple(entries) or held


@dataclass(frozen=True, slots=True)
class _State:
    """State of both parts.

    Cost, index of the last note of each (-1 before the first), the state before, and the part of
    the note that led here (2 for neither).
    """

    cost: float
    last: tuple[int, int]
    before: _State | None
    part: int


def separate_players(notes: Sequence[ToneGroup]) -> PartAssignment:
    """Assign notes to two players.

    The level of each part is unknown at first. It starts from the louder and softer of overlapping
    notes and is estimated again from the parts that result.

    Args:
        notes: in order of their start.
    """
    levels = _louder_and_softer(notes)
    chosen: list[int] = []
    for _ in range(PARTS.rounds):
        chosen = _assign(notes, levels)
        updated = [_median_level(notes, chosen, part, levels[part]) for part in (0, 1)]
        if updated == list(levels):
            break
        levels = (updated[0], updated[1])
    part_a, part_b, left = (
        tuple(note for note, part in zip(notes, chosen, strict=True) if part == wanted)
        for wanted in (0, 1, 2)
    )
    first, second = sorted((part_a, part_b), key=_weight, reverse=True)
    return PartAssignment(first, second, left)


def _louder_and_softer(notes: Sequence[ToneGroup]) -> tuple[float, float]:
    """Median levels of the louder and the softer of overlapping notes, dB."""
    pairs = [
        sorted((note.level_db, other.level_db))
        for i, note in enumerate(notes)
        for other in notes[i + 1 :]
        if min(note.end, other.end) - max(note.start, other.start) >= PARTS.min_overlap_s
    ]
    if not pairs:
        return 0.0, 0.0
    softer, louder = np.median(np.array(pairs), axis=0)
    return float(louder), float(softer)


def _median_level(
    notes: Sequence[ToneGroup], chosen: Sequence[int], part: int, default: float
) -> float:
    levels = [note.level_db for note, choice in zip(notes, chosen, strict=True) if choice == part]
    return float(np.median(levels)) if levels else default


def _assign(notes: Sequence[ToneGroup], levels: tuple[float, float]) -> list[int]:
    """Part of each note, 0 or 1; 2 for neither."""
    states = [_State(0.0, (-1, -1), None, -1)]
    for i in range(len(notes)):
        best: dict[tuple[int, int], _State] = {}
        for state in states:
            for after in _successors(state, i, notes, levels):
                known = best.get(after.last)
                if known is None or after.cost < known.cost:
                    best[after.last] = after
        states = sorted(best.values(), key=lambda state: state.cost)[: PARTS.max_states]
    chosen: list[int] = []
    at: _State | None = states[0]
    while at is not None and at.before is not None:
        chosen.append(at.part)
        at = at.before
    return chosen[::-1]


def _successors(
    state: _State, i: int, notes: Sequence[ToneGroup], levels: tuple[float, float]
) -> Iterator[_State]:
    """States after note `i`."""
    p, note = PARTS, notes[i]
    yield _State(state.cost + p.left_out_cost, state.last, state, 2)
    for part in (0, 1):
        last = list(state.last)
        off = ((note.level_db - levels[part]) / p.level_sd_db) ** 2
        cost = state.cost + min(p.max_level_cost, p.level_cost * off)
        if last[part] >= 0:
            before = notes[last[part]]
            if note.start < before.end - p.max_overlap_s:
                continue
            moved = min(abs(a - b) for a in note.holes for b in before.holes)
            resumes = note.start - before.end > p.rest_s
            cost += p.hole_cost * moved + (p.resume_cost if resumes else 0.0)
        last[part] = i
        yield _State(cost, (last[0], last[1]), state, part)


def _weight(notes: Sequence[ToneGroup]) -> float:
    """Duration of notes, weighted by amplitude."""
    return sum(note.seconds * 10.0 ** (note.level_db / 20.0) for note in notes)


def to_heard_note(note: ToneGroup, harp: Harp, rate: int) -> HeardNote:
    """Return a note of a part in the form of the ear's notes, at `rate` samples per second."""
    tone, tab = note.tones[0], note.tabs[0]
    length = tone.seconds
    at = tone.at - tone.start
    rests = held_parts(at, tone.hz, length)
    held = max(rests, key=lambda rest: rest.end - rest.start, default=None)
    hz = tone.held_hz if held is None else held.hz
    tab = nearest_entry_of_reed(hz, tab, harp)
    others = [
        (other.level_db - tone.level_db, entry.hole)
        for other, entry in zip(note.tones[1:], note.tabs[1:], strict=True)
    ]
    leak_db, leak_hole = max(others, default=(None, None))
    sounding = {hole for db, hole in others if db > NOTATION.blur_db} | {tab.hole}
    return HeardNote(
        start=round(tone.start * rate),
        end=round(tone.end * rate),
        rate=rate,
        tab=tab,
        hz=hz,
        cents=cents(hz, harp.hz(tab)),
        also=harp.same_pitch(tab),
        holes=tuple(sorted(sounding)),
        leak_db=leak_db,
        leak_hole=leak_hole,
        level_db=tone.level_db,
        path=tuple(
            (round(second * rate), float(f0)) for second, f0 in zip(tone.at, tone.hz, strict=True)
        ),
        motion=estimate_motion(at, tone.hz, length),
        tremolo=None,
    )
