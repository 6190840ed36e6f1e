"""Throughput of marking a school's recordings, and its growth with their number.

    python -m benchmarks.backlog [--files 1000] [--leaks] [--folder DIR]
    python -m benchmarks.backlog --report      # one recording of a minute and its page

The recordings of :mod:`benchmarks.class_takes`, no two alike, are marked by the pool of processes
of ``trainer mark`` and by a Dask scheduler with as many single-threaded workers as there are cores,
which do not profile themselves.
With `--leaks` a neighbour leaks on every note, 5 to 20 dB below.

The hours of sound per hour of CPU count everything that all processes use, their start and Dask's
scheduler included. *Warm* leaves the start out: it counts the CPU time of the recordings after the
first of each process.
"""

from __future__ import annotations

import argparse
import ctypes
import json
import os
import pickle
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, suppress
from functools import cache, partial
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks import results
from benchmarks.class_takes import Take, write_take
from trainer.core.types import Floats
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, RecordingSpec

COUNTS = (10, 100, 1000)
PASSES, ROUNDS = 5, 5
"""Passes in the recording of a minute, and how often its report is made."""
ROOT = Path(__file__).parents[1]
DRILL = find_drill("harbour-bell")
_MARK = "import sys; from benchmarks.backlog_marking import main; main(*sys.argv[1:])"
"""What a process that marks runs; not a module, which each process of the pool would import."""
NO_PROFILER = "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED"
"""Variable that is False for workers that do not sample their own stacks every 10 ms."""
HEAD = (
    f"{'':<14} {'files':>5} {'marked':>7} {'hours':>8} {'wall, s':>9} {'CPU, s':>9}"
    f" {'h per CPU h':>12} {'warm':>7} {'h per hour':>12}"
)


def recordings(folder: Path, count: int, *, leaks: bool) -> list[Take]:
    """Return the first recordings of the backlog, which are written where they are not there."""
    kind = folder / ("leaks" if leaks else "clean")
    kind.mkdir(exist_ok=True)
    index = kind / "takes.pickle"
    takes: list[Take] = pickle.loads(index.read_bytes()) if index.exists() else []
    if len(takes) < count:
        with ProcessPoolExecutor() as pool:
            write = partial(write_take, kind, leaks=leaks)
            takes += pool.map(write, range(len(takes), count), chunksize=4)
        index.write_bytes(pickle.dumps(takes))
    return takes[:count]


def cpu_seconds() -> float:
    """Return the CPU time of this process and of all ended children."""
    both = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(usage.ru_utime + usage.ru_stime for usage in map(resource.getrusage, both))


def measure(name: str, takes: Sequence[Take], *, by_dask: bool) -> str:
    """Mark recordings and return a row of the table."""
    plans = [
        Plan(
            Harp.of(take.harp, take.tuning), RecordingSpec(take.path), drill=find_drill(take.drill)
        )
        for take in takes
    ]
    with tempfile.TemporaryDirectory() as folder:
        todo, out = Path(folder) / "todo", Path(folder) / "out"
        todo.write_bytes(pickle.dumps(plans))
        began, before = time.monotonic(), cpu_seconds()
        if by_dask:
            with dask_cluster(Path(folder)) as address:
                _run("-c", _MARK, str(todo), address, str(out))
        else:
            _run("-c", _MARK, str(todo), "", str(out))
        wall, cpu = time.monotonic() - began, cpu_seconds() - before
        done = pickle.loads(out.read_bytes())
    lengths = {take.path: take.seconds for take in takes}
    seconds = sum(lengths.values())
    later = [each for each in done if each.order]
    warm = sum(lengths[each.path] for each in later) / max(1e-9, sum(each.cpu_s for each in later))
    marked = sum(each.best is not None for each in done)
    return (
        f"{name:<14} {len(takes):>5} {marked:>7} {seconds / 3600.0:8.2f} {wall:9.1f} {cpu:9.1f}"
        f" {seconds / cpu:12.1f} {warm:7.1f} {seconds / wall:12.1f}"
    )


@contextmanager
def dask_cluster(folder: Path) -> Iterator[str]:
    """Start a Dask scheduler and a worker for each core, and yield the scheduler's address."""
    file = folder / "scheduler.json"
    dask = ["-m", "dask"]
    started = [
        _start(*dask, "scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(file))
    ]
    try:
        address = _wait_for_address(file, started[0])
        for _ in range(os.cpu_count() or 1):
            worker = [*dask, "worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
            started.append(_start(*worker))
        yield address
    finally:
        for process in started:
            process.terminate()
            process.wait()


def _wait_for_address(file: Path, scheduler: subprocess.Popen[bytes]) -> str:
    """Wait until a scheduler has written its file, and return its address.

    Raises:
        ChildProcessError: it has ended.
    """
    while scheduler.poll() is None:
        with suppress(OSError, json.JSONDecodeError):  # not there yet, or half written
            return str(json.loads(file.read_text(encoding="utf-8"))["address"])
        time.sleep(0.05)
    raise ChildProcessError("Dask's scheduler has ended")


def _start(*words: str) -> subprocess.Popen[bytes]:
    """Start Python quietly, with the modules of this tree, and Dask without its profiler."""
    path = os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(
        [sys.executable, *words],
        env={**os.environ, "PYTHONPATH": path, NO_PROFILER: "False"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        process_group=0,
    )


def _run(*words: str) -> None:
    """Run Python to its end."""
    orphans_come_here = adopts_orphans()
    process = _start(*words)
    code = process.wait()
    while orphans_come_here:  # what a pool leaves behind ends now, and its CPU time counts
        try:
            os.waitpid(-process.pid, 0)
        except ChildProcessError:
            break
    if code:
        raise subprocess.CalledProcessError(code, words)


@cache
def adopts_orphans() -> bool:
    """Make this process the parent of its children's orphans, and return whether it is."""
    set_child_subreaper = 36  # see prctl(2)
    return sys.platform == "linux" and not ctypes.CDLL(None).prctl(set_child_subreaper, 1, 0, 0, 0)


def report(rounds: int) -> str:
    """Return what the page of a recording of a minute costs on one core, a process a round."""
    passes: list[Floats] = []
    for number in range(PASSES):
        faults = {2: Fault(cents=5.0 * number), 5: Fault(late_ms=8.0 * number)}
        player = BuiltInPlayer(DRILL, Harp.of("C"), spec=PlayerSpec(faults=faults))
        # Passes must not all begin on the same sample of a hop.
        passes.append(np.zeros(1 + 211 * number))
        passes += [block.samples for block in player.blocks()]
    with tempfile.TemporaryDirectory() as folder:
        whole, page = Path(folder) / "whole.flac", Path(folder) / "whole.html"
        sf.write(whole, np.concatenate(passes)[: 60 * player.rate], player.rate)
        words = [sys.executable, "-m", "trainer", "report", str(whole), "--drill", DRILL.name]
        words += ["--harp", "C", "--out", str(page), "--force"]
        if hasattr(os, "sched_setaffinity"):
            os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        times = []
        for _ in range(rounds):
            began, before = time.monotonic(), cpu_seconds()
            subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
            times.append((time.monotonic() - began, cpu_seconds() - before))
    wall, cpu = np.median(times, axis=0)
    return (
        f"report of a minute: {wall:.2f} s, {cpu:.2f} s of CPU, medians of {rounds} rounds; "
        f"fastest {min(times)[0]:.2f} s"
    )


def main() -> None:
    """Print the table, or the cost of a report."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.backlog")
    parser.add_argument("--files", type=int, default=max(COUNTS), help="largest number of files")
    parser.add_argument("--leaks", action="store_true", help="a neighbour leaks on every note")
    parser.add_argument("--report", action="store_true", help="measure one report instead")
    parser.add_argument("--folder", type=Path, help="where recordings are kept from run to run")
    results.add_options(parser)
    options = parser.parse_args()
    name = "benchmarks.backlog" + (" --report" if options.report else "")
    kind = "a neighbour leaks on every note, 5 to 20 dB below" if options.leaks else "none leaks"
    output = results.Results(
        name + (" --leaks" if options.leaks else ""),
        f"takes of {DRILL.name} by the built-in player, a minute in all"
        if options.report
        else f"takes of benchmarks.class_takes, all different, 44.1 and 48 kHz; {kind}",
        "none is fitted to it"
        if options.report
        else "when the ear looks for reeds and measures pitches was chosen while that was counted "
        "on takes 0 to 3, and marks were compared on takes 1 to 9",
    )
    if options.report:
        output.print(report(1 if options.smoke else ROUNDS))
    else:
        output.print(HEAD)
        counts = [1] if options.smoke else [n for n in COUNTS if n <= options.files]
        with tempfile.TemporaryDirectory() as temporary:
            folder = options.folder or Path(temporary)
            for count in counts:
                takes = recordings(folder, count, leaks=options.leaks)
                output.print(measure("pool", takes, by_dask=False))
                output.print(measure("Dask", takes, by_dask=True))
    load = ", ".join(f"{average:.1f}" for average in os.getloadavg())
    output.print(f"load over 1, 5 and 15 minutes: {load}")
    output.finish(options)


if __name__ == "__main__":
    main()
