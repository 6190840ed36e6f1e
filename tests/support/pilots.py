"""Run the app in a test: a listener controlled by the test, and helpers to wait and to look."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from concurrent.futures import Future
from typing import Any, Protocol

import textual.app
import textual.pilot
from textual._context import active_app
from textual.events import Key
from textual.pilot import Pilot
from textual.screen import Screen

from devtools import scripted
from tests.support.colour import too_faint
from trainer.app.app import TrainerApp
from trainer.app.widgets.key_footer import KeyFooter, footer_entries
from trainer.core import TrainerError
from trainer.drill import Drill
from trainer.practice import Command, Event, Plan, TakeFinished

SMALL, LARGE = (80, 24), (120, 40)
"""Sizes of a window in columns and rows."""
WAIT_S = 30.0
"""Maximum time that a test waits for a condition, in seconds."""
POLL_S = 0.02
"""Time between two looks at a condition, in seconds."""

ANSWERS: dict[type, object] = {}
"""Answers of puppets by type of request; an exception is raised."""


IDLE_S = 0.005
"""Time without work after which the app is taken to be idle, in seconds."""


async def wait_for_idle(min_sleep: float = IDLE_S, max_sleep: float = 1.0) -> None:
    """Wait until nothing waits in the app and the process has done no work for `IDLE_S`.

    Textual's own function looks at the processor's time only, every 20 ms: its sleep is most of
    what a test of a screen takes, and on a busy machine it may end before the work has begun.
    A screen lays itself out up to a sixtieth of a second later, and its widgets learn their sizes
    by messages, so a screen that waits for its layout gets it here, and the messages are awaited.
    """
    app = active_app.get()
    start = time.monotonic()
    while (waited := time.monotonic() - start) < max_sleep:
        worked = time.process_time()
        await asyncio.sleep(IDLE_S)
        is_idle = time.process_time() - worked < IDLE_S / 20.0
        if not is_idle or any(node.message_queue_size for node in list(app._registry)):
            continue
        if app._screen_stack and _waits_for_update(app.screen):
            app.screen._on_timer_update()
        elif waited >= min_sleep:
            return


def _waits_for_update(screen: Screen[Any]) -> bool:
    """Whether the visible screen still has to lay itself out or to paint."""
    return (
        screen.is_current
        and not screen.app._batch_count
        and bool(
            screen._layout_required
            or screen._scroll_required
            or screen._repaint_required
            or screen._dirty_widgets
        )
    )


textual.app.wait_for_idle = textual.pilot.wait_for_idle = wait_for_idle  # type: ignore[attr-defined]


def answered(request: object) -> Future[Any]:
    """Return the pending answer of a puppet to a request."""
    result = ANSWERS.get(type(request), TrainerError(f"no answer to {request}"))
    answer: Future[Any] = Future()
    if isinstance(result, Exception):
        answer.set_exception(result)
    else:
        answer.set_result(result)
    return answer


class Puppet:
    """A listener that records its calls and reports the events in `queue`."""

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
        """Do nothing."""


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
    """Wait for a condition, then until the screen is painted; fail after `WAIT_S`."""
    deadline = time.monotonic() + WAIT_S
    while not true() and time.monotonic() < deadline:
        await pilot.pause(POLL_S)
    assert true()
    await pilot.pause()


class Queued(Protocol):
    """A listener whose events wait in a queue."""

    queue: list[Event]


async def painted(pilot: Pilot[None], listener: Queued) -> None:
    """Wait until the app has applied all queued events and painted the next frame."""
    await until(pilot, lambda: not listener.queue or not pilot.app.is_running)
    await next_frame(pilot)


async def next_frame(pilot: Pilot[None]) -> None:
    """Wait until the app has painted the next frame; at once while no take runs."""
    app = pilot.app
    assert isinstance(app, TrainerApp)
    frame = app._next_frame
    await until(pilot, lambda: app._next_frame > frame or not app.session.busy)


async def settle(pilot: Pilot[None]) -> None:
    """Wait until all workers have ended and the screen is painted."""
    await pilot.pause()
    await until(pilot, lambda: all(worker.is_finished for worker in pilot.app.workers))


def text(pilot: Pilot[None]) -> str:
    """Return the text on the screen."""
    return "\n".join(strip.text for strip in pilot.app.screen._compositor.render_strips())


async def press(pilot: Pilot[None], *keys: str) -> str:
    """Press keys one after another, and return the text on the screen, whose footer is current."""
    await pilot.press(*keys)
    await pilot.pause()
    await until(pilot, lambda: not pilot.app.is_running or _footers_are_current(pilot.app.screen))
    return text(pilot)


def _footers_are_current(screen: Screen[Any]) -> bool:
    """Whether the footers show the keys that have an effect; they follow a refresh later."""
    return all(footer.state == footer_entries(screen) for footer in screen.query(KeyFooter))


def type_fast(pilot: Pilot[None], *keys: str) -> None:
    """Type keys as a terminal delivers them at once: none waits until the one before is handled."""
    for key in keys:
        pilot.app.post_message(Key(key, " " if key == "space" else key if len(key) == 1 else None))


def timers(pilot: Pilot[None]) -> list[str]:
    """Return the running timers of the screen and its widgets."""
    nodes = [pilot.app.screen, *pilot.app.screen.walk_children()]
    return [
        f"{node}: {timer.name}"
        for node in nodes
        for timer in node._timers
        if timer._active.is_set() and timer._task and not timer._task.done()
    ]


async def faint(pilot: Pilot[None]) -> set[tuple[str, str]]:
    """Return the illegible texts on the screen, each with its theme."""
    illegible = set()
    for theme in ("light", "plain", "dark"):
        pilot.app.theme = theme
        await pilot.pause()
        for strip in pilot.app.screen._compositor.render_strips():
            illegible |= {(theme, part.text) for part in strip if too_faint(part)}
    return illegible
