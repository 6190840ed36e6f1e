"""Measuring a harp: each natural note in turn, guided, until every reed's pitch is known.

The player is asked for one reed after another and may play any other instead: what is heard is
taken for the reed that it fits, so that going back or skipping is done by playing it. A reed sounds
differently by breath; what is taken is the median of the steady part of a note, and the median of
several attacks. Where these lie apart, another is asked for.

A harp may be off as a whole. Which reed sounds is judged by where those known so far lie.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from statistics import median

import numpy as np

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.ear import HeardNote, NoteTracker, Reading
from trainer.harp import Harp, Tab, natural_entries
from trainer.music import cents
from trainer.practice.events import Event, PassStarted, ReadingHeard, TakeFinished
from trainer.practice.plan import Plan
from trainer.practice.session import run_take
from trainer.store import ReedRecord

ATTACKS = 2
"""Good attacks that are asked for of each reed."""
MOST_ATTACKS = 3
"""And where they lie apart."""
APART_CENTS = 6.0
SPEAKS_S, RELEASES_S = 0.15, 0.10
"""Left out at a note's start, where the reed comes up to its pitch, and at its end."""
MOST_SETTLING_S = 0.4
LEAST_S = 0.35
"""A shorter steady part is too short."""
MOVED_CENTS = 8.0
"""A reed that is blown evenly moves by less."""
MOST_LEAK_DB = -15.0
MINE_CENTS = 60.0
"""So far off, what is heard is still taken for the reed that was asked for."""
OTHERS_CENTS, KNOWN_CENTS = 50.0, 20.0
"""And for another one: if that is not known yet, and if it is."""
FAR_CENTS, ALIKE_CENTS = 85.0, 8.0
"""Down to `FAR_CENTS` a worn reed is believed to be that flat when it is so twice alike, once
`KNOWN` reeds are known; deeper, it is a bend."""
KNOWN = 4
LARGEST_BEND = 400.0
LOST = 3
"""After so many notes in a row that fit no reed, it may be another harp."""
SAME_CENTS = 10.0
"""Reeds that fit a pitch so nearly alike are two of one note."""
TOLD_EVERY_S = 0.1


@dataclass(frozen=True, slots=True)
class ReedRequested:
    """Which reed comes next.

    Attributes:
        tab: its entry.
        note: the name of its note.
        done: how many reeds are measured.
        of: how many there are.
    """

    tab: Tab
    note: str
    done: int
    of: int


@dataclass(frozen=True, slots=True)
class ReedSounding:
    """What is heard just now, some ten times a second.

    Attributes:
        tab: the reed that it is taken for; None where it fits none.
        cents: from equal temperament, or from the harp's own, as the harp in hand has it.
        seconds: how long it has sounded.
    """

    tab: Tab | None
    cents: float | None
    seconds: float


@dataclass(frozen=True, slots=True)
class AttackMeasured:
    """One good note of a reed.

    Attributes:
        tab: the reed.
        hz: median of its steady part.
        cents: that, from the harp's target.
        spread_cents: standard deviation of the steady part, taken robustly.
        asked: whether it is the reed that was asked for.
        twin: another reed of the same note, which it may have been if it was not asked for.
    """

    tab: Tab
    hz: float
    cents: float
    spread_cents: float
    asked: bool = True
    twin: Tab | None = None


@dataclass(frozen=True, slots=True)
class RepeatRequested:
    """A note that says nothing of a reed.

    Attributes:
        sentence: why, and how to play it.
    """

    sentence: str


@dataclass(frozen=True, slots=True)
class HarpMeasured:
    """Measuring is over.

    Attributes:
        reeds: what is known, by hole.
        missing: reeds that were not measured.
    """

    reeds: tuple[ReedRecord, ...]
    missing: tuple[Tab, ...]


MeasurementEvent = ReedRequested | ReedSounding | AttackMeasured | RepeatRequested | HarpMeasured


class HarpMeasurement:
    """One measuring of a harp."""

    def __init__(
        self, harp: Harp, attacks: int = ATTACKS, known: Collection[Tab] = frozenset()
    ) -> None:
        """Get ready.

        Args:
            harp: key, tuning and temperament of what is measured, without offsets.
            attacks: good notes that are asked for of each reed.
            known: reeds that were measured before; they are not asked for, and measured anew
                where they are played.
        """
        self._before = frozenset(known)
        self._harp = harp
        self._wanted = attacks
        self._tracker = NoteTracker(harp)
        self._reeds = natural_entries(harp)
        self._attacks: dict[Tab, list[AttackMeasured]] = {tab: [] for tab in self._reeds}
        self._last: Tab | None = None
        self._flat: tuple[Tab, float] | None = None
        self._lost = 0
        self._since: int | None = None
        self._told = 0

    @property
    def asked(self) -> Tab | None:
        """The reed that is asked for: one whose attacks lie apart, else the first of those that
        were played least; None when all are done."""
        left = [tab for tab in self._reeds if len(self._attacks[tab]) < self._needed(tab)]
        return min(left, key=self._turn, default=None)

    @property
    def done(self) -> bool:
        """Whether all reeds are measured."""
        return self.asked is None

    def ask(self) -> ReedRequested | None:
        """Which reed comes next; None when all are done."""
        tab = self.asked
        if tab is None:
            return None
        done = sum(len(self._attacks[one]) >= self._needed(one) for one in self._reeds)
        return ReedRequested(tab, self._harp.note(tab), done, len(self._reeds))

    def see(self, event: Event) -> Iterator[Event | MeasurementEvent]:
        """What an event of a take without a drill brings; readings themselves are left out."""
        if isinstance(event, ReadingHeard):
            yield from self.feed(event.reading)
            return
        if isinstance(event, TakeFinished):
            yield from self.finish()
        yield event
        if isinstance(event, PassStarted) and (first := self.ask()) is not None:
            yield first

    def feed(self, reading: Reading) -> Iterator[MeasurementEvent]:
        """What one more reading brings."""
        if self.done:
            return
        for note in self._tracker.track(reading):
            yield from self._judge(note)
        if not self.done and (now := self._sounding(reading)):
            yield now

    def finish(self) -> Iterator[MeasurementEvent]:
        """The sound is over."""
        if not self.done:
            for note in self._tracker.flush():
                yield from self._judge(note)
        missing = tuple(tab for tab in self._reeds if not self._attacks[tab])
        yield HarpMeasured(tuple(self._records()), missing)

    def _turn(self, tab: Tab) -> int:
        known = len(self._attacks[tab])
        return known if known < self._wanted else -1

    def _needed(self, tab: Tab) -> int:
        """How many attacks a reed needs."""
        known = self._attacks[tab]
        if tab in self._before and not known:
            return 0
        apart = len(known) > 1 and _range([one.cents for one in known]) > APART_CENTS
        return max(self._wanted, MOST_ATTACKS) if apart else self._wanted

    def _records(self) -> Iterator[ReedRecord]:
        for tab in self._reeds:
            if known := self._attacks[tab]:
                spread = max(
                    _range([one.cents for one in known]),
                    median(one.spread_cents for one in known),
                )
                yield ReedRecord(str(tab), median(one.hz for one in known), spread)

    def _shift(self) -> float:
        """Cents by which the harp is off as a whole, as far as is known."""
        return median([median(a.cents for a in known) for known in self._known()] or [0.0])

    def _known(self) -> list[list[AttackMeasured]]:
        return [known for known in self._attacks.values() if known]

    def _sounding(self, reading: Reading) -> ReedSounding | None:
        if reading.hz is None:
            self._since = None
            return None
        if self._since is None or reading.onset is not None:
            self._since = reading.heard
        if reading.heard - self._told < TOLD_EVERY_S * reading.rate:
            return None
        self._told = reading.heard
        tab = self._reed_of(reading.hz)
        off = None if tab is None else cents(reading.hz, self._harp.hz(tab))
        return ReedSounding(tab, off, (reading.heard - self._since) / reading.rate)

    def _reed_of(self, hz: float) -> Tab | None:
        """The reed that a pitch fits: the one that is asked for, if it may be that one."""
        off = {tab: abs(cents(hz, self._harp.hz(tab)) - self._place(tab)) for tab in self._reeds}
        if self.asked is not None and off[self.asked] <= MINE_CENTS:
            return self.asked
        fits = {
            tab: off[tab]
            for tab in self._reeds
            if off[tab] <= (KNOWN_CENTS if self._attacks[tab] else OTHERS_CENTS)
        }
        nearest = min(fits.values(), default=0.0)
        alike = (tab for tab in fits if fits[tab] - nearest < SAME_CENTS)
        # Of two reeds of one note, the one next to what was played before.
        return min(alike, key=self._way_to, default=None)

    def _place(self, tab: Tab) -> float:
        """Cents from the harp's target at which a reed is to be expected."""
        known = self._attacks[tab]
        return median(one.cents for one in known) if known else self._shift()

    def _way_to(self, tab: Tab) -> float:
        if self._last is None:
            return 0.0
        turn = 0.0 if tab.breath is self._last.breath else 1.5
        return abs(tab.hole - self._last.hole) + turn

    def _judge(self, note: HeardNote) -> Iterator[MeasurementEvent]:
        """What a note says of a reed."""
        at, off = _steady_part(note)
        if len(off) == 0 or at[-1] - at[0] < LEAST_S:
            yield RepeatRequested("a bit longer: two seconds, with an even breath")
            return
        middle = float(np.median(off))
        hz = note.hz * 2.0 ** (middle / 1200.0)
        tab, sentence = self._reed_of(hz) or self._very_flat(hz), self._why_not(note, off)
        if sentence is None and tab is None:
            sentence = self._fits_none(hz)
        if sentence is not None or tab is None:
            yield RepeatRequested(sentence or "")
            return
        self._lost = 0
        spread = SD_PER_MAD * median_absolute_deviation(off, middle)
        asked = tab == self.asked
        twins = () if asked else self._harp.same_pitch(tab)
        twin = next((other for other in twins if other.is_natural), None)
        one = AttackMeasured(tab, hz, cents(hz, self._harp.hz(tab)), spread, asked, twin)
        self._attacks[tab].append(one)
        self._last = tab
        yield one
        if self._wanted <= len(self._attacks[tab]) < self._needed(tab):
            yield RepeatRequested(
                f"{_in_words(tab)} lies apart from before; once more, a little softer"
            )
        if (following := self.ask()) is not None:
            yield following

    def _why_not(self, note: HeardNote, off: Floats) -> str | None:
        """What is wrong with a note; None if it is fit to be measured."""
        others = [hole for hole in note.holes if hole != note.tab.hole]
        if others or (note.leak_db is not None and note.leak_db > MOST_LEAK_DB):
            along = others[0] if others else note.leak_hole
            return f"hole {along} sounded along; one hole alone"
        if note.motion.vibrato is not None:
            return "hold it straight, without vibrato"
        if _range([float(x) for x in np.percentile(off, (2.0, 98.0))]) > MOVED_CENTS:
            return "play it softer, and evenly: it was bent, for its pitch moved"
        return None

    def _very_flat(self, hz: float) -> Tab | None:
        """The reed that was asked for, if it is so flat twice alike: a worn one may be."""
        tab, before = self.asked, self._flat
        if tab is None or len(self._known()) < KNOWN:
            return None
        off = cents(hz, self._harp.hz(tab)) - self._shift()
        if not -FAR_CENTS < off < -MINE_CENTS:
            return None
        self._flat = (tab, off)
        alike = before is not None and before[0] == tab and abs(before[1] - off) < ALIKE_CENTS
        return tab if alike else None

    def _fits_none(self, hz: float) -> str:
        self._lost += 1
        asked = self.asked
        assert asked is not None
        off = cents(hz, self._harp.hz(asked)) - self._shift()
        if self._lost >= LOST and not self._known():
            return (
                f"that fits no reed of a {self._harp.name} harp; is it another key? Stop, and "
                "measure it as that"
            )
        if -LARGEST_BEND < off < 0.0:
            return (
                f"that was {-off:.0f} cents under {_in_words(asked)}: play it softer and unbent, "
                "or once more just so if the reed is like that"
            )
        return f"that fits no reed; {_in_words(asked)} is asked for"


def measure_harp(
    plan: Plan, attacks: int = ATTACKS, stopping: Callable[[], bool] = lambda: False
) -> Iterator[Event | MeasurementEvent]:
    """Measure a harp.

    Args:
        plan: the harp, without offsets, and where the sound comes from.
        attacks: good notes that are asked for of each reed.
        stopping: asked often; once it says yes, measuring ends with what is known.

    Yields:
        What is asked and heard, beside a take's own events but for readings; `HarpMeasured`, and
        `TakeFinished` the last of them.
    """
    measuring = HarpMeasurement(plan.harp, attacks)
    for event in run_take(plan, lambda: measuring.done or stopping()):
        yield from measuring.see(event)


def _steady_part(note: HeardNote) -> tuple[Floats, Floats]:
    """Seconds and cents from the note's pitch of the part in which a reed has its own pitch."""
    at = np.array([(sample - note.start) / note.rate for sample, _ in note.path])
    off = np.array([cents(hz, note.hz) for _, hz in note.path])
    settled = min(MOST_SETTLING_S, (note.motion.settle_ms or 0.0) / 1000.0)
    inside = (at >= max(SPEAKS_S, settled)) & (
        at <= (note.end - note.start) / note.rate - RELEASES_S
    )
    return at[inside], off[inside]


def _in_words(tab: Tab) -> str:
    return f"hole {tab.hole} {tab.breath}"


def _range(values: list[float]) -> float:
    return max(values) - min(values)
