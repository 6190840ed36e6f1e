"""The app before a test's eyes: a listener that says what it is told to, and what is painted."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from typing import Any

from textual.pilot import Pilot

from devtools import scripted
from tests.support.colour import too_faint
from trainer.app.app import TrainerApp
from trainer.core import TrainerError
from trainer.drill import Drill
from trainer.practice import Command, Event, Plan, TakeFinished

SMALL, LARGE = (80, 24), (120, 40)


ANSWERS: dict[type, object] = {}
"""Answers of puppets to requests, by the request's type; an exception is raised."""


def answered(request: object) -> Future[Any]:
    """The answer of a puppet to a request."""
    known = ANSWERS.get(type(request), TrainerError(f"no answer to {request}"))
    answer: Future[Any] = Future()
    if isinstance(known, Exception):
        answer.set_exception(known)
    else:
        answer.set_result(known)
    return answer


class Puppet:
    """A listener that keeps what it was asked for; takes end when they are stopped."""

    def __init__(self) -> None:
        self.queue: list[Event] = []
        self.plans: list[Plan] = []
        self.asked: list[Command] = []
        self.polls = 0
        self.refuse: TrainerError | None = None

    def begin(self, plan: Plan) -> None:
        if self.refuse:
            raise self.refuse
        self.plans.append(plan)

    def poll(self) -> list[Event]:
        self.polls += 1
        events, self.queue = self.queue, []
        return events

    def ask(self, command: Command) -> None:
        self.asked.append(command)

    def request(self, request: object) -> Future[Any]:
        return answered(request)

    def stop(self) -> None:
        self.queue.append(TakeFinished())

    def close(self) -> None:
        """Nothing is held."""


Test = Callable[[Pilot[None], Puppet], Awaitable[None]]


def run(
    test: Test,
    plan: Plan,
    *,
    size: tuple[int, int] = SMALL,
    shelf: tuple[Drill, ...] = scripted.DRILLS,
    autostart: bool = False,
) -> None:
    """Run a test against the app at its practice screen."""

    async def inside() -> None:
        puppet = Puppet()
        app = TrainerApp(puppet, shelf, plan, autostart)
        async with app.run_test(size=size, notifications=True) as pilot:
            await pilot.pause()
            await test(pilot, puppet)

    asyncio.run(inside())


async def until(pilot: Pilot[None], true: Callable[[], bool]) -> None:
    """Wait for something to come true, and the screen to be painted."""
    for _ in range(300):
        if true():
            break
        await pilot.pause(0.02)
    assert true()
    await pilot.pause()


def text(pilot: Pilot[None]) -> str:
    """What stands on the screen."""
    return "\n".join(strip.text for strip in pilot.app.screen._compositor.render_strips())


async def press(pilot: Pilot[None], *keys: str) -> str:
    """Press keys one after another; what stands on the screen then."""
    await pilot.press(*keys)
    await pilot.pause()
    return text(pilot)


def timers(pilot: Pilot[None]) -> list[str]:
    """Timers of the screen and what is on it that are not paused."""
    nodes = [pilot.app.screen, *pilot.app.screen.walk_children()]
    return [
        f"{node}: {timer.name}"
        for node in nodes
        for timer in node._timers
        if timer._active.is_set() and timer._task and not timer._task.done()
    ]


async def faint(pilot: Pilot[None]) -> set[tuple[str, str]]:
    """What can hardly be read on the screen, by the theme in which it is so."""
    found = set()
    for theme in ("light", "plain", "dark"):
        pilot.app.theme = theme
        await pilot.pause()
        for strip in pilot.app.screen._compositor.render_strips():
            found |= {(theme, one.text) for one in strip if too_faint(one)}
    return found
