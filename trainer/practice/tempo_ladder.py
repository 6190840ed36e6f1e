"""The tempo ladder: the tempo climbs after good passes, and steps back after a bad one."""

from __future__ import annotations

from trainer.drill import Climb


class TempoLadder:
    """The tempo of a looped drill on its way up.

    Attributes:
        tempo: beats per minute of the next pass.
    """

    def __init__(self, climb: Climb, start: float) -> None:
        """Begin at `start` beats per minute, the lowest tempo."""
        self.tempo = start
        self._climb, self._start = climb, start
        self._good_in_a_row = 0

    def count_pass(self, passed: bool) -> None:
        """Count a pass, and whether it reached the pass mark."""
        self._good_in_a_row = self._good_in_a_row + 1 if passed else 0
        if not passed:
            self.tempo = max(self._start, self.tempo - self._climb.by)
        elif self._good_in_a_row == self._climb.after:
            self._good_in_a_row = 0
            self.tempo = max(self.tempo, min(self._climb.to, self.tempo + self._climb.by))
