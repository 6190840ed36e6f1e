"""A microphone that falls silent."""

from __future__ import annotations

from trainer.ear import Reading
from trainer.practice.events import Notice

HUSH_S = 0.4
"""So long a silence without a single bit of noise is noticed."""
QUIETEST_DB = -120.0
"""The level of such a silence in a reading."""


class MuteDetector:
    """Notices a microphone that falls silent to the last bit, as none does that is switched on.

    It may be muted, or another input may have taken its place. Some have a gate that does the
    same between notes: a silence that ends by itself is told of again only when twice as long.
    """

    def __init__(self) -> None:
        self._last = 0.0
        self._heard = self._told = False
        self._patience = HUSH_S

    def hear(self, reading: Reading) -> Notice | None:
        """What is to be said after a reading, if anything."""
        silent_s = reading.heard_at - self._last
        if reading.level_db > QUIETEST_DB:
            self._last, self._heard, told = reading.heard_at, True, self._told
            self._told = False
            if told:
                self._patience = 2.0 * silent_s
                return Notice("the microphone gives sound again")
        elif self._heard and not self._told and silent_s > self._patience:
            self._told = True
            return Notice("the microphone gives nothing but silence; is it muted or unplugged?")
        return None
