"""The listener and the take in hand, kept in step. Knows no screen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from trainer.app.take_state import Phase, TakeState
from trainer.core import TrainerError
from trainer.drill import unplayable
from trainer.harp import HarpError
from trainer.practice import Ask, Command, Ended, Event, Finished, Plan


class ListenerLike(Protocol):
    """What plays a plan and tells what happens; nothing here waits for it."""

    def begin(self, plan: Plan) -> None:
        """Start a take. Only called when none is running.

        Raises:
            TrainerError: it cannot be started, with the reason.
        """

    def poll(self) -> list[Event]:
        """The events since the last call, in order; the last of a take is `Finished`."""

    def ask(self, command: Command) -> None:
        """Ask something of the running take."""

    def stop(self) -> None:
        """End the running take soon; its last events still come through `poll`."""

    def close(self) -> None:
        """Let go of everything."""


def check_playable(plan: Plan) -> None:
    """Check that the harp can play all that is asked.

    Raises:
        HarpError: it cannot; the message says what the hole can do.
    """
    problems = unplayable(plan.drill.steps, plan.harp) if plan.drill else ()
    if problems:
        raise HarpError(problems[0].message)


class Session:
    """Starts, stops and follows takes, one at a time.

    A take that is to replace a running one waits until that one has finished.

    Args:
        listener: what plays the plans.
        plan: what is to be played first.
        on_begin: called whenever events are to be expected from now on.

    Attributes:
        take: the take in hand; it stays to be looked at when it is over.
        busy: whether the listener has to be asked for events.

    Raises:
        HarpError: the harp cannot play the drill.
    """

    def __init__(
        self, listener: ListenerLike, plan: Plan, on_begin: Callable[[], None] = lambda: None
    ) -> None:
        check_playable(plan)
        self.take = TakeState(plan)
        self.busy = False
        self._listener = listener
        self._on_begin = on_begin
        self._drilled = self.take
        self._next: Plan | None = None
        self._after: Plan | None = None
        self._stopping = False
        self._ending = False
        self._looping = False

    @property
    def listener(self) -> ListenerLike:
        """What plays the plans; while no take runs, something else may be heard through it."""
        return self._listener

    @property
    def plan(self) -> Plan:
        """What is to be played: a plan that waits, or else the one in hand."""
        return self._next or self._after or self.take.plan

    def start(self, plan: Plan) -> None:
        """Begin a take, ending the running one first.

        Raises:
            HarpError: the harp cannot play it; nothing has changed then.
        """
        check_playable(plan)
        if self.busy:
            self._next, self._after = plan, None
            self._end()
        else:
            self._begin(plan)

    def ask(self, command: Command) -> None:
        """Ask something of the running take, if there is one."""
        if self.busy and not self._ending:
            self._listener.ask(command)

    def pause(self) -> None:
        """Pause the running take, or let a paused one go on."""
        self.ask(Ask.GO_ON if self.take.phase is Phase.PAUSED else Ask.PAUSE)

    def stop(self) -> None:
        """End the running take, if any, and forget one that waits."""
        self._next = None
        self._stopping = self.busy
        if self.busy:
            self._end()

    def prepare(self, plan: Plan) -> None:
        """Change what is to be played; a running take begins again with it.

        Raises:
            HarpError: the harp cannot play it; nothing has changed then.
        """
        check_playable(plan)
        if not self.busy:
            self._take_up(plan)
        elif self._stopping:
            self._after = plan
        else:
            self.start(plan)

    def set_loop(self, loop: bool) -> None:
        """Loop from now on, or not; a running pass is played to its end."""
        self.take.plan = replace(self.take.plan, loop=loop)
        if self._next:
            self._next = replace(self._next, loop=loop)

    def poll(self) -> bool:
        """Take in what is new; whether it is urgent, because a note has only just begun."""
        if not self.busy:
            return False
        events = self._listener.poll()
        for event in events:
            self.take.see(event)
            match event:
                case Ended():
                    self._pass_over()
                case Finished():
                    self._finished()
        return bool(events) and self.take.attacking

    def close(self) -> None:
        """Let go of the listener."""
        self._listener.close()

    def _end(self) -> None:
        if not self._ending:
            self._ending = True
            self._listener.stop()

    def _begin(self, plan: Plan) -> None:
        self._take_up(plan)
        self.take.phase = Phase.OPENING
        self._looping = plan.loops
        self._stopping = self._ending = False
        try:
            self._listener.begin(plan)
        except TrainerError as error:
            self.take.phase, self.take.sentence = Phase.FAILED, str(error)
            return
        self.busy = True
        self._on_begin()

    def _take_up(self, plan: Plan) -> None:
        """Put a new take in hand, with the marks that the drill has already."""
        if self.take.drill is not None:
            self._drilled = self.take
        self.take = TakeState(plan)
        if plan.drill is not None and plan.drill == self._drilled.drill:
            self.take.remember(self._drilled)

    def _pass_over(self) -> None:
        if self._looping and not self.take.plan.loops and self._next is None:
            self.stop()

    def _finished(self) -> None:
        self.busy = False
        plan, after = self._next, self._after
        self._next = self._after = None
        ended = self.take.phase is Phase.ENDED and not self._stopping
        if plan is None and ended and self.take.plan.loops and not self._looping:
            plan = self.take.plan
        if plan is not None:
            self._begin(plan)
        elif after is not None:
            self._take_up(after)
