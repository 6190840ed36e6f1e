"""Run one take: the one path that all sound takes."""

from __future__ import annotations

import logging
from collections.abc import Callable, Generator, Iterator
from dataclasses import replace
from typing import Any

from trainer.core import TrainerError
from trainer.core.threads import limit_blas_threads
from trainer.ear import Ear, NoteTracker, Reading
from trainer.harp import parse_key
from trainer.marking import OtherPitchError
from trainer.practice.commands import (
    Command,
    HoldPasses,
    NextCommand,
    PlayLoop,
    PlayTone,
    ShouldStop,
    StopRequest,
    no_command,
)
from trainer.practice.conductor import Conductor
from trainer.practice.events import (
    Event,
    LoopStarted,
    NoteEnded,
    Notice,
    PassEnded,
    ReadingHeard,
    SilenceEnded,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakeResumed,
    WaitStarted,
)
from trainer.practice.mute_detector import MuteDetector
from trainer.practice.passes import tags_of
from trainer.practice.plan import Plan
from trainer.practice.recorder import ResultRecorder, is_silence
from trainer.practice.session.pass_finding import PassFinder
from trainer.practice.session.pausing import Pausing
from trainer.practice.session.recovery import AnalysedBlock, Recovery
from trainer.practice.session.saving import SoundSaver
from trainer.practice.session.scheduling import PassScheduler
from trainer.practice.session.waiting import Decision, Waiting
from trainer.sound import DeviceError, SoundError, Source, open_source

NOTE_PATH_POINTS = 4096
"""Most points of a pitch path that are sent with a note, some 20 s: more would delay the ear."""

_log = logging.getLogger(__name__)


def run_take(
    plan: Plan,
    should_stop: ShouldStop = lambda: False,
    next_command: NextCommand = no_command,
) -> Iterator[Event]:
    """Run a take.

    A reader that stops reading, because its terminal or pipe is gone, ends the take: what was
    played until then is kept as if the take had been stopped from outside.

    Args:
        plan: what is played, on what, from where.
        should_stop: called often; when it returns a request, the take ends with what was played.
        next_command: called often; returns the player's commands, one at a time.

    Yields:
        Events, `TakeFinished` last. Errors that a player can mend come as `TakeFailed`.
    """
    limit_blas_threads()
    take = _Take(plan, should_stop, next_command)
    try:
        yield from _events(take, plan, should_stop, next_command)
    except GeneratorExit:
        take.abandon()
        raise


def _events(
    take: _Take, plan: Plan, should_stop: ShouldStop, next_command: NextCommand
) -> Iterator[Event]:
    try:
        for event in take.run():
            yield from take.record(event)
    except OtherPitchError as error:
        if plan.as_played and error.harp:
            yield from take.close()
            harp = replace(plan.harp, key=parse_key(error.harp))
            yield Notice(f"marked on a harp in {error.harp}, as it is played")
            yield from run_take(
                replace(plan, harp=harp, as_played=False), should_stop, next_command
            )
            return
        yield TakeFailed(str(error))
    except TrainerError as error:
        for event in take.abort():
            yield from take.record(event)
        yield TakeFailed(f"{error}{take.damage}", no_sound=isinstance(error, DeviceError))
    saved = audible = None
    try:
        saved, audible = yield from take.close()
    except TrainerError as error:
        yield Notice(str(error))
    yield TakeFinished(saved, audible)


class _Take:
    """One take. What lasts as long as its source is open is in a `_OpenTake`."""

    def __init__(self, plan: Plan, should_stop: ShouldStop, next_command: NextCommand) -> None:
        self._plan = plan
        self._ask_to_stop = should_stop
        self._next_command = next_command
        self._recorder = ResultRecorder(plan)
        self._closed = False
        self._saver = SoundSaver(plan, self._recorder)
        self._source: Source | None = None
        self._open: _OpenTake | None = None

    @property
    def damage(self) -> str:
        """A clause on what is missing at the end of a recording; empty if nothing is."""
        damage = self._source.damage if self._source is not None else ""
        return f" (the recording {damage})" if damage else ""

    def run(self) -> Iterator[Event]:
        """Yield all events until the sound ends or the take is stopped."""
        plan = self._plan
        self._source = open_source(
            self._recorder.calibrated_source(),
            drill=plan.drill,
            harp=plan.harp,
            tempo=plan.tempo,
            bars=plan.played_bars,
            count_in=plan.count_in,
        )
        yield from self._recorder.begin()
        self._saver.start(self._source)
        self._open = _OpenTake(plan, self._source, self._should_stop, self._next_command)
        yield from self._open.run(self._saver)

    def _should_stop(self) -> bool:
        """Whether the take must end."""
        request = self._ask_to_stop()
        if request is StopRequest.OUTSIDE:
            self._recorder.keeps_all = True
        return bool(request)

    def record(self, event: Event) -> Iterator[Event]:
        """Yield an event; store a mark or a result first, and name the record of a result."""
        if isinstance(event, StepMarked):
            assert self._open is not None
            scheduler = self._open.scheduler
            began, tempo = scheduler.pass_began, scheduler.tempo
            if self._recorder.record_step(event.mark, began, tempo):
                self._recorder.note_pass(self._tags())
        elif isinstance(event, PassEnded):
            assert self._open is not None
            self._recorder.keeps_all |= self._open.slept
            yield from self._recorder.record(event.result, self._open.scheduler.pass_began)
            event = replace(event, record=self._recorder.newest)
        yield event

    def _tags(self) -> dict[str, Any]:
        """What is saved with the sound."""
        passes, own_time = [], None
        if self._open is not None:
            passes, own_time = self._open.conductor.passes, self._open.conductor.own_time
        return tags_of(self._plan.drill, self._plan.harp, passes, own_time)

    def abort(self) -> Iterator[Event]:
        """Yield the result of what was played before an error; even a false start is kept."""
        self._recorder.keeps_all = True
        if self._open is not None:
            yield from self._open.stop()

    def abandon(self) -> None:
        """Keep what was played and close, where nobody reads any more."""
        if self._closed:
            return
        try:
            for event in self.abort():
                list(self.record(event))
        except TrainerError as error:
            _log.warning("what was played last is not marked: %s", error)
        try:
            list(self.close())
        except TrainerError as error:
            _log.warning("%s", error)

    def close(self) -> Generator[Event, None, tuple[str | None, str | None]]:
        """Close the source and finish the saved take.

        Yields:
            `SavingProgress` where that takes time.

        Returns:
            Where the player wanted the sound saved, and where it can be heard for now.

        Raises:
            TrainerError: the sound cannot be saved.
        """
        self._closed = True
        if self._source is not None:
            self._source.close()
        try:
            return (yield from self._saver.finish(self._tags()))
        finally:
            self._recorder.close()


class _OpenTake:
    """A take with an open source.

    Attributes:
        conductor, scheduler: lead through its passes.
    """

    def __init__(
        self,
        plan: Plan,
        source: Source,
        should_stop: Callable[[], bool],
        next_command: NextCommand,
    ) -> None:
        self._plan, self._source = plan, source
        self._should_stop, self._next_command = should_stop, next_command
        self._ear = Ear(source.rate, plan.harp)
        self._free_notes = NoteTracker(plan.harp) if plan.drill is None else None
        self._mute_detector = MuteDetector() if source.is_live else None
        self.conductor = Conductor(plan, source.rate)
        finder = PassFinder(plan, source)
        self.scheduler = PassScheduler(plan, source, self.conductor, finder)
        self._pausing = Pausing(plan, source, self.conductor, self.scheduler)
        self._recovery = Recovery(source, finder.analysed, should_stop)
        self._waiting = Waiting(plan, source.rate) if _waits(plan, source) else None
        self._position = 0
        """The sample up to which the source has been read."""

    @property
    def slept(self) -> bool:
        """Whether the sound ended because the computer slept."""
        return self._recovery.slept

    @property
    def _pass_running(self) -> bool:
        return self.conductor.running

    def run(self, saver: SoundSaver) -> Iterator[Event]:
        """Yield all events until the sound ends or the take is stopped."""
        drill, source = self._plan.drill, self._source
        yield from self._begin_first()
        for item in self._recovery.blocks():
            if not isinstance(item, AnalysedBlock):
                yield item
                if isinstance(item, TakeResumed):
                    yield from self._pausing.resume_after_loss(self._position)
                    if self._wait is not None:
                        yield self._wait
                continue
            yield from saver.save(item.block)
            self._position = item.block.end
            readings = item.readings
            if readings is None:
                readings = self._ear.analyze(item.block)
            for reading in readings:
                yield from self._take_reading(reading)
            is_over = drill is not None and not self._pass_running and self._wait is None
            if self._should_stop() or is_over:
                break
            yield from self._report_loop()
            while (command := self._next_command()) is not None:
                yield from self._obey(command)
        if source.is_live or self._should_stop():
            yield from self.stop()
            return
        if source.damage:  # the player did not leave out what the file lacks
            yield from self.stop()
        else:
            yield from self.conductor.finish()
        for warning in source.warnings:
            yield Notice(warning)

    def stop(self) -> Iterator[Event]:
        """End the running pass where the player is."""
        yield from self.conductor.stop(self._pausing.position(self._position))

    def _take_reading(self, reading: Reading) -> Iterator[Event]:
        """Yield what a reading brings."""
        if self._pausing.paused:
            yield ReadingHeard(reading)
            return
        if self._waiting is not None:
            yield from self._go_on_without_hands(self._waiting, reading)
        else:
            self.scheduler.look_ahead(reading.heard)
            yield from self.conductor.advance(reading.heard)
            if self._plan.drill is not None and not self._pass_running:
                yield from self.scheduler.begin_next(stopping=self._should_stop)
        yield from self.conductor.conduct(reading)
        if self._free_notes is not None:
            for note in self._free_notes.track(reading):
                yield NoteEnded(replace(note, path=note.path[:NOTE_PATH_POINTS]))
        if self._mute_detector and (notice := self._mute_detector.detect(reading)):
            yield notice

    @property
    def _wait(self) -> WaitStarted | None:
        """The current wait for the next pass; None while none is on."""
        return self._waiting.event if self._waiting is not None else None

    def _begin_first(self) -> Iterator[Event]:
        """Begin the first pass, or wait for it."""
        hands_free = self._plan.hands_free
        if self._waiting is None or hands_free is None:
            yield from self.scheduler.begin_first()
            return
        self._source.stay_open()
        if hands_free.first_s == 0.0:
            yield from self.scheduler.begin_first()
        else:
            self._source.pause()
            yield self._waiting.start(0, hands_free.first_s, armed=True)

    def _go_on_without_hands(self, waiting: Waiting, reading: Reading) -> Iterator[Event]:
        """End a pass and wait for the next, or end the wait."""
        hands_free = self._plan.hands_free
        assert hands_free is not None
        if waiting.is_over:
            return
        if waiting.event is None:
            waiting.note_sound(reading)
            ended = list(self.conductor.advance(reading.heard))
            if self._pass_running:
                return
            results = [event.result for event in ended if isinstance(event, PassEnded)]
            was_played = any(not is_silence(result) for result in results)
            if was_played:
                yield from ended
            self._source.pause()
            yield waiting.start(reading.heard, hands_free.between_s if was_played else None)
            return
        match waiting.observe(reading):
            case Decision.BEGIN:
                waiting.stop()
                yield from self.scheduler.begin_now(reading.heard)
            case Decision.END:
                waiting.stop(for_good=True)
                yield SilenceEnded()
            case WaitStarted() as changed:
                yield changed

    def _report_loop(self) -> Iterator[Event]:
        """Yield an event where a looped passage has become audible, or cannot."""
        try:
            loop = self._source.started_loop()
        except SoundError as error:
            yield Notice(str(error))
            return
        if loop is not None:
            yield LoopStarted(loop.passage, loop.sample)

    def _obey(self, command: Command) -> Iterator[Event]:
        """Carry out a command of the player."""
        if isinstance(command, PlayTone):
            self._source.play_tone(command.hz)
            if self._waiting is not None:
                self._waiting.hear_tone(command.hz is not None, self._position)
        elif isinstance(command, PlayLoop):
            self._source.play_loop(command.passage)
        elif isinstance(command, HoldPasses):
            self.scheduler.held = command.hold
            changed = self._waiting and self._waiting.hold(command.hold, self._position)
            if changed:
                yield changed
        else:
            yield from self._pausing.obey(command, self._position)


def _waits(plan: Plan, source: Source) -> bool:
    """Whether passes begin without a key; in a recording, they lie where they were played."""
    has_count_in = plan.drill is not None and not plan.follows
    return plan.hands_free is not None and has_count_in and source.can_start_passes
