"""The day's set in progress: from drill to drill, until all is done or the player stops."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from trainer.coach import DURATION, DailySet, Reason, SetEntry
from trainer.drill import Drill, move_to_harp
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice.commands import NextCommand, no_command
from trainer.practice.events import Event, PassEnded, TakeFailed
from trainer.practice.plan import Plan
from trainer.practice.take import run_take
from trainer.sound import MicrophoneSpec

_NAP_S = 0.05


@dataclass(frozen=True, slots=True)
class EntryStarted:
    """An entry is up; its takes follow.

    Attributes:
        number, count: its place in the set, from 1, and how many there are.
        entry: the entry.
        plan: how it is played: its drill, on the harp in hand.
        rest_s: how long the player has to look it over.
    """

    number: int
    count: int
    entry: SetEntry
    plan: Plan
    rest_s: float


@dataclass(frozen=True, slots=True)
class EntryEnded:
    """An entry is over.

    Attributes:
        entry: the entry.
        day: the set with its takes.
    """

    entry: SetEntry
    day: DailySet


@dataclass(frozen=True, slots=True)
class DayEnded:
    """Nothing follows: all was played, the player stopped, or a take could not go on.

    Attributes:
        day: the set, with all that was played today.
    """

    day: DailySet


DayEvent = EntryStarted | EntryEnded | DayEnded
HarpChooser = Callable[[SetEntry], tuple[Harp, str | None]]
"""The harp that an entry is played on, and its name if it is one of the player's own."""


def run_day(
    day: DailySet,
    drills: Mapping[str, Drill],
    base: Plan,
    harp_for: HarpChooser,
    stopping: Callable[[], bool] = lambda: False,
    asked: NextCommand = no_command,
) -> Iterator[Event | DayEvent]:
    """Play what is left of a set, each drill again and again until its entry is done.

    Args:
        day: the set.
        drills: the drills by name; an entry whose drill is not there is passed over.
        base: a plan for what is the same in every take: source, count-in, journal, player. Its
            harp and drill do not matter.
        harp_for: which harp each entry is played on.
        stopping: asked often; once it says yes, the take ends with what was played, and the day.
        asked: gives what else the player asks for; before a take, anything lets it begin at once.

    Yields:
        For each entry `EntryStarted`, the events of its takes, `EntryEnded`; finally `DayEnded`.
        Where a take comes to `TakeFailed`, that is the end of the day.
    """
    count = len(day.entries)
    for number, entry in enumerate(day.entries, 1):
        if stopping():
            break
        if day.is_done(entry) or entry.drill not in drills:
            continue
        harp, name = harp_for(entry)
        drill = move_to_harp(drills[entry.drill], harp)
        plan = replace(base, harp=harp, harp_name=name, drill=drill, loop=False)
        rest = (
            DURATION.read_new_s
            if entry.reason is Reason.NEW and not day.scores(entry)
            else DURATION.read_s
        )
        waits = isinstance(base.source, MicrophoneSpec)
        yield EntryStarted(number, count, entry, plan, rest if waits else 0.0)
        over = False
        while not (over or day.is_done(entry)):
            if waits:
                _wait(rest, stopping, asked)
            if over := stopping():
                break
            rest, before, failed = DURATION.between_takes_s, day, False
            for event in run_take(plan, stopping, asked):
                if isinstance(event, PassEnded) and is_whole(event.result):
                    day = day.plus(entry.drill, event.result.score)
                failed = failed or isinstance(event, TakeFailed)
                yield event
            over = failed or day is before
        yield EntryEnded(entry, day)
        if over:
            break
    yield DayEnded(day)


def is_whole(result: Result) -> bool:
    """Whether all that the player was to play was played, so that the take counts."""
    return len(result.marks) == sum(not step.call for step in result.drill.steps)


def _wait(seconds: float, stopping: Callable[[], bool], asked: NextCommand) -> None:
    until = time.monotonic() + seconds
    while time.monotonic() < until and not stopping() and asked() is None:
        time.sleep(_NAP_S)
