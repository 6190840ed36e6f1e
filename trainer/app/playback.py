"""Hearing what nobody marks: a drill as it should sound, or what was played of it.

It goes through the listener past the session, so that the marks of the take in hand stay as they
are.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from trainer.app.session import ListenerLike
from trainer.app.take_state import TakeState
from trainer.core import TrainerError
from trainer.drill import Drill, find_unplayable
from trainer.harp import Harp
from trainer.marking import Mark
from trainer.practice import Plan, TakeFailed, TakeFinished
from trainer.sound import MicrophoneSpec, PlayerSpec, RecordingSpec


def drill_playback_plan(drill: Drill, plan: Plan) -> Plan:
    """The plan by which a drill is heard.

    It is played once, on the harp in hand where that has the drill's tuning and can play it, else
    on the one that it is written for; the journal knows nothing of it.

    Args:
        drill: which one.
        plan: what is in hand: its harp, and where its sound goes.
    """
    harp, source = plan.harp, plan.source
    if harp.tuning.name != drill.tuning or find_unplayable(drill.steps, harp):
        harp = Harp.of(drill.key, drill.tuning)
    output = source.output if isinstance(source, MicrophoneSpec | PlayerSpec) else None
    player = PlayerSpec(realtime=True, aloud=True, output=output)
    return Plan(harp, player, drill=drill, loop=False)


STEP_MARGIN_S = 0.3
"""What is heard of the take before a step and after it."""


def step_playback_plan(take: TakeState, mark: Mark) -> Plan | None:
    """The plan by which a step is heard as it was played; None where its sound is not at hand."""
    measured, plan = mark.measured, take.plan
    if take.outcome.audio is None or measured.start is None or take.reading is None:
        return None
    rate = take.reading.rate
    first = measured.start / rate
    last = (measured.end or measured.start) / rate
    output = None if isinstance(plan.source, RecordingSpec) else plan.source.output
    spec = RecordingSpec(
        Path(take.outcome.audio),
        aloud=True,
        first=max(0.0, first - STEP_MARGIN_S),
        last=last + STEP_MARGIN_S,
        output=output,
    )
    return Plan(plan.harp, spec)


def bar_playback_plan(take: TakeState, mark: Mark) -> Plan | None:
    """The plan by which the bar of a step is heard as it should sound."""
    drill = take.drill
    if drill is None:
        return None
    bar = max(1, mark.step.bar)
    plan = drill_playback_plan(drill, take.plan)
    return replace(plan, bars=(bar, bar), tempo=take.plan.tempo)


class Playback:
    """Lets drills be heard through a listener, one at a time.

    Args:
        listener: what plays them; it must be given back, by :meth:`stop` and :meth:`poll`, before
            a take begins.

    Attributes:
        plan: what is heard now; None while all is still.
        trouble: why the last one could not be heard, in a sentence; empty if it could.
    """

    def __init__(self, listener: ListenerLike) -> None:
        self.plan: Plan | None = None
        self.trouble = ""
        self._listener = listener

    def start(self, plan: Plan) -> None:
        """Let a plan be heard; nothing else may be."""
        self.trouble = ""
        try:
            self._listener.begin(plan)
        except TrainerError as error:
            self.trouble = str(error)
            return
        self.plan = plan

    def stop(self) -> None:
        """Let it end soon."""
        if self.plan is not None:
            self._listener.stop()

    def poll(self) -> bool:
        """Take in what has happened; whether something is still heard."""
        if self.plan is None:
            return False
        for event in self._listener.poll():
            if isinstance(event, TakeFailed):
                self.trouble = event.sentence
            elif isinstance(event, TakeFinished):
                self.plan = None
        return self.plan is not None
