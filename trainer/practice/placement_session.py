"""A placement in progress: drill after drill, until the player's levels are known."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date

from trainer.coach import DURATION, DrillTraits, PlacementTest, Reason, SetEntry
from trainer.harp import Harp
from trainer.practice.commands import NextCommand, ShouldStop, no_command
from trainer.practice.day_session import EntryStarted, is_whole, rest
from trainer.practice.events import Event, PassEnded, TakeFailed
from trainer.practice.plan import Plan
from trainer.practice.session import run_take
from trainer.store import Placement


@dataclass(frozen=True, slots=True)
class PlacementEnded:
    """The placement has ended: enough is known, the time is over, or the player stopped.

    Attributes:
        placements: the levels that were found, by skill.
    """

    placements: tuple[Placement, ...]


def run_placement(
    test: PlacementTest,
    base: Plan,
    harp_for: Callable[[Harp], tuple[Harp, str | None]],
    day: date,
    should_stop: ShouldStop = lambda: False,
    next_command: NextCommand = no_command,
) -> Iterator[Event | EntryStarted | PlacementEnded]:
    """Play the drills that a placement asks for, each once.

    Args:
        test: the placement.
        base: a plan with what is the same in every take. Its harp and drill are ignored.
        harp_for: chooses the harp for a drill's harp, with its name if it is an own one.
        day: the day of the placements.
        should_stop: called often; when it returns True, the placement ends.
        next_command: returns the player's commands; during a rest, any command ends the rest.

    Yields:
        For each drill `EntryStarted` and the events of its take; finally `PlacementEnded`. A take
        that is not whole, or fails, ends the placement.
    """
    number = 0
    while not should_stop() and (traits := test.next_drill()) is not None:
        number += 1
        harp, name = harp_for(traits.harp)
        plan = replace(base, harp=harp, harp_name=name, drill=traits.drill, loop=False)
        rest_s = DURATION.read_s if base.source.is_live else 0.0
        yield EntryStarted(number, number, _entry(traits), plan, rest_s)
        if rest_s:
            rest(rest_s, should_stop, next_command)
        passed = None
        for event in run_take(plan, should_stop, next_command):
            if isinstance(event, PassEnded) and is_whole(event.result):
                passed = event.result.passed
            if isinstance(event, TakeFailed):
                passed = None
            yield event
        if passed is None:
            break
        test.observe(traits, passed)
    yield PlacementEnded(tuple(test.placements(day)))


def _entry(traits: DrillTraits) -> SetEntry:
    drill = traits.drill
    return SetEntry(
        drill=drill.name,
        title=drill.title,
        reason=Reason.NEW,
        why=f"level {drill.level}; to find your level",
        key=traits.harp.key.name,
        tuning=traits.harp.tuning.name,
        passes=1,
        most=1,
        seconds=traits.take_s,
        pass_mark=drill.goal.pass_mark,
    )
