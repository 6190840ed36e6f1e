"""The measure screen: measuring, storing, leaving and continuing."""

from __future__ import annotations

from functools import cache
from itertools import islice
from pathlib import Path

import pytest
from textual.pilot import Pilot

from devtools import scripted
from tests.support.own_harps import walk
from tests.support.pilots import LARGE, SMALL, Puppet, press, run, settle, text, until
from trainer.app.screens.harps import HarpsScreen
from trainer.app.screens.measure import MeasureScreen
from trainer.harp import Harp
from trainer.practice import Event, PassStarted, Plan, ReadingHeard, TakeFinished
from trainer.practice import run_take as play
from trainer.reedcare import list_own_harps
from trainer.sound import Fault, MicrophoneSpec, PlayerSpec
from trainer.store import Journal

C = Harp.of("C")


@cache
def readings(reeds: int | None = None, off: float = 0.0) -> list[Event]:
    """Return the events while a player plays one reed after another, twice each."""
    drill = walk(2)
    played = [step for step in drill.steps if reeds is None or step.index % 20 < reeds]
    faults = {step.index: Fault(skip=True) for step in drill.steps}
    faults |= {step.index: Fault(cents=off) for step in played}
    events = play(Plan(C, PlayerSpec(faults=faults), drill=drill))
    return [event for event in events if isinstance(event, PassStarted | ReadingHeard)]


def plan_of(tmp_path: Path) -> Plan:
    journal = tmp_path / "journal.sqlite"
    return Plan(C, MicrophoneSpec(), drill=scripted.DRILL, journal=journal, player="Runa")


async def begin(pilot: Pilot[None], name: str) -> MeasureScreen:
    await pilot.press("h")
    await until(pilot, lambda: isinstance(pilot.app.screen, HarpsScreen))
    await settle(pilot)
    await pilot.press("m")
    await until(pilot, lambda: isinstance(pilot.app.screen, MeasureScreen))
    if name:
        await pilot.press(*name, "enter")
    screen = pilot.app.screen
    assert isinstance(screen, MeasureScreen)
    return screen


async def feed(pilot: Pilot[None], puppet: Puppet, events: list[Event]) -> None:
    screen = pilot.app.screen
    assert isinstance(screen, MeasureScreen)
    source = iter(events)
    while screen._poll_timer is not None and (some := list(islice(source, 400))):
        puppet.queue += some
        await until(pilot, lambda: not puppet.queue or screen._poll_timer is None)


@pytest.mark.parametrize("size", [SMALL, LARGE])
def test_harp_is_measured_named_and_stored(tmp_path: Path, size: tuple[int, int]) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await begin(pilot, "quay")
        assert puppet.plans[-1].drill is None
        assert isinstance(puppet.plans[-1].source, MicrophoneSpec)
        await feed(pilot, puppet, readings(off=6.0))
        await until(pilot, lambda: "All 20 reeds are measured" in text(pilot))
        assert "+6.0" in text(pilot)
        await press(pilot, "escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, HarpsScreen))
        with Journal(tmp_path / "journal.sqlite") as journal:
            (own,) = list_own_harps(journal, "Runa")
        assert own.name == "quay"
        assert len(own.reeds) == 20

    run(test, plan_of(tmp_path), size=size)


def test_partial_measurement_is_stored_and_continued(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await begin(pilot, "quay")
        await feed(pilot, puppet, readings(reeds=3))
        assert "note 7 of 40" in text(pilot)
        assert "play -2, hole 2 draw" in text(pilot)
        await press(pilot, "escape")
        await until(pilot, lambda: "3 of 20 reeds are measured" in text(pilot))
        await press(pilot, "escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, HarpsScreen))
        await settle(pilot)
        await pilot.press("m")
        await until(pilot, lambda: isinstance(pilot.app.screen, MeasureScreen))
        puppet.queue += readings(reeds=1)[:2]
        await until(pilot, lambda: "note 1 of 34" in text(pilot))
        assert "play -2, hole 2 draw" in text(pilot)
        assert text(pilot).count("✓") == 3

    run(test, plan_of(tmp_path))


def test_name_that_is_a_key_is_refused(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await begin(pilot, "bb")
        assert "is a key" in text(pilot)
        assert not puppet.plans

    run(test, plan_of(tmp_path))


def test_nothing_is_stored_without_a_measurement(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        screen = await begin(pilot, "quay")
        await press(pilot, "escape")
        await until(pilot, lambda: screen._poll_timer is None)
        await press(pilot, "escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, HarpsScreen))
        with Journal(tmp_path / "journal.sqlite") as journal:
            assert not list_own_harps(journal, "Runa")

    run(test, plan_of(tmp_path))


def test_running_take_is_not_disturbed(tmp_path: Path) -> None:
    async def test(pilot: Pilot[None], puppet: Puppet) -> None:
        await press(pilot, "space")
        await begin(pilot, "quay")
        assert "a take is running" in " ".join(text(pilot).split())
        assert len(puppet.plans) == 1
        puppet.queue.append(TakeFinished())

    run(test, plan_of(tmp_path))
