"""A long live take with every core busy: no block may be lost, and memory must stay flat.

    python -m devtools.torture live --minutes 60

The real app runs in a pseudo-terminal, its listener in a process of its own as always, and they
loop a drill on the monitor of a PulseAudio null sink, into which a minute of recorded reeds is
played again and again. A loop of lowest priority keeps each core busy. The listener counts its
blocks as the microphone reports them, and compares their sound with what was played, second by
second; the memory of all processes is sampled beside that. What stands for the sound card, the
sound daemon and its player, gets real-time priority where that is allowed, as a card needs no
processor. Linux only.

A null sink hides overflows, so two more signs of lost sound are counted: seconds that arrived
changed, and the worst age of a block when the ear takes it.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.practice import (
    Event,
    NextCommand,
    Notice,
    PassEnded,
    Plan,
    ShouldStop,
    TakeFinished,
    TakePaused,
    run_take,
)
from trainer.sound import Block, Microphone, MicrophoneSpec
from trainer.store import Journal

RATE = 48_000
PERIOD_S = 60
"""Length of the sound that is played again and again, in seconds."""
SAMPLE_S = 10.0
"""Time between two samples of memory and of the listener's counts, in seconds."""
SETTLED_S = 300.0
"""Time after which memory has to stay flat, in seconds. Chosen by hand: all screens and caches are
made by then."""
MAX_GROWTH_MB = 15.0
"""Growth of all processes together from then on that counts as flat, in MB. Chosen by hand: a tenth
of the app's size."""
QUANTUM = 3.0 / 32768.0
"""Largest difference of a sample that arrived unchanged: the sink has 16 bits."""
STALL_S = 0.5
"""Time that the ear may take for a block before its stack is logged, in seconds."""
COUNTS, STALLS, ENDED = "counts.jsonl", "stalls.txt", "ended"
DRILL = parse_drill(
    'title = "Along the mole"\nharp = "C"\ntempo = 90\n'
    'tab = "4:1 -4:1 5:1 -5:1 | 6:1 -6:1 5:1 4:1 | 4:1 -4:1 5:1 -5:1 | 6:4"\n',
    "mole",
)


class Counter:
    """Counts the blocks of a microphone, and compares their sound with what was played."""

    def __init__(self, folder: Path) -> None:
        self._log = (folder / COUNTS).open("a")
        self._stalls = (folder / STALLS).open("a")
        self._given: float | None = None
        self._ear = threading.get_ident()
        self._played = np.fromfile(folder / "played.f32", np.float32)
        self._spectrum = np.conj(np.fft.rfft(self._played))
        self._second: list[Any] = []
        self._held = 0
        self._offset: int | None = None
        self._next = time.monotonic() + SAMPLE_S
        self._blocks = self._gaps = self._end = self._same = self._changed = self._shifts = 0
        self._began = time.monotonic()
        self._earliest = np.inf
        self._worst_s = 0.0
        self.passes = self.pauses = 0

    def install(self) -> None:
        """Count the blocks of every microphone of this process from now on."""
        counter, plain = self, Microphone.blocks

        def counted(microphone: Microphone) -> Iterator[Block]:
            for block in plain(microphone):
                counter._add(block, microphone)
                counter._given = time.monotonic()
                yield block
                counter._given = None

        threading.Thread(target=self._watch, daemon=True).start()
        Microphone.blocks = counted  # type: ignore[method-assign, assignment]

    def note(self, sentence: str) -> None:
        """Log what the take reports."""
        self._stalls.write(f"--- at {time.monotonic() - self._began:.1f} s: {sentence}\n")
        self._stalls.flush()

    def _watch(self) -> None:
        """Log the ear's stack, twice a second, while it takes long for a block."""
        while True:
            time.sleep(STALL_S / 2.0)
            given = self._given
            if given is not None and time.monotonic() - given > STALL_S:
                frame = sys._current_frames().get(self._ear)
                stack = "".join(traceback.format_stack(frame, 14)) if frame else ""
                s = time.monotonic() - self._began
                self._stalls.write(
                    f"--- at {s:.1f} s, for {time.monotonic() - given:.2f} s\n{stack}"
                )
                self._stalls.flush()

    def _add(self, block: Block, microphone: Microphone) -> None:
        now = time.monotonic()
        if self._blocks and block.start != self._end:
            self._gaps += 1
        self._blocks += 1
        self._end = block.end
        age_s = now - self._began - block.end / block.rate
        if block.end > 5 * block.rate:
            self._earliest = min(self._earliest, age_s)
            self._worst_s = max(self._worst_s, age_s - self._earliest)
        self._second.append(block.samples)
        self._held += len(block.samples)
        if self._held >= RATE:
            self._compare(np.concatenate(self._second), block.end - self._held)
            self._second, self._held = [], 0
        if now > self._next:
            self._next = now + SAMPLE_S
            self._write(microphone)
            self._worst_s = 0.0
            self._earliest += 0.001 * SAMPLE_S  # the sink's clock differs by up to 1000 ppm

    def _compare(self, heard: Any, start: int) -> None:
        """Compare a second of sound with what was played; find its place again if it differs."""
        if not np.any(np.abs(heard) > 0.01):
            return  # silence fits everywhere
        if self._offset is not None and self._fits(heard, start - self._offset):
            self._same += 1
            return
        lag = np.fft.irfft(np.fft.rfft(heard, len(self._played)) * self._spectrum)
        offset = (start + int(np.argmax(lag))) % len(self._played)
        # lag k: heard[i + k] = played[i]
        fits = self._fits(heard, start - offset)
        if self._offset is None and not fits:
            return  # not yet begun
        if self._offset is not None:
            self._changed += 1
            self._shifts += fits and offset != self._offset
        if fits:
            self._offset = offset

    def _fits(self, heard: Any, at: int) -> bool:
        expected = np.take(self._played, range(at, at + len(heard)), mode="wrap")
        return bool(np.max(np.abs(heard - expected)) < QUANTUM)

    def _write(self, microphone: Microphone) -> None:
        counts = {
            "s": time.monotonic() - self._began,
            "blocks": self._blocks,
            "heard_s": self._end / RATE,
            "lost": microphone.lost,
            "overflows": microphone.overflows,
            "gaps": self._gaps,
            "same_s": self._same,
            "changed_s": self._changed,
            "shifts": self._shifts,
            "worst_age_ms": 1000.0 * self._worst_s,
            "passes": self.passes,
            "pauses": self.pauses,
            "scheduler": os.sched_getscheduler(0),
        }
        self._log.write(json.dumps(counts) + "\n")
        self._log.flush()


def counted_take(
    folder: Path, plan: Plan, should_stop: ShouldStop, next_command: NextCommand
) -> Iterator[Event]:
    """Run a take in the listener's process, with its blocks counted."""
    counter = Counter(folder)
    counter.install()
    for event in run_take(plan, should_stop, next_command):
        counter.passes += isinstance(event, PassEnded)
        if isinstance(event, TakeFinished):
            (folder / ENDED).touch()
        if isinstance(event, Notice):
            counter.note(event.sentence)
        if isinstance(event, TakePaused):
            counter.pauses += 1
            counter.note(f"paused: {event.sentence}")
        yield event


def show_counted_take(folder: Path) -> None:
    """Loop the drill in the app, as the command does, with a listener that counts."""
    import typer

    import trainer.practice
    from trainer.cli.screen import run_app

    listener = partial(trainer.practice.Listener, partial(counted_take, folder))
    trainer.practice.Listener = listener  # type: ignore[misc, assignment]
    plan = Plan(
        Harp.of("C"),
        MicrophoneSpec(clicks=False),
        drill=DRILL,
        loop=True,
        journal=folder / "journal.sqlite",
        player="Marit",
        sound_mb=2_000.0,
    )
    try:
        run_app(plan, autostart=True)
    except typer.Exit as end:
        sys.exit(end.exit_code)


@dataclass
class Memory:
    """Resident memory of a process, in MB, by seconds since the start."""

    name: str
    rows: list[tuple[float, float]]

    def growth_mb(self) -> float:
        """Growth from `SETTLED_S` on, by the median of each end's tenth."""
        rows = [mb for s, mb in self.rows if s >= SETTLED_S] or [mb for _, mb in self.rows]
        tenth = max(1, len(rows) // 10)
        return float(np.median(rows[-tenth:]) - np.median(rows[:tenth]))


def processes_below(pid: int) -> Iterator[tuple[int, str]]:
    """Yield a process and its descendants, with a name for each."""
    parents: dict[int, list[int]] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            with contextlib.suppress(OSError, IndexError):
                after_name = (entry / "stat").read_text().rpartition(")")[2].split()
                parents.setdefault(int(after_name[1]), []).append(int(entry.name))
    waiting = [pid]
    while waiting:
        process = waiting.pop()
        with contextlib.suppress(OSError):
            command = (Path("/proc") / str(process) / "cmdline").read_bytes()
            kind = "app" if process == pid else "tracker" if b"resource_tracker" in command else ""
            yield process, kind or "listener"
        waiting += parents.get(process, [])


def resident_mb(pid: int) -> float:
    """Return the resident memory of a process in MB."""
    pages = int((Path("/proc") / str(pid) / "statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@dataclass
class LiveOutcome:
    """What became of a live take.

    Attributes:
        seconds: how long it was sampled.
        last: the listener's last counts.
        worst_age_ms: worst age of a block when the ear took it.
        memory: of each process, by its pid.
        kept: passes in the journal.
        exit_code: of the app.
        load: median of the load average.
        asked_s: how long it was to be.
    """

    seconds: float
    last: dict[str, Any]
    worst_age_ms: float
    memory: dict[int, Memory]
    kept: int
    exit_code: int
    load: float
    asked_s: float

    @property
    def passed(self) -> bool:
        """Whether nothing was lost, and memory stayed flat."""
        last = self.last
        return (
            self.seconds >= self.asked_s
            and not (last["lost"] or last["overflows"] or last["gaps"] or last["pauses"])
            and last["same_s"] > 0
            and last["changed_s"] == 0
            and self.kept >= last["passes"]
            and self.growth_mb < MAX_GROWTH_MB
        )

    @property
    def growth_mb(self) -> float:
        """Growth of all processes together."""
        return sum(memory.growth_mb() for memory in self.memory.values())

    def lines(self) -> Iterator[str]:
        """Yield the lines of a report."""
        last = self.last
        yield (
            f"{self.seconds / 60:.1f} minutes, load average {self.load:.1f}: {last['blocks']} "
            f"blocks, {last['lost']} samples lost, {last['overflows']} overflows, {last['gaps']} "
            f"gaps, {last['pauses']} pauses"
        )
        yield (
            f"{last['same_s']} s of sound arrived unchanged, {last['changed_s']} changed; worst "
            f"age of a block {self.worst_age_ms:.0f} ms; {last['passes']} passes, {self.kept} "
            f"kept; exit code {self.exit_code}"
        )
        for pid, memory in self.memory.items():
            most = max(mb for _, mb in memory.rows)
            yield (
                f"{memory.name} {pid}: {memory.rows[0][1]:.0f} MB at first, "
                f"{memory.rows[-1][1]:.0f} at last, {most:.0f} at most, growth after "
                f"{SETTLED_S:.0f} s {memory.growth_mb():+.1f}"
            )
        yield f"live: {'passed' if self.passed else 'FAILED'}"


def run_live(minutes: float, log: Path, *, busy: bool = True) -> LiveOutcome:
    """Run the app for some minutes.

    Args:
        minutes: how long.
        log: file for the samples of memory, one JSON object a line.
        busy: whether to keep each core busy.
    """
    from benchmarks.live import Terminal, performance
    from tests.support.pulse import SINK, Pulse

    code = (
        "import sys; from pathlib import Path; from devtools.torture import live\n"
        "live.show_counted_take(Path(sys.argv[1]))"
    )
    # The path of the sound daemon's socket must be short.
    with tempfile.TemporaryDirectory(prefix="live-") as name, log.open("w") as lines:
        folder = Path(name)
        sound, _ = performance(PERIOD_S)
        sound.tofile(folder / "played.f32")
        pulse = Pulse(folder)
        play = f"pacat --raw --format=float32le --rate={RATE} --channels=1 --latency-msec=2000"
        again_and_again = f'while cat "$0"; do :; done | {play} --device={SINK}'
        playing = subprocess.Popen(
            ["sh", "-c", again_and_again, str(folder / "played.f32")],
            env=pulse.env,
            start_new_session=True,
        )
        time.sleep(1.0)
        for pid in (pulse._daemon.pid, *(pid for pid, _ in processes_below(playing.pid))):
            _hurry(pid)
        burners = [
            subprocess.Popen(["nice", "-n", "19", sys.executable, "-c", "while True: pass"])
            for _ in range(os.cpu_count() or 1)
            if busy
        ]
        memory: dict[int, Memory] = {}
        loads: list[float] = []
        try:
            env = {**pulse.env, "PYTHONPATH": os.getcwd()}
            terminal = Terminal([sys.executable, "-c", code, str(folder)], env)
            terminal.wait_for(folder / COUNTS, 120.0)
            began = time.monotonic()
            while (s := time.monotonic() - began) < 60.0 * minutes:
                ended = (folder / ENDED).exists()
                if ended or terminal.process.poll() is not None:
                    break
                row: dict[str, Any] = {"s": round(s, 1), "load": os.getloadavg()[0]}
                loads.append(row["load"])
                for pid, kind in processes_below(terminal.process.pid):
                    with contextlib.suppress(OSError):
                        mb = resident_mb(pid)
                        memory.setdefault(pid, Memory(kind, [])).rows.append((s, mb))
                        row[f"{kind} {pid}"] = round(mb, 1)
                counts = _counts(folder)
                lines.write(json.dumps(row | {"listener": counts[-1:]}) + "\n")
                lines.flush()
                time.sleep(SAMPLE_S)
            seconds = time.monotonic() - began
            terminal.process.send_signal(signal.SIGTERM)
            code_of_exit = terminal.process.wait(120)
            counts = _counts(folder)
            log.with_suffix(".stalls").write_bytes((folder / STALLS).read_bytes())
            with Journal(folder / "journal.sqlite") as journal:
                kept = len(journal.takes(steps=False))
        finally:
            os.killpg(playing.pid, signal.SIGKILL)
            for process in burners:
                process.kill()
            for process in (*burners, playing):
                process.wait()
            pulse.close()
    return LiveOutcome(
        seconds,
        counts[-1],
        max(row["worst_age_ms"] for row in counts),
        memory,
        kept,
        code_of_exit,
        float(np.median(loads)),
        60.0 * minutes,
    )


def _hurry(pid: int) -> None:
    """Give all threads of a process real-time priority, and what it starts, where allowed."""
    for task in (Path("/proc") / str(pid) / "task").iterdir():
        with contextlib.suppress(OSError):
            os.sched_setscheduler(int(task.name), os.SCHED_RR, os.sched_param(5))


def _counts(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (folder / COUNTS).read_text().splitlines()]
