"""Runs trials in processes of their own, and notices what hangs, fails or takes too much.

A tally keeps the outcomes in a file, so that trials of several runs add up: each run goes on with
the number after the last trial, so that no trial is counted twice.
"""

from __future__ import annotations

import contextlib
import json
import logging
import multiprocessing as mp
import os
import shutil
import tempfile
import time
import traceback
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from random import Random

from devtools.torture import inputs, sounds, takes
from trainer.core.files import replace_file

KINDS = {
    "drills": inputs.drills,
    "recordings": inputs.recordings,
    "sounds": sounds.sounds,
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
REACH = {
    "drills": 100_000,
    "recordings": 10_000,
    "sounds": 10_000,
    "scores": 10_000,
    "journals": 10_000,
    "settings": 10_000,
    "fields": 1_000,
    "unplugs": 100,
    "sleeps": 20,
    "listener": 400,
    "lines": 300,
    "app": 300,
}
"""Trials of each kind that a version should have passed. Chosen by hand."""
SAVE_S = 2.0
"""Seconds between two savings of a tally."""
MEMORY_FOLDER = Path("/dev/shm")
"""Where trials write if it exists: in memory, as most of a trial's time would go to the disk."""
HANG_S = 10.0
"""Seconds of processor time after which a trial hangs."""
STUCK_S = 120.0
"""Seconds after which a trial hangs that waits for something: its process uses no processor."""
IDLE_S = 0.02
"""Processor time that a waiting process may use in `STUCK_S`, in seconds."""
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
        next: number of the next trial.
    """

    kind: str
    trials: int = 0
    accepted: int = 0
    failures: list[tuple[int, str]] = field(default_factory=list)
    worst_s: float = 0.0
    peak_mb: float = 0.0
    next: int = 0

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


class Tally:
    """Outcomes of trials, kept in a file.

    Attributes:
        seed: what chance starts from; that of the file, where it exists.
        outcomes: by kind.
    """

    def __init__(self, file: Path | None, seed: int) -> None:
        """Read the file if it exists; None keeps nothing."""
        self._file, self._saved_at = file, 0.0
        self.seed = seed
        self.outcomes: dict[str, Outcome] = {}
        if file is not None and file.exists():
            content = json.loads(file.read_text("utf-8"))
            self.seed = content["seed"]
            for kind, fields in content["kinds"].items():
                fields["failures"] = [(number, reason) for number, reason in fields["failures"]]
                self.outcomes[kind] = Outcome(**fields)

    def of(self, kind: str) -> Outcome:
        """Return the outcome of a kind, to be added to."""
        return self.outcomes.setdefault(kind, Outcome(kind))

    def save(self, within_s: float = 0.0) -> None:
        """Write the file, unless that was done within some seconds."""
        if self._file is None or time.monotonic() < self._saved_at + within_s:
            return
        kinds = {kind: asdict(outcome) for kind, outcome in self.outcomes.items()}
        content = json.dumps({"seed": self.seed, "kinds": kinds}, indent=1)
        replace_file(self._file, content.encode(), waits_for_disk=False)
        self._saved_at = time.monotonic()


def run_kind(
    kind: str,
    tally: Tally,
    seconds: float,
    *,
    numbers: Sequence[int] | None = None,
    goal: int | None = None,
) -> Outcome:
    """Run trials of a kind, and add them to a tally.

    Args:
        kind: one of :data:`KINDS`.
        tally: the trials so far.
        seconds: time for them.
        numbers: the trials; None takes one after another until the time is over.
        goal: number of trials in the tally at which to stop; None for no end but the time's.

    Returns:
        The outcome of all trials of the kind in the tally.
    """
    outcome = tally.of(kind)
    until = time.monotonic() + seconds
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # a process with threads must not fork
    while numbers is not None or goal is None or outcome.trials < goal:
        chosen = numbers
        if numbers is None and goal is not None:
            chosen = range(outcome.next, outcome.next + goal - outcome.trials)
        ours, theirs = mp.Pipe(duplex=False)
        process = mp.get_context("spawn").Process(
            target=_work, args=(theirs, kind, tally.seed, until, outcome.next, chosen)
        )
        process.start()
        theirs.close()
        hung = _follow(ours, outcome, process, tally)
        process.join()
        tally.save()
        if hung is None or time.monotonic() > until:
            break
    return outcome


def _follow(
    pipe: Connection, outcome: Outcome, process: mp.process.BaseProcess, tally: Tally
) -> int | None:
    """Note what a process reports; return the trial on which it hung or died, None for none."""
    number = -1
    began_s = worked_s = 0.0
    with contextlib.suppress(EOFError, OSError):
        while True:
            if not pipe.poll(STUCK_S):
                before_s, worked_s = worked_s, _processor_s(process.pid)
                if worked_s < before_s + IDLE_S or worked_s > began_s + 2.0 * HANG_S:
                    break
                continue  # it works, as far as a busy machine lets it
            match pipe.recv():
                case ("begins", int(number)):
                    began_s = _processor_s(process.pid)
                    outcome.next = max(outcome.next, number + 1)
                case ("done", bool(accepted), float(cpu_s), float(peak_mb), failure):
                    outcome.trials += 1
                    outcome.accepted += accepted
                    outcome.worst_s = max(outcome.worst_s, cpu_s)
                    outcome.peak_mb = max(outcome.peak_mb, peak_mb)
                    if cpu_s > HANG_S:
                        failure = f"took {cpu_s:.0f} s"
                    if failure is not None:
                        outcome.failures.append((number, str(failure)))
                    tally.save(SAVE_S)
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
    in_memory = MEMORY_FOLDER if os.access(MEMORY_FOLDER, os.W_OK) else None
    folder = Path(tempfile.mkdtemp(prefix=f"torture-{kind}-", dir=in_memory))
    tempfile.tempdir = str(folder)
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
            if time.monotonic() > until:
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


def _processor_s(pid: int | None) -> float:
    """Return the processor time of a process in seconds; 0 where the system does not show it."""
    try:
        after_name = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")


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
