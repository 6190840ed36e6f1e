"""A pass: one go through a range of steps, and how it is kept with a saved take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from trainer.drill import Clock, Drill

TAIL_S, TAIL_BEATS = 0.6, 0.75
"""How long after its last step a pass still listens, whichever is less: for a late player and a
ringing reed. It must be over before the shortest count-in is."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One go through a range of steps.

    Attributes:
        zero: sample of the drill's beat 0.
        tempo: beats a minute.
        first, last: range of step indices, `last` not included.
        begin, close: readings count whose last sample lies after `begin` and not after `close`.
        upto: steps from here on were not due when it was stopped, and are not marked.
        broken: whether the sound went away in it; the next pass takes it up and shares its result.
    """

    zero: int
    tempo: float
    first: int
    last: int
    begin: int
    close: int
    upto: int
    broken: bool = False

    @classmethod
    def of(cls, drill: Drill, clock: Clock, steps: range, begin: int) -> Pass:
        """A pass that runs its course."""
        end = clock.sample(drill.steps[steps[-1]].end)
        close = end + round(min(TAIL_S, TAIL_BEATS * 60.0 / clock.tempo) * clock.rate)
        first, last = steps[0], steps[-1] + 1
        return cls(clock.zero, clock.tempo, first, last, begin, close, upto=last)

    def clock(self, rate: int) -> Clock:
        """Its beats on the sample clock."""
        return Clock(self.zero, self.tempo, rate)


def tags_of(drill: Drill, harp: str, passes: Sequence[Pass]) -> dict[str, Any]:
    """What is kept with a saved take, as JSON can hold it."""
    return {"drill": drill.name, "harp": harp, "passes": [asdict(one) for one in passes]}


def passes_in(tags: Mapping[str, Any], drill: Drill) -> tuple[Pass, ...]:
    """The passes of a saved take of that drill; none if it is not one."""
    try:
        passes = tuple(Pass(**one) for one in tags["passes"])
    except (KeyError, TypeError):
        return ()
    fits = tags.get("drill") == drill.name and all(
        0 <= one.first < one.upto <= one.last <= len(drill.steps) for one in passes
    )
    return passes if fits else ()
