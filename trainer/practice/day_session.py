"""The daily set in progress: from drill to drill, until all is done or the player stops."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from trainer.coach import DURATION, DailySet, Reason, SetEntry
from trainer.drill import Drill, move_to_harp
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice.commands import NextCommand, ShouldStop, no_command
from trainer.practice.events import Event, PassEnded, TakeFailed
from trainer.practice.plan import Plan
from trainer.practice.session import run_take
from trainer.store import played_bars

_POLL_S = 0.05
"""Time between looks for a command during a rest, in seconds."""


@dataclass(frozen=True, slots=True)
class EntryStarted:
    """An entry of the set starts; its takes follow.

    Attributes:
        number, count: its place in the set, from 1, and the number of entries.
        entry: the entry.
        plan: how it is played: its drill, on the selected harp.
        rest_s: time that the player has to read it, in seconds.
    """

    number: int
    count: int
    entry: SetEntry
    plan: Plan
    rest_s: float


@dataclass(frozen=True, slots=True)
class EntryEnded:
    """An entry of the set has ended.

    Attributes:
        entry: the entry.
        day: the set with its takes.
    """

    entry: SetEntry
    day: DailySet


@dataclass(frozen=True, slots=True)
class DayEnded:
    """The set has ended: all was played, the player stopped, or a take failed.

    Attributes:
        day: the set, with all takes of today.
    """

    day: DailySet


DayEvent = EntryStarted | EntryEnded | DayEnded
HarpChooser = Callable[[SetEntry], tuple[Harp, str | None]]
"""Returns the harp that an entry is played on, and its name if it is one of the player's own."""


def run_day(
    day: DailySet,
    drills: Mapping[str, Drill],
    base: Plan,
    harp_for: HarpChooser,
    should_stop: ShouldStop = lambda: False,
    next_command: NextCommand = no_command,
) -> Iterator[Event | DayEvent]:
    """Play the rest of a set, each drill again and again until its entry is done.

    Args:
        day: the set.
        drills: the drills by name; an entry whose drill is missing is skipped.
        base: a plan with what is the same in every take: source, count-in, journal, player. Its
            harp and drill are ignored.
        harp_for: chooses the harp for each entry.
        should_stop: called often; when it returns True, the take ends with what was played, and
            the day ends.
        next_command: returns the player's commands; during a rest, any command ends the rest.

    Yields:
        For each entry `EntryStarted`, the events of its takes, `EntryEnded`; finally `DayEnded`.
        A take that fails ends the day.
    """
    count = len(day.entries)
    for number, entry in enumerate(day.entries, 1):
        if should_stop():
            break
        if day.is_done(entry) or entry.drill not in drills:
            continue
        harp, name = harp_for(entry)
        drill = move_to_harp(drills[entry.drill], harp)
        plan = replace(
            base,
            harp=harp,
            harp_name=name,
            drill=drill,
            tempo=entry.tempo,
            bars=entry.bars,
            tolerance=entry.tolerance,
            loop=False,
        )
        plan = plan.at_present_tolerance()
        is_new = entry.reason is Reason.NEW and not day.scores(entry)
        rest_s = DURATION.read_new_s if is_new else DURATION.read_s
        waits = base.source.is_live
        yield EntryStarted(number, count, entry, plan, rest_s if waits else 0.0)
        over = False
        while not (over or day.is_done(entry)):
            if waits:
                rest(rest_s, should_stop, next_command)
            if over := bool(should_stop()):
                break
            rest_s, before, failed = DURATION.between_takes_s, day, False
            for event in run_take(plan, should_stop, next_command):
                if isinstance(event, PassEnded) and counts_for(entry, event.result):
                    day = day.plus(entry.drill, event.result.score)
                failed = failed or isinstance(event, TakeFailed)
                yield event
            over = failed or day is before
        yield EntryEnded(entry, day)
        if over:
            break
    yield DayEnded(day)


def is_whole(result: Result) -> bool:
    """Return whether the player's steps were all played, so that the take counts."""
    return len(result.marks) == sum(not step.call for step in result.drill.steps)


def counts_for(entry: SetEntry, result: Result) -> bool:
    """Return whether a pass counts for an entry: of its drill, whole or of its bars."""
    is_its_drill = result.drill.name == entry.drill
    return is_its_drill and entry.counts(is_whole(result), played_bars(result))


def rest(seconds: float, should_stop: ShouldStop, next_command: NextCommand) -> None:
    """Wait for some seconds, for a command, or until it is time to stop."""
    until = time.monotonic() + seconds
    while time.monotonic() < until and not should_stop() and next_command() is None:
        time.sleep(_POLL_S)
