"""Detect a microphone that is muted."""

from __future__ import annotations

from trainer.ear import Reading
from trainer.practice.events import Notice

MUTED_S = 0.4
"""Shortest silence without a single bit of noise that is reported, in seconds. Chosen."""
SILENT_DB = -120.0
"""Level of such a silence in a reading, in dBFS."""


class MuteDetector:
    """Detects digital silence, which no microphone gives that is switched on.

    It may be muted, or another input may have taken its place. Some have a gate that does the same
    between notes: after a silence that ended by itself, the next is reported only when it is twice
    as long.
    """

    def __init__(self) -> None:
        self._last_sound_s = 0.0
        self._has_heard = self._reported = False
        self._patience_s = MUTED_S

    def detect(self, reading: Reading) -> Notice | None:
        """Return what to report after a reading, if anything."""
        silent_s = reading.heard_at - self._last_sound_s
        if reading.level_db > SILENT_DB:
            was_reported, self._reported = self._reported, False
            self._last_sound_s, self._has_heard = reading.heard_at, True
            if was_reported:
                self._patience_s = 2.0 * silent_s
                return Notice("the microphone is back")
        elif self._has_heard and not self._reported and silent_s > self._patience_s:
            self._reported = True
            return Notice("the microphone is silent; is it muted or unplugged?")
        return None
