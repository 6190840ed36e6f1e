"""A pass: one go through a range of steps; and what is kept with a saved take."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from trainer.drill import BeatClock, Drill
from trainer.harp import Harp
from trainer.sound import Recording

TAIL_S, TAIL_BEATS = 0.6, 0.75
"""How long after its last step a pass still listens, whichever is less: for a late player and a
ringing reed. It must be over before the shortest count-in is."""


FOREVER = 2**62
"""A sample that never comes."""


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
        swing: as in :class:`trainer.drill.BeatClock`.
        waits: whether it goes on beyond `close` for a player who is late.
    """

    zero: int
    tempo: float
    first: int
    last: int
    begin: int
    close: int
    upto: int
    broken: bool = False
    swing: float = 1.0
    waits: bool = False

    @classmethod
    def of(
        cls, drill: Drill, clock: BeatClock, steps: range, begin: int, *, waits: bool = False
    ) -> Pass:
        """A pass that runs its course."""
        end = clock.sample(drill.steps[steps[-1]].end)
        close = end + round(min(TAIL_S, TAIL_BEATS * 60.0 / clock.tempo) * clock.rate)
        first, last = steps[0], steps[-1] + 1
        return cls(
            clock.zero, clock.tempo, first, last, begin, close, last, swing=clock.swing, waits=waits
        )

    @classmethod
    def free(cls, drill: Drill, steps: range, begin: int) -> Pass:
        """A pass that has no time and is over when the player has done it."""
        first, last = steps[0], steps[-1] + 1
        return cls(0, drill.tempo, first, last, begin, FOREVER, upto=last)

    def clock(self, rate: int) -> BeatClock:
        """Its beats on the sample clock."""
        return BeatClock(self.zero, self.tempo, rate, self.swing)


def tags_of(drill: Drill | None, harp: Harp, passes: Sequence[Pass]) -> dict[str, Any]:
    """What is kept with a saved take, as JSON can hold it."""
    in_hand = {
        "key": harp.key.name,
        "tuning": harp.tuning.name,
        "a4": harp.a4,
        "temperament_name": harp.temperament.name,
        "offsets": {str(tab): cents for tab, cents in harp.offsets.items()},
    }
    if drill is None:
        return {"harp": in_hand}
    return {"harp": in_hand, "drill": drill.name, "passes": [asdict(one) for one in passes]}


def saved_harp(recording: Path) -> Harp | None:
    """The harp that a saved take was played on; None for any other recording.

    Raises:
        SoundError: it cannot be read.
        HarpError: its tuning is not at hand any more.
    """
    opened = Recording(recording)
    opened.close()
    try:
        return Harp.of(**opened.tags["harp"])
    except (AttributeError, KeyError, TypeError):
        return None


def passes_in(tags: Mapping[str, Any], drill: Drill) -> tuple[Pass, ...]:
    """The passes of a saved take of that drill; none if it is not one."""
    try:
        passes = tuple(Pass(**one) for one in tags["passes"])
        fits = tags["drill"] == drill.name and all(
            0 <= one.first <= one.upto <= one.last <= len(drill.steps) for one in passes
        )
    except (KeyError, TypeError):
        return ()
    return passes if fits else ()
