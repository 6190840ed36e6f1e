"""The listener and the take on the screen, kept in step. Knows no screen."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import Protocol, TypeVar

from trainer.app.take_state import Phase, TakeState
from trainer.core import TrainerError
from trainer.drill import find_unplayable
from trainer.harp import HarpError
from trainer.practice import (
    Command,
    Event,
    HandsFree,
    PassControl,
    PassEnded,
    Plan,
    Request,
    TakeFailed,
    TakeFinished,
)

Answer = TypeVar("Answer")

TAKE_RUNS = "a take is running: press esc, then space to stop it"
"""Why something that needs the listener cannot begin."""


class ListenerLike(Protocol):
    """Plays plans and reports events. No method blocks."""

    def begin(self, plan: Plan) -> None:
        """Start a take. Must not be called while one runs.

        Raises:
            TrainerError: the take cannot be started, with the reason.
        """

    def poll(self) -> list[Event]:
        """Return the events since the last call, oldest first; a take ends with `TakeFinished`."""

    def ask(self, command: Command) -> None:
        """Send a command to the running take."""

    def request(self, request: Request[Answer]) -> Future[Answer]:
        """Send a request that needs no take; return its pending answer."""

    def stop(self) -> None:
        """End the running take soon; its last events still come through `poll`."""


def check_playable(plan: Plan) -> None:
    """Check that the harp can play every step of the drill.

    Raises:
        HarpError: it cannot; the message names the hole and what it can play.
    """
    problems = find_unplayable(plan.drill.steps, plan.harp) if plan.drill else ()
    if problems:
        raise HarpError(problems[0].message)


@dataclass(slots=True)
class _Run:
    """State of one running take.

    Attributes:
        looping: whether the listener was asked to loop.
        stopping: whether the player stopped it.
        ending: whether the listener was asked to stop.
        hands_free: whether the listener was asked to begin passes without a key.
        aside: whether it is no take, but something to be heard.
    """

    looping: bool = False
    stopping: bool = False
    ending: bool = False
    hands_free: bool = False
    aside: bool = False


@dataclass(frozen=True, slots=True)
class _Pending:
    """Plans that wait for the running take to finish.

    Attributes:
        start: the plan to start; goes before `show`.
        show: the plan to show without starting it.
    """

    start: Plan | None = None
    show: Plan | None = None


class Session:
    """Starts, stops and follows takes, one at a time.

    A take that replaces a running one starts when that one has finished.

    Args:
        listener: plays the plans.
        plan: the first plan.
        on_begin: called whenever events are expected from now on.

    Attributes:
        take: the current take; it stays after it has ended.
        busy: whether the listener must be polled.
        trouble: why the last plan could not be heard, as a sentence; empty if it could.

    Raises:
        HarpError: the harp cannot play the drill.
    """

    def __init__(
        self, listener: ListenerLike, plan: Plan, on_begin: Callable[[], None] = lambda: None
    ) -> None:
        check_playable(plan)
        self.take = TakeState(plan.at_present_tolerance())
        self.busy = False
        self.trouble = ""
        self._listener = listener
        self._on_begin = on_begin
        self._last_drill_take = self.take
        self._pending = _Pending()
        self._run = _Run()

    @property
    def listener(self) -> ListenerLike:
        """The listener; while no take runs, it may play something else."""
        return self._listener

    @property
    def plan(self) -> Plan:
        """The pending plan, or else that of the current take."""
        return self._pending.start or self._pending.show or self.take.plan

    def start(self, plan: Plan) -> None:
        """Start a take; end the running one first.

        Raises:
            HarpError: the harp cannot play it; nothing has changed then.
        """
        check_playable(plan)
        plan = plan.at_present_tolerance()
        if self.busy:
            self._pending = _Pending(start=plan)
            self._end()
        else:
            self._begin(plan)

    @property
    def hearing(self) -> bool:
        """Whether a plan is heard beside the take."""
        return self.busy and self._run.aside

    def hear(self, plan: Plan) -> None:
        """Play a plan aloud, beside the current take, which stays; nothing may be running.

        A take that is started meanwhile begins when it has ended.
        """
        self._run, self.trouble = _Run(aside=True), ""
        try:
            self._listener.begin(plan)
        except TrainerError as error:
            self.trouble = str(error)
            return
        self.busy = True
        self._on_begin()

    def ask(self, command: Command) -> None:
        """Send a command to the running take, if there is one."""
        if self.busy and not (self._run.ending or self._run.aside):
            self._listener.ask(command)

    def pause(self) -> None:
        """Pause the running take, or resume it."""
        self.ask(PassControl.RESUME if self.take.phase is Phase.PAUSED else PassControl.PAUSE)

    def stop(self) -> None:
        """End the running take, if any, and drop a plan that waits to start."""
        self._pending = _Pending(show=self._pending.show)
        self._run.stopping = self.busy
        if self.busy:
            self._end()

    def prepare(self, plan: Plan) -> None:
        """Change the plan; a running take starts again with it.

        Raises:
            HarpError: the harp cannot play it; nothing has changed then.
        """
        check_playable(plan)
        plan = plan.at_present_tolerance()
        if not self.busy or self._run.aside:
            self._show(plan)
        elif self._run.stopping:
            self._pending = replace(self._pending, show=plan)
        else:
            self.start(plan)

    @property
    def stopped(self) -> bool:
        """Whether the player stopped the last take."""
        return self._run.stopping

    def finish(self) -> None:
        """End the running take, if any, as if it had run its course."""
        if self.busy:
            self._end()

    def set_hands_free(self, hands_free: HandsFree | None) -> None:
        """Let passes begin without a key, or not; a running pass is played to its end."""
        self.take.plan = replace(self.take.plan, hands_free=hands_free)
        pending = self._pending
        self._pending = _Pending(
            pending.start and replace(pending.start, hands_free=hands_free),
            pending.show and replace(pending.show, hands_free=hands_free),
        )

    def set_loop(self, loop: bool) -> None:
        """Turn looping on or off; a running pass is played to its end."""
        self.take.plan = replace(self.take.plan, loop=loop)
        if self._pending.start:
            self._pending = replace(self._pending, start=replace(self._pending.start, loop=loop))

    def poll(self) -> bool:
        """Apply the new events; return whether they are urgent because a note has just begun."""
        if not self.busy:
            return False
        events = self._listener.poll()
        for event in events:
            if not self._run.aside:
                self.take.apply(event)
            match event:
                case TakeFailed(sentence) if self._run.aside:
                    self.trouble = sentence
                case PassEnded() if not self._run.aside:
                    self._end_pass()
                case TakeFinished():
                    self._finish()
        return bool(events) and self.take.in_attack

    def _end(self) -> None:
        if not self._run.ending:
            self._run.ending = True
            self._listener.stop()

    def _begin(self, plan: Plan) -> None:
        self._show(plan)
        self.take.phase = Phase.OPENING
        self._run = _Run(looping=plan.loops, hands_free=plan.hands_free is not None)
        try:
            self._listener.begin(plan)
        except TrainerError as error:
            self.take.fail(str(error))
            return
        self.busy = True
        self._on_begin()

    def _show(self, plan: Plan) -> None:
        """Make a new current take, with the marks that the drill has already."""
        if self.take.drill is not None:
            self._last_drill_take = self.take
        self.take = TakeState(plan)
        if plan.drill is not None and plan.drill == self._last_drill_take.drill:
            self.take.inherit_marks(self._last_drill_take)

    def _end_pass(self) -> None:
        """End a loop that was turned off, or that is to go on without hands."""
        if not self._run.looping or self._pending.start is not None:
            return
        if not self.take.plan.loops:
            self.stop()
        elif self.take.plan.hands_free is not None and not self._run.hands_free:
            self.finish()

    def _finish(self) -> None:
        self.busy = False
        pending, self._pending = self._pending, _Pending()
        plan = pending.start
        completed = self.take.phase is Phase.ENDED and not (self._run.stopping or self._run.aside)
        if plan is None and completed and self.take.plan.loops and not self._run.looping:
            plan = self.take.plan
        if plan is not None:
            self._begin(plan)
        elif pending.show is not None:
            self._show(pending.show)
