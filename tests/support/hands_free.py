"""A player without a free hand: plays each pass, and a note to begin the next one."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from fractions import Fraction

from trainer.drill import BeatClock, Step
from trainer.harp import Tab
from trainer.sound import Fault, PlayerSpec
from trainer.sound.performer.pace import Pace
from trainer.sound.performer.performance import perform
from trainer.sound.sources.player import BuiltInPlayer
from trainer.sound.sources.source import DrillSetup


@dataclass(frozen=True, slots=True)
class HandsFreePlayerSpec(PlayerSpec):
    """The built-in player, which begins passes by playing a note.

    Attributes:
        notes: seconds from the beginning of each wait to the note; None plays none.
    """

    notes: tuple[float | None, ...] = ()

    def open(self, setup: DrillSetup) -> HandsFreePlayer:
        """Make the player ready."""
        assert setup.drill is not None
        assert setup.harp is not None
        return HandsFreePlayer(
            setup.drill,
            setup.harp,
            tempo=setup.tempo,
            bars=setup.bars,
            count_in=setup.count_in,
            spec=self,
        )


class HandsFreePlayer(BuiltInPlayer):
    """The built-in player, which begins passes by playing a note of half a second."""

    def __init__(self, *given: object, **named: object) -> None:
        super().__init__(*given, **named)  # type: ignore[arg-type]
        spec = self._spec
        assert isinstance(spec, HandsFreePlayerSpec)
        self._notes = deque(spec.notes)

    def resume_pass(self, bars: tuple[int, int], tempo: float | None = None) -> BeatClock:
        """Begin a pass; this is no wait."""
        super().pause()
        self._pass_end = self._rendered
        return self._add_pass(tempo, bars)

    def pause(self) -> None:
        """End the pass: the wait begins."""
        super().pause()
        after = self._notes.popleft() if self._notes else None
        if after is not None:
            zero = self._rendered + round(after * self.rate)
            step = Step(0, ((Tab.parse("4"),),), Fraction(0), Fraction(1, 2))
            pace = Pace(BeatClock(zero, 60.0, self.rate), 1.0, (step.start, step.end), {})
            self._voices = deque(perform(self._harp, pace, [(step, Fault())], self._spec.seed))
