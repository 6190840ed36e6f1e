"""The tempo ladder: the tempo climbs while passes are good, and steps back after a bad one."""

from __future__ import annotations

from trainer.drill import Climb


class TempoLadder:
    """Where a looped drill is on its way up.

    Attributes:
        tempo: of the next pass, beats a minute.
    """

    def __init__(self, climb: Climb, start: float) -> None:
        """Begin at `start` beats a minute, under which it never steps."""
        self.tempo = start
        self._climb, self._start = climb, start
        self._good = 0

    def take(self, passed: bool) -> None:
        """Count a pass: whether it was good."""
        self._good = self._good + 1 if passed else 0
        if not passed:
            self.tempo = max(self._start, self.tempo - self._climb.by)
        elif self._good == self._climb.after:
            self._good = 0
            self.tempo = max(self.tempo, min(self._climb.to, self.tempo + self._climb.by))
