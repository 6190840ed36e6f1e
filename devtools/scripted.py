"""Scripted takes: the events of a take, with playing errors of known size, without any sound.

They drive widgets, screens and their tests where no harp is played.
"""

from __future__ import annotations

import math
import random
import time
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, TypeVar

from trainer.core import TrainerError
from trainer.core.quantities import quantity_text
from trainer.drill import BeatClock, Drill, Goal, Step, find_unplayable
from trainer.ear import Reading
from trainer.harp import Harp, Tab
from trainer.marking import Mark, Measured, Result
from trainer.music import cents
from trainer.practice import (
    BeatReached,
    Command,
    Event,
    ListDevices,
    LoopStarted,
    PassEnded,
    PassStarted,
    Plan,
    PlayLoop,
    ReadingHeard,
    Request,
    StepMarked,
    TakeFailed,
    TakeFinished,
)
from trainer.sound import Device

Answer = TypeVar("Answer")

RATE = 48_000
"""Sample rate in hertz."""
HOP = 240
"""Samples between two readings: 200 readings a second."""


def drill_of(name: str, title: str, tab: str, *, tempo: float = 80.0) -> Drill:
    """Make a drill from tab with lengths in beats.

    Args:
        name: its name.
        title: its title.
        tab: entries such as ``-4:1 -4':2 -4'>-4:2 r:1``; ``r`` is a rest.
        tempo: beats a minute.
    """
    steps: list[Step] = []
    at = Fraction(0)
    for token in tab.split():
        text, _, beats = token.partition(":")
        length = Fraction(beats or "1")
        if text != "r":
            sounds = tuple((Tab.parse(part),) for part in text.split(">"))
            steps.append(Step(len(steps), sounds, at, length, int(at // 4) + 1, token))
        at += length
    return Drill(
        name,
        title,
        "Bend down to the half step, hold it still, and come back up without a scoop.",
        "C",
        "richter",
        tempo,
        (4, 4),
        Goal(),
        tuple(steps),
        at,
        ("bends",),
    )


DRILL = drill_of(
    "ferry-steps",
    "Down the ferry steps",
    "-4:1 -4':1 -4:1 r:1 -4:1 -4':2 r:1 -4'>-4:2 5:1 -5:1 -4:1/2 4:1/2 -3':2 r:1 "
    "-2'':1 -2':1 -2:1 r:1 1:1 -1:1 2:2",
)
DRILLS = (
    DRILL,
    drill_of("harbour-bell", "The harbour bell", "4:2 5:2 6:2 5:2 4:4", tempo=60.0),
    drill_of("net-mending", "Mending nets", "-3:1 -3':1 -3'':1 -3''':1 -3:4", tempo=72.0),
)


@dataclass(frozen=True, slots=True)
class PlayingError:
    """Errors of the scripted player on one step.

    Attributes:
        cents: offset from the target; positive is sharp.
        leak_db: level of a leaking neighbour relative to the wanted hole; None for no leak.
        late_beats: delay of the onset, in beats.
    """

    cents: float
    leak_db: float | None = None
    late_beats: float = 0.0


PLAYING_ERRORS = (
    PlayingError(2.0),
    PlayingError(-18.0),
    PlayingError(4.0),
    PlayingError(-1.0, leak_db=-11.0),
    PlayingError(-7.0),
    PlayingError(12.0),
    PlayingError(0.5, late_beats=0.1),
)


def scripted_events(plan: Plan, *, seed: int = 1) -> Iterator[tuple[float, Event]]:
    """Yield the events of a whole take of a plan, each with its time in seconds.

    Args:
        plan: what is played; without a drill, `DRILL` is played to a listener that asks for none.
        seed: seed of the pitch noise.
    """
    noise = random.Random(seed)
    drill = plan.drill
    if drill is None:
        yield from _listening(plan, noise)
        return
    if unplayable := find_unplayable(drill.steps, plan.harp):
        yield 0.0, TakeFailed(unplayable[0].message)
        return
    tempo = plan.tempo or drill.tempo
    count_in = plan.count_in or drill.meter[0]
    clock = BeatClock(round(count_in * 60 / tempo * RATE), tempo, RATE)
    yield 0.0, PassStarted(clock, 0, len(drill.steps), "the scripted player", True)
    marks = [
        _mark(step, PLAYING_ERRORS[step.index % len(PLAYING_ERRORS)], clock) for step in drill.steps
    ]
    due = list(marks)
    beat = -count_in
    for sample in range(0, clock.sample(drill.end), HOP):
        now = sample / RATE
        while clock.sample(beat) <= sample:
            yield now, BeatReached(beat)
            beat += 1
        yield now, ReadingHeard(_reading(plan.harp, drill, clock, sample, noise))
        while due and clock.beat(sample) > float(due[0].step.end):
            yield now, StepMarked(due.pop(0))
    end = clock.sample(drill.end) / RATE
    for mark in due:
        yield end, StepMarked(mark)
    score = sum(mark.score * float(mark.step.beats) for mark in marks) / float(
        sum(step.beats for step in drill.steps)
    )
    passed = score >= drill.goal.pass_mark
    yield end, PassEnded(Result(drill, plan.harp.name, tempo, tuple(marks), score, passed))
    yield end, TakeFinished()


def _listening(plan: Plan, noise: random.Random) -> Iterator[tuple[float, Event]]:
    """Yield the events while what the harp has of `DRILL` is played and no drill is open."""
    steps = tuple(step for step in DRILL.steps if not find_unplayable([step], plan.harp))
    drill = replace(DRILL, steps=steps)
    clock = BeatClock(0, DRILL.tempo, RATE)
    yield 0.0, PassStarted(None, 0, 0, "the scripted player", False)
    for sample in range(0, clock.sample(DRILL.end), HOP):
        yield sample / RATE, ReadingHeard(_reading(plan.harp, drill, clock, sample, noise))
    yield clock.sample(DRILL.end) / RATE, TakeFinished()


def _reading(
    harp: Harp, drill: Drill, clock: BeatClock, sample: int, noise: random.Random
) -> Reading:
    beat = clock.beat(sample)
    for step in drill.steps:
        error = PLAYING_ERRORS[step.index % len(PLAYING_ERRORS)]
        start, end = float(step.start) + error.late_beats, float(step.end) - 0.12
        if start <= beat < end:
            return _sounding(harp, clock, sample, step, error, beat - start, noise)
    return Reading(sample, sample + HOP, RATE, level_db=-62.0)


def _sounding(
    harp: Harp,
    clock: BeatClock,
    sample: int,
    step: Step,
    error: PlayingError,
    since: float,
    noise: random.Random,
) -> Reading:
    place = step.path_position(min(1.0, since / float(step.beats)))
    low, high = step.sounds[math.floor(place)][0], step.sounds[math.ceil(place)][0]
    glide = cents(harp.hz(high), harp.hz(low)) * (place - math.floor(place))
    seconds = since * 60.0 / clock.tempo
    scoop = 60.0 * math.exp(-seconds / 0.05) if low.bend else 0.0
    wobble = 3.0 * math.sin(2 * math.pi * 5.0 * seconds) + noise.gauss(0.0, 0.4)
    hz = harp.hz(low) * 2.0 ** ((glide + error.cents + scoop + wobble) / 1200.0)
    tab, *also = harp.nearest_entries(hz)
    leak = (tab.hole - 1 or 2) if error.leak_db is not None else None
    holes = (leak, tab.hole) if leak else (tab.hole,)
    levels = [(tab.hole, 0.0)] + ([(leak, error.leak_db)] if leak and error.leak_db else [])
    return Reading(
        sample,
        sample + HOP,
        RATE,
        hz=hz,
        level_db=-14.0 - 2.0 * math.sin(3.0 * seconds),
        sounding=True,
        tab=tab,
        cents=cents(hz, harp.hz(tab)),
        also=tuple(also),
        breath=tab.breath,
        holes=holes,
        leak_db=error.leak_db,
        leak_hole=leak,
        levels=tuple(levels),
    )


def _mark(step: Step, error: PlayingError, clock: BeatClock) -> Mark:
    score = max(0.0, 100.0 - 1.6 * abs(error.cents) - (30.0 if error.leak_db else 0.0))
    side = "flat" if error.cents < 0 else "sharp"
    sentence = f"{quantity_text(round(abs(error.cents)), 'cent')} {side}"
    if error.leak_db is not None:
        sentence += f"; hole {step.first[0].hole - 1 or 2} leaking, {-error.leak_db:.0f} dB down"
    start = clock.sample(float(step.start) + error.late_beats)
    measured = Measured(
        start=start,
        end=clock.sample(step.end),
        cents=error.cents,
        leak_db=error.leak_db,
        late_ms=1000.0 * (start - clock.sample(step.start)) / RATE,
    )
    return Mark(step, score, {"pitch": score}, measured, sentence)


class ScriptedListener:
    """A listener that replays scripted events in real time.

    Args:
        events: yields the events of a plan, each with its time in seconds.
        pace: seconds of the script per second of wall time.
        devices: the inputs and outputs that a request for them returns.

    Attributes:
        plans: all plans begun so far.
        closed: whether `close` was called.
    """

    def __init__(
        self,
        events: Callable[[Plan], Iterator[tuple[float, Event]]] = scripted_events,
        *,
        pace: float = 1.0,
        devices: tuple[Device, ...] = (),
    ) -> None:
        self._events = events
        self._pace = pace
        self._devices = devices
        self._due: deque[tuple[float, Event]] = deque()
        self._began = 0.0
        self.plans: list[Plan] = []
        self.closed = False

    def begin(self, plan: Plan) -> None:
        """Start to replay a plan."""
        self.plans.append(plan)
        self._due = deque(self._events(plan))
        self._began = time.monotonic()

    def poll(self) -> list[Event]:
        """Return the events that are due."""
        now = (time.monotonic() - self._began) * self._pace
        events: list[Event] = []
        while self._due and self._due[0][0] <= now:
            events.append(self._due.popleft()[1])
        return events

    def ask(self, command: Command) -> None:
        """Confirm a loop at once; ignore other commands."""
        if isinstance(command, PlayLoop) and command.passage is not None:
            now = (time.monotonic() - self._began) * self._pace
            self._due.appendleft((0.0, LoopStarted(command.passage, round(now * RATE))))

    def request(self, request: Request[Answer]) -> Future[Answer]:
        """Answer a request for devices; refuse any other."""
        answer: Future[Any] = Future()
        if isinstance(request, ListDevices):
            answer.set_result(self._devices)
        else:
            answer.set_exception(TrainerError("a script has no sound system"))
        return answer

    def stop(self) -> None:
        """End the replay; the next poll returns `TakeFinished`."""
        if self._due:
            self._due = deque([(0.0, TakeFinished())])

    def close(self, show: Callable[[Event], None] = lambda event: None) -> None:
        """Note that it was closed; nothing comes meanwhile."""
        self.closed = True
