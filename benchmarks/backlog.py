"""A school's backlog: how fast recordings are marked, and how that grows with their number.

    python -m benchmarks.backlog [--most 1000]
    python -m benchmarks.backlog --report      # one recording of a minute and its page

Recordings of a drill by the built-in player, 13 s each, are marked by the pool of processes that
``trainer mark`` uses, and, side by side, by a Dask scheduler with as many workers of one thread.
Hours of sound for an hour of all processors' time count what the processes themselves use, their
start included; they are told for 10, 100 and 1,000 files.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.practice.batch import mark_recordings
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, RecordingSpec

COUNTS = (10, 100, 1000)
DIFFERENT = 8
LOOPED, ROUNDS = 5, 5
"""Recordings in a row that a report is made of, and times that it is made."""
DRILL = find_drill("harbour-bell")


def recordings(folder: Path, count: int) -> tuple[list[Path], float]:
    """So many recordings, links to a few different ones, and how long one is."""
    made = []
    for number in range(DIFFERENT):
        faults = {2: Fault(cents=5.0 * number), 5: Fault(late_ms=8.0 * number)}
        player = BuiltInPlayer(DRILL, Harp.of("C"), spec=PlayerSpec(faults=faults))
        sound = np.concatenate([block.samples for block in player.blocks()])
        path = folder / f"made-{number}.flac"
        sf.write(path, sound, player.rate)
        made.append(path)
    links = [folder / f"{number:04}.flac" for number in range(count)]
    for number, link in enumerate(links):
        os.link(made[number % DIFFERENT], link)
    return links, len(sound) / player.rate


def spent() -> float:
    """Seconds of processor of this process and of all that it has waited for."""
    both = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(one.ru_utime + one.ru_stime for one in map(resource.getrusage, both))


def measure(name: str, count: int, mark: Callable[[list[Plan]], int]) -> None:
    """Mark so many, and print a row."""
    with tempfile.TemporaryDirectory() as folder:
        files, seconds = recordings(Path(folder), count)
        plans = [Plan(Harp.of("C"), RecordingSpec(file), drill=DRILL) for file in files]
        began, before = time.monotonic(), spent()
        marked = mark(plans)
        wall, cpu = time.monotonic() - began, spent() - before
    hours = count * seconds / 3600.0
    print(
        f"{name:<14} {count:>5} {marked:>7} {hours:8.2f} {wall:9.1f} {cpu:9.1f}"
        f" {hours * 3600.0 / cpu:12.1f} {hours * 3600.0 / wall:12.1f}",
        flush=True,
    )


def by_pool(plans: list[Plan]) -> int:
    """By the pool."""
    return sum(one.best is not None for one in mark_recordings(plans))


def by_dask(plans: list[Plan]) -> int:
    """By Dask's workers, started and ended here, so that what they use is counted."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scheduler.json"
        dask = [sys.executable, "-m", "dask"]
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
        words = ["scheduler", "--port", "0", "--no-dashboard", "--scheduler-file", str(file)]
        started = [subprocess.Popen([*dask, *words], **quiet)]  # type: ignore[call-overload]
        while not file.exists():
            time.sleep(0.05)
        address = json.loads(file.read_text())["address"]
        words = ["worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
        for _ in range(os.cpu_count() or 1):
            started.append(subprocess.Popen([*dask, *words], **quiet))  # type: ignore[call-overload]
        marked = sum(one.best is not None for one in mark_recordings(plans, address))
        for process in started:
            process.terminate()
            process.wait()
    return marked


def report() -> None:
    """Print what the page of a recording of a minute costs on one core, a process a round."""
    with tempfile.TemporaryDirectory() as folder:
        files, _ = recordings(Path(folder), LOOPED)
        sounds = [sf.read(file)[0] for file in files]
        rate = sf.info(files[0]).samplerate
        whole, page = Path(folder) / "whole.flac", Path(folder) / "whole.html"
        # No pass begins on the same sample of a hop as another, as nobody plays so.
        gaps = [np.zeros(1 + 211 * number) for number in range(len(sounds))]
        sounds = [part for pair in zip(gaps, sounds, strict=True) for part in pair]
        sf.write(whole, np.concatenate(sounds)[: 60 * rate], rate)
        words = [sys.executable, "-m", "trainer", "report", str(whole), "--drill", DRILL.name]
        words += ["--harp", "C", "--out", str(page), "--force"]
        if hasattr(os, "sched_setaffinity"):
            os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
        rounds = []
        for _ in range(ROUNDS):
            began, before = time.monotonic(), spent()
            subprocess.run(words, check=True, stdout=subprocess.DEVNULL)
            rounds.append((time.monotonic() - began, spent() - before))
    wall, cpu = np.median(rounds, axis=0)
    print(
        f"report of a minute: {wall:.2f} s, {cpu:.2f} s of processor, "
        f"medians of {ROUNDS}; the quickest {min(rounds)[0]:.2f} s; "
        f"load {', '.join(f'{one:.1f}' for one in os.getloadavg())}"
    )


def main() -> None:
    """Print the table, or what a report costs."""
    arguments = argparse.ArgumentParser(prog="python -m benchmarks.backlog")
    arguments.add_argument("--most", type=int, default=max(COUNTS))
    arguments.add_argument("--report", action="store_true", help="what one report costs")
    asked = arguments.parse_args()
    if asked.report:
        report()
        return
    most = asked.most
    print(
        f"{'':<14} {'files':>5} {'marked':>7} {'hours':>8} {'wall, s':>9} {'cpu, s':>9}"
        f" {'h per cpu-h':>12} {'h per hour':>12}"
    )
    for count in [one for one in COUNTS if one <= most]:
        measure("pool", count, by_pool)
        measure("Dask", count, by_dask)
    print(f"{os.cpu_count()} cores; load {', '.join(f'{one:.1f}' for one in os.getloadavg())}")


if __name__ == "__main__":
    main()
