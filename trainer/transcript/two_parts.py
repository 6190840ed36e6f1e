"""Two harps over each other: whose is each tone?

One mouth on one harp sounds holes beside each other, in one breath, struck together. Tones that do
so are one note, or a note and what leaks beside it; tones that do not, and go on together, need a
second player. Notes are given to two parts so that in each they follow one another, near on the
harp and alike in level, by dynamic programming over the last note of either part; what fits in
neither is left out. Whether there is a second player at all is said by how long notes of the two
parts go on together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trainer.ear import HeardNote
from trainer.ear.motion import estimate_motion, held_parts
from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.transcript.notation import LOOSE_DB
from trainer.transcript.tones import Tone

TOGETHER_S, ENDS_S = 0.05, 0.08
"""Reeds of one breath set in within the first, and end within the second."""
LEAST_S = 0.08
"""So long two notes must go on together to be two players'."""
SOFTEST_DB = 20.0
"""A note so far under another beside it may be what rings, leaks or hums."""
FALLS_DB_S = 12.0
"""What dies away faster is no reed that is blown, but struck, plucked, or ringing on."""
BOTH_S, BOTH, LEFT = 1.0, 0.2, 0.4
"""Two are there if they play together for so many seconds, and if that, less such a share of what
fits in neither part, is such a share of the time that the first sounds. Chosen on mixes of two
phrases, and on single ones in rooms and beside piano and bass (``python -m benchmarks.duets``,
seeds before 200)."""

RING_S = 0.05
"""A note may reach into the next one of its part by so much."""
HOLE = 0.25
"""What each hole costs that a part moves by."""
LEVEL, LEVEL_SD_DB, LEVEL_MOST = 0.5, 4.0, 4.0
"""What a level costs that differs from the part's by so many dB, growing with the square of it,
and at most."""
RESUMES, REST_S = 0.5, 1.0
"""What it costs that a part goes on after a rest so long."""
LEFT_OUT = 4.0
"""What a note costs that is in neither part."""
ROUNDS = 5
MOST_STATES = 200


@dataclass(frozen=True)
class ToneGroup:
    """Tones of one breath that are one note: what one mouth sounds at a time.

    Attributes:
        tones: the loudest first.
        tabs: the entry of each.
        also: other holes and breaths on which the first one may be.
    """

    tones: tuple[Tone, ...]
    tabs: tuple[Tab, ...]
    also: tuple[Tab, ...] = ()

    @property
    def start(self) -> float:
        """When it sets in, seconds."""
        return self.tones[0].start

    @property
    def end(self) -> float:
        """When it ends, seconds."""
        return self.tones[0].end

    @property
    def seconds(self) -> float:
        """How long it sounds."""
        return self.end - self.start

    @property
    def level_db(self) -> float:
        """Level of its loudest tone."""
        return self.tones[0].level_db

    @cached_property
    def holes(self) -> tuple[int, ...]:
        """The holes on which its first tone may be."""
        return tuple({self.tabs[0].hole, *(tab.hole for tab in self.also)})


@dataclass(frozen=True, slots=True)
class PartAssignment:
    """Notes of two players.

    Attributes:
        first, second: what each plays, in order; the first is the one that sounds more.
        left: what fits in neither.
    """

    first: tuple[ToneGroup, ...]
    second: tuple[ToneGroup, ...]
    left: tuple[ToneGroup, ...]

    @property
    def two(self) -> bool:
        """Whether two players are heard, and not one beside whom other things sound.

        They play together for much of the time, and little sounds that neither plays.
        """
        both = sum(self._both())
        first, left = (sum(one.seconds for one in some) for some in (self.first, self.left))
        return both > BOTH_S and both - LEFT * left > BOTH * first

    @property
    def louder_db(self) -> float:
        """How much louder the first plays than the second, dB; 0 where there is no second."""
        levels = [[one.level_db for one in part] for part in (self.first, self.second)]
        return float(np.median(levels[0]) - np.median(levels[1])) if all(levels) else 0.0

    def _both(self) -> Iterator[float]:
        """Seconds of each time that both blow, about as loud as each other."""
        for one in self.first:
            for other in self.second:
                overlap = min(one.end, other.end) - max(one.start, other.start)
                if (
                    overlap >= LEAST_S
                    and abs(one.level_db - other.level_db) <= SOFTEST_DB
                    and max(one.tones[0].fall_db_s, other.tones[0].fall_db_s) < FALLS_DB_S
                ):
                    yield overlap


def group_tones(tones: Sequence[Tone], harp: Harp) -> list[ToneGroup]:
    """Tones taken together that one mouth can sound, in order of their start."""
    left = sorted(tones, key=lambda tone: -tone.level_db)
    found: list[ToneGroup] = []
    while left:
        tone = left.pop(0)
        entries = candidate_entries(tone, harp)
        beside = [
            (other, candidate_entries(other, harp)) for other in left if _at_once(tone, other)
        ]
        best: list[tuple[Tone, Tab]] = []
        main = entries[0]
        for entry in entries:
            some = _neighbours(entry, beside)
            if len(some) > len(best):
                best, main = some, entry
        taken = {id(other) for other, _ in best}
        left = [other for other in left if id(other) not in taken]
        also = () if best else tuple(one for one in entries if one != main)
        found.append(
            ToneGroup((tone, *(one for one, _ in best)), (main, *(tab for _, tab in best)), also)
        )
    return sorted(found, key=lambda one: one.start)


def _at_once(tone: Tone, other: Tone) -> bool:
    return abs(tone.start - other.start) <= TOGETHER_S and abs(tone.end - other.end) <= ENDS_S


def _neighbours(
    entry: Tab, beside: Sequence[tuple[Tone, tuple[Tab, ...]]]
) -> list[tuple[Tone, Tab]]:
    """What sounds beside an entry in its breath, from hole to hole."""
    found: list[tuple[Tone, Tab]] = []
    for way in (1, -1):
        hole = entry.hole + way
        while True:
            next_ = [
                (tone, tab)
                for tone, tabs in beside
                for tab in tabs
                if tab.is_natural and tab.hole == hole and tab.breath is entry.breath
            ]
            if not next_:
                break
            found.append(next_[0])
            hole += way
    return found


def candidate_entries(tone: Tone, harp: Harp) -> tuple[Tab, ...]:
    """The entries that a tone may be, the likeliest first: one a hole and breath.

    Of a tone that glides, those on whose hole and breath it can be from its start to its end.
    """
    held = harp.nearest_entries(tone.held_hz)
    low, high = (float(one) for one in np.quantile(tone.hz, (0.1, 0.9)))
    if cents(high, low) < 50.0:
        return held
    ends = {(tab.hole, tab.breath) for tab in harp.nearest_entries(low)} & {
        (tab.hole, tab.breath) for tab in harp.nearest_entries(high)
    }
    ways = [
        min(own, key=lambda tab: abs(cents(harp.hz(tab), tone.held_hz)))
        for hole, breath in sorted(ends)
        if (
            own := [tab for tab in harp.hole_entries(hole) if tab.breath is breath and not tab.over]
        )
    ]
    return tuple(ways) or held


@dataclass(frozen=True, slots=True)
class _State:
    """Where both parts are: the number of the last note of each, -1 before the first."""

    cost: float
    last: tuple[int, int]
    before: _State | None
    part: int


def separate_players(notes: Sequence[ToneGroup]) -> PartAssignment:
    """Notes given to two parts.

    How loud each part is, is not known before; it starts from what is louder and softer where two
    sound at a time, and is taken anew from the parts that come of it.

    Args:
        notes: in order of their start.
    """
    levels = _louder_and_softer(notes)
    chosen: list[int] = []
    for _ in range(ROUNDS):
        chosen = _chosen(notes, levels)
        anew = [_level(notes, chosen, part, levels[part]) for part in (0, 1)]
        if anew == list(levels):
            break
        levels = (anew[0], anew[1])
    one, two, left = (
        tuple(note for note, part in zip(notes, chosen, strict=True) if part == wanted)
        for wanted in (0, 1, 2)
    )
    first, second = sorted((one, two), key=_sounding, reverse=True)
    return PartAssignment(first, second, left)


def _louder_and_softer(notes: Sequence[ToneGroup]) -> tuple[float, float]:
    """Median levels of the louder and the softer of two notes that sound at a time."""
    pairs = [
        sorted((one.level_db, other.level_db))
        for i, one in enumerate(notes)
        for other in notes[i + 1 :]
        if min(one.end, other.end) - max(one.start, other.start) >= LEAST_S
    ]
    if not pairs:
        return 0.0, 0.0
    softer, louder = np.median(np.array(pairs), axis=0)
    return float(louder), float(softer)


def _level(notes: Sequence[ToneGroup], chosen: Sequence[int], part: int, known: float) -> float:
    own = [note.level_db for note, one in zip(notes, chosen, strict=True) if one == part]
    return float(np.median(own)) if own else known


def _chosen(notes: Sequence[ToneGroup], levels: tuple[float, float]) -> list[int]:
    """The part of each note, 0 or 1; 2 where it fits in neither."""
    states = [_State(0.0, (-1, -1), None, -1)]
    for i in range(len(notes)):
        best: dict[tuple[int, int], _State] = {}
        for state in states:
            for after in _ways(state, i, notes, levels):
                known = best.get(after.last)
                if known is None or after.cost < known.cost:
                    best[after.last] = after
        states = sorted(best.values(), key=lambda one: one.cost)[:MOST_STATES]
    chosen: list[int] = []
    at: _State | None = states[0]
    while at is not None and at.before is not None:
        chosen.append(at.part)
        at = at.before
    return chosen[::-1]


def _ways(
    state: _State, i: int, notes: Sequence[ToneGroup], levels: tuple[float, float]
) -> Iterator[_State]:
    note = notes[i]
    yield _State(state.cost + LEFT_OUT, state.last, state, 2)
    for part in (0, 1):
        last = list(state.last)
        off = ((note.level_db - levels[part]) / LEVEL_SD_DB) ** 2
        cost = state.cost + min(LEVEL_MOST, LEVEL * off)
        if last[part] >= 0:
            before = notes[last[part]]
            if note.start < before.end - RING_S:
                continue
            moved = min(abs(a - b) for a in note.holes for b in before.holes)
            cost += HOLE * moved + (RESUMES if note.start - before.end > REST_S else 0.0)
        last[part] = i
        yield _State(cost, (last[0], last[1]), state, part)


def _sounding(notes: Sequence[ToneGroup]) -> float:
    return sum(one.seconds * 10.0 ** (one.level_db / 20.0) for one in notes)


def to_heard_note(note: ToneGroup, harp: Harp, rate: int) -> HeardNote:
    """A note of a part, as the ear would tell it."""
    tone, tab = note.tones[0], note.tabs[0]
    length = tone.seconds
    at = tone.at - tone.start
    held = max(held_parts(at, tone.hz, length), key=lambda one: one.end - one.start, default=None)
    hz = tone.held_hz if held is None else held.hz
    own = [
        one
        for one in harp.hole_entries(tab.hole)
        if one.breath is tab.breath and one.over == tab.over
    ]
    tab = min(own, key=lambda one: abs(cents(hz, harp.hz(one))))
    others = [
        (other.level_db - tone.level_db, entry.hole)
        for other, entry in zip(note.tones[1:], note.tabs[1:], strict=True)
    ]
    leak_db, leak_hole = max(others, default=(None, None))
    sounding = {hole for db, hole in others if db > LOOSE_DB} | {tab.hole}
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
            (round(second * rate), float(one)) for second, one in zip(tone.at, tone.hz, strict=True)
        ),
        motion=estimate_motion(at, tone.hz, length),
        tremolo=None,
    )
