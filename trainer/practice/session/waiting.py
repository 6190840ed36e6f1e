"""Waiting between passes, for a player who has no hand free.

After a pass come two beats of silence, in which the last note may ring out. From then on a played
note begins the next pass, and after some seconds it begins by itself. After a minute of silence the
take ends: nothing runs endlessly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum, auto

from trainer.ear import Reading
from trainer.harp import Tab
from trainer.practice.events import WaitStarted
from trainer.practice.plan import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingParameters:
    """Constants of waiting between passes. All chosen by hand."""

    ring_out_beats: float = 2.0
    """Silence in beats after which a note begins the next pass."""
    ring_out_range_s: tuple[float, float] = (0.5, 1.5)
    """Minimum and maximum of this silence in seconds."""
    note_s: float = 0.2
    """Time in seconds for which a note sounds until it begins a pass: speech and knocks hold no
    note of the harp for as long."""
    gap_s: float = 0.05
    """Maximum gap in seconds within a note."""
    echo_s: float = 0.6
    """Time in seconds for which the reference tone may come back after its end, by way of slow
    headphones and the room."""
    limit_s: float = 60.0
    """Silence in seconds after which the take ends."""


WAITING = WaitingParameters()


class Decision(Enum):
    """What ends the wait."""

    BEGIN = auto()
    """The next pass begins."""
    END = auto()
    """Nothing was played for too long; the take ends."""


class Waiting:
    """Decides when the next pass begins.

    Args:
        plan: what is played.
        rate: samples per second.

    Attributes:
        event: the event of the current wait; None while none is on.
        is_over: whether the take ends, because nothing was played for too long.
    """

    def __init__(self, plan: Plan, rate: int) -> None:
        beat_s = 60.0 / plan.first_tempo
        least, most = WAITING.ring_out_range_s
        self._ring_out = round(min(max(WAITING.ring_out_beats * beat_s, least), most) * rate)
        self._rate = rate
        self.event: WaitStarted | None = None
        self.is_over = False
        self._seconds: float | None = None
        self._last_sound = 0
        self._note: tuple[Tab, int] | None = None
        self._deaf_until = 0.0
        self._held = False

    def start(self, sample: int, seconds: float | None, *, armed: bool = False) -> WaitStarted:
        """Start to wait.

        Args:
            sample: the current sample.
            seconds: time after the silence until the pass begins by itself; None for a pass that
                only a note begins.
            armed: whether a note begins it from the start, without that silence before.
        """
        self._seconds, self._note = seconds, None
        self.event = self._armed_event(sample) if armed else WaitStarted()
        return self.event

    def stop(self, *, for_good: bool = False) -> None:
        """End the wait: the pass begins, or the take ends."""
        self.event, self.is_over = None, for_good

    def hold(self, held: bool, sample: int) -> WaitStarted | None:
        """Hold the next pass, or wait for it again from the beginning.

        Returns:
            The changed wait; None if nothing changes.
        """
        self._held, self._note = held, None
        if held or self.event is None or not self.event.armed:
            return None
        self._last_sound = sample
        self.event = self._armed_event(sample)
        return self.event

    def hear_tone(self, sounds: bool, sample: int) -> None:
        """Ignore what is heard while the reference tone sounds; it comes back to the microphone."""
        self._deaf_until = math.inf if sounds else sample + WAITING.echo_s * self._rate
        self._note = None
        self._last_sound = sample

    def note_sound(self, reading: Reading) -> None:
        """Take note of a reading outside the wait: how long it has been silent counts."""
        if reading.tab is not None:
            self._last_sound = reading.heard

    def observe(self, reading: Reading) -> Decision | WaitStarted | None:
        """Return what a reading brings: a decision, a changed wait, or nothing."""
        now, event = reading.heard, self.event
        assert event is not None
        if now < self._deaf_until:
            self._last_sound = now
            return None
        if reading.tab is not None:
            return self._hear(reading, reading.tab)
        silence = now - self._last_sound
        if silence > WAITING.gap_s * self._rate:
            self._note = None
        if silence >= WAITING.limit_s * self._rate:
            return Decision.END
        if self._held:
            return None
        if silence >= self._ring_out and not event.armed:
            self.event = self._armed_event(now)
            return self.event
        if event.until is not None and now >= event.until and self._note is None:
            return Decision.BEGIN
        return None

    def _hear(self, reading: Reading, tab: Tab) -> Decision | None:
        """Return what a note brings."""
        event, now = self.event, reading.heard
        assert event is not None
        self._last_sound = now
        if self._held or not event.armed:
            return None
        if self._note is None or self._note[0] != tab:
            self._note = tab, now
        elif now - self._note[1] >= WAITING.note_s * self._rate:
            return Decision.BEGIN
        return None

    def _armed_event(self, sample: int) -> WaitStarted:
        until = None if self._seconds is None else sample + round(self._seconds * self._rate)
        return WaitStarted(until, armed=True)
