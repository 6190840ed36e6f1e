"""State of the take on the screen, folded from its events. Draws nothing.

`TakeState` holds one small object per life time: the plan and its steps (the whole take), the
playhead (one pass), the current step, the marks (carried from take to take of one drill), the
pitch trace, the messages and the outcome.
"""

from __future__ import annotations

import math
from array import array
from bisect import bisect_right
from collections import deque
from dataclasses import dataclass, field, replace
from enum import StrEnum

from trainer.app.display_smoothing import DisplayedReading, DisplaySmoother
from trainer.drill import BeatClock, CleannessRule, Clock, Drill, Goal, Solo, Sound, Step
from trainer.ear import HeardNote, Reading
from trainer.marking import Mark, Position, Result
from trainer.music import hz_to_midi
from trainer.practice import (
    Event,
    LoopStarted,
    NoteEnded,
    Notice,
    PassEnded,
    PassStarted,
    Plan,
    PositionChanged,
    ReadingHeard,
    SavingProgress,
    SilenceEnded,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
    WaitStarted,
)
from trainer.report.solo_report import solo_guide
from trainer.report.take_lines import saving_text

TRAIL_POINTS = 4096
"""Maximum points of the pitch trail: 20 s at 200 readings a second."""
NOTES_KEPT = 12
"""Maximum heard notes that are kept while no drill is played."""
BREATH_S = 1.0
"""Time in seconds for which a note may sound on after it has been held long enough with a free
clock: that of a calm breath (chosen by hand)."""
ATTACK_S = 0.06
"""Time after an onset, in seconds, in which the screen updates at every reading: about as long as
a pitch takes to settle."""
DEFAULT_RATE = 48_000
"""Sample rate in hertz that is assumed before the first reading."""


class Phase(StrEnum):
    """Phase of a take; the value is what the screen shows."""

    READY = "ready"
    OPENING = "starting"
    COUNTING = "count-in"
    PLAYING = "playing"
    WAITING = "waiting"
    LISTENING = "listening"
    PAUSED = "paused"
    NO_SOUND = "no sound"
    FAILED = "failed"
    ENDED = "stopped"


@dataclass(frozen=True, slots=True)
class PitchPoint:
    """One point of the pitch trace.

    Attributes:
        sample: index of the sample at which the pitch was measured.
        cents: pitch in cents above MIDI note 0, at the harp's A4.
        leak: whether an unwanted hole sounded too.
    """

    sample: int
    cents: float
    leak: bool


class PitchHistory:
    """All pitch points of a pass, 13 bytes each."""

    def __init__(self) -> None:
        self._samples, self._cents, self._leaks = array("q"), array("f"), bytearray()

    def clear(self) -> None:
        """Delete all points."""
        del self._samples[:], self._cents[:], self._leaks[:]

    def add(self, point: PitchPoint) -> None:
        """Append a point."""
        self._samples.append(point.sample)
        self._cents.append(point.cents)
        self._leaks.append(point.leak)

    def between(self, first: float, last: float) -> list[PitchPoint]:
        """Return the points from sample `first` to sample `last`, oldest first."""
        return [
            PitchPoint(sample, self._cents[i], bool(self._leaks[i]))
            for i, sample in enumerate(self._samples)
            if first <= sample <= last
        ]


@dataclass(slots=True)
class PitchTrail:
    """The pitch points of a take.

    Attributes:
        recent: the last `TRAIL_POINTS` points, oldest first.
        count: points since the take began.
        history: all points of the current pass.
    """

    recent: deque[PitchPoint] = field(default_factory=lambda: deque(maxlen=TRAIL_POINTS))
    count: int = 0
    history: PitchHistory = field(default_factory=PitchHistory)

    def add(self, point: PitchPoint) -> None:
        """Append a point."""
        self.recent.append(point)
        self.history.add(point)
        self.count += 1


@dataclass(slots=True)
class MarkSheet:
    """The marks of a drill. They survive a pass and a take until a new pass replaces them.

    Attributes:
        by_step: marks by step index.
        stale: indices of steps whose mark is from an earlier pass.
        newest: the last mark given; None before the first.
        result: result of the last pass that was played to its end.
        record: identifier of that pass in the journal; None where it is not stored.
    """

    by_step: dict[int, Mark] = field(default_factory=dict)
    stale: frozenset[int] = frozenset()
    newest: Mark | None = None
    result: Result | None = None
    record: str | None = None

    def add(self, mark: Mark) -> None:
        """Enter a mark of the current pass."""
        self.by_step = {**self.by_step, mark.step.index: mark}
        self.stale -= {mark.step.index}
        self.newest = mark

    def start_pass(self) -> None:
        """Declare all marks stale; the newest mark is of the pass before."""
        self.newest = None
        self.stale = frozenset(self.by_step)

    def end_pass(self, result: Result, record: str | None, *, were_provisional: bool) -> None:
        """Enter the result of a pass: steps that were left out at its end have their marks now.

        Args:
            result: what the pass earned.
            record: its identifier in the journal; None where it is not stored.
            were_provisional: whether the marks so far are void, as of a player who was followed.
        """
        marks = {mark.step.index: mark for mark in result.marks}
        self.by_step = marks if were_provisional else {**self.by_step, **marks}
        self.stale -= marks.keys()
        self.result, self.record = result, record

    @property
    def fresh(self) -> list[Mark]:
        """The marks of the current pass."""
        return [mark for index, mark in self.by_step.items() if index not in self.stale]


@dataclass(slots=True)
class Playhead:
    """Position in a pass.

    Attributes:
        clock: maps samples to beats; None before a pass starts and while no drill is played.
        steps: range of step indices of the pass, the last excluded.
        first_beat: beat at which the count-in ends: the first of the bar the pass begins in.
        position: beats from the drill's first beat, or seconds while no drill is played; None
            before the first reading.
        resuming: whether the next start continues an interrupted pass.
    """

    clock: Clock | None
    steps: tuple[int, int]
    first_beat: int = 0
    position: float | None = None
    resuming: bool = False


@dataclass(slots=True)
class CurrentStep:
    """State of the step in play.

    Attributes:
        due: index of the first step without a mark in this pass.
        onset: sample of the last onset; None before the first.
        won: with a free clock, sample at which the step before was held long enough; None once
            another note begins.
        held_s: with a free clock, time in seconds for which the step has been held in tune.
    """

    due: int = 0
    onset: int | None = None
    won: int | None = None
    held_s: float = 0.0


@dataclass(slots=True)
class Messages:
    """What the status line reports.

    Attributes:
        trouble: why there is no sound or no take, as a sentence.
        notice: a warning that does not stop the take, as a sentence.
        source: name of the source.
        paused_bar: bar at which the player paused.
        progress: how far the daily set is, where it is played without hands.
        saving: how far the take's sound is saved; empty once it is.
    """

    trouble: str = ""
    notice: str = ""
    source: str = ""
    paused_bar: int | None = None
    progress: str = ""
    saving: str = ""


@dataclass(slots=True)
class Outcome:
    """What a take leaves behind.

    Attributes:
        passes: passes played to their end.
        saved: file in which the player asked to keep the sound.
        audio: file from which the take can be played back, once it is over.
        fell_silent: whether it ended because nothing was played for too long.
    """

    passes: int = 0
    saved: str | None = None
    audio: str | None = None
    fell_silent: bool = False


class StepTimes:
    """The steps of a plan and the beats at which each starts and ends."""

    def __init__(self, plan: Plan) -> None:
        self.steps: tuple[Step, ...] = plan.drill.steps if plan.drill else ()
        self.starts = [float(step.start) for step in self.steps]
        self.ends = [float(step.end) for step in self.steps]

    def started(self, beat: float) -> int:
        """Return the number of steps that start at or before a beat."""
        return bisect_right(self.starts, beat)

    def ended(self, beat: float) -> int:
        """Return the number of steps that end at or before a beat."""
        return bisect_right(self.ends, beat)


class TakeState:
    """A take: its plan, where it is, and what it has earned so far.

    Args:
        plan: what is played.

    Attributes:
        plan: what is played.
        phase: phase of the take.
        playhead: position in the current pass.
        sheet: marks and result.
        pitch: the pitch trace.
        messages: what the status line reports.
        outcome: what the take leaves behind.
        reading: the newest reading; None before the first.
        notes: the last notes heard without a drill, newest first.
        loop: the passage that is played and the sample at which it began; None for none.
        wait: the wait for the next pass; None while none is on.
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.phase = Phase.READY
        self.playhead = Playhead(None, _step_range(plan))
        self.sheet = MarkSheet()
        self.pitch = PitchTrail()
        self.messages = Messages()
        self.outcome = Outcome()
        self.reading: Reading | None = None
        self.notes: tuple[HeardNote, ...] = ()
        self.loop: LoopStarted | None = None
        self.wait: WaitStarted | None = None
        self._times = StepTimes(plan)
        self._current = CurrentStep()
        self._smoother = DisplaySmoother(plan.harp, self.goal.tolerance)

    @property
    def drill(self) -> Drill | None:
        """The drill that is played; None while only listening."""
        return self.plan.drill

    @property
    def steps(self) -> tuple[Step, ...]:
        """The drill's steps; empty while only listening."""
        return self._times.steps

    @property
    def whole_range(self) -> tuple[int, int]:
        """Range of step indices of a whole pass, the last excluded."""
        return _step_range(self.plan)

    @property
    def goal(self) -> Goal:
        """The drill's goal, or the default."""
        return self.drill.goal if self.drill else Goal()

    @property
    def tempo(self) -> float:
        """Beats a minute; while only listening, a beat is a second."""
        return self.playhead.clock.tempo if self.playhead.clock else self.plan.first_tempo

    @property
    def displayed(self) -> DisplayedReading:
        """The smoothed reading; before the first, only the sound that is wanted first."""
        displayed = self._smoother.displayed
        return displayed if self.reading else replace(displayed, wanted=self.wanted)

    @property
    def running(self) -> bool:
        """Whether sound comes in, or will."""
        return self.phase not in (Phase.READY, Phase.FAILED, Phase.ENDED)

    @property
    def in_attack(self) -> bool:
        """Whether a note began less than `ATTACK_S` ago."""
        if self.reading is None or self._current.onset is None:
            return False
        return self.reading.heard - self._current.onset < ATTACK_S * self.reading.rate

    @property
    def step(self) -> Step | None:
        """The step at the playhead; None in a rest, a count-in, or while only listening."""
        position = self.playhead.position
        if position is None:
            return None
        index = self._times.started(position) - 1
        first, last = self.playhead.steps
        sounds = first <= index < last and position < self._times.ends[index]
        return self.steps[index] if sounds else None

    @property
    def next_step(self) -> Step | None:
        """The step at the playhead, or else the next one; None after the last."""
        first, last = self.playhead.steps
        if self.playhead.position is None:
            return self.steps[first] if first < last else None
        index = max(first, self._times.ended(self.playhead.position))
        return self.steps[index] if index < last else None

    @property
    def solo(self) -> Solo | None:
        """The solo at the playhead; None elsewhere."""
        position = self.playhead.position
        if position is None or self.drill is None:
            return None
        solos = self.drill.solos
        return next((each for each in solos if each.start <= position < each.end), None)

    @property
    def wanted(self) -> Sound:
        """The sound to play now, or next; empty for none, and in a solo."""
        step = self.next_step
        if step is None or self.solo is not None:
            return ()
        share = 0.0
        if self.playhead.position is not None and step.has_path:
            beats = self.playhead.position - self._times.starts[step.index]
            share = max(0.0, beats / float(step.beats))
        return step.sounds[round(step.path_position(share))]

    @property
    def guide(self) -> str:
        """What a solo needs at the playhead, or asks for if it is next; empty elsewhere."""
        if self.drill is None or not (self.drill.solos and self.running):
            return ""
        return solo_guide(self.drill, self.plan.harp, self.playhead.position)

    @property
    def remark(self) -> str:
        """The remarks of the drill on the step at the playhead, or next; empty for none."""
        step = self.next_step
        if step is None or self.drill is None or not self.running:
            return ""
        return " ".join(self.drill.remarks_on(step))

    @property
    def held_s(self) -> float | None:
        """With a free clock, time in seconds for which the step has been held; else None."""
        return self._current.held_s if self.has_free_clock and self.running else None

    @property
    def goes_on_in_s(self) -> int | None:
        """Whole seconds until the next pass begins by itself; None if it waits for a note."""
        if self.wait is None or self.wait.until is None or self.reading is None:
            return None
        return max(0, math.ceil((self.wait.until - self.reading.heard) / self.reading.rate))

    @property
    def count_in_beats(self) -> int:
        """Length of the count-in in beats."""
        if self.drill is None or self.drill.free or self.plan.follows:
            return 0
        bar = self.plan.entry_bar(self.playhead.steps[0]) if self.steps else 1
        return self.plan.count_in or self.drill.count_in_beats(bar)

    @property
    def counted_beats(self) -> int:
        """Beats of the count-in so far; all of them once it is over."""
        if self.playhead.position is None:
            return 0
        before_first = self.playhead.first_beat - self.count_in_beats
        counted = math.floor(self.playhead.position) - before_first + 1
        return min(max(counted, 0), self.count_in_beats)

    @property
    def weakest(self) -> Mark | None:
        """The lowest mark of the current pass; None before the first."""
        return min(self.sheet.fresh, key=lambda mark: mark.score, default=None)

    def inherit_marks(self, earlier: TakeState) -> None:
        """Copy the marks of an earlier take of the same drill, as stale ones."""
        sheet = earlier.sheet
        self.sheet = replace(sheet, stale=frozenset(sheet.by_step))

    def apply(self, event: Event) -> None:
        """Update the state by the next event of the take."""
        match event:
            case ReadingHeard(reading, held_s):
                self._current.held_s = held_s
                self._apply_reading(reading)
            case NoteEnded(note):
                self.notes = (note, *self.notes[: NOTES_KEPT - 1])
            case StepMarked(mark):
                self.sheet.add(mark)
                if not self.plan.follows:
                    self._current.due = mark.step.index + 1
                if self.has_free_clock:
                    self.playhead.clock = None
                    self._current.won = self.reading.sample if self.reading else None
            case PassStarted():
                self._start_pass(event)
            case PositionChanged(position):
                self._follow(position)
            case PassEnded(result, record):
                self.sheet.end_pass(result, record, were_provisional=self.plan.follows)
                self.outcome.passes += 1
            case WaitStarted():
                self._wait(event)
            case SilenceEnded():
                self.outcome.fell_silent = True
            case TakePaused(sentence, None):
                self.phase, self.messages.trouble = Phase.NO_SOUND, sentence
            case TakePaused(bar=bar):
                self.phase, self.messages.paused_bar = Phase.PAUSED, bar
            case LoopStarted():
                self.loop = event
            case TakeResumed():
                self.phase, self.messages.trouble = Phase.OPENING, ""
                self.playhead.resuming = True
            case Notice(sentence):
                self.messages.notice = sentence
            case SavingProgress(fraction):
                self.messages.saving = saving_text(fraction)
            case TakeFailed(sentence):
                self.fail(sentence)
            case TakeFinished(saved, sound):
                self.outcome.saved, self.outcome.audio = saved, sound
                self.messages.saving = ""
                if self.phase is not Phase.FAILED:
                    self.phase = Phase.ENDED

    def fail(self, sentence: str) -> None:
        """Declare the take failed, for a reason given as a sentence."""
        self.phase, self.messages.trouble = Phase.FAILED, sentence

    def _wait(self, wait: WaitStarted) -> None:
        """Wait for the next pass, before its first step."""
        self.phase, self.wait = Phase.WAITING, wait
        self.playhead.clock = self.playhead.position = None
        self._current = CurrentStep(due=self.playhead.steps[0], onset=self._current.onset)

    def _start_pass(self, started: PassStarted) -> None:
        playhead = self.playhead
        playhead.clock = started.clock
        self.messages.source, self.messages.trouble, self.wait = started.source, "", None
        if started.clock is None and self.drill is None:
            self.phase = Phase.LISTENING
            return
        is_counted_in = not (self.has_free_clock or self.plan.follows)
        self.phase = Phase.COUNTING if is_counted_in else Phase.PLAYING
        self._current.due = started.first
        playhead.steps = (started.first, started.last)
        playhead.first_beat = self._first_beat()
        if not playhead.resuming:
            self.sheet.start_pass()
            self.pitch.history.clear()
        playhead.resuming = False

    def _follow(self, position: Position | None) -> None:
        """Move the playhead to the step that a player who is followed has begun."""
        if position is None:
            self.playhead.clock = None
            return
        self.playhead.clock = position.clock
        self._current.due = position.step + 1

    def _first_beat(self) -> int:
        """Return the first beat of the bar in which the pass begins."""
        if self.drill is None or not self.steps:
            return 0
        return self.drill.entry_beat(self.plan.entry_bar(self.playhead.steps[0]))

    def _apply_reading(self, reading: Reading) -> None:
        self.reading = reading
        playhead = self.playhead
        if reading.onset is not None:
            self._current.onset = reading.onset
            self._current.won = None
        if self.phase is Phase.WAITING:
            pass
        elif self.has_free_clock and self.running and self._current.due < playhead.steps[1]:
            self._run_free_clock(reading)
        elif playhead.clock is not None:
            playhead.position = playhead.clock.beat(reading.heard)
            if self.plan.follows:  # it waits for the next step to begin
                playhead.position = min(playhead.position, self._times.ends[self._current.due - 1])
            elif self.phase in (Phase.COUNTING, Phase.PLAYING):
                counting = playhead.position < playhead.first_beat
                self.phase = Phase.COUNTING if counting else Phase.PLAYING
        elif self.phase is Phase.LISTENING:
            playhead.position = reading.heard_at
        wanted = self.wanted
        rule = self.next_step.cleanness_rule if self.next_step else CleannessRule.PLAIN
        self._smoother.add(
            reading,
            wanted,
            due=self.step is not None and not self._is_sounding_on(reading),
            neighbours=rule not in (CleannessRule.PLAIN, CleannessRule.CLEAN),
        )
        if reading.hz is not None:
            wanted_holes = {tab.hole for tab in wanted}
            leak = reading.clean is False and not wanted_holes.issuperset(reading.holes)
            self.pitch.add(PitchPoint(reading.sample, midi_cents(self.plan, reading.hz), leak))

    @property
    def has_free_clock(self) -> bool:
        """Whether the drill waits for the player."""
        return self.drill is not None and self.drill.free

    def _is_sounding_on(self, reading: Reading) -> bool:
        """Whether the note of a step that was just held may still sound."""
        won = self._current.won
        return won is not None and reading.sample - won < BREATH_S * reading.rate

    def _run_free_clock(self, reading: Reading) -> None:
        """Move the playhead through the due step, again and again until it is played."""
        step, tempo = self.steps[self._current.due], self.plan.first_tempo
        start = round(float(step.start) * 60.0 / tempo * reading.rate)
        restarted = BeatClock(reading.heard - start, tempo, reading.rate)
        clock = self.playhead.clock or restarted
        if clock.beat(reading.heard) >= float(step.end):
            clock = restarted
        self.playhead.clock = clock
        self.playhead.position = clock.beat(reading.heard)


def midi_cents(plan: Plan, hz: float) -> float:
    """Return a frequency in hertz as cents above MIDI note 0, at the A4 of the plan's harp."""
    return 100.0 * hz_to_midi(hz, plan.harp.a4)


def _step_range(plan: Plan) -> tuple[int, int]:
    """Return the range of step indices that a plan plays, the last excluded."""
    if plan.drill is None:
        return 0, 0
    if plan.played_bars is None:
        return 0, len(plan.drill.steps)
    steps = plan.drill.step_range(*plan.played_bars)
    return steps.start, steps.stop


def step_clock(take: TakeState, mark: Mark) -> BeatClock:
    """Return a clock on which a marked step is due at the sample at which it was due in the take.

    That is the step's measured start less its lateness. A step that was not played has the clock of
    the pass.
    """
    step, measured, rate = mark.step, mark.measured, _rate(take)
    tempo = take.sheet.result.tempo if take.sheet.result else take.tempo
    running, drill = take.playhead.clock, take.plan.drill
    clock = drill.clock(rate, tempo=tempo) if drill else BeatClock(0, tempo, rate)
    if running:
        clock = replace(clock, zero=running.zero)
    if measured.start is not None:
        due = measured.start - round((measured.late_ms or 0.0) / 1000.0 * rate)
        clock = replace(clock, zero=clock.zero + due - clock.sample(step.start))
    return clock


def _rate(take: TakeState) -> int:
    return take.reading.rate if take.reading else DEFAULT_RATE
