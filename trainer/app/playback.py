"""Playback without marks: a drill as it should sound, or a step as it was played.

It uses the session's listener but not the session, so the marks of the current take stay.
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
from trainer.sound import MicrophoneSpec, PlayerSpec, RecordingSpec, VoiceKind


def drill_playback_plan(drill: Drill, plan: Plan) -> Plan:
    """Return a plan that plays a drill once, aloud, without a journal entry.

    It uses the plan's harp if that has the drill's tuning and can play it, else the drill's own.

    Args:
        drill: the drill.
        plan: the current plan, for its harp and its output device.
    """
    harp, source = plan.harp, plan.source
    if harp.tuning.name != drill.tuning or find_unplayable(drill.steps, harp):
        harp = Harp.of(drill.key, drill.tuning)
    output = source.output if isinstance(source, MicrophoneSpec | PlayerSpec) else None
    player = PlayerSpec(realtime=True, aloud=True, output=output, voice=VoiceKind.NATURAL)
    return Plan(harp, player, drill=drill, loop=False, keeps_sound=False)


PLAYBACK_MARGIN_S = 0.3
"""Time played before and after a step, in seconds."""


def step_playback_plan(take: TakeState, mark: Mark) -> Plan | None:
    """Return a plan that plays a step of a take as it was played.

    Returns:
        None if the step was not played, or the take's audio is missing.
    """
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
        first=max(0.0, first - PLAYBACK_MARGIN_S),
        last=last + PLAYBACK_MARGIN_S,
        output=output,
    )
    return Plan(plan.harp, spec, keeps_sound=False)


def bar_playback_plan(take: TakeState, bar: int) -> Plan | None:
    """Return a plan that plays a bar of a take's drill as it should sound; None without a drill.

    Args:
        take: the take.
        bar: number of the bar; 0, a pick-up, is played with bar 1.
    """
    drill = take.drill
    if drill is None:
        return None
    bar = max(1, bar)
    plan = drill_playback_plan(drill, take.plan)
    return replace(plan, bars=(bar, bar), tempo=take.plan.tempo)


class Playback:
    """Plays plans through a listener, one at a time.

    Args:
        listener: plays them; before a take begins, playback must end: call :meth:`stop`, then
            :meth:`poll` until it returns False.

    Attributes:
        plan: the plan that is playing; None for none.
        trouble: why the last one could not be played, as a sentence; empty if it could.
    """

    def __init__(self, listener: ListenerLike) -> None:
        self.plan: Plan | None = None
        self.trouble = ""
        self._listener = listener

    def start(self, plan: Plan) -> None:
        """Start to play a plan; nothing else may be playing."""
        self.trouble = ""
        try:
            self._listener.begin(plan)
        except TrainerError as error:
            self.trouble = str(error)
            return
        self.plan = plan

    def stop(self) -> None:
        """End playback soon."""
        if self.plan is not None:
            self._listener.stop()

    def poll(self) -> bool:
        """Apply the listener's events; return whether playback goes on."""
        if self.plan is None:
            return False
        for event in self._listener.poll():
            if isinstance(event, TakeFailed):
                self.trouble = event.sentence
            elif isinstance(event, TakeFinished):
                self.plan = None
        return self.plan is not None
