"""Measure a harp: each natural note in turn, guided, until the pitch of every reed is known.

The player is asked for one reed after another and may play any other instead: a note is assigned to
the reed whose pitch it fits, so that playing is also the way to go back or skip. A reed's pitch
depends on the breath. The median of the steady part of a note is taken, and the median of several
attacks; where these disagree, another is asked for.

A harp may be sharp or flat as a whole. Notes are assigned relative to the reeds measured so far.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from trainer.core.stats.dispersion import SD_PER_MAD, median_absolute_deviation
from trainer.core.types import Floats
from trainer.ear import HeardNote, NoteTracker, Reading
from trainer.harp import Harp, Tab, natural_entries
from trainer.music import cents
from trainer.practice.commands import ShouldStop
from trainer.practice.events import Event, PassStarted, ReadingHeard, TakeFinished
from trainer.practice.plan import Plan
from trainer.practice.session import run_take
from trainer.store import ReedRecord

ATTACKS = 2
"""Good attacks that are asked for of each reed, unless the player wants another number."""


@dataclass(frozen=True, slots=True)
class HarpMeasurementParameters:
    """Constants of measuring a harp. Chosen."""

    max_attacks: int = 3
    """Attacks of a reed whose first ones disagree."""
    agreement_cents: float = 6.0
    """Largest range of a reed's attacks that agree, in cents."""
    onset_s: float = 0.15
    """Time left out at a note's start, in seconds: the reed comes up to its pitch."""
    release_s: float = 0.10
    """Time left out at a note's end, in seconds."""
    max_settling_s: float = 0.4
    """Longest settling time that is left out, in seconds."""
    min_steady_s: float = 0.35
    """Shortest steady part that is measured, in seconds."""
    max_range_cents: float = 8.0
    """Largest range of the pitch of a note that was blown evenly, in cents, from the 2nd to the
    98th percentile."""
    max_leak_db: float = -15.0
    """Highest level of a leaking neighbour, in dB relative to the wanted hole."""
    requested_cents: float = 60.0
    """Largest deviation of a note that is assigned to the requested reed, in cents."""
    unknown_cents: float = 50.0
    """The same for another reed that is not measured yet."""
    known_cents: float = 20.0
    """The same for another reed that is measured."""
    max_flat_cents: float = 85.0
    """Largest deviation of a worn reed that is very flat, in cents; more is taken for a bend."""
    same_cents: float = 8.0
    """Largest difference of two attacks by which such a reed is believed, in cents."""
    min_known_reeds: int = 4
    """Reeds that must be measured before such a reed is believed."""
    max_bend_cents: float = 400.0
    """Largest deviation that is reported as a bend, in cents."""
    max_unassigned: int = 3
    """Notes in a row that fit no reed, after which it may be another harp."""
    twin_cents: float = 10.0
    """Largest difference of two deviations by which two reeds count as of one note, in cents."""
    update_s: float = 0.1
    """Time between two reports of what sounds, in seconds."""
    turn_holes: float = 1.5
    """Distance of a change of breath, in holes: of two reeds of one note, the nearer is assumed."""


PARAMETERS = HarpMeasurementParameters()


@dataclass(frozen=True, slots=True)
class ReedRequested:
    """The reed that is asked for next.

    Attributes:
        tab: its entry.
        note: the name of its note.
        done: number of notes that have been measured.
        of: number of notes to measure: each reed is asked for in each of two rounds, and again
            where its notes disagree.
    """

    tab: Tab
    note: str
    done: int
    of: int


@dataclass(frozen=True, slots=True)
class ReedSounding:
    """What sounds, reported about ten times a second.

    Attributes:
        tab: the reed that it is assigned to; None where it fits none.
        cents: deviation from the pitch that the selected harp has for that reed.
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
        cents: deviation from the harp's target.
        spread_cents: standard deviation of the steady part, estimated robustly.
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
    """A note cannot be used, or another is needed.

    Attributes:
        sentence: how to play the next, and why.
    """

    sentence: str


@dataclass(frozen=True, slots=True)
class HarpMeasured:
    """The measurement has ended.

    Attributes:
        reeds: the measured reeds, by hole.
        missing: reeds that were not measured.
    """

    reeds: tuple[ReedRecord, ...]
    missing: tuple[Tab, ...]


MeasurementEvent = ReedRequested | ReedSounding | AttackMeasured | RepeatRequested | HarpMeasured


class HarpMeasurement:
    """One measurement of a harp."""

    def __init__(
        self,
        harp: Harp,
        attacks: int = ATTACKS,
        known: Collection[Tab] = frozenset(),
        reeds: Sequence[Tab] | None = None,
    ) -> None:
        """Get ready.

        Args:
            harp: key, tuning and temperament of the harp, without offsets.
            attacks: good notes that are asked for of each reed.
            known: reeds that were measured before; they are not asked for, and are measured anew
                if they are played.
            reeds: the reeds to measure, in the order in which they are asked for; None for all.
        """
        self._harp = harp
        self._wanted_attacks = attacks
        self._measured_before = frozenset(known)
        self._reeds = natural_entries(harp) if reeds is None else tuple(reeds)
        self._attacks: dict[Tab, list[AttackMeasured]] = {tab: [] for tab in self._reeds}
        self._last: Tab | None = None
        self._very_flat: tuple[Tab, float] | None = None
        """The requested reed of the last very flat note, and its deviation in cents."""
        self._unassigned = 0
        # Of the note that sounds:
        self._tracker = NoteTracker(harp)
        self._sounds_since: int | None = None
        self._last_update = 0

    @property
    def requested(self) -> Tab | None:
        """The reed to play next; None when all are done.

        A reed whose attacks disagree, else the first of those with the fewest attacks.
        """
        left = [tab for tab in self._reeds if len(self._attacks[tab]) < self._needed(tab)]
        return min(left, key=self._priority, default=None)

    @property
    def done(self) -> bool:
        """Whether all reeds are measured."""
        return self.requested is None

    def request(self) -> ReedRequested | None:
        """Return the reed that is asked for next; None when all are done."""
        tab = self.requested
        if tab is None:
            return None
        needed = {reed: self._needed(reed) for reed in self._reeds}
        done = sum(min(len(self._attacks[reed]), count) for reed, count in needed.items())
        return ReedRequested(tab, self._harp.note(tab), done, sum(needed.values()))

    def handle(self, event: Event) -> Iterator[Event | MeasurementEvent]:
        """Yield an event of a take without a drill and what it brings; readings are left out."""
        if isinstance(event, ReadingHeard):
            yield from self.add_reading(event.reading)
            return
        if isinstance(event, TakeFinished):
            yield from self.finish()
        yield event
        if isinstance(event, PassStarted) and (first := self.request()) is not None:
            yield first

    def add_reading(self, reading: Reading) -> Iterator[MeasurementEvent]:
        """Yield what a reading brings."""
        if self.done:
            return
        for note in self._tracker.track(reading):
            yield from self.add_note(note)
        if not self.done and (sounding := self._sounding(reading)):
            yield sounding

    def finish(self) -> Iterator[MeasurementEvent]:
        """End the measurement with the sound."""
        if not self.done:
            for note in self._tracker.flush():
                yield from self.add_note(note)
        missing = tuple(tab for tab in self._reeds if not self._attacks[tab])
        yield HarpMeasured(tuple(self._records()), missing)

    def _priority(self, tab: Tab) -> int:
        count = len(self._attacks[tab])
        return count if count < self._wanted_attacks else -1

    def _needed(self, tab: Tab) -> int:
        """Return the number of attacks that a reed needs."""
        attacks = self._attacks[tab]
        if tab in self._measured_before and not attacks:
            return 0
        if len(attacks) > 1 and _range(attack.cents for attack in attacks) > (
            PARAMETERS.agreement_cents
        ):
            return max(self._wanted_attacks, PARAMETERS.max_attacks)
        return self._wanted_attacks

    def _records(self) -> Iterator[ReedRecord]:
        for tab in self._reeds:
            if attacks := self._attacks[tab]:
                spread_cents = max(
                    _range(attack.cents for attack in attacks),
                    median(attack.spread_cents for attack in attacks),
                )
                yield ReedRecord(str(tab), median(attack.hz for attack in attacks), spread_cents)

    def _harp_offset(self) -> float:
        """Deviation of the harp as a whole in cents, as far as it is known."""
        medians = [median(attack.cents for attack in attacks) for attacks in self._known()]
        return median(medians or [0.0])

    def _known(self) -> list[list[AttackMeasured]]:
        return [attacks for attacks in self._attacks.values() if attacks]

    def _sounding(self, reading: Reading) -> ReedSounding | None:
        if reading.hz is None:
            self._sounds_since = None
            return None
        if self._sounds_since is None or reading.onset is not None:
            self._sounds_since = reading.heard
        if reading.heard - self._last_update < PARAMETERS.update_s * reading.rate:
            return None
        self._last_update = reading.heard
        tab = self._reed_of(reading.hz)
        deviation = None if tab is None else cents(reading.hz, self._harp.hz(tab))
        return ReedSounding(tab, deviation, (reading.heard - self._sounds_since) / reading.rate)

    def _reed_of(self, hz: float) -> Tab | None:
        """Return the reed that a pitch fits: the requested one, if it may be that."""
        deviation = {
            tab: abs(cents(hz, self._harp.hz(tab)) - self._expected(tab)) for tab in self._reeds
        }
        requested = self.requested
        if requested is not None and deviation[requested] <= PARAMETERS.requested_cents:
            return requested
        fits = {
            tab: deviation[tab]
            for tab in self._reeds
            if deviation[tab]
            <= (PARAMETERS.known_cents if self._attacks[tab] else PARAMETERS.unknown_cents)
        }
        least = min(fits.values(), default=0.0)
        candidates = (tab for tab in fits if fits[tab] - least < PARAMETERS.twin_cents)
        # Of two reeds of one note, the one next to what was played before.
        return min(candidates, key=self._distance, default=None)

    def _expected(self, tab: Tab) -> float:
        """Cents from the harp's target at which a reed is expected."""
        attacks = self._attacks[tab]
        return median(attack.cents for attack in attacks) if attacks else self._harp_offset()

    def _distance(self, tab: Tab) -> float:
        """Distance of a reed from the one played last, in holes."""
        if self._last is None:
            return 0.0
        turn = 0.0 if tab.breath is self._last.breath else PARAMETERS.turn_holes
        return abs(tab.hole - self._last.hole) + turn

    def add_note(self, note: HeardNote) -> Iterator[MeasurementEvent]:
        """Assign a note to a reed and measure it; yield a request to repeat where that fails."""
        at_s, deviation = _steady_part(note)
        if len(deviation) == 0 or at_s[-1] - at_s[0] < PARAMETERS.min_steady_s:
            yield RepeatRequested("hold it longer: two seconds, with an even breath")
            return
        middle = float(np.median(deviation))
        hz = note.hz * 2.0 ** (middle / 1200.0)
        tab = self._reed_of(hz) or self._worn_reed(hz)
        problem = self._problem(note, deviation)
        if problem is None and tab is None:
            problem = self._no_reed(hz)
        if problem is not None or tab is None:
            yield RepeatRequested(problem or "")
            return
        self._unassigned = 0
        spread_cents = float(SD_PER_MAD * median_absolute_deviation(deviation, middle))
        requested = tab == self.requested
        twins = () if requested else self._harp.same_pitch(tab)
        twin = next((other for other in twins if other.is_natural), None)
        deviation_cents = cents(hz, self._harp.hz(tab))
        attack = AttackMeasured(tab, hz, deviation_cents, spread_cents, requested, twin)
        self._attacks[tab].append(attack)
        self._last = tab
        yield attack
        if self._wanted_attacks <= len(self._attacks[tab]) < self._needed(tab):
            yield RepeatRequested(
                f"once more, a little softer: {_in_words(tab)} differs from before"
            )
        if (following := self.request()) is not None:
            yield following

    def _problem(self, note: HeardNote, deviation: Floats) -> str | None:
        """Return why a note cannot be measured; None if it can."""
        others = [hole for hole in note.holes if hole != note.tab.hole]
        if others or (note.leak_db is not None and note.leak_db > PARAMETERS.max_leak_db):
            leaking = others[0] if others else note.leak_hole
            return f"play one hole alone: hole {leaking} sounded too"
        if note.motion.vibrato is not None:
            return "hold it straight, without vibrato"
        if _range(np.percentile(deviation, (2.0, 98.0))) > PARAMETERS.max_range_cents:
            return "play it softer and evenly: its pitch moved as in a bend"
        return None

    def _worn_reed(self, hz: float) -> Tab | None:
        """Return the requested reed, if it is very flat twice in the same way, as a worn one is."""
        tab, before = self.requested, self._very_flat
        if tab is None or len(self._known()) < PARAMETERS.min_known_reeds:
            return None
        deviation = cents(hz, self._harp.hz(tab)) - self._harp_offset()
        if not -PARAMETERS.max_flat_cents < deviation < -PARAMETERS.requested_cents:
            return None
        self._very_flat = (tab, deviation)
        if before is None or before[0] != tab:
            return None
        return tab if abs(before[1] - deviation) < PARAMETERS.same_cents else None

    def _no_reed(self, hz: float) -> str:
        """Return what to do after a note that fits no reed."""
        self._unassigned += 1
        requested = self.requested
        assert requested is not None
        deviation = cents(hz, self._harp.hz(requested)) - self._harp_offset()
        if self._unassigned >= PARAMETERS.max_unassigned and not self._known():
            return (
                f"no reed of a {self._harp.name} harp has this pitch; if the harp is in another "
                "key, stop and measure it as that"
            )
        if -PARAMETERS.max_bend_cents < deviation < 0.0:
            return (
                f"{-deviation:.0f} cents below {_in_words(requested)}: play softer, without a "
                "bend; if the reed is that flat, play it the same way again"
            )
        return f"play {_in_words(requested)}: no reed has this pitch"


def measure_harp(
    plan: Plan, attacks: int = ATTACKS, should_stop: ShouldStop = lambda: False
) -> Iterator[Event | MeasurementEvent]:
    """Measure a harp.

    Args:
        plan: the harp, without offsets, and where the sound comes from.
        attacks: good notes that are asked for of each reed.
        should_stop: called often; when it returns True, the measurement ends.

    Yields:
        Events of the measurement, and those of the take except for readings; `HarpMeasured` and
        `TakeFinished` last.
    """
    measurement = HarpMeasurement(plan.harp, attacks)
    for event in run_take(plan, lambda: measurement.done or should_stop()):
        yield from measurement.handle(event)


def _steady_part(note: HeardNote) -> tuple[Floats, Floats]:
    """Return the part of a note in which the reed has its own pitch.

    Returns:
        Seconds from the note's start, and cents from the note's pitch, both shape (n,).
    """
    at_s = np.array([(sample - note.start) / note.rate for sample, _ in note.path])
    deviation = np.array([cents(hz, note.hz) for _, hz in note.path])
    settled_s = min(PARAMETERS.max_settling_s, (note.motion.settle_ms or 0.0) / 1000.0)
    first_s = max(PARAMETERS.onset_s, settled_s)
    last_s = (note.end - note.start) / note.rate - PARAMETERS.release_s
    inside = (at_s >= first_s) & (at_s <= last_s)
    return at_s[inside], deviation[inside]


def _in_words(tab: Tab) -> str:
    return f"hole {tab.hole} {tab.breath}"


def _range(values: Iterable[float]) -> float:
    in_order = sorted(values)
    return float(in_order[-1] - in_order[0])
