"""A source that is lost in the middle of a pass: waited for, resumed, or stopped meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest

from trainer.drill import BeatClock, parse_drill
from trainer.harp import Harp
from trainer.practice import (
    BeatReached,
    Command,
    Event,
    Notice,
    PassControl,
    PassEnded,
    PassStarted,
    Plan,
    StepMarked,
    TakeFailed,
    TakeFinished,
    TakePaused,
    TakeResumed,
    run_take,
)
from trainer.practice.passes import saved_passes
from trainer.sound import (
    Block,
    BuiltInPlayer,
    DrillSetup,
    Recording,
    SoundError,
    Source,
    SourceGapError,
    SourceLost,
    SourceSpec,
)
from trainer.store import Journal

QUAY = parse_drill(
    '''
title = "Along the quay"
harp = "C"
tempo = 120
tab = """
4:1 -4:1 4:1 -3:1 | 5:1 -5:1 5:1 -5:1 | 6:1 -6:1 6:1 -6:1 |
"""
''',
    "quay",
)
RATE = 48_000
RENDERED = 5_000
"""Samples by which the player has rendered ahead at most."""
GONE = "the microphone is gone; plug it in again"


@dataclass(frozen=True)
class FlakySpec(SourceSpec):
    """The built-in player through a microphone that is lost.

    Attributes:
        lost_at: the samples from which on it is lost, each once.
        attempts: attempts to reopen it that fail, each time.
    """

    lost_at: tuple[int, ...] = ()
    attempts: int = 2
    error: SoundError = field(default_factory=lambda: SourceLost(GONE))

    kind: ClassVar[str] = "microphone"
    is_live: ClassVar[bool] = True

    def open(self, setup: DrillSetup) -> Flaky:
        return Flaky(self, setup)


class Flaky(Source):
    """A live source that is lost where its spec says. Nothing is heard while it is lost."""

    name = "a flaky microphone"
    rate = RATE
    is_live = True
    can_start_passes = True
    can_pause = True
    opened: ClassVar[list[Flaky]] = []

    def __init__(self, spec: FlakySpec, setup: DrillSetup) -> None:
        self._lost_at, self._attempts = list(spec.lost_at), spec.attempts
        self._error = spec.error
        self._failures = 0
        self._position = 0
        self.reopened = 0
        self.player: BuiltInPlayer | None = None
        if setup.drill is not None and setup.harp is not None:
            self.player = BuiltInPlayer(
                setup.drill, setup.harp, tempo=setup.tempo, bars=setup.bars, block=480
            )
        self._sound = self.player.blocks() if self.player else silence()
        self.opened.append(self)

    def blocks(self) -> Iterator[Block]:
        for block in self._sound:
            self._position = block.end
            yield block
            if self._lost_at and block.end >= self._lost_at[0]:
                self._lost_at.pop(0)
                self._failures = self._attempts
                raise self._error

    def reopen(self) -> None:
        if self._failures:
            self._failures -= 1
            raise SourceLost(GONE)
        self.reopened += 1

    def close(self) -> None:
        if self.player:
            self.player.close()

    def first_pass(self) -> BeatClock:
        assert self.player
        return self.player.first_pass()

    def next_pass(self, tempo: float | None = None, *, seamless: bool = False) -> BeatClock:
        assert self.player
        return self.player.next_pass(tempo, seamless=seamless)

    def resume_pass(self, bars: tuple[int, int], tempo: float | None = None) -> BeatClock:
        assert self.player
        return self.player.resume_pass(bars, tempo)

    def pause(self) -> None:
        assert self.player
        self.player.pause()


def silence() -> Iterator[Block]:
    for start in range(0, 2 * RATE, 480):
        yield Block(start, np.full(480, 1e-4, np.float32), RATE)


@pytest.fixture(autouse=True)
def no_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("trainer.practice.session.recovery.RETRY_S", 0.0)
    Flaky.opened.clear()


def sample_of(beat: float) -> int:
    """A sample of the first pass: 0.25 s of silence, four beats of count-in, 0.5 s a beat."""
    return round((0.25 + 0.5 * (4 + beat)) * RATE)


def plan_of(*lost_beats: float, **fields: object) -> Plan:
    spec = FlakySpec(tuple(map(sample_of, lost_beats)))
    return Plan(Harp.of("C"), spec, drill=QUAY, **fields)  # type: ignore[arg-type]


def index_of(events: list[Event], kind: type) -> int:
    return next(i for i, event in enumerate(events) if isinstance(event, kind))


def test_a_pass_is_resumed_at_the_bar_in_which_the_sound_was_lost(tmp_path: Path) -> None:
    flac = tmp_path / "take.flac"
    events = list(run_take(plan_of(5.5, save=flac)))
    lost = index_of(events, TakePaused)
    assert events[lost] == TakePaused(GONE)
    assert events[lost + 1] == TakeResumed()
    started = events[lost + 2]
    assert isinstance(started, PassStarted)
    assert (started.first, started.last) == (4, 12)
    assert started.clock is not None
    # Counted in again at once: bar 2 begins four beats of count-in after the loss.
    assert 0 <= started.clock.sample(4) - sample_of(5.5) - 2 * RATE < RENDERED
    assert Flaky.opened[0].reopened == 1

    beats = [event.number for event in events[lost:] if isinstance(event, BeatReached)]
    assert beats[:5] == [-4, -3, -2, -1, 0]
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert [mark.step.index for mark in result.marks] == list(range(12))
    assert min(mark.score for mark in result.marks) > 90.0
    # Steps 5 and on are marked where they were played after the loss.
    starts = [mark.measured.start for mark in result.marks]
    assert all(start is not None and start < sample_of(4.1) for start in starts[:4])
    assert all(start is not None and start > sample_of(5.5) for start in starts[4:])

    first, second = saved_passes(Recording(flac).tags, QUAY)
    assert (first.first, first.last, first.upto, first.broken) == (0, 12, 4, True)
    assert (second.first, second.last, second.upto, second.broken) == (4, 12, 12, False)
    assert first.close <= second.begin


def test_a_pass_is_resumed_as_often_as_the_sound_is_lost() -> None:
    events = list(run_take(plan_of(5.5, 7.0, 16.0)))
    ranges = [(e.first, e.last) for e in events if isinstance(e, PassStarted)]
    assert ranges[0] == (0, 12)
    assert len(ranges) == 4
    assert all(first in (4, 8) for first, _ in ranges[1:])
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert [mark.step.index for mark in result.marks] == list(range(12))
    assert min(mark.score for mark in result.marks) > 90.0


def test_stopped_while_the_sound_is_lost_the_steps_due_count() -> None:
    events: list[Event] = []
    for event in run_take(
        plan_of(5.5), lambda: any(isinstance(event, TakePaused) for event in events)
    ):
        events.append(event)
    assert not any(isinstance(event, TakeResumed) for event in events)
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert [mark.step.index for mark in result.marks] == [0, 1, 2, 3, 4]
    assert isinstance(events[-1], TakeFinished)


@pytest.mark.parametrize("loop", [True, False])
def test_a_gap_in_the_sound_ends_the_pass_and_the_take(tmp_path: Path, loop: bool) -> None:
    plan = plan_of(5.5, loop=loop, journal=tmp_path / "journal.sqlite")
    source = replace(plan.source, error=SourceGapError("35 s of sound are missing"))  # type: ignore[type-var]
    events = list(run_take(replace(plan, source=source)))
    assert not any(isinstance(event, TakePaused | TakeResumed | TakeFailed) for event in events)
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert [mark.step.index for mark in result.marks] == [0, 1, 2, 3, 4]
    assert Notice("35 s of sound are missing") in events
    with Journal(tmp_path / "journal.sqlite") as journal:
        (take,) = journal.takes()
    assert (len(take.steps), take.whole) == (5, False)


def test_what_was_marked_before_an_early_gap_is_kept(tmp_path: Path) -> None:
    plan = plan_of(1.9, journal=tmp_path / "journal.sqlite")
    source = replace(plan.source, error=SourceGapError("35 s of sound are missing"))  # type: ignore[type-var]
    events = list(run_take(replace(plan, source=source)))
    marked = {event.mark.step.index for event in events if isinstance(event, StepMarked)}
    with Journal(tmp_path / "journal.sqlite") as journal:
        (take,) = journal.takes()
    assert marked
    assert {step.index for step in take.steps} >= marked


def test_passes_of_silence_are_not_in_the_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = Flaky.__init__

    def silenced(self: Flaky, spec: FlakySpec, setup: DrillSetup) -> None:
        original(self, spec, setup)
        blocks = self._sound
        self._sound = (replace(each, samples=np.zeros_like(each.samples)) for each in blocks)

    monkeypatch.setattr(Flaky, "__init__", silenced)
    ended: list[Event] = []
    for event in run_take(
        plan_of(loop=True, journal=tmp_path / "journal.sqlite"), lambda: len(ended) >= 2
    ):
        if isinstance(event, PassEnded):
            ended.append(event)
    with Journal(tmp_path / "journal.sqlite") as journal:
        assert journal.takes() == []


def test_a_paused_pass_stays_paused_when_the_sound_comes_back() -> None:
    events: list[Event] = []
    due = {"pause": PassControl.PAUSE, "resume": PassControl.RESUME}

    def next_command() -> Command | None:
        beats = [event.number for event in events if isinstance(event, BeatReached)]
        if "pause" in due and beats and beats[-1] == 5:
            return due.pop("pause")
        returned = [event for event in events if event == TakeResumed()]
        if "resume" in due and returned and events[-1] != returned[-1]:
            return due.pop("resume")
        return None

    for event in run_take(plan_of(6.5), next_command=next_command):
        events.append(event)
    shown = [event for event in events if isinstance(event, TakePaused | TakeResumed)]
    assert shown == [
        TakePaused(bar=2),
        TakePaused(GONE),
        TakeResumed(),
        TakePaused(bar=2),
        TakeResumed(),
    ]
    ranges = [(e.first, e.last) for e in events if isinstance(e, PassStarted)]
    assert ranges == [(0, 12), (4, 12)]
    (result,) = [event.result for event in events if isinstance(event, PassEnded)]
    assert [mark.step.index for mark in result.marks] == list(range(12))


def test_a_scheduled_pass_of_a_loop_is_forgotten_when_the_sound_is_lost() -> None:
    ended: list[PassEnded] = []
    events: list[Event] = []
    for event in run_take(plan_of(12.0, loop=True), lambda: len(ended) >= 2):
        events.append(event)
        if isinstance(event, PassEnded):
            ended.append(event)
    started = [event for event in events if isinstance(event, PassStarted)]
    assert [(event.first, event.last) for event in started[:3]] == [(0, 12), (8, 12), (0, 12)]
    clocks = [event.clock for event in started[:3]]
    assert all(clocks)
    assert 0 <= clocks[1].sample(8) - sample_of(12.0) - 2 * RATE < RENDERED  # type: ignore[union-attr]
    # The pass after it follows on its last bar in time.
    assert clocks[2].sample(-4) == pytest.approx(clocks[1].sample(12), abs=1)  # type: ignore[union-attr]
    assert [len(event.result.marks) for event in ended] == [12, 12]


def test_listening_goes_on_after_a_loss() -> None:
    plan = Plan(Harp.of("C"), FlakySpec((RATE,)))
    events = list(run_take(plan))
    kinds = [type(e) for e in events if isinstance(e, PassStarted | TakePaused | TakeResumed)]
    assert kinds == [PassStarted, TakePaused, TakeResumed, PassStarted]


def test_a_source_that_cannot_be_reopened_ends_the_take(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(self: Flaky) -> None:
        raise SourceLost(GONE)

    tries: list[int] = []
    monkeypatch.setattr(Flaky, "reopen", fail)

    def stopping() -> bool:
        tries.append(1)
        return bool(lost) and len(tries) > lost[0] + 5

    lost: list[int] = []
    events: list[Event] = []
    for event in run_take(plan_of(2.5), stopping):
        events.append(event)
        if isinstance(event, TakePaused):
            lost.append(len(tries))
    assert not [event for event in events if isinstance(event, TakeFailed | TakeResumed)]
    assert [type(event) for event in events[-2:]] == [PassEnded, TakeFinished]
    assert not [event for event in events if isinstance(event, Notice)]
    assert [event.mark.step.index for event in events if isinstance(event, StepMarked)][:1] == [0]
