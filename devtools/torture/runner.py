"""Runs trials in processes of their own, and notices what hangs, fails or takes too much."""

from __future__ import annotations

import contextlib
import logging
import multiprocessing as mp
import os
import shutil
import tempfile
import time
import traceback
from collections.abc import Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random

from devtools.torture import inputs, takes

KINDS = {
    "drills": inputs.drills,
    "recordings": inputs.recordings,
    "scores": inputs.scores,
    "journals": inputs.journals,
    "settings": inputs.settings,
    "fields": inputs.fields,
    "unplugs": takes.unplugs,
    "sleeps": takes.sleeps,
    "listener": takes.listener,
    "lines": takes.lines,
    "app": takes.app,
}
"""What prepares each kind of trial, in a folder."""
HANG_S = 10.0
"""Seconds of processor time after which a trial hangs."""
STUCK_S = 120.0
"""Seconds after which a trial hangs that waits for something."""
MAX_MB = 1000.0
"""Memory that a kind may take, in MB."""


@dataclass
class Outcome:
    """What became of the trials of a kind.

    Attributes:
        kind: the kind.
        trials: how many there were.
        accepted: how many inputs were accepted, or takes kept.
        failures: number and reason of each trial that failed or hung.
        worst_s: longest processor time of a trial, in seconds.
        peak_mb: most memory of the process, in MB.
    """

    kind: str
    trials: int = 0
    accepted: int = 0
    failures: list[tuple[int, str]] = field(default_factory=list)
    worst_s: float = 0.0
    peak_mb: float = 0.0

    @property
    def passed(self) -> bool:
        """Whether nothing failed."""
        return not self.failures and self.peak_mb < MAX_MB

    def row(self) -> str:
        """Return it as a row of the table."""
        return (
            f"| {self.kind} | {self.trials} | {self.accepted} | {len(self.failures)} | "
            f"{self.worst_s:.2f} | {self.peak_mb:.0f} |"
        )


HEAD = (
    "| kind | trials | accepted or kept | failed | longest, s | memory, MB |\n"
    "| --- | --- | --- | --- | --- | --- |"
)


def run_kind(kind: str, seed: int, seconds: float, numbers: Sequence[int] | None = None) -> Outcome:
    """Run trials of a kind.

    Args:
        kind: one of :data:`KINDS`.
        seed: what chance starts from.
        seconds: time for them.
        numbers: the trials; None takes one after another until the time is over.
    """
    outcome, begin = Outcome(kind), 0
    until = time.monotonic() + seconds
    while True:
        ours, theirs = mp.Pipe(duplex=False)
        process = mp.get_context("spawn").Process(
            target=_work, args=(theirs, kind, seed, until, begin, numbers)
        )
        process.start()
        theirs.close()
        hung = _follow(ours, outcome, process)
        process.join()
        if hung is None or time.monotonic() > until:
            return outcome
        begin = hung + 1


def _follow(pipe: Connection, outcome: Outcome, process: mp.process.BaseProcess) -> int | None:
    """Note what a process reports; return the trial on which it hung or died, None for none."""
    number = -1
    with contextlib.suppress(EOFError, OSError):
        while pipe.poll(STUCK_S):
            match pipe.recv():
                case ("begins", int(number)):
                    pass
                case ("done", bool(accepted), float(cpu_s), float(peak_mb), failure):
                    outcome.trials += 1
                    outcome.accepted += accepted
                    outcome.worst_s = max(outcome.worst_s, cpu_s)
                    outcome.peak_mb = max(outcome.peak_mb, peak_mb)
                    if cpu_s > HANG_S:
                        failure = f"took {cpu_s:.0f} s"
                    if failure is not None:
                        outcome.failures.append((number, str(failure)))
                case "end":
                    return None
        process.kill()
    process.join()
    outcome.trials += 1
    outcome.failures.append((number, f"hung or died ({process.exitcode})"))
    return number


def _work(
    pipe: Connection,
    kind: str,
    seed: int,
    until: float,
    begin: int,
    numbers: Sequence[int] | None,
) -> None:
    """The process: runs trials until the time is over."""
    logging.disable()
    folder = Path(tempfile.mkdtemp(prefix=f"torture-{kind}-"))
    for name in [name for name in os.environ if name.startswith(("TRAINER_", "XDG_"))]:
        del os.environ[name]
    os.environ.update(HOME=str(folder), USERPROFILE=str(folder))
    _quiet()
    try:
        own = folder / "own"
        own.mkdir()
        try:
            trial = KINDS[kind](own)
        except Exception:
            pipe.send(("done", False, 0.0, _peak_mb(), traceback.format_exc()))
            pipe.send("end")
            raise
        number = begin
        for number in numbers if numbers is not None else iter_from(begin):
            if numbers is None and time.monotonic() > until:
                break
            pipe.send(("begins", number))
            accepted, failure = False, None
            began = time.process_time()
            try:
                accepted = trial(Random(f"{seed} {kind} {number}"))
            except Exception:
                failure = traceback.format_exc()
            pipe.send(("done", accepted, time.process_time() - began, _peak_mb(), failure))
        pipe.send("end")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def iter_from(begin: int) -> Sequence[int]:
    """Return all numbers from one on."""
    return range(begin, 2**31)


def _peak_mb() -> float:
    try:
        import resource
    except ImportError:  # not on this system
        return 0.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def _quiet() -> None:
    """Drop what decoders write to standard error; failures come through the pipe."""
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 2)
    os.close(null)
