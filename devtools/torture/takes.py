"""Trials of takes: a process or terminal is killed, the sound is lost, the computer sleeps.

Most processes that are killed are copies of one that has loaded everything
(:mod:`devtools.torture.forked`); `FRESH` of them are started as a player starts them.
"""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, nullcontext, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from typing import ClassVar

from devtools.pseudo_terminal import PseudoTerminal, take_terminal
from devtools.torture.forked import Forked, forked_listeners
from devtools.torture.inputs import Trial
from trainer.core.system import CAN_FORK
from trainer.drill import BeatClock, parse_drill
from trainer.harp import Harp
from trainer.practice import (
    Event,
    Listener,
    PassEnded,
    Plan,
    StepMarked,
    TakeFailed,
    TakeFinished,
    run_take,
)
from trainer.practice.recorder import MIN_KEPT_FRACTION
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
WITHIN_S = 600.0
"""Longest wait for a step or an end, in seconds, far beyond what a busy machine needs."""
FRESH = 0.05
"""Fraction of the processes that are started afresh. Chosen by hand: a start takes ten times as
long as a take."""


def is_fresh(chance: Random) -> bool:
    """Return whether a process is to be started afresh."""
    return chance.random() < FRESH or not CAN_FORK


def plan_of(journal: Path, realtime: bool = True) -> Plan:
    """Return a take of the built-in player, in real time or as fast as it can."""
    source = PlayerSpec(realtime=realtime)
    return Plan(Harp.of("C"), source, drill=DRILL, journal=journal, count_in=1, player="Marit")


def kept_steps(journal: Path) -> set[int]:
    """Return the steps of all takes of a journal."""
    with Journal(journal) as opened:
        return {step.index for take in opened.takes() for step in take.steps}


def written_steps(journal: Path) -> set[int]:
    """Return the steps of a journal that another process writes; it is only looked at."""
    with closing(sqlite3.connect(f"{journal.as_uri()}?mode=ro", uri=True)) as db:
        return {index for (index,) in db.execute("SELECT idx FROM steps")}


def listener(folder: Path) -> Trial:
    """The listener's process is killed while a take runs; another goes on."""
    number = 0
    listeners: dict[bool, Listener] = {}

    def trial(chance: Random) -> bool:
        nonlocal number
        number += 1
        journal = folder / f"{number}.sqlite"
        fresh = is_fresh(chance)
        with nullcontext() if fresh else forked_listeners():
            if fresh not in listeners:
                listeners[fresh] = Listener()
            running = listeners[fresh]
            running.begin(plan_of(journal, realtime=chance.random() < 0.5))
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
        _forget(journal)
        return True

    return trial


def _forget(journal: Path) -> None:
    """Delete a journal that has passed: a thousand of them would fill a memory."""
    for path in journal.parent.glob(f"{journal.name}*"):
        path.unlink(missing_ok=True)
    for name in ("running", "backups"):
        shutil.rmtree(journal.parent / name, ignore_errors=True)


def _steps(running: Listener, count: int) -> set[int]:
    """Poll until some steps were reported; return them."""
    reported: set[int] = set()
    until = time.monotonic() + WITHIN_S
    while len(reported) < count:
        assert time.monotonic() < until, "no steps come"
        for event in running.poll():
            assert not isinstance(event, TakeFailed), event.sentence
            assert not isinstance(event, TakeFinished), f"the take ends after {len(reported)} steps"
            if isinstance(event, StepMarked):
                reported.add(event.mark.step.index)
        time.sleep(0.005)
    return reported


def lines(folder: Path) -> Trial:
    """A take in lines is ended by a signal, or its reader goes away."""
    number = 0

    def trial(chance: Random) -> bool:
        nonlocal number
        number += 1
        journal = folder / f"{number}.sqlite"
        reader, writer = os.pipe()
        process = _lines_process(journal, writer, reader, chance)
        os.close(writer)
        count, reported = chance.randint(1, len(DRILL.steps) - 2), set[int]()
        how = chance.choice((signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGKILL, None))
        with os.fdopen(reader) as output:
            for line in output:
                reported.add(int(line))
                if len(reported) >= count:
                    break
            if how is not None:
                process.send_signal(how)
                reported |= {int(line) for line in output if line.endswith("\n")}
        process.wait(WITHIN_S)
        lost = reported - kept_steps(journal)
        # Ctrl-C is the player's own wish, and a false start that the player stops is not kept.
        if how != signal.SIGINT or len(reported) >= MIN_KEPT_FRACTION * len(DRILL.steps):
            assert not lost, f"{how} lost the steps {sorted(lost)}"
        _forget(journal)
        return True

    return trial


def _lines_process(
    journal: Path, writer: int, reader: int, chance: Random
) -> Forked | subprocess.Popen[bytes]:
    """Start a take in lines that are written to a pipe."""
    realtime = chance.random() < 0.5
    if is_fresh(chance):
        code = (
            "import sys; from pathlib import Path; from devtools.torture.takes import print_take\n"
            f"print_take(Path(sys.argv[1]), {realtime})"
        )
        return subprocess.Popen([sys.executable, "-c", code, str(journal)], stdout=writer)
    return Forked(partial(print_take, journal, realtime), (0, writer, 2), close=(reader,))


def print_take(journal: Path, realtime: bool) -> None:
    """Play a take in lines, and print the index of each step as it is marked."""
    from trainer.cli.plain import console_events

    with suppress(BrokenPipeError):
        for event in console_events(plan_of(journal, realtime)):
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
        controlling = chance.random() < 0.5
        if is_fresh(chance):
            terminal = PseudoTerminal(sys.executable, "-c", code, journal, controlling=controlling)
        else:
            terminal = PseudoTerminal(start=partial(_forked_app, journal, controlling))
        try:
            count = chance.randint(1, len(DRILL.steps) - 2)
            reported = _wait_for_steps(journal, terminal, count)
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
        _forget(journal)
        return True

    return trial


def _forked_app(journal: Path, controlling: bool, theirs: int, ours: int) -> Forked:
    """Start the app in a terminal as a copy of this process."""

    def prepare() -> None:
        os.setsid()
        if controlling:
            take_terminal()
        os.environ["TERM"] = "xterm-256color"

    def show() -> None:
        with forked_listeners():
            show_take(journal)

    return Forked(show, (theirs, theirs, theirs), close=(ours,), prepare=prepare)


def _wait_for_steps(journal: Path, terminal: PseudoTerminal, count: int) -> set[int]:
    """Wait until some steps are marked; return those that are."""
    until = time.monotonic() + WITHIN_S
    steps = set[int]()
    while len(steps) < count:
        assert time.monotonic() < until, "no steps come"
        terminal.read(0.05)
        with suppress(sqlite3.Error):  # not yet made, or being written
            steps |= written_steps(journal)
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
