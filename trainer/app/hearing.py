"""Hearing a drill before it is played: the built-in player plays it aloud, and nobody marks it.

It goes through the listener past the session, so that the marks of the take in hand stay as they
are.
"""

from __future__ import annotations

from trainer.app.session import ListenerLike
from trainer.drill import Drill, unplayable
from trainer.harp import Harp
from trainer.music import TrainerError
from trainer.practice import Failed, Finished, Plan
from trainer.sound import MicrophoneSpec, PlayerSpec


def heard_plan(drill: Drill, plan: Plan) -> Plan:
    """The plan by which a drill is heard.

    It is played once, on the harp in hand where that has the drill's tuning and can play it, else
    on the one that it is written for; the journal knows nothing of it.

    Args:
        drill: which one.
        plan: what is in hand: its harp, and where its sound goes.
    """
    harp, source = plan.harp, plan.source
    if harp.tuning.name != drill.tuning or unplayable(drill.steps, harp):
        harp = Harp.of(drill.key, drill.tuning)
    output = source.output if isinstance(source, MicrophoneSpec | PlayerSpec) else None
    player = PlayerSpec(realtime=True, aloud=True, output=output)
    return Plan(harp, player, drill=drill, loop=False)


class Hearing:
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
            if isinstance(event, Failed):
                self.trouble = event.sentence
            elif isinstance(event, Finished):
                self.plan = None
        return self.plan is not None
