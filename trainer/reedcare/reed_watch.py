"""The reed watch of one of the player's harps, from the journal."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import NamedTuple

from trainer.harp import Harp, Tab
from trainer.music import cents
from trainer.reedcare.own_harps import measured_pitches, nominal_harp
from trainer.reedcare.reed_history import DailyPitches, ReedHistory, ReedNote, reed_histories
from trainer.store.journal import Journal
from trainer.store.records import OwnHarp

MOST_WOBBLE_CENTS, MOST_DRIFT_CENTS = 6.0, 15.0
MOST_LEAK_DB = -12.0
MOST_SETTLING_MS = 250.0
FAR_CENTS = 100.0
"""What lies further from where theory has the reed was another note."""
HEARD = ("microphone", "recording")
"""Sources of takes that a harp was played in."""


class _Step(NamedTuple):
    """What counts of a step, as in :class:`trainer.journal.StepRecord`."""

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
    """What is known of a harp's reeds over time.

    Attributes:
        harp: the harp.
        days: on how many days it was heard, its measurements included.
        first, last: the first and the last of them; None where there are none.
        notes: how many notes said something of a reed.
        reeds: the history of each reed that was heard, by hole.
    """

    harp: OwnHarp
    days: int
    first: date | None
    last: date | None
    notes: int
    reeds: tuple[ReedHistory, ...]

    def reed(self, tab: Tab) -> ReedHistory | None:
        """The history of one reed; None if it was not heard."""
        return next((one for one in self.reeds if one.tab == tab), None)


def watch_harp(journal: Journal, own: OwnHarp) -> HarpWatch:
    """Watch the reeds of a harp: all takes on it, and its measurements.

    Args:
        journal: the journal.
        own: one of its harps, see :func:`trainer.reedcare.own_harps.find_own_harp`.

    Raises:
        JournalError: it cannot be read.
        HarpError: the harp's tuning is not at hand any more.
    """
    plain, measured = nominal_harp(own, "equal"), _measurements(journal, own)
    since = measured[0].measured if measured else own.measured
    notes = [*_measured(measured, plain), *_played(journal, own, plain, since)]
    table = DailyPitches.of(notes)
    return HarpWatch(
        harp=own,
        days=len(table.days),
        first=min((note.day for note in notes), default=None),
        last=max((note.day for note in notes), default=None),
        notes=len(notes),
        reeds=reed_histories(table),
    )


def _measurements(journal: Journal, own: OwnHarp) -> list[OwnHarp]:
    """Each time that it was measured, since the name belongs to this harp."""
    mine: list[OwnHarp] = []
    for one in journal.harps(own.player):
        if one.name != own.name:
            continue
        same = (one.tag.key, one.tag.tuning) == (own.tag.key, own.tag.tuning)
        mine = [*mine, one] if same and one.reeds else []
    return mine


def _measured(measurements: list[OwnHarp], plain: Harp) -> Iterator[ReedNote]:
    for one in measurements:
        day = one.measured.astimezone().date()
        for tab, hz in measured_pitches(one).items():
            yield ReedNote(day, tab, cents(hz, plain.hz(tab)))


def _played(journal: Journal, own: OwnHarp, plain: Harp, since: datetime) -> Iterator[ReedNote]:
    """What the notes of its takes say of its reeds."""
    days = {
        take.id: take.day
        for take in journal.takes(player=own.player, steps=False)
        if take.harp.name == own.name and take.source in HEARD and take.began >= since
    }
    columns = journal.columns(*_Step._fields, player=own.player)
    for step in map(_Step._make, zip(*columns, strict=True)):
        if step.take not in days or step.entry is None or step.hz is None:
            continue
        tab = Tab.parse(step.entry)
        if tab.is_natural and _says_its_reed(step, {tab, *plain.same_pitch(tab)}):
            off = cents(step.hz, plain.hz(tab))
            if abs(off) <= FAR_CENTS:
                yield ReedNote(days[step.take], tab, off)


def _says_its_reed(step: _Step, sounds: set[Tab]) -> bool:
    """Whether it was played so that its pitch is its reed's: alone, steady, and soon there.

    Args:
        step: of a natural note.
        sounds: the entries of that pitch.
    """
    return (
        step.kind == "note"
        and step.heard in {str(tab) for tab in sounds}
        and step.settle_ms is not None
        and step.settle_ms <= MOST_SETTLING_MS
        and abs(step.wobble_cents or 0.0) <= MOST_WOBBLE_CENTS
        and abs(step.drift_cents or 0.0) <= MOST_DRIFT_CENTS
        and (step.leak_db is None or step.leak_db <= MOST_LEAK_DB)
    )
