"""One take, from opening the source to the last event: the one path that all sound goes."""

from __future__ import annotations

import math
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime

from trainer.core import TrainerError
from trainer.drill import BeatClock, Drill
from trainer.ear import Ear, NoteTracker, Reading, track_notes
from trainer.marking import StartError, find_passes
from trainer.practice.commands import (
    Command,
    NextCommand,
    PassControl,
    PlayLoop,
    PlayTone,
    no_command,
)
from trainer.practice.conductor import Conductor
from trainer.practice.events import (
    Event,
    LoopStarted,
    NoteEnded,
    Notice,
    PassEnded,
    PassStarted,
    ReadingHeard,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
)
from trainer.practice.mute_detector import MuteDetector
from trainer.practice.passes import Pass, passes_in, tags_of
from trainer.practice.plan import Plan
from trainer.practice.recorder import ResultRecorder
from trainer.practice.tempo_ladder import TempoLadder
from trainer.sound import (
    Block,
    BuiltInPlayer,
    ClickTrack,
    DeviceError,
    Microphone,
    Recording,
    RecordingSpec,
    SourceLost,
    TakeWriter,
    accompaniment_steps,
    open_source,
)

AHEAD_S = 0.9
"""How long before a pass closes the next one of a loop is scheduled."""
EARLY_S = 0.1
"""How much too early the first note of another pass may come."""
REMEMBERED_S = 300.0
"""A recording up to so long is kept, with its readings, from looking for its passes until they are
marked: some 70 megabytes at the most."""
RETRY_S = 0.4
"""Time between attempts to bring a lost microphone back."""


def run_take(
    plan: Plan, stopping: Callable[[], bool] = lambda: False, asked: NextCommand = no_command
) -> Iterator[Event]:
    """Play a plan.

    Args:
        plan: what is to be played, on what, from where.
        stopping: asked often; once it says yes, the take ends with what was played.
        asked: gives what else the player asks for, one thing after the other.

    Yields:
        Events, `TakeFinished` the last of them. Errors that a player can mend come as `TakeFailed`.
    """
    take = _Take(plan, stopping, asked)
    try:
        for event in take.play():
            yield from take.remembered(event)
    except TrainerError as error:
        for event in take.rescue():
            yield from take.remembered(event)
        yield TakeFailed(str(error), no_sound=isinstance(error, DeviceError))
    saved = sound = None
    try:
        saved, sound = take.close()
    except TrainerError as error:
        yield Notice(str(error))
    yield TakeFinished(saved, sound)


class _Take:
    """The state of one take."""

    def __init__(self, plan: Plan, stopping: Callable[[], bool], asked: NextCommand) -> None:
        self._plan = plan
        self._stopping = stopping
        self._asked = asked
        self._source: Microphone | Recording | BuiltInPlayer | None = None
        self._writer: TakeWriter | None = None
        self._conductor: Conductor | None = None
        self._heard = 0
        self._stood: int | None = None
        """The sample at which the player paused."""
        self._back = 0
        """Bars that are to be played once more when it goes on."""
        self._saved_passes: list[Pass] = []
        self._remembered: deque[tuple[Block, list[Reading]]] = deque()
        """A recording that was heard before, all of it."""
        self._known: list[Reading] | None = None
        self._next_clock: BeatClock | None = None
        self._began = datetime.now().astimezone()
        self._memory = ResultRecorder(plan)
        climb = plan.ladder if plan.loops else None
        self._ladder = TempoLadder(climb, plan.first_tempo) if climb else None

    def play(self) -> Iterator[Event]:
        """All that happens until the sound ends or the player stops."""
        plan = self._plan
        self._source = source = open_source(
            self._memory.source(),
            drill=plan.drill,
            harp=plan.harp,
            tempo=plan.tempo,
            bars=plan.played_bars,
            count_in=plan.count_in,
        )
        ear, hush = Ear(source.rate, plan.harp), MuteDetector()
        tracker = NoteTracker(plan.harp) if plan.drill is None else None
        file = self._memory.sound_file()
        if file is not None:
            own = isinstance(source, Microphone)
            self._writer = TakeWriter(file, source.rate, own=own)
        self._conductor = conductor = Conductor(plan, source.rate)
        yield from self._first_pass()
        for item in self._blocks():
            if not isinstance(item, Block):
                yield item
                continue
            yield from self._keep(item)
            self._heard = item.end
            for reading in self._hear(ear, item):
                if self._stood is not None:
                    yield ReadingHeard(reading)
                    continue
                self._look_ahead(reading.heard)
                yield from conductor.advance(reading.heard)
                if plan.drill is not None and not conductor.running:
                    yield from self._next_pass(plan.drill)
                yield from conductor.feed(reading)
                for note in tracker.track(reading) if tracker is not None else ():
                    yield NoteEnded(replace(note, path=()))
                if isinstance(source, Microphone) and (notice := hush.hear(reading)):
                    yield notice
            if self._stopping() or (plan.drill is not None and not conductor.running):
                break
            if isinstance(source, Microphone) and (loop := source.loop_begun()):
                yield Notice(loop) if isinstance(loop, str) else LoopStarted(*loop)
            while (command := self._asked()) is not None:
                yield from self._obey(command)
        if isinstance(source, Microphone) or self._stopping():
            yield from conductor.stop(self._reached)
            return
        yield from conductor.finish()
        for warning in source.warnings if isinstance(source, Recording) else ():
            yield Notice(warning)

    def remembered(self, event: Event) -> Iterator[Event]:
        """An event, written into the journal first if it is a result."""
        if isinstance(event, PassEnded):
            yield from self._memory.keep(event.result, self._began)
        yield event

    def rescue(self) -> Iterator[Event]:
        """The result of what was played before things went wrong."""
        if self._conductor is not None:
            yield from self._conductor.stop(self._reached)

    def close(self) -> tuple[str | None, str | None]:
        """Let go of the source and finish the saved take.

        Returns:
            where the player wanted it, and where its sound can be heard for now.

        Raises:
            TrainerError: its sound cannot be kept.
        """
        if self._source is not None:
            self._source.close()
        try:
            if self._writer is None:
                spec = self._plan.source
                return None, str(spec.path) if isinstance(spec, RecordingSpec) else None
            passes = self._conductor.passes if self._conductor else []
            path = self._writer.close(tags_of(self._plan.drill, self._plan.harp, passes))
            if path is None or self._plan.save is not None:
                return (str(path), str(path)) if path else (None, None)
            heard = self._memory.keep_sound(path)
            return None, str(heard) if heard else None
        finally:
            self._memory.close()

    def _hear(self, ear: Ear, block: Block) -> list[Reading]:
        """The readings of a block: those of the first hearing, where its passes were looked for."""
        return ear.analyze(block) if self._known is None else self._known

    def _blocks(self) -> Iterator[Block | Event]:
        """Blocks of the source, and what happens when it goes away and comes back."""
        source = self._source
        assert source is not None
        if self._remembered:
            while self._remembered:
                block, self._known = self._remembered.popleft()
                yield block
            return
        while True:
            try:
                yield from source.blocks()
                return
            except SourceLost as error:
                yield TakePaused(str(error))
            assert isinstance(source, Microphone)
            if not self._wait_for(source):
                return
            yield TakeResumed()
            yield from self._go_on(source)

    def _wait_for(self, microphone: Microphone) -> bool:
        """Wait until a lost microphone is back; False if the player stopped first."""
        while not self._stopping():
            try:
                microphone.reopen()
                return True
            except SourceLost:
                time.sleep(RETRY_S)
        return False

    @property
    def _reached(self) -> int:
        """The sample that the pass has come to: where the player paused it, if it is paused."""
        return self._heard if self._stood is None else self._stood

    def _go_on(self, microphone: Microphone) -> Iterator[Event]:
        """Take up a broken pass at the start of the bar that was reached."""
        conductor, drill = self._conductor, self._plan.drill
        assert conductor is not None
        if drill is None:
            yield self._started(None, range(0))
            return
        self._next_clock = None
        if self._stood is not None:  # the player paused before the sound went away
            step = conductor.resumes(self._stood, self._back)
            yield TakePaused(bar=max(1, drill.steps[step].bar))
        elif conductor.running:
            yield from self._take_up(drill, conductor.break_off(self._heard))

    def _take_up(self, drill: Drill, step: int) -> Iterator[Event]:
        """Count in again, and go on from a step."""
        conductor, source = self._conductor, self._source
        assert conductor is not None
        steps = range(step, conductor.passes[-1].last)
        if drill.free:
            yield from self._begin(Pass.free(drill, steps, self._heard))
            return
        bars = (max(1, drill.steps[step].bar), self._bars(drill)[1])
        if isinstance(source, BuiltInPlayer):
            clock = source.again(bars=bars)
        else:
            assert isinstance(source, Microphone)
            clock = self._start_clock(source, drill, bars=bars)
        yield from self._begin(self._pass(drill, clock, steps, self._heard))

    def _obey(self, command: Command) -> Iterator[Event]:
        """Do what the player asks for."""
        source, drill, conductor = self._source, self._plan.drill, self._conductor
        assert conductor is not None
        if isinstance(command, PlayTone):
            if isinstance(source, Microphone):
                source.sound_tone(command.hz)
            return
        if isinstance(command, PlayLoop):
            if isinstance(source, Microphone):
                source.sound_loop(command.passage)
            return
        if drill is None or not conductor.running:
            return
        if isinstance(source, Recording):
            yield Notice("a recording cannot be paused or taken back; start it again instead")
            return
        assert source is not None
        stood = self._stood
        if command is PassControl.PAUSE and stood is None:
            self._stood, self._back = self._heard, 0
            self._next_clock = None
            source.hush()
        elif command is PassControl.GO_BACK:
            self._back += 1
        if self._stood is not None and (command is not PassControl.RESUME):
            step = conductor.resumes(self._stood, self._back)
            yield TakePaused(bar=max(1, drill.steps[step].bar))
            return
        if stood is None and command is not PassControl.GO_BACK:
            return
        self._next_clock = None
        step = conductor.break_off(self._reached, self._back)
        self._stood, self._back = None, 0
        yield TakeResumed()
        yield from self._take_up(drill, step)

    def _track(self, drill: Drill, bars: tuple[int, int] | None = None) -> ClickTrack:
        """The beats of the next pass."""
        tempo = self._ladder.tempo if self._ladder else self._plan.tempo
        return ClickTrack.of(drill, tempo, bars or self._plan.played_bars, self._plan.count_in)

    def _keep(self, block: Block) -> Iterator[Event]:
        """Save a block; practice goes on where that cannot be done."""
        if self._writer is None:
            return
        try:
            self._writer.write(block)
        except TrainerError as error:
            self._writer = None
            yield Notice(f"{error}; practice goes on unsaved")

    def _first_pass(self) -> Iterator[Event]:
        source, drill = self._source, self._plan.drill
        if drill is None:
            yield self._started(None, range(0))
            return
        steps = drill.step_range(*self._bars(drill))
        if drill.free:
            saved = list(passes_in(source.tags, drill)) if isinstance(source, Recording) else []
            self._saved_passes = saved[1:]
            yield from self._begin(saved[0] if saved else Pass.free(drill, steps, 0))
            return
        match source:
            case Microphone():
                first = self._pass(drill, self._start_clock(source, drill), steps, 0)
            case BuiltInPlayer():
                first = self._pass(drill, source.clock, steps, 0)
            case Recording():
                if self._plan.start is None:
                    self._saved_passes = list(passes_in(source.tags, drill))
                if self._saved_passes:
                    first = self._saved_passes.pop(0)
                else:
                    first, *self._saved_passes = self._found_passes(drill, source.rate, steps)
        if isinstance(source, Microphone) and accompaniment_steps(drill, self._plan.played_bars):
            yield Notice(
                "the trainer plays along: headphones, at a moderate level, keep it out of the "
                "microphone"
                if source.plays
                else "there is no output for what the trainer is to play; it stays silent"
            )
        yield from self._begin(first)

    def _look_ahead(self, heard: int) -> None:
        """Schedule the next pass of a loop in time for its count-in to follow on the last bar.

        Where the tempo climbs, it depends on how the pass ends, and its count-in comes after that.
        """
        conductor, drill, source = self._conductor, self._plan.drill, self._source
        assert conductor is not None
        if not (self._plan.loops and drill and conductor.running and self._next_clock is None):
            return
        if drill.free or self._ladder:
            return
        now = conductor.passes[-1]
        match source:
            case BuiltInPlayer() if heard > now.close - round(AHEAD_S * source.rate):
                self._next_clock = source.again()
            case Microphone() if heard > now.close - round(AHEAD_S * source.rate):
                after = now.clock(source.rate).sample(self._track(drill).end)
                self._next_clock = self._start_clock(source, drill, after)

    def _next_pass(self, drill: Drill) -> Iterator[Event]:
        """Begin another pass, if there is to be one."""
        conductor = self._conductor
        assert conductor is not None
        if self._saved_passes:
            yield from self._begin(self._saved_passes.pop(0))
            return
        if isinstance(self._source, Recording) or not self._plan.loops or self._stopping():
            return
        steps = drill.step_range(*self._bars(drill))
        begin = conductor.passes[-1].close
        if drill.free:
            yield from self._begin(Pass.free(drill, steps, begin))
            return
        clock = self._next_clock or self._climbed(drill)
        self._next_clock = None
        yield from self._begin(self._pass(drill, clock, steps, begin))

    def _climbed(self, drill: Drill) -> BeatClock:
        """The clock of a pass whose tempo depends on how the last one ended."""
        source, conductor = self._source, self._conductor
        assert conductor is not None
        if self._ladder and conductor.passed:
            self._ladder.take(conductor.passed[-1])
        if isinstance(source, Microphone):
            return self._start_clock(source, drill)
        assert isinstance(source, BuiltInPlayer)
        return source.again(self._track(drill).tempo)

    def _start_clock(
        self,
        microphone: Microphone,
        drill: Drill,
        after: int | None = None,
        bars: tuple[int, int] | None = None,
    ) -> BeatClock:
        """Let the beats of the next pass begin, with what the trainer plays on them."""
        own = accompaniment_steps(drill, bars or self._plan.played_bars)
        return microphone.start_clock(self._track(drill, bars), after=after, own=own)

    def _pass(self, drill: Drill, clock: BeatClock, steps: range, begin: int) -> Pass:
        """A pass, which waits for a late player unless the next one is already on its way."""
        on_time = self._plan.loops and self._ladder is None
        return Pass.of(drill, clock, steps, begin, waits=not on_time)

    def _begin(self, one: Pass) -> Iterator[Event]:
        assert self._conductor is not None
        assert self._source is not None
        yield self._started(one.clock(self._source.rate), range(one.first, one.last))
        self._began = datetime.now().astimezone()
        self._conductor.begin(one)

    def _started(self, clock: BeatClock | None, steps: range) -> PassStarted:
        source = self._source
        assert source is not None
        clicks = not isinstance(source, Recording) and source.hears_clicks
        if self._plan.drill is not None and self._plan.drill.free:
            clock = None
        return PassStarted(clock, steps.start, steps.stop, source.name, clicks)

    def _bars(self, drill: Drill) -> tuple[int, int]:
        return self._plan.played_bars or (1, drill.bars)

    def _found_passes(self, drill: Drill, rate: int, steps: range) -> list[Pass]:
        """The passes in a recording that does not say where they are, in order; only the last
        waits for a late player."""
        clocks = self._find_clocks(drill, rate)
        found: list[Pass] = []
        for clock in clocks:
            if found:  # played without a break, the next begins before the tail is over
                first = clock.sample(drill.steps[steps[0]].start) - round(EARLY_S * rate)
                found[-1] = replace(found[-1], close=min(found[-1].close, first))
            begin = found[-1].close if found else 0
            found.append(Pass.of(drill, clock, steps, begin, waits=clock is clocks[-1]))
        return found

    def _find_clocks(self, drill: Drill, rate: int) -> list[BeatClock]:
        """Where the drill's beats fall in a recording that does not say, pass by pass.

        Raises:
            StartError: it is not in there.
        """
        plan = self._plan
        assert isinstance(plan.source, RecordingSpec)
        tempo = plan.tempo or drill.tempo
        source = self._source
        assert isinstance(source, Recording)
        if plan.start is not None:
            zero = round(_within(source, plan.start) * rate)
            return [BeatClock(zero, tempo, rate, drill.swing)]
        heard = list(track_notes(self._first_hearing(source), plan.harp))
        return find_passes(heard, drill, plan.harp, tempo, rate)

    def _first_hearing(self, source: Recording) -> Iterator[Reading]:
        """The readings of a recording, which is remembered unless it is long; then it is read and
        heard again."""
        plan = self._plan
        assert isinstance(plan.source, RecordingSpec)
        ear = Ear(source.rate, plan.harp)
        long = source.frames is None or source.frames > REMEMBERED_S * source.rate
        if long or plan.source.aloud:
            again = Recording(source.path, plan.source.channel)
            try:
                for block in again.blocks():
                    yield from ear.analyze(block)
            finally:
                again.close()
            return
        for block in source.blocks():
            readings = ear.analyze(block)
            self._remembered.append((block, readings))
            yield from readings


def _within(recording: Recording, start: float) -> float:
    """A second of a recording, or before it, if a drill's first beat may fall there.

    Raises:
        StartError: nothing of the drill would be in the recording.
    """
    seconds = math.inf if recording.frames is None else recording.frames / recording.rate
    if not abs(start) < seconds:
        raise StartError(
            f"the drill's first beat cannot fall on second {start:g} of {recording.path}, which "
            f"is {seconds:.1f} s long"
        )
    return start
