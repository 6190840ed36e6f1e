"""Trials of takes: a process or terminal is killed, the sound is lost, the computer sleeps."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import ClassVar

from devtools.pseudo_terminal import PseudoTerminal
from devtools.torture.inputs import Trial
from trainer.drill import BeatClock, parse_drill
from trainer.harp import Harp
from trainer.practice import (
    Event,
    Listener,
    PassEnded,
    Plan,
    StepMarked,
    TakeFinished,
    run_take,
)
from trainer.sound import (
    Block,
    BuiltInPlayer,
    DrillSetup,
    PlayerSpec,
    Source,
    SourceGapError,
    SourceLost,
    SourceSpec,
)
from trainer.store import Journal

DRILL = parse_drill(
    'title = "Along the mole"\nharp = "C"\ntempo = 240\n'
    'tab = "4:1 -4:1 5:1 -5:1 | 6:1 -6:1 5:1 4:1 | 4:1 -4:1 5:1 -5:1 | 6:4"\n',
    "mole",
)
WITHIN_S = 60.0


def plan_of(journal: Path) -> Plan:
    """Return a take of the built-in player in real time."""
    source = PlayerSpec(realtime=True)
    return Plan(Harp.of("C"), source, drill=DRILL, journal=journal, count_in=1, player="Marit")


def kept_steps(journal: Path) -> set[int]:
    """Return the steps of all takes of a journal."""
    with Journal(journal) as opened:
        return {step.index for take in opened.takes() for step in take.steps}


def listener(folder: Path) -> Trial:
    """The listener's process is killed while a take runs; another goes on."""
    running = Listener()
    number = 0

    def trial(chance: Random) -> bool:
        nonlocal number
        number += 1
        journal = folder / f"{number}.sqlite"
        running.begin(plan_of(journal))
        reported = _steps(running, chance.randint(1, len(DRILL.steps) - 2))
        how = chance.choice((signal.SIGTERM, signal.SIGKILL))
        os.kill(running._process._process.pid or 0, how)
        until = time.monotonic() + WITHIN_S
        over = False
        while not over:
            assert time.monotonic() < until, "the take does not end"
            for event in running.poll():
                if isinstance(event, StepMarked):
                    reported.add(event.mark.step.index)
                over = over or isinstance(event, TakeFinished)
            time.sleep(0.005)
        lost = reported - kept_steps(journal)
        assert not lost, f"{how.name} lost the steps {sorted(lost)}"
        return True

    return trial


def _steps(running: Listener, count: int) -> set[int]:
    """Poll until some steps were reported; return them."""
    reported: set[int] = set()
    until = time.monotonic() + WITHIN_S
    while len(reported) < count:
        assert time.monotonic() < until, "no steps come"
        for event in running.poll():
            if isinstance(event, StepMarked):
                reported.add(event.mark.step.index)
        time.sleep(0.005)
    return reported


def lines(folder: Path) -> Trial:
    """A take in lines is ended by a signal, or its reader goes away."""
    code = (
        "import sys; from pathlib import Path; from devtools.torture.takes import print_take\n"
        "print_take(Path(sys.argv[1]))"
    )
    number = 0

    def trial(chance: Random) -> bool:
        nonlocal number
        number += 1
        journal = folder / f"{number}.sqlite"
        process = subprocess.Popen(
            [sys.executable, "-c", code, str(journal)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        count, reported = chance.randint(1, len(DRILL.steps) - 2), set[int]()
        for line in process.stdout:
            reported.add(int(line))
            if len(reported) >= count:
                break
        how = chance.choice((signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGKILL, None))
        if how is None:
            process.stdout.close()
        else:
            process.send_signal(how)
            reported |= {int(line) for line in process.stdout if line.endswith("\n")}
        process.wait(WITHIN_S)
        lost = reported - kept_steps(journal)
        assert not lost, f"{how} lost the steps {sorted(lost)}"
        return True

    return trial


def print_take(journal: Path) -> None:
    """Play a take in lines, and print the index of each step as it is marked."""
    from trainer.cli.plain import console_events

    with suppress(BrokenPipeError):
        for event in console_events(plan_of(journal)):
            if isinstance(event, StepMarked):
                print(event.mark.step.index, flush=True)


def app(folder: Path) -> Trial:
    """The app is killed, or its terminal is closed, while a take runs."""
    code = (
        "import sys; from pathlib import Path; from devtools.torture.takes import show_take\n"
        "show_take(Path(sys.argv[1]))"
    )
    number = 0

    def trial(chance: Random) -> bool:
        nonlocal number
        number += 1
        journal = folder / f"{number}.sqlite"
        terminal = PseudoTerminal(
            sys.executable, "-c", code, journal, controlling=chance.random() < 0.5
        )
        try:
            reported = _wait_for_steps(journal, terminal)
            how = chance.choice((signal.SIGTERM, signal.SIGHUP, signal.SIGKILL, None))
            if how is None:
                terminal.hang_up()
            else:
                terminal.process.send_signal(how)
            terminal.wait(WITHIN_S)
            if how in (signal.SIGTERM, signal.SIGHUP):
                assert terminal.attributes == terminal.attributes_before, "the terminal is left so"
        finally:
            terminal.close()
        lost = reported - kept_steps(journal)
        assert not lost, f"{how} lost the steps {sorted(lost)}"
        return True

    return trial


def _wait_for_steps(journal: Path, terminal: PseudoTerminal) -> set[int]:
    """Wait until a step is marked; return those that are."""
    until = time.monotonic() + WITHIN_S
    while not journal.exists() or not (steps := kept_steps(journal)):
        assert time.monotonic() < until, "no steps come"
        terminal.read(0.05)
    return steps


def show_take(journal: Path) -> None:
    """Play a take in the app."""
    from trainer.cli.screen import run_app

    run_app(plan_of(journal), autostart=True)


# --- lost sound ------------------------------------------------------------------------------


@dataclass(frozen=True)
class TroubledSpec(SourceSpec):
    """The built-in player through a microphone that is lost, or a computer that sleeps.

    Attributes:
        at: samples at which that happens, each once.
        sleeps: whether it sleeps.
    """

    at: tuple[int, ...]
    sleeps: bool

    kind: ClassVar[str] = "microphone"
    is_live: ClassVar[bool] = True

    def open(self, setup: DrillSetup) -> Source:
        """Open the source."""
        return _Troubled(self, setup)


class _Troubled(Source):
    name = "a troubled microphone"
    rate = 48_000
    is_live = True
    can_start_passes = True
    can_pause = True

    def __init__(self, spec: TroubledSpec, setup: DrillSetup) -> None:
        assert setup.drill is not None
        assert setup.harp is not None
        self._at, self._sleeps = list(spec.at), spec.sleeps
        self._player = BuiltInPlayer(setup.drill, setup.harp, tempo=setup.tempo, block=480)
        self._sound = self._player.blocks()

    def blocks(self) -> Iterator[Block]:
        for block in self._sound:
            yield block
            if self._at and block.end >= self._at[0]:
                self._at.pop(0)
                raise SourceGapError("35 s are missing") if self._sleeps else SourceLost("gone")

    def reopen(self) -> None:
        """It is back at once."""

    def close(self) -> None:
        self._player.close()

    def first_pass(self) -> BeatClock:
        return self._player.first_pass()

    def next_pass(self, tempo: float | None = None, *, seamless: bool = False) -> BeatClock:
        return self._player.next_pass(tempo, seamless=seamless)

    def resume_pass(self, bars: tuple[int, int], tempo: float | None = None) -> BeatClock:
        return self._player.resume_pass(bars, tempo)

    def pause(self) -> None:
        self._player.pause()


def unplugs(folder: Path) -> Trial:
    """The microphone is lost in the middle of a pass, once or several times."""
    return _with_trouble(folder, sleeps=False)


def sleeps(folder: Path) -> Trial:
    """The computer sleeps in the middle of a pass."""
    return _with_trouble(folder, sleeps=True)


def _with_trouble(folder: Path, *, sleeps: bool) -> Trial:
    number = 0

    def trial(chance: Random) -> bool:
        nonlocal number
        number += 1
        journal = folder / f"{number}.sqlite"
        at = sorted(chance.randrange(60_000, 220_000) for _ in range(chance.randint(1, 3)))
        spec = TroubledSpec(tuple(at), sleeps)
        events: list[Event] = list(
            run_take(Plan(Harp.of("C"), spec, drill=DRILL, journal=journal, player="Marit"))
        )
        reported = {event.mark.step.index for event in events if isinstance(event, StepMarked)}
        ended = any(isinstance(event, PassEnded) for event in events)
        lost = (reported - kept_steps(journal)) if reported and ended else set[int]()
        # A stop counts only the steps that were due: the newest may be still to come.
        assert len(lost) <= 1, f"lost the steps {sorted(lost)} of {sorted(reported)}"
        assert isinstance(events[-1], TakeFinished)
        return True

    return trial
