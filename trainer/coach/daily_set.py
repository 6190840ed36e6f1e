"""The day's set: made once a day from the journal, kept in it, and ticked off by the day's takes.

It depends on the journal as it stood before the day, on the minutes and on the drills at hand, and
on nothing else: the same journal and day give the same set. It is kept as it was made, so that it
can be left and taken up again; other minutes make what has not been played yet anew.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import date, timedelta
from statistics import fmean
from typing import Any

from trainer.coach.due import drill_statuses
from trainer.coach.parameters import SELECTION, WEAKNESS
from trainer.coach.selection import choose_entries
from trainer.coach.set_entry import Reason, SetEntry
from trainer.coach.sources import PLAYER_SOURCES
from trainer.coach.traits import DrillTraits
from trainer.coach.weaknesses import count_tries, success_rates
from trainer.drill import Drill, DrillError, Shelf, move_to_harp
from trainer.harp import Harp, HarpError
from trainer.store.errors import JournalError
from trainer.store.journal import Journal
from trainer.store.records import TakeRecord


@dataclass(frozen=True, slots=True)
class DailySet:
    """The set of a day, and how far it has been played.

    Attributes:
        player, day: whose, and of which day.
        minutes: how long it was to be.
        entries: in the order to play them in; any order will do.
        played: scores of the day's whole takes of each drill, in order.
        unsaved: why it could not be kept in the journal, in a sentence; None if it is.
    """

    player: str
    day: date
    minutes: float
    entries: tuple[SetEntry, ...]
    played: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    unsaved: str | None = None

    def scores(self, entry: SetEntry) -> tuple[float, ...]:
        """Scores of the day's whole takes of an entry's drill."""
        return self.played.get(entry.drill, ())

    def best(self, entry: SetEntry) -> float | None:
        """The best of them; None if there is none."""
        return max(self.scores(entry), default=None)

    def is_done(self, entry: SetEntry) -> bool:
        """Whether an entry is done."""
        return entry.is_done(self.scores(entry))

    @property
    def left(self) -> tuple[SetEntry, ...]:
        """What is still to be played."""
        return tuple(entry for entry in self.entries if not self.is_done(entry))

    @property
    def seconds(self) -> float:
        """How long the whole is expected to last."""
        return sum(entry.seconds for entry in self.entries)

    @property
    def score(self) -> float | None:
        """The mean of the best takes of what was played; None before anything was."""
        bests = [best for entry in self.entries if (best := self.best(entry)) is not None]
        return fmean(bests) if bests else None

    @property
    def moved(self) -> float | None:
        """By how much the best takes are better, at the mean, than those of the last time each
        drill was played; None if nothing was played that had been before."""
        moves = [by for entry in self.entries if (by := self.moved_by(entry)) is not None]
        return fmean(moves) if moves else None

    def moved_by(self, entry: SetEntry) -> float | None:
        """By how much the best take of an entry is better than that of the last time."""
        best = self.best(entry)
        return None if best is None or entry.last is None else best - entry.last

    def plus(self, drill: str, score: float) -> DailySet:
        """The set after one more whole take of a drill."""
        return replace(self, played={**self.played, drill: (*self.played.get(drill, ()), score)})


def open_daily_set(
    journal: Journal,
    player: str,
    day: date,
    minutes: float,
    shelf: Shelf,
    harp: Harp | None = None,
    counting: Collection[str] = PLAYER_SOURCES,
) -> DailySet:
    """The set of a player's day: the one that was made before, or a new one.

    Args:
        journal: where the takes are and the set is kept.
        player: whose.
        day: which.
        minutes: how long it may be; if that is not what it was made for, what has not been played
            yet is chosen anew.
        shelf: the drills at hand.
        harp: the harp in hand; None takes those that were measured or played of late.
        counting: sources of takes that tick entries off.

    Raises:
        JournalError: the journal cannot be read. One that cannot be written is told in the set.
    """
    of_today = journal.takes(player=player, since=day, until=day, steps=False)
    played = _played(of_today, counting)
    made = _made(journal, player, day, {drill.name for drill in shelf.drills})
    if made is not None and made.minutes == minutes and _fits(made, played, harp):
        return replace(made, played=played)
    kept = [entry for entry in made.entries if entry.drill in played] if made else []
    before = day - timedelta(days=1)
    takes = journal.takes(player=player, until=before, steps=False)
    recent = journal.takes(
        player=player, since=day - timedelta(days=WEAKNESS.window_days), until=before
    )
    harps = (harp,) if harp else _at_hand(journal, player, takes, day)
    traits = _traits(shelf.drills, harps)
    drills = {trait.drill.name: trait.drill for trait in traits}
    stand, found = drill_statuses(takes, drills, day), success_rates(count_tries(recent), day)
    chosen = choose_entries(traits, stand, found, day, minutes, kept)
    new = DailySet(player, day, minutes, (*kept, *chosen), played)
    try:
        journal.save_daily_set(player, day, minutes, [asdict(entry) for entry in new.entries])
    except JournalError as error:
        return replace(new, unsaved=str(error))
    return new


def _played(takes: Iterable[TakeRecord], counting: Collection[str]) -> dict[str, tuple[float, ...]]:
    """Scores of the whole takes of a day, by drill."""
    played: dict[str, tuple[float, ...]] = {}
    for take in takes:
        if take.whole and take.source in counting:
            played[take.drill] = (*played.get(take.drill, ()), take.score)
    return played


def _made(journal: Journal, player: str, day: date, drills: Collection[str]) -> DailySet | None:
    """The set that was made before; drills that have gone from the shelf have gone from it."""
    kept = journal.day(player, day)
    if kept is None:
        return None
    minutes, rows = kept
    entries = [_entry_of(row) for row in rows]
    return DailySet(player, day, minutes, tuple(one for one in entries if one.drill in drills))


def _entry_of(row: Mapping[str, Any]) -> SetEntry:
    return SetEntry(**{**row, "reason": Reason(row["reason"])})


def _fits(made: DailySet, played: Collection[str], harp: Harp | None) -> bool:
    """Whether what is left of a set can be played on the harp in hand."""
    if harp is None:
        return True
    in_hand = (harp.key.name, harp.tuning.name)
    return all(
        (entry.key, entry.tuning) == in_hand for entry in made.entries if entry.drill not in played
    )


def _at_hand(
    journal: Journal, player: str, takes: Sequence[TakeRecord], day: date
) -> tuple[Harp, ...]:
    """The harps that a player has: those played of late, the latest first, and those that were
    measured; a C harp if nothing is known."""
    since = day - timedelta(days=SELECTION.recent_harp_days)
    played = [take.harp for take in takes if take.day >= since and take.source in PLAYER_SOURCES]
    measured = [one.tag for one in journal.harps(player)]
    kinds = dict.fromkeys((tag.key, tag.tuning) for tag in reversed([*measured, *played]))
    harps = []
    for key, tuning in kinds:
        with suppress(HarpError):  # its tuning may have gone
            harps.append(Harp.of(key, tuning))
    return tuple(harps) or (Harp.of(),)


def _traits(drills: Iterable[Drill], harps: Sequence[Harp]) -> list[DrillTraits]:
    """The drills that the harps at hand can play: each on the harp it is written for, or on the
    first of that tuning."""
    traits = []
    for drill in drills:
        alike = [harp for harp in harps if harp.tuning.name == drill.tuning]
        alike.sort(key=lambda harp: harp.key.name != drill.key)
        with suppress(DrillError):  # a target in cents that only its own harp reaches
            traits += [DrillTraits.of(move_to_harp(drill, harp), harp) for harp in alike[:1]]
    return traits
