"""Assemble readings into notes, from onset to offset, with any glide inside."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from trainer.core.types import Floats
from trainer.ear.heard_note import HeardNote
from trainer.ear.motion import MOTION, Motion, estimate_motion, estimate_tremolo
from trainer.ear.reading import Reading
from trainer.harp import Harp, Tab
from trainer.music import cents

HOP_S = 0.005
"""Time between readings, except just after an attack, where they are closer; seconds."""
LEVEL_WINDOW_S = 0.010
"""Window of a reading's level, seconds. The level belongs to its middle."""
LEVELS_BEFORE = 60
"""Levels kept from before a note: 75 ms or more."""


@dataclass(frozen=True, slots=True)
class NoteParameters:
    """Constants of the note tracker, chosen on `harmonica 1` of benchmarks/fonts.py."""

    shortest_s: float = 0.04
    """Minimum duration of a note, seconds."""
    silent_s: float = 0.03
    """Time without a pitch after which a note has ended, seconds."""
    change_s: float = 0.03
    """Minimum duration of another hole before it is a new note, seconds."""
    speaks_s: float = 0.15
    """Maximum time from an onset to a reed's pitch, seconds. A later pitch has no onset."""
    glide_cents: float = 40.0
    """Change of pitch between two readings from which it is no glide, cents."""
    settling_s: float = 0.06
    """Time at the start of a note, in which the reeds begin to sound, seconds. Leaks and tremolo
    are not measured in it, and another hole in it is no note."""
    end_db: float = 6.0
    """Lasting fall of the level that ends a note, dB: to half the amplitude."""
    fade_db_s: float = 20.0
    """Rate of a fall that does not end a note, dB per second. It is played, or reverberation
    (60 dB in 3 s is a large hall)."""
    shut_db: float = 4.0
    """Fall before a new attack that ends a note, dB. The note ends in the middle of the fall if
    that is less than twice `end_db`."""
    soft_attack_db: float = 3.0
    """Fall and rise of the level between two notes, from which the second one was attacked though
    no attack was detected, dB: in a room the first one rings on. One stream of air leaves 1 dB.
    Chosen by hand."""
    soft_attack_s: float = 0.12
    """Longest time from such a rise to the first reading of the second note, seconds: its pitch is
    measured as soon as it is louder than what rings on. Chosen by hand."""


DEFAULT_NOTE = NoteParameters()


class NoteTracker:
    """Collects readings into notes as they arrive."""

    def __init__(
        self,
        harp: Harp,
        parameters: NoteParameters = DEFAULT_NOTE,
        *,
        with_motion: bool = True,
    ) -> None:
        """Start before the first note.

        Args:
            harp: the harp that is played.
            parameters: constants.
            with_motion: whether motion and tremolo of the notes are estimated, which takes most of
                the time.
        """
        self._harp = harp
        self._parameters = parameters
        self._with_motion = with_motion
        # State of the stream.
        self._onset = -(1 << 62)
        self._levels: list[tuple[int, float]] = []
        """(sample, dB) from shortly before the note on."""
        # State of the note.
        self._start = 0
        self._readings: list[Reading] = []
        self._other: list[Reading] = []
        """Readings that may be the beginning of another note."""

    def track(self, reading: Reading) -> list[HeardNote]:
        """Add a reading; return the notes that it ends, two at most."""
        p = self._parameters
        ended = []
        if reading.onset is not None:
            ended += self._finish(reading.onset)
            self._onset = reading.onset
        if not self._readings:
            del self._levels[:-LEVELS_BEFORE]
        middle = reading.heard - round(0.5 * LEVEL_WINDOW_S * reading.rate)
        self._levels.append((middle, reading.level_db))
        if reading.hz is None or reading.tab is None:
            last = self._readings[-1] if self._readings else None
            if last and (
                not reading.sounding or reading.heard - last.heard > p.silent_s * reading.rate
            ):
                ended += self._finish(reading.heard)
            return ended
        if not self._readings:
            spoke = self._onset > reading.sample - p.speaks_s * reading.rate
            self._start = self._onset if spoke else reading.sample
        elif not self._continues(self._readings[-1], reading):
            self._other.append(reading)
            if self._other[-1].heard - self._other[0].heard >= p.change_s * reading.rate:
                ended += self._change_note(reading.rate)
            return ended
        # A moment that looked like another hole was none.
        self._readings += [*self._other, reading] if self._other else [reading]
        self._other = []
        return ended

    @property
    def unfinished(self) -> HeardNote | None:
        """The note that sounds, as far as it has been heard, without its motion.

        None while too little has been heard.
        """
        readings = self._readings
        if not readings:
            return None
        last, p = readings[-1], self._parameters
        if last.heard - self._start < p.shortest_s * last.rate:
            return None
        return _note(readings, self._start, last.heard, self._harp, p)

    def flush(self) -> list[HeardNote]:
        """Return the note still sounding at the end of the sound, if any."""
        last = self._readings[-1].heard if self._readings else 0
        return self._finish(last)

    def _change_note(self, rate: int) -> list[HeardNote]:
        """Let the readings of another hole begin a note; return the note that they end."""
        fresh, last = self._other, self._readings[-1]
        start = (last.sample + min(reading.sample for reading in fresh)) // 2
        ended: list[HeardNote] = []
        if self._start == self._onset and start - self._start < self._parameters.settling_s * rate:
            start = self._start  # the earlier readings were reeds that began to sound
        else:
            attack = self._soft_attack(start, fresh[0].heard, rate)
            start = start if attack is None else attack
            ended = self._finish(start, slurred=attack is None)
        self._readings, self._other, self._start = fresh, [], start
        return ended

    def _soft_attack(self, change: int, latest: int, rate: int) -> int | None:
        """Sample of an attack that led to a change of pitch and was not detected; None if none was.

        Args:
            change: sample of the change.
            latest: last sample on which the attack may be.
            rate: samples per second.
        """
        p = self._parameters
        earliest = max(self._start + p.settling_s * rate, change - p.soft_attack_s * rate)
        attacks = [at for at in soft_attacks(self._levels, p.soft_attack_db) if at <= latest]
        return attacks[-1] if attacks and attacks[-1] >= earliest else None

    def _continues(self, first: Reading, second: Reading) -> bool:
        """Whether two readings are one glide, or may be of one hole and breath."""
        assert first.tab is not None
        assert second.tab is not None
        assert first.hz is not None
        assert second.hz is not None
        if abs(cents(first.hz, second.hz)) < self._parameters.glide_cents:
            return True
        reeds = {(tab.hole, tab.breath) for tab in (first.tab, *first.also)}
        return bool(reeds & {(tab.hole, tab.breath) for tab in (second.tab, *second.also)})

    def _finish(self, limit: int, *, slurred: bool = False) -> list[HeardNote]:
        """End the note at sample `limit` or before; if slurred, exactly there."""
        p = self._parameters
        readings, self._readings, self._other = self._readings, [], []
        if not readings or limit - self._start < p.shortest_s * readings[0].rate:
            return []
        rate, start = readings[0].rate, self._start
        at, db = np.array(self._levels, dtype=float).T
        self._levels = [level for level in self._levels if level[0] >= limit]
        # Without the levels whose window reaches into a new attack.
        inside = (at >= start) & (at <= limit - 0.5 * LEVEL_WINDOW_S * rate)
        at, db = at[inside], db[inside]
        end = limit if slurred else end_of_sound(at, db, limit, rate, p)
        own = [reading for reading in readings if reading.sample < limit]
        note = _note(own or readings, start, end, self._harp, p)
        if not self._with_motion:
            return [note]
        held = (at >= start + p.settling_s * rate) & (at <= end - MOTION.release_s * rate)
        swing = estimate_tremolo(at[held] / rate, db[held])
        return [replace(note, motion=_motion(note), tremolo=swing)]


def soft_attacks(
    levels: Iterable[tuple[int, float]], least_db: float = DEFAULT_NOTE.soft_attack_db
) -> list[int]:
    """Samples from which a level rises, each time that it falls and rises by some decibels.

    Args:
        levels: (sample, dB) of each, in order.
        least_db: least fall from the highest level since the last rise, and least rise after it.
    """
    attacks: list[int] = []
    highest, lowest, last_low = -np.inf, np.inf, 0
    for at, db in levels:
        if highest - lowest < least_db:  # not fallen yet
            highest, lowest, last_low = max(highest, db), db, at
        elif db < lowest:
            lowest, last_low = db, at
        elif db - lowest >= least_db:
            attacks.append(last_low)
            highest, lowest = db, db
        elif db <= lowest + least_db / 3.0:
            last_low = at
    return attacks


def end_of_sound(
    at: Floats, db: Floats, limit: int, rate: int, p: NoteParameters = DEFAULT_NOTE
) -> int:
    """Return the sample at which the level has fallen for good, or halfway to a new attack.

    It has fallen for good by `end_db`.

    Args:
        at: samples of the levels, shape (n,), ascending.
        db: levels, shape (n,).
        limit: latest end; also the end if the level does not fall.
        rate: samples per second.
        p: constants.
    """
    fading = p.fade_db_s * at / rate
    fallen = np.maximum.accumulate(db + fading) - fading - db
    if not len(fallen) or fallen[-1] < p.shut_db:
        return limit
    left = min(p.end_db, 0.5 * float(fallen[-1])) - fallen
    last = int(np.flatnonzero(left > 0.0)[-1])
    part = left[last] / (left[last] - left[last + 1])
    return min(limit, round(at[last] + part * (at[last + 1] - at[last])))


def _note(
    readings: list[Reading],
    start: int,
    end: int,
    harp: Harp,
    p: NoteParameters,
) -> HeardNote:
    """Summarise the readings of a note, but for motion and tremolo."""
    rate = readings[0].rate
    even = _spaced_evenly(readings)
    tab = _longest_entry(even)
    on_tab = [r for r in even if r.tab is not None and _same_bend(r.tab, tab)]
    hz = float(np.median([r.hz for r in on_tab if r.hz is not None]))
    settled = [r for r in on_tab if r.sample - start > p.settling_s * rate] or on_tab
    with_breath = Counter(r.tab for r in settled if r.breath is not None)
    if with_breath:
        tab = with_breath.most_common(1)[0][0] or tab
    leaks = [(r.leak_db, r.leak_hole) for r in settled if r.leak_db is not None]
    leak_hole = Counter(hole for _, hole in leaks).most_common(1)[0][0] if leaks else None
    enough = len(leaks) * 2 >= len(settled)
    holes = Counter(hole for r in settled for hole in r.holes)
    # Draw 2 and blow 3 reported in turn are one hole.
    together = Counter(hole for r in settled if tab.hole in r.holes for hole in r.holes)
    twins = {
        other.hole for other in harp.same_pitch(tab) if 2 * together[other.hole] <= len(settled)
    } - {tab.hole}
    sounding = {hole for hole, n in holes.items() if 2 * n > len(settled)} - twins | {tab.hole}
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
        path=tuple((r.sample, r.hz) for r in readings if r.hz is not None),
        motion=Motion(),
        tremolo=None,
    )


def _motion(note: HeardNote) -> Motion:
    """Estimate the motion of a note's pitch."""
    at, hz = np.array(note.path, dtype=float).T
    return estimate_motion((at - note.start) / note.rate, hz, (note.end - note.start) / note.rate)


def _spaced_evenly(readings: list[Reading]) -> list[Reading]:
    """Readings at least about 5 ms apart: just after an attack they are closer."""
    spaced = readings[:1]
    for reading in readings[1:]:
        if reading.heard - spaced[-1].heard >= 0.9 * HOP_S * reading.rate:
            spaced.append(reading)
    return spaced


def _longest_entry(readings: list[Reading]) -> Tab:
    """The entry of most readings."""
    counts = Counter(r.tab for r in readings if r.tab is not None)
    return counts.most_common(1)[0][0]


def _same_bend(first: Tab, second: Tab) -> bool:
    """Whether two entries are equal or equal bends in opposite breaths.

    Draw 2 and blow 3 are such a pair.
    """
    return first == second or (first.bend == second.bend and first.breath is not second.breath)


def track_notes(
    readings: Iterable[Reading], harp: Harp, *, with_motion: bool = True
) -> Iterator[HeardNote]:
    """Yield the notes in a stream of readings; the other arguments are those of a tracker."""
    tracker = NoteTracker(harp, with_motion=with_motion)
    for reading in readings:
        yield from tracker.track(reading)
    yield from tracker.flush()
