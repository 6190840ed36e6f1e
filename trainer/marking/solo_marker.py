"""Marking the solos of a pass: readings in, marks out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from trainer.drill import Clock, Drill, Solo
from trainer.ear import Reading
from trainer.harp import Harp
from trainer.marking.parameters import MARKER, SOLO
from trainer.marking.solo_criteria import mark_solo
from trainer.marking.solo_mark import SoloMark
from trainer.marking.solo_measurement import measure_solo, phrases_of
from trainer.marking.solo_notes import SoloListener


class SoloMarker:
    """Marks the solos of one pass.

    What is played in a solo is silent to the rest of the marker, but for its ends, where a written
    note may be late or early.
    """

    def __init__(self, drill: Drill, harp: Harp, clock: Clock, solos: Sequence[Solo]) -> None:
        """Start before the first solo; there may be none."""
        self._drill, self._harp, self._clock = drill, harp, clock
        brief = drill.brief
        self._listeners = [SoloListener(each, brief, harp, clock) for each in solos if brief]
        edge = SOLO.early_beats
        self._silent = [
            (clock.sample(float(each.start) + edge), clock.sample(float(each.end) - edge))
            for each in solos
        ]
        self._reported = 0
        self._newest = 0
        """Sample of the newest reading."""

    @property
    def spans(self) -> list[tuple[int, int]]:
        """First sample of each solo, and the one after its last."""
        return [(self._clock.sample(each.solo.start), each.end) for each in self._listeners]

    @property
    def unfinished(self) -> int:
        """Number of solos that have not ended."""
        return sum(self._newest < each.end for each in self._listeners)

    def observe(self, reading: Reading) -> Reading:
        """Take the next reading; return what the rest of the marker hears of it."""
        if not self._listeners:
            return reading
        self._newest = reading.sample
        for listener in self._listeners:
            listener.observe(reading)
        if any(first <= reading.sample < end for first, end in self._silent):
            return Reading(reading.sample, reading.heard, reading.rate)
        return reading

    def ended(self) -> list[SoloMark]:
        """Marks of the solos that have ended since the last call."""
        marks = []
        while self._reported < len(self._listeners):
            listener = self._listeners[self._reported]
            if self._newest < listener.end + round(MARKER.lag_s * self._clock.rate):
                break
            marks.append(self._mark(listener, listener.solo))
            self._reported += 1
        return marks

    def marks(self) -> tuple[SoloMark, ...]:
        """Marks of all solos that have ended, and of one that was stopped after a bar or more."""
        marks: list[SoloMark] = []
        for listener in self._listeners:
            solo = listener.solo
            if self._newest < listener.end:
                reached = Fraction(self._clock.beat(self._newest)).limit_denominator(1000)
                if reached - solo.start < self._drill.meter[0]:
                    break
                solo = replace(solo, beats=reached - solo.start)
            marks.append(self._mark(listener, solo))
        return tuple(marks)

    def _mark(self, listener: SoloListener, solo: Solo) -> SoloMark:
        notes = listener.notes()
        before = [each for each in self._listeners if each.solo.start < solo.start]
        earlier = [phrase for each in before for phrase in phrases_of(each.notes(), self._drill)]
        measured = measure_solo(solo, notes, self._drill, self._harp, earlier)
        return mark_solo(solo, notes, measured, self._drill, self._clock)
