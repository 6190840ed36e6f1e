"""Throughput of marking a school's recordings, and its growth with their number.

    python -m benchmarks.backlog [--files 1000] [--leaks]
    python -m benchmarks.backlog --report      # one recording of a minute and its page

Recordings of a drill by the built-in player, 13 s each, are marked by the pool of processes of
``trainer mark`` and by a Dask scheduler with as many single-threaded workers. The hours of sound
per hour of CPU count everything that the processes use, including their start.

On clean takes most of the ear's work is that of one hole. `--leaks` gives every note a leaking
neighbour 10 dB below, and every recording white noise 50 dB below full scale.
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
from dataclasses import replace
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf

from benchmarks import results
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import Plan, mark_recordings
from trainer.sound import BuiltInPlayer, Fault, PlayerSpec, RecordingSpec

COUNTS = (10, 100, 1000)
DIFFERENT = 8
"""Number of different recordings; the rest are links to them."""
PASSES, ROUNDS = 5, 5
"""Passes in the recording of a minute, and how often its report is made."""
LEAK_DB, NOISE_DB = -10.0, -50.0
DRILL = find_drill("harbour-bell")
HEAD = (
    f"{'':<14} {'files':>5} {'marked':>7} {'hours':>8} {'wall, s':>9} {'CPU, s':>9}"
    f" {'h per CPU h':>12} {'h per hour':>12}"
)


def recordings(folder: Path, count: int, *, leaks: bool = False) -> tuple[list[Path], float]:
    """Write recordings.

    Args:
        folder: where to.
        count: number of files.
        leaks: whether a neighbour leaks on every note, in noise.

    Returns:
        The files, and the length of one in seconds.
    """
    originals = []
    for number in range(min(DIFFERENT, count)):
        faults = {2: Fault(cents=5.0 * number), 5: Fault(late_ms=8.0 * number)}
        if leaks:
            faults = {
                step.index: replace(faults.get(step.index, Fault()), leak_db=LEAK_DB)
                for step in DRILL.steps
            }
        player = BuiltInPlayer(DRILL, Harp.of("C"), spec=PlayerSpec(faults=faults))
        sound = np.concatenate([block.samples for block in player.blocks()])
        if leaks:
            noise = np.random.default_rng(number).standard_normal(len(sound))
            sound = sound + 10.0 ** (NOISE_DB / 20.0) * noise.astype(np.float32)
        path = folder / f"original-{number}.flac"
        sf.write(path, sound, player.rate)
        originals.append(path)
    links = [folder / f"{number:04}.flac" for number in range(count)]
    for number, link in enumerate(links):
        os.link(originals[number % DIFFERENT], link)
    return links, len(sound) / player.rate


def cpu_seconds() -> float:
    """Return the CPU time of this process and of all ended children."""
    both = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(usage.ru_utime + usage.ru_stime for usage in map(resource.getrusage, both))


def measure(
    name: str, count: int, mark: Callable[[list[Plan]], int], *, leaks: bool = False
) -> str:
    """Mark `count` recordings and return a row of the table."""
    with tempfile.TemporaryDirectory() as folder:
        files, seconds = recordings(Path(folder), count, leaks=leaks)
        plans = [Plan(Harp.of("C"), RecordingSpec(file), drill=DRILL) for file in files]
        began, before = time.monotonic(), cpu_seconds()
        marked = mark(plans)
        wall, cpu = time.monotonic() - began, cpu_seconds() - before
    hours = count * seconds / 3600.0
    return (
        f"{name:<14} {count:>5} {marked:>7} {hours:8.2f} {wall:9.1f} {cpu:9.1f}"
        f" {hours * 3600.0 / cpu:12.1f} {hours * 3600.0 / wall:12.1f}"
    )


def mark_by_pool(plans: list[Plan]) -> int:
    """Mark by the pool; return the number of recordings with a mark."""
    return sum(marked.best is not None for marked in mark_recordings(plans))


def mark_by_dask(plans: list[Plan]) -> int:
    """Mark by Dask's workers, which are started and ended here so that their CPU counts."""
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
        marked = sum(marked.best is not None for marked in mark_recordings(plans, address))
        for process in started:
            process.terminate()
            process.wait()
    return marked


def report(rounds: int) -> str:
    """Return what the page of a recording of a minute costs on one core, a process a round."""
    with tempfile.TemporaryDirectory() as folder:
        files, _ = recordings(Path(folder), PASSES)
        sounds = [sf.read(file)[0] for file in files]
        rate = sf.info(files[0]).samplerate
        whole, page = Path(folder) / "whole.flac", Path(folder) / "whole.html"
        # Passes must not all begin on the same sample of a hop.
        gaps = [np.zeros(1 + 211 * number) for number in range(len(sounds))]
        sounds = [part for pair in zip(gaps, sounds, strict=True) for part in pair]
        sf.write(whole, np.concatenate(sounds)[: 60 * rate], rate)
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
    results.add_options(parser)
    options = parser.parse_args()
    name = "benchmarks.backlog" + (" --report" if options.report else "")
    kind = f"a neighbour leaks {-LEAK_DB:g} dB below on every note" if options.leaks else "clean"
    output = results.Results(
        name + (" --leaks" if options.leaks else ""),
        f"takes of {DRILL.name} by the built-in player, 13 s each, {kind}",
        "none is fitted to it",
    )
    if options.report:
        output.print(report(1 if options.smoke else ROUNDS))
    else:
        output.print(HEAD)
        counts = [1] if options.smoke else [n for n in COUNTS if n <= options.files]
        for count in counts:
            output.print(measure("pool", count, mark_by_pool, leaks=options.leaks))
            output.print(measure("Dask", count, mark_by_dask, leaks=options.leaks))
    load = ", ".join(f"{average:.1f}" for average in os.getloadavg())
    output.print(f"load over 1, 5 and 15 minutes: {load}")
    output.finish(options)


if __name__ == "__main__":
    main()
