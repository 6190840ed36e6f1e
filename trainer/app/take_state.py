"""What is known of the take in hand, folded from its events. Draws nothing."""

from __future__ import annotations

import math
from array import array
from bisect import bisect_right
from collections import deque
from dataclasses import dataclass, replace
from enum import StrEnum

from trainer.app.display_smoothing import DisplayedReading, DisplaySmoother
from trainer.drill import Clock, Drill, Goal, Sound, Step
from trainer.ear import HeardNote, Reading
from trainer.marking import Mark, Result
from trainer.music import midi_of
from trainer.practice import (
    Ended,
    Event,
    Failed,
    Finished,
    Heard,
    Looping,
    Marked,
    Noted,
    Notice,
    Paused,
    Plan,
    Resumed,
    Started,
)

TRAIL_POINTS = 4096
"""Points of the pitch trace that are kept: 20 s of 200 readings a second."""
NOTES_KEPT = 12
"""Notes that are kept while no drill is played."""
ATTACK_S = 0.06
"""How long after its start a note still counts as attacked: until its pitch has come to stand."""


class Phase(StrEnum):
    """Where a take is."""

    READY = "ready"
    OPENING = "opening the sound"
    COUNTING = "count-in"
    PLAYING = "playing"
    LISTENING = "listening"
    PAUSED = "paused"
    NO_SOUND = "no sound"
    FAILED = "failed"
    ENDED = "stopped"


@dataclass(frozen=True, slots=True)
class PitchPoint:
    """One point of the pitch trace.

    Attributes:
        sample: when.
        height: MIDI note number, fractional, in cents (100 a half step), free of A4.
        leak: whether an unwanted hole sounded too.
    """

    sample: int
    height: float
    leak: bool


class PitchHistory:
    """All points of a pass, 13 bytes each."""

    def __init__(self) -> None:
        self._samples, self._heights, self._leaks = array("q"), array("f"), bytearray()

    def clear(self) -> None:
        """Forget them: another pass begins."""
        del self._samples[:], self._heights[:], self._leaks[:]

    def add(self, point: PitchPoint) -> None:
        """Remember one more."""
        self._samples.append(point.sample)
        self._heights.append(point.height)
        self._leaks.append(point.leak)

    def between(self, first: float, last: float) -> list[PitchPoint]:
        """The points between two samples, in the order in which they came."""
        return [
            PitchPoint(sample, self._heights[i], bool(self._leaks[i]))
            for i, sample in enumerate(self._samples)
            if first <= sample <= last
        ]


class TakeState:
    """The take in hand: its plan, where it is, and what it has earned so far.

    Marks stay when a new pass begins, as `old`, until the pass replaces them.

    Attributes:
        notes: the last ones that were played without a drill, the newest first.
        history: the pitch of the pass in hand.
        window: what the trace shows, as its first beat and the beats in a third of it; None where
            it follows the position.
        sound: where the take can be heard once it is over.
        loop: the passage that is heard, and since when.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.phase = Phase.READY
        self.clock: Clock | None = None
        self.range = _steps_of(plan)
        self.position: float | None = None
        self.reading: Reading | None = None
        self.marks: dict[int, Mark] = {}
        self.old: frozenset[int] = frozenset()
        self.last: Mark | None = None
        self.result: Result | None = None
        self.passes = 0
        self.sentence = ""
        self.notice = ""
        self.bar: int | None = None
        self.source = ""
        self.saved: str | None = None
        self.trail: deque[PitchPoint] = deque(maxlen=TRAIL_POINTS)
        self.history = PitchHistory()
        self.notes: tuple[HeardNote, ...] = ()
        self.window: tuple[float, float] | None = None
        self.sound: str | None = None
        self.loop: Looping | None = None
        self.heard = 0
        self._resuming = False
        self._attack: int | None = None
        self._from = 0
        self._due = 0
        self._ats = [float(step.at) for step in self.steps]
        self._ends = [float(step.end) for step in self.steps]
        self._needle = DisplaySmoother(plan.harp, self.goal.tolerance)

    @property
    def drill(self) -> Drill | None:
        """What is played; None only listens."""
        return self.plan.drill

    @property
    def steps(self) -> tuple[Step, ...]:
        """The drill's steps; none when only listening."""
        return self.drill.steps if self.drill else ()

    @property
    def whole(self) -> tuple[int, int]:
        """Range of step indices of a whole pass, the last not included."""
        return _steps_of(self.plan)

    @property
    def goal(self) -> Goal:
        """What counts as good."""
        return self.drill.goal if self.drill else Goal()

    @property
    def tempo(self) -> float:
        """Beats a minute; seconds serve as beats when only listening."""
        return self.clock.tempo if self.clock else self.plan.first_tempo

    @property
    def shown(self) -> DisplayedReading:
        """The calmed reading; before any, what is to be played first."""
        shown = self._needle.shown
        return shown if self.reading else replace(shown, wanted=self.wanted)

    @property
    def running(self) -> bool:
        """Whether sound is coming, or will."""
        return self.phase not in (Phase.READY, Phase.FAILED, Phase.ENDED)

    @property
    def attacking(self) -> bool:
        """Whether a note has only just begun, so that every reading is news."""
        if self.reading is None or self._attack is None:
            return False
        return self.reading.heard - self._attack < ATTACK_S * self.reading.rate

    @property
    def step(self) -> Step | None:
        """The step that is to sound now; None in a rest, a count-in, or when only listening."""
        if self.position is None:
            return None
        index = bisect_right(self._ats, self.position) - 1
        first, last = self.range
        sounds = first <= index < last and self.position < self._ends[index]
        return self.steps[index] if sounds else None

    @property
    def next_step(self) -> Step | None:
        """The step that is to sound now, or else the next one; None after the last."""
        first, last = self.range
        if self.position is None:
            return self.steps[first] if first < last else None
        index = max(first, bisect_right(self._ends, self.position))
        return self.steps[index] if index < last else None

    @property
    def wanted(self) -> Sound:
        """The sound asked for now, or next; empty when none is."""
        step = self.next_step
        if step is None:
            return ()
        part = 0.0
        if self.position is not None and step.moves:
            part = max(0.0, (self.position - self._ats[step.index]) / float(step.beats))
        return step.sounds[round(step.place(part))]

    @property
    def count_in(self) -> int:
        """Beats of count-in."""
        if self.drill is None or self.drill.free:
            return 0
        bar = self.plan.entered(self.range[0]) if self.steps else 1
        return self.plan.count_in or self.drill.count_in(bar)

    @property
    def count(self) -> int:
        """Beats of the count-in that have come, from 0; all of them once it is over."""
        if self.position is None:
            return 0
        past = math.floor(self.position) - self._from + self.count_in + 1
        return min(max(past, 0), self.count_in)

    @property
    def weakest(self) -> Mark | None:
        """The mark of the present pass that is lowest so far; None before the first."""
        fresh = [mark for index, mark in self.marks.items() if index not in self.old]
        return min(fresh, key=lambda mark: mark.score, default=None)

    def remember(self, other: TakeState) -> None:
        """Take over the marks of an earlier take of the same drill, as old ones."""
        self.marks, self.last, self.result = other.marks, other.last, other.result
        self.old = frozenset(self.marks)

    def see(self, event: Event) -> None:
        """Take the next event."""
        match event:
            case Heard(reading):
                self._hear(reading)
            case Noted(note):
                self.notes = (note, *self.notes[: NOTES_KEPT - 1])
            case Marked(mark):
                self.marks = {**self.marks, mark.step.index: mark}
                self.old -= {mark.step.index}
                self.last = mark
                self._due = mark.step.index + 1
                if self._is_free:
                    self.clock = None
            case Started():
                self._start(event)
            case Ended(result):
                self.result = result
                self.passes += 1
            case Paused(sentence, None):
                self.phase, self.sentence = Phase.NO_SOUND, sentence
            case Paused(bar=bar):
                self.phase, self.bar = Phase.PAUSED, bar
            case Looping():
                self.loop = event
            case Resumed():
                self.phase, self.sentence = Phase.OPENING, ""
                self._resuming = True
            case Notice(sentence):
                self.notice = sentence
            case Failed(sentence):
                self.phase, self.sentence = Phase.FAILED, sentence
            case Finished(saved, sound):
                self.saved, self.sound = saved, sound
                if self.phase is not Phase.FAILED:
                    self.phase = Phase.ENDED

    def _start(self, started: Started) -> None:
        self.clock = started.clock
        self.source = started.source
        self.sentence = ""
        if started.clock is None and self.drill is None:
            self.phase = Phase.LISTENING
            return
        self.phase = Phase.PLAYING if self._is_free else Phase.COUNTING
        self._due = started.first
        self.range = (started.first, started.last)
        self._from = self._first_beat()
        if not self._resuming:
            self.old = frozenset(self.marks)
            self.history.clear()
        self._resuming = False

    def _first_beat(self) -> int:
        """The beat that the count-in leads to: the first of the bar in which the pass begins."""
        if self.drill is None or not self.steps:
            return 0
        return self.drill.entry(self.plan.entered(self.range[0]))

    def _hear(self, reading: Reading) -> None:
        self.reading = reading
        if reading.onset is not None:
            self._attack = reading.onset
        if self._is_free and self.running and self._due < self.range[1]:
            self._wait(reading)
        elif self.clock is not None:
            self.position = self.clock.beat(reading.heard)
            if self.phase in (Phase.COUNTING, Phase.PLAYING):
                self.phase = Phase.COUNTING if self.position < self._from else Phase.PLAYING
        elif self.phase is Phase.LISTENING:
            self.position = reading.heard_at
        wanted = self.wanted
        self._needle.hear(reading, wanted, due=self.step is not None)
        if reading.hz is not None:
            holes = {tab.hole for tab in wanted}
            leak = reading.clean is False and not holes.issuperset(reading.holes)
            point = PitchPoint(reading.sample, absolute_cents(self.plan, reading.hz), leak)
            self.trail.append(point)
            self.history.add(point)
            self.heard += 1

    @property
    def _is_free(self) -> bool:
        """Whether the drill waits for the player."""
        return self.drill is not None and self.drill.free

    def _wait(self, reading: Reading) -> None:
        """Where the clock is free, time runs through the step that is due, again and again."""
        step = self.steps[self._due]
        at = round(float(step.at) * 60.0 / self.plan.first_tempo * reading.rate)
        clock = self.clock or Clock(reading.heard - at, self.plan.first_tempo, reading.rate)
        if clock.beat(reading.heard) >= float(step.end):
            clock = Clock(reading.heard - at, self.plan.first_tempo, reading.rate)
        self.clock = clock
        self.position = clock.beat(reading.heard)


def absolute_cents(plan: Plan, hz: float) -> float:
    """A pitch as cents above MIDI note 0, by the A4 of the harp in hand."""
    return 100.0 * midi_of(hz, plan.harp.a4)


def _steps_of(plan: Plan) -> tuple[int, int]:
    """The range of step indices that a plan will play."""
    if plan.drill is None:
        return 0, 0
    if plan.played_bars is None:
        return 0, len(plan.drill.steps)
    steps = plan.drill.step_range(*plan.played_bars)
    return steps.start, steps.stop


CLOSE_UP_MARGIN_S = 0.5
"""What is shown of the sound before a step and after it."""
MIN_CLOSE_UP_BEATS = 0.5


def take_at_step(take: TakeState, mark: Mark) -> TakeState:
    """A take that stands still at one of its steps, for the trace.

    Its beats are laid so that the step begins where it should have, by how late it was played.
    """
    step, measured, rate = mark.step, mark.measured, _rate(take)
    still = TakeState(replace(take.plan, bars=None, loop=False))
    tempo = take.result.tempo if take.result else take.tempo
    clock = replace(take.clock, tempo=tempo) if take.clock else Clock(0, tempo, rate)
    if measured.start is not None:
        due = measured.start - round((measured.late_ms or 0.0) / 1000.0 * rate)
        clock = replace(clock, zero=clock.zero + due - clock.sample(step.at))
    around = CLOSE_UP_MARGIN_S * tempo / 60.0
    length = max(float(step.beats), MIN_CLOSE_UP_BEATS)
    still.clock, still.position = clock, float(step.at)
    still.window = float(step.at) - around, (length + 2.0 * around) / 3.0
    first, last = (clock.sample(beat) for beat in (step.at - 4, step.end + 4))
    still.trail.extend(take.history.between(first, last))
    still.heard = len(still.trail)
    still.reading = Reading(0, 0, rate)
    return still


def _rate(take: TakeState) -> int:
    return take.reading.rate if take.reading else 48_000
