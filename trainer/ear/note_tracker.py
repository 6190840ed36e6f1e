"""Notes out of readings: from an onset to its end, glides inside it included."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

import numpy as np

from trainer.core.types import Floats
from trainer.ear.heard_note import HeardNote
from trainer.ear.motion import RELEASE_S, Modulation, estimate_motion, estimate_tremolo
from trainer.ear.reading import Reading
from trainer.harp import Harp, Tab
from trainer.music import cents

SHORTEST_S = 0.04
"""Shorter stretches of pitch are no notes."""
SILENT_S = 0.03
"""A pitch that is away for longer has ended."""
CHANGE_S = 0.03
"""Another hole must sound for so long to be a new note."""
SPEAKS_S = 0.15
"""A reed has its pitch so soon after its onset; what comes later came without one."""
GLIDE_CENTS = 40.0
"""From one reading to the next a glide moves by less."""
SETTLING_S = 0.06
"""While the reeds come in, at the start, the leak and the swing of the level say nothing, and what
seems another hole is no note."""
HOP_S = 0.005
"""Time from one reading to the next where none come faster."""
LEVEL_S = 0.010
"""Stretch over which a reading's level is taken; it belongs to the middle of that."""
ENDS_DB, FADES_DB_S = 6.0, 20.0
"""A note has ended where its level falls by so much, to half, and does not come back; what falls
by less than that in each second is played so, or rings (60 dB in 3 s is a large hall)."""
SHUTS_DB = 4.0
"""A fall before a new attack that ends a note, in the middle of the fall if it is short of 12."""
BEFORE = 60
"""Levels kept of what comes before a note, 75 ms or more."""


class NoteTracker:
    """Collects readings into notes as they come."""

    def __init__(self, harp: Harp) -> None:
        self._harp = harp
        self._readings: list[Reading] = []
        self._start = 0
        self._onset = -(1 << 62)
        self._new: list[Reading] = []
        self._levels: list[tuple[int, float]] = []
        """(sample, dB) since shortly before the note."""

    def track(self, reading: Reading) -> list[HeardNote]:
        """The notes that one more reading ends; at most two."""
        ended = []
        if reading.onset is not None:
            ended += self._finish(reading.onset)
            self._onset = reading.onset
        if not self._readings:
            del self._levels[:-BEFORE]
        self._levels.append((reading.heard - round(0.5 * LEVEL_S * reading.rate), reading.level_db))
        if reading.hz is None or reading.tab is None:
            last = self._readings[-1] if self._readings else None
            if last and (
                not reading.sounding or reading.heard - last.heard > SILENT_S * reading.rate
            ):
                ended += self._finish(reading.heard)
            return ended
        if not self._readings:
            spoke = self._onset > reading.sample - SPEAKS_S * reading.rate
            self._start = self._onset if spoke else reading.sample
        elif not self._same_note(self._readings[-1], reading):
            self._new.append(reading)
            if self._new[-1].heard - self._new[0].heard >= CHANGE_S * reading.rate:
                fresh, last = self._new, self._readings[-1]
                start = (last.sample + min(one.sample for one in fresh)) // 2
                if self._start == self._onset and start - self._start < SETTLING_S * reading.rate:
                    start = self._start  # what came first was the reeds coming in
                else:
                    ended += self._finish(start, slurred=True)
                self._readings, self._new, self._start = fresh, [], start
            return ended
        # What looked like another hole for a moment was not.
        self._readings += [*self._new, reading] if self._new else [reading]
        self._new = []
        return ended

    def flush(self) -> list[HeardNote]:
        """The note still sounding at the end of the sound, if any."""
        last = self._readings[-1].heard if self._readings else 0
        return self._finish(last)

    @staticmethod
    def _same_note(one: Reading, other: Reading) -> bool:
        """Whether two readings follow each other in one glide, or are of one hole and breath as
        far as can be told."""
        assert one.tab is not None
        assert other.tab is not None
        assert one.hz is not None
        assert other.hz is not None
        if abs(cents(one.hz, other.hz)) < GLIDE_CENTS:
            return True
        mine = {(tab.hole, tab.breath) for tab in (one.tab, *one.also)}
        return bool(mine & {(tab.hole, tab.breath) for tab in (other.tab, *other.also)})

    def _finish(self, limit: int, *, slurred: bool = False) -> list[HeardNote]:
        """The note so far, which is over at sample `limit` or before; if slurred, right there."""
        readings, self._readings, self._new = self._readings, [], []
        if not readings or limit - self._start < SHORTEST_S * readings[0].rate:
            return []
        rate, start = readings[0].rate, self._start
        at, db = np.array(self._levels, dtype=float).T
        self._levels = [one for one in self._levels if one[0] >= limit]
        # No level that a new attack has a part in.
        inside = (at >= start) & (at <= limit - 0.5 * LEVEL_S * rate)
        at, db = at[inside], db[inside]
        end = limit if slurred else _end(at, db, limit, rate)
        own = [reading for reading in readings if reading.sample < limit]
        held = (at >= start + SETTLING_S * rate) & (at <= end - RELEASE_S * rate)
        swing = estimate_tremolo(at[held] / rate, db[held])
        return [_note(own or readings, start, end, self._harp, swing)]


def _end(at: Floats, db: Floats, limit: int, rate: int) -> int:
    """The sample on which a sound has fallen to half for good, or halfway to a new attack.

    Args:
        at: samples to which its levels belong, shape (n,), ascending.
        db: its levels, shape (n,).
        limit: sample on which it is over for certain; the end where it does not fall so far.
        rate: samples a second.
    """
    fading = FADES_DB_S * at / rate
    fallen = np.maximum.accumulate(db + fading) - fading - db
    if not len(fallen) or fallen[-1] < SHUTS_DB:
        return limit
    left = min(ENDS_DB, 0.5 * float(fallen[-1])) - fallen
    last = int(np.flatnonzero(left > 0.0)[-1])
    part = left[last] / (left[last] - left[last + 1])
    return min(limit, round(at[last] + part * (at[last + 1] - at[last])))


def _note(
    readings: list[Reading], start: int, end: int, harp: Harp, swing: Modulation | None
) -> HeardNote:
    rate = readings[0].rate
    even = _evenly(readings)
    tab = _held(even)
    on_tab = [r for r in even if r.tab is not None and _bent_alike(r.tab, tab)]
    hz = float(np.median([r.hz for r in on_tab if r.hz is not None]))
    settled = [r for r in on_tab if r.sample - start > SETTLING_S * rate] or on_tab
    told = Counter(r.tab for r in settled if r.breath is not None)
    if told:
        tab = told.most_common(1)[0][0] or tab
    leaks = [(r.leak_db, r.leak_hole) for r in settled if r.leak_db is not None]
    leak_hole = Counter(hole for _, hole in leaks).most_common(1)[0][0] if leaks else None
    enough = len(leaks) * 2 >= len(settled)
    holes = Counter(hole for r in settled for hole in r.holes)
    # Where draw 2 and blow 3 were named in turn, they are one hole.
    together = Counter(hole for r in settled if tab.hole in r.holes for hole in r.holes)
    twins = {
        other.hole for other in harp.same_pitch(tab) if 2 * together[other.hole] <= len(settled)
    } - {tab.hole}
    sounding = {hole for hole, n in holes.items() if 2 * n > len(settled)} - twins | {tab.hole}
    path = tuple((r.sample, r.hz) for r in readings if r.hz is not None)
    at, pitch = np.array(path, dtype=float).T
    return HeardNote(
        start=start,
        end=end,
        rate=rate,
        tab=tab,
        hz=hz,
        cents=cents(hz, harp.hz(tab)),
        also=harp.same_pitch(tab),
        holes=tuple(sorted(sounding)),
        leak_db=float(np.median([db for db, h in leaks if h == leak_hole]))
        if enough and leaks
        else None,
        leak_hole=leak_hole if enough else None,
        level_db=max(r.level_db for r in readings),
        path=path,
        motion=estimate_motion((at - start) / rate, pitch, (end - start) / rate),
        tremolo=swing,
    )


def _evenly(readings: list[Reading]) -> list[Reading]:
    """Some of the readings, 5 ms apart or more: after an attack they come faster."""
    some = readings[:1]
    for reading in readings[1:]:
        if reading.heard - some[-1].heard >= 0.9 * HOP_S * reading.rate:
            some.append(reading)
    return some


def _held(readings: list[Reading]) -> Tab:
    """The entry that sounded longest."""
    counts = Counter(r.tab for r in readings if r.tab is not None)
    return counts.most_common(1)[0][0]


def _bent_alike(one: Tab, other: Tab) -> bool:
    """Whether two entries are the same, or draw 2 and blow 3."""
    return one == other or (one.bend == other.bend and one.breath is not other.breath)


def track_notes(readings: Iterable[Reading], harp: Harp) -> Iterator[HeardNote]:
    """The notes in a stream of readings."""
    tracker = NoteTracker(harp)
    for reading in readings:
        yield from tracker.track(reading)
    yield from tracker.flush()
