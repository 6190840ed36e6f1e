"""A closed terminal, a signal, a killed process: what was played is kept, and the app ends."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import soundfile
import typer

from devtools.pseudo_terminal import PseudoTerminal
from tests.support.waiting import wait_until
from trainer.cli.plain import console_events
from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.practice import Event, Listener, Plan, StepMarked, TakeFailed, TakeFinished
from trainer.sound import PlayerSpec
from trainer.store import Journal

pty = pytest.importorskip("pty")

DRILL = parse_drill(
    'title = "Along the mole"\nharp = "C"\ntempo = 240\n'
    'tab = "4:1 -4:1 5:1 -5:1 | 6:1 -6:1 5:1 4:1 | 4:1 -4:1 5:1 -5:1 | 6:4"\n',
    "mole",
)
LEFT_ALTERNATE_SCREEN = b"\x1b[?1049l"


def plan(journal: Path) -> Plan:
    source = PlayerSpec(realtime=True)
    return Plan(Harp.of("C"), source, drill=DRILL, journal=journal, count_in=1, player="Marit")


def kept_steps(journal: Path) -> int:
    with Journal(journal) as opened:
        (take,) = opened.takes()
    assert not take.whole
    return len(take.steps)


@pytest.mark.parametrize("name", ["SIGHUP", "SIGINT"])
def test_a_take_in_lines_is_kept_whatever_signal_ends_it(tmp_path: Path, name: str) -> None:
    journal, number = tmp_path / "journal.sqlite", getattr(signal, name)
    marked, wanted = 0, 3 if number != signal.SIGINT else 10  # the player's false start is not kept
    with contextlib.ExitStack() as ending:
        if number != signal.SIGINT:
            end = ending.enter_context(pytest.raises(typer.Exit))
        for event in console_events(plan(journal)):
            if isinstance(event, StepMarked):
                marked += 1
                if marked == wanted:
                    os.kill(os.getpid(), number)
        assert isinstance(event, TakeFinished)
    if number != signal.SIGINT:
        assert end.value.exit_code == 128 + number
    assert kept_steps(journal) >= wanted
    assert signal.getsignal(number) in (signal.SIG_DFL, signal.default_int_handler)


def test_a_signal_that_is_ignored_stays_so(tmp_path: Path) -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup does
    try:
        marked = 0
        for event in console_events(plan(tmp_path / "journal.sqlite")):
            if isinstance(event, StepMarked):
                marked += 1
                if marked == 2:
                    os.kill(os.getpid(), signal.SIGHUP)
        assert marked >= len(DRILL.steps) - 1  # the last one may come with the end of the pass
    finally:
        signal.signal(signal.SIGHUP, before)


@pytest.fixture
def listener() -> Iterator[Listener]:
    listener = Listener()
    yield listener
    listener.close()


def events_until(listener: Listener, kind: type[Event], count: int = 1) -> list[Event]:
    events: list[Event] = []
    wait_until(
        lambda: (
            events.extend(listener.poll())
            or sum(isinstance(event, kind) for event in events) >= count
        ),
        f"{count} of {kind.__name__}",
    )
    return events


def test_a_listener_that_is_ended_keeps_its_take_and_another_plays_on(
    tmp_path: Path, listener: Listener
) -> None:
    for number in (signal.SIGTERM, signal.SIGKILL):
        journal = tmp_path / f"{number.name}.sqlite"
        listener.begin(plan(journal))
        events = events_until(listener, StepMarked, 3)
        os.kill(listener._process._process.pid or 0, number)
        events += events_until(listener, TakeFinished)
        failed = [event for event in events if isinstance(event, TakeFailed)]
        steps = {event.mark.step.index for event in events if isinstance(event, StepMarked)}
        assert kept_steps(journal) >= len(steps)
        if number is signal.SIGKILL:
            assert "a new one starts" in failed[0].sentence
        else:
            assert not failed
            wait_until(lambda: not listener._process.is_alive(), "the process ends")
    listener.begin(plan(tmp_path / "again.sqlite"))
    events_until(listener, StepMarked)


def test_a_take_whose_listener_ends_before_it_begins_begins_in_another(
    tmp_path: Path, listener: Listener
) -> None:
    ended = listener._process
    os.kill(ended._process.pid or 0, signal.SIGSTOP)  # as one that is about to end
    listener.begin(plan(tmp_path / "journal.sqlite"))
    os.kill(ended._process.pid or 0, signal.SIGKILL)
    events = events_until(listener, StepMarked)
    assert not [event for event in events if isinstance(event, TakeFailed)]
    assert listener._process is not ended


def test_closing_the_listener_keeps_the_take(tmp_path: Path, listener: Listener) -> None:
    journal = tmp_path / "journal.sqlite"
    listener.begin(plan(journal))
    events_until(listener, StepMarked)
    shown: list[Event] = []
    listener.close(shown.append)
    assert isinstance(shown[-1], TakeFinished)
    assert kept_steps(journal) >= 1


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[PseudoTerminal]:
    terminal = started_demo(tmp_path)
    yield terminal
    terminal.close()


def started_demo(folder: Path, *, controlling: bool = True) -> PseudoTerminal:
    words = ("-m", "trainer", "demo", "--save", folder / "take.flac")
    terminal = PseudoTerminal(sys.executable, *words, controlling=controlling)
    try:
        terminal.wait_for("●".encode())
    except BaseException:
        terminal.close()
        raise
    return terminal


def is_saved(folder: Path) -> bool:
    return [each.name for each in folder.iterdir()] == ["take.flac"] and (
        soundfile.info(folder / "take.flac").frames > 0
    )


def test_an_app_that_is_terminated_saves_and_restores_the_terminal(
    demo: PseudoTerminal, tmp_path: Path
) -> None:
    assert demo.attributes != demo.attributes_before
    demo.process.send_signal(signal.SIGTERM)
    assert demo.wait() == 128 + signal.SIGTERM
    assert demo.attributes == demo.attributes_before
    assert LEFT_ALTERNATE_SCREEN in demo.output
    assert is_saved(tmp_path)


def test_an_app_whose_terminal_is_closed_without_a_signal_saves_and_ends(tmp_path: Path) -> None:
    demo = started_demo(tmp_path, controlling=False)
    try:
        demo.hang_up()
        assert demo.wait() == 0
        assert is_saved(tmp_path)
    finally:
        demo.close()
