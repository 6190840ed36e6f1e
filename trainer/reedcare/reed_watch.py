"""Reed watch of an own harp, from the takes and measurements in the journal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.reedcare.own_harps import measured_pitches, nominal_harp
from trainer.reedcare.reed_history import DailyPitches, ReedHistory, ReedNote, reed_histories
from trainer.store import PLAYER_SOURCES, Journal, OwnHarp


@dataclass(frozen=True, slots=True)
class NoteSelection:
    """Limits of the notes that show the pitch of their reed. Chosen.

    Attributes:
        max_wobble_cents: maximum standard deviation of the held pitch, in cents.
        max_drift_cents: maximum slope of the held pitch, in cents per second.
        max_leak_db: maximum level of a neighbouring hole, in dB relative to the wanted one.
        max_settling_ms: maximum settling time in milliseconds.
        max_offset_cents: maximum distance from the nominal pitch in cents; beyond it, another note
            was played.
    """

    max_wobble_cents: float = 6.0
    max_drift_cents: float = 15.0
    max_leak_db: float = -12.0
    max_settling_ms: float = 250.0
    max_offset_cents: float = 100.0


SELECTION = NoteSelection()


class _Step(NamedTuple):
    """The fields that are read of :class:`trainer.store.StepRecord`."""

    take: str
    kind: str
    entry: str | None
    heard: str | None
    hz: float | None
    wobble_cents: float | None
    drift_cents: float | None
    settle_ms: float | None
    leak_db: float | None


@dataclass(frozen=True, slots=True)
class HarpWatch:
    """The histories of a harp's reeds.

    Attributes:
        harp: the own harp.
        days: number of days with a note, measurements included.
        first, last: the first and the last of them; None if there are none.
        notes: number of notes that showed the pitch of a reed.
        reeds: the history of each reed with a note, in order of tab.
    """

    harp: OwnHarp
    days: int
    first: date | None
    last: date | None
    notes: int
    reeds: tuple[ReedHistory, ...]

    def reed(self, tab: Tab) -> ReedHistory | None:
        """Return the history of a reed; None if it has no note."""
        return next((reed for reed in self.reeds if reed.tab == tab), None)


def watch_harp(journal: Journal, own: OwnHarp) -> HarpWatch:
    """Return the reed watch of a harp, from all takes on it and its measurements.

    Args:
        journal: the journal.
        own: an own harp, see :func:`trainer.reedcare.find_own_harp`.

    Raises:
        JournalError: the journal cannot be read.
        HarpError: the harp's tuning is missing.
    """
    nominal, measurements = nominal_harp(own, "equal"), _measurements(journal, own)
    since = measurements[0].measured if measurements else own.measured
    notes = [*_measured_notes(measurements, nominal), *_played_notes(journal, own, nominal, since)]
    pitches = DailyPitches.of(notes)
    return HarpWatch(
        harp=own,
        days=len(pitches.days),
        first=min((note.day for note in notes), default=None),
        last=max((note.day for note in notes), default=None),
        notes=len(notes),
        reeds=reed_histories(pitches),
    )


def _measurements(journal: Journal, own: OwnHarp) -> list[OwnHarp]:
    """Return the measurements of a harp since its name was last given to it."""
    measurements: list[OwnHarp] = []
    for entry in journal.harps(own.player):
        if entry.name != own.name:
            continue
        same = (entry.tag.key, entry.tag.tuning) == (own.tag.key, own.tag.tuning)
        measurements = [*measurements, entry] if same and entry.reeds else []
    return measurements


def _measured_notes(measurements: list[OwnHarp], nominal: Harp) -> Iterator[ReedNote]:
    for measurement in measurements:
        day = measurement.measured.astimezone().date()
        for tab, hz in measured_pitches(measurement).items():
            yield ReedNote(day, tab, cents(hz, nominal.hz(tab)))


def _played_notes(
    journal: Journal, own: OwnHarp, nominal: Harp, since: datetime
) -> Iterator[ReedNote]:
    """Yield the notes of the harp's takes that show the pitch of their reed."""
    days = {
        take.id: take.day
        for take in journal.takes(player=own.player, steps=False)
        if take.harp.name == own.name and take.source in PLAYER_SOURCES and take.began >= since
    }
    columns = journal.columns(*_Step._fields, player=own.player)
    for step in map(_Step._make, zip(*columns, strict=True)):
        if step.take not in days or step.entry is None or step.hz is None:
            continue
        tab = Tab.parse(step.entry)
        if tab.is_natural and _shows_reed(step, {tab, *nominal.same_pitch(tab)}):
            offset = cents(step.hz, nominal.hz(tab))
            if abs(offset) <= SELECTION.max_offset_cents:
                yield ReedNote(days[step.take], tab, offset)


def _shows_reed(step: _Step, entries: set[Tab]) -> bool:
    """Return whether a note was clean, steady and settled early.

    Args:
        step: a step that asks for a natural note.
        entries: all tab entries of that pitch.
    """
    return (
        step.kind == "note"
        and step.heard in {str(tab) for tab in entries}
        and step.settle_ms is not None
        and step.settle_ms <= SELECTION.max_settling_ms
        and abs(step.wobble_cents or 0.0) <= SELECTION.max_wobble_cents
        and abs(step.drift_cents or 0.0) <= SELECTION.max_drift_cents
        and (step.leak_db is None or step.leak_db <= SELECTION.max_leak_db)
    )
