"""The daily set: made once a day from the journal, stored in it, and ticked off by takes.

It depends on the journal before the day, the minutes and the drills of the shelf only: the same
journal and day give the same set. It is stored, so that it can be resumed. If the minutes change,
entries that have not been played yet are chosen anew.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from datetime import date, timedelta
from enum import StrEnum
from statistics import fmean
from typing import Any

from trainer.coach.due import drill_statuses
from trainer.coach.parameters import DURATION, SELECTION, WEAKNESS
from trainer.coach.selection import Wishes, choose_entries
from trainer.coach.set_entry import Reason, SetEntry
from trainer.coach.traits import DrillTraits
from trainer.coach.weaknesses import count_tries, success_rates
from trainer.drill import Drill, DrillError, Shelf, move_to_harp
from trainer.harp import Harp, HarpError
from trainer.store import PLAYER_SOURCES, Journal, JournalError, TakeRecord


class Missing(StrEnum):
    """Why a set has no drill."""

    DRILLS = "drills"
    """The shelf is empty."""
    HARP = "harp"
    """No drill can be played on the harp."""
    TIME = "time"
    """No drill fits into the time."""
    RESTING = "resting"
    """What is left rests after a plateau, or waits for a level that is not open."""


@dataclass(frozen=True, slots=True)
class DailySet:
    """The set of a day, and how much of it has been played.

    Attributes:
        player, day: player and day of the set.
        minutes: the time it was made for, in minutes.
        entries: its entries, in the suggested order; the player may choose another.
        played: scores of the day's takes that count, in order, by drill.
        unsaved: why the set could not be stored in the journal, as a sentence; None if it was.
        missing: why it has no entry; None if it has some.
    """

    player: str
    day: date
    minutes: float
    entries: tuple[SetEntry, ...]
    played: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    unsaved: str | None = None
    missing: Missing | None = None

    def scores(self, entry: SetEntry) -> tuple[float, ...]:
        """Scores of the day's takes of an entry's drill that count."""
        return self.played.get(entry.drill, ())

    def best(self, entry: SetEntry) -> float | None:
        """The best of these scores; None if there is none."""
        return max(self.scores(entry), default=None)

    def is_done(self, entry: SetEntry) -> bool:
        """Whether an entry is done."""
        return entry.is_done(self.scores(entry))

    @property
    def left(self) -> tuple[SetEntry, ...]:
        """The entries that are not done."""
        return tuple(entry for entry in self.entries if not self.is_done(entry))

    @property
    def seconds(self) -> float:
        """Expected time of the whole set in seconds."""
        return sum(entry.seconds for entry in self.entries)

    @property
    def score(self) -> float | None:
        """Mean of the entries' best scores; None before anything was played."""
        bests = [best for entry in self.entries if (best := self.best(entry)) is not None]
        return fmean(bests) if bests else None

    @property
    def mean_gain(self) -> float | None:
        """Mean gain of the entries; None if none has a gain."""
        gains = [gain for entry in self.entries if (gain := self.gain(entry)) is not None]
        return fmean(gains) if gains else None

    def gain(self, entry: SetEntry) -> float | None:
        """Points between an entry's best take and that of the last time; None without both."""
        best = self.best(entry)
        return None if best is None or entry.last is None else best - entry.last

    def plus(self, drill: str, score: float) -> DailySet:
        """The set after one more take of a drill that counts."""
        return replace(self, played={**self.played, drill: (*self.played.get(drill, ()), score)})


def open_daily_set(
    journal: Journal,
    player: str,
    day: date,
    minutes: float,
    shelf: Shelf,
    harp: Harp | None = None,
    counted_sources: Collection[str] = PLAYER_SOURCES,
    *,
    is_fresh: bool = False,
) -> DailySet:
    """The stored set of a day, or a new one.

    Args:
        journal: holds the takes and the stored set.
        player: name of the player.
        day: the day.
        minutes: time for the set in minutes. Entries of a set that was made for another time are
            chosen anew, unless they have been played.
        shelf: the drills.
        harp: the harp to play on. None takes the harps that were measured or played recently.
        counted_sources: sources of takes that count as playing an entry.
        is_fresh: whether entries that have not been played are chosen anew, as after a new focus.

    Raises:
        JournalError: the journal cannot be read. Where it cannot be written, the set's `unsaved`
            states the reason.
    """
    of_today = journal.takes(player=player, since=day, until=day, steps=False)
    stored = _stored_set(journal, player, day, {drill.name for drill in shelf.drills})
    played = _scores(of_today, counted_sources, stored.entries if stored else ())
    is_current = (
        stored is not None and stored.entries and stored.minutes == minutes and not is_fresh
    )
    if stored is not None and is_current and _fits_harp(stored, played, harp):
        return replace(stored, played=played)
    kept = [entry for entry in stored.entries if entry.drill in played] if stored else []
    before = day - timedelta(days=1)
    takes = journal.takes(player=player, until=before, steps=False)
    window = timedelta(days=WEAKNESS.window_days)
    recent = journal.takes(player=player, since=day - window, until=before)
    drill_traits = _drill_traits(
        shelf.drills, (harp,) if harp else _available_harps(journal, player, takes, day)
    )
    drills = {traits.drill.name: traits.drill for traits in drill_traits}
    statuses = drill_statuses(takes, drills, day, recent)
    rates = success_rates(count_tries(recent, drills), day)
    placements = {placement.skill: placement for placement in journal.placements(player)}
    wishes = Wishes(journal.focus(player, day), placements)
    chosen = choose_entries(drill_traits, statuses, rates, day, minutes, kept, wishes)
    entries = (*kept, *chosen)
    missing = None if entries else _missing(shelf, drill_traits, minutes)
    new = DailySet(player, day, minutes, entries, played, missing=missing)
    try:
        journal.save_daily_set(player, day, minutes, [asdict(entry) for entry in new.entries])
    except JournalError as error:
        return replace(new, unsaved=str(error))
    return new


def _missing(shelf: Shelf, playable: Sequence[DrillTraits], minutes: float) -> Missing:
    """Why no drill was chosen."""
    if not shelf.drills:
        return Missing.DRILLS
    if not playable:
        return Missing.HARP
    shortest_s = min(traits.take_s for traits in playable) + DURATION.read_s
    return Missing.TIME if shortest_s > 60.0 * minutes else Missing.RESTING


def available_traits(
    journal: Journal, player: str, day: date, shelf: Shelf, harp: Harp | None = None
) -> list[DrillTraits]:
    """Traits of the drills that a player can play; arguments as in :func:`open_daily_set`."""
    takes = journal.takes(player=player, until=day, steps=False)
    harps = (harp,) if harp else _available_harps(journal, player, takes, day)
    return _drill_traits(shelf.drills, harps)


def _scores(
    takes: Iterable[TakeRecord], sources: Collection[str], entries: Iterable[SetEntry]
) -> dict[str, tuple[float, ...]]:
    """Scores of the takes of a day from some sources that are whole or of an entry's bars."""
    scores: dict[str, tuple[float, ...]] = {}
    by_drill = {entry.drill: entry for entry in entries}
    for take in takes:
        entry = by_drill.get(take.drill)
        counts = take.whole if entry is None else entry.counts(take.whole, take.bars)
        if counts and take.source in sources:
            scores[take.drill] = (*scores.get(take.drill, ()), take.score)
    return scores


def _stored_set(
    journal: Journal, player: str, day: date, drills: Collection[str]
) -> DailySet | None:
    """The stored set without drills that are no longer on the shelf."""
    stored = journal.day(player, day)
    if stored is None:
        return None
    minutes, rows = stored
    entries = [_parse_entry(row) for row in rows]
    on_shelf = tuple(entry for entry in entries if entry.drill in drills)
    return DailySet(player, day, minutes, on_shelf)


def _parse_entry(row: Mapping[str, Any]) -> SetEntry:
    bars = row.get("bars")
    fields = {**row, "reason": Reason(row["reason"]), "bars": tuple(bars) if bars else None}
    return SetEntry(**fields)


def _fits_harp(stored: DailySet, played: Collection[str], harp: Harp | None) -> bool:
    """Whether all entries that were not played yet are for a harp."""
    if harp is None:
        return True
    key_and_tuning = (harp.key.name, harp.tuning.name)
    to_play = (entry for entry in stored.entries if entry.drill not in played)
    return all((entry.key, entry.tuning) == key_and_tuning for entry in to_play)


def _available_harps(
    journal: Journal, player: str, takes: Sequence[TakeRecord], day: date
) -> tuple[Harp, ...]:
    """The player's harps: recently played ones, the latest first, then measured ones.

    A C harp if none is known.
    """
    since = day - timedelta(days=SELECTION.recent_harp_days)
    played = [take.harp for take in takes if take.day >= since and take.source in PLAYER_SOURCES]
    measured = [own_harp.tag for own_harp in journal.harps(player)]
    latest_first = reversed([*measured, *played])
    harps = []
    for key, tuning in dict.fromkeys((tag.key, tag.tuning) for tag in latest_first):
        with suppress(HarpError):  # the tuning may no longer be known
            harps.append(Harp.of(key, tuning))
    return tuple(harps) or (Harp.of(),)


def _drill_traits(drills: Iterable[Drill], harps: Sequence[Harp]) -> list[DrillTraits]:
    """Traits of the drills that can be played on some harps.

    Each is taken on the harp that it is written for, else on the first harp of its tuning.
    """
    traits = []
    for drill in drills:
        suitable = [harp for harp in harps if harp.tuning.name == drill.tuning]
        suitable.sort(key=lambda harp: harp.key.name != drill.key)
        with suppress(DrillError):  # a target in cents may be in reach of the drill's harp only
            traits += [DrillTraits.of(move_to_harp(drill, harp), harp) for harp in suitable[:1]]
    return traits
