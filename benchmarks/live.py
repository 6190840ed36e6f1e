"""The live proof: how long from sound to screen, with one core kept busy.

    python -m benchmarks.live [--minutes 10]

A PulseAudio of our own with a null sink is the microphone. The real app listens on a terminal of
120x40, its listener in the process it always has, while a loop without end keeps a core busy.
Recorded reeds are played into the sink, some as they were recorded and some cut to begin at full
level. `watched.py` notes when a block came, a reading was known and a frame was drawn; the
terminal's end of the wire is read here, and a frame counts as shown when its last byte has come.

The clock of the sound is the straight line under the arrival of all blocks: no sample of the run
came earlier than it says. Lateness is told against it.
"""

from __future__ import annotations

import argparse
import fcntl
import os
import pty
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.watched import APP, LISTENER, LISTENING
from tests.reeds.excerpts import EXCERPTS, cut, speaks
from tests.support.pulse import SINK, Pulse

RATE = 48_000
COLUMNS, LINES = 120, 40
NOTE_S, GAP_S = 0.5, 0.3
NOISE = 1e-4
"""The room, RMS, re full scale: -80 dB."""
SYNC_ASKED, SYNC_SAID, SYNC_END = b"\x1b[?2026$p", b"\x1b[?2026;2$y", b"\x1b[?2026l"
LATE_MS, WORST_MS, ONSET_MS, RIGHT_MS, RIGHT_CENTS = 20.0, 40.0, 15.0, 35.0, 10.0
NOTICED_S = 0.5
OPENING_S = 1.0
"""What a stream gives at first was kept while it was opened: that is not counted as late."""


@dataclass(frozen=True)
class Played:
    """One note of what is played: its first sample, its hole (negative drawn), how it begins."""

    onset: int
    hole: int
    hard: bool


def performance(seconds: float) -> tuple[Any, list[Played]]:
    """Recorded reeds in a room's noise, one after another, at moments no frame knows."""
    draw = np.random.default_rng(3)
    sound = NOISE * draw.standard_normal(round(seconds * RATE))
    tabs = [note.tab for note in EXCERPTS["c-harp"].notes]
    notes: list[Played] = []
    at = 2 * RATE
    while at < len(sound) - 2 * RATE:
        tab, hard = str(draw.choice(tabs)), bool(draw.integers(2))
        whole = cut("c-harp", tab, before=0.0)
        first = round(0.15 * RATE) if hard else 0
        reed = whole[first : first + round(NOTE_S * RATE)].copy()
        fade = round(0.02 * RATE)
        reed[-fade:] *= np.linspace(1.0, 0.0, fade)
        sound[at : at + len(reed)] += reed
        notes.append(Played(at + (0 if hard else speaks(reed)), int(tab), hard))
        at += len(reed) + round((GAP_S + draw.uniform(0.0, 0.1)) * RATE)
    return sound.astype(np.float32), notes


class Terminal:
    """The other end of the app's terminal: answers, and notes when each frame is whole."""

    def __init__(
        self, command: list[str], env: dict[str, str], size: tuple[int, int] = (COLUMNS, LINES)
    ) -> None:
        columns, lines = size
        self.frames: list[float] = []
        self.said = b""
        self._end, theirs = pty.openpty()
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", lines, columns, 0, 0))
        env = {**env, "TERM": "xterm-256color", "COLORTERM": "truecolor"}
        self.process = subprocess.Popen(
            command, env=env, stdin=theirs, stdout=theirs, stderr=theirs
        )
        os.close(theirs)
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def wait_for(self, file: Path, within_s: float = 60.0) -> None:
        """Wait until the app has made a file."""
        until = time.monotonic() + within_s
        while not file.exists():
            if time.monotonic() > until or self.process.poll() is not None:
                raise SystemExit(self.said.decode(errors="replace"))
            time.sleep(0.05)

    def close(self) -> None:
        """Press q and wait until the app is gone."""
        os.write(self._end, b"q")
        self.process.wait(60)
        self._reader.join(5)
        os.close(self._end)

    def _read(self) -> None:
        tail = b""
        while True:
            try:
                chunk = os.read(self._end, 1 << 16)
            except OSError:  # the app has let go of it
                return
            now = time.monotonic()
            self.said = (self.said + chunk)[-1500:]
            seen = tail + chunk
            if SYNC_ASKED in seen:
                os.write(self._end, SYNC_SAID)
            self.frames += [now] * seen.count(SYNC_END)
            cut_at = seen.rfind(SYNC_END) + len(SYNC_END) if SYNC_END in seen else 0
            tail = seen[max(cut_at, len(seen) - len(SYNC_ASKED) + 1) :]


@dataclass(frozen=True)
class Down:
    """What was done in a run: what was played, when that began to end, and what was then taken
    away and brought back, each with the moments."""

    terminal: Terminal
    notes: list[Played]
    sound: Any
    ended: float
    losses: dict[str, tuple[float, float]]


def take_down(minutes: float, folder: Path, *, ordinary: bool = False) -> Down:
    """Play, with the app listening, and then take the sound away in four ways."""
    sound, notes = performance(60.0 * minutes)
    file = folder / "played.f32"
    sound.tofile(file)
    pulse = Pulse(folder)
    busy = subprocess.Popen([sys.executable, "-c", "while True: pass"])
    try:
        command = [sys.executable, "-m", "benchmarks.watched", str(folder)]
        if ordinary:
            command = ["setpriv", "--bounding-set=-sys_nice", *command]
        terminal = Terminal(command, {**pulse.env, "PYTHONPATH": os.getcwd()})
        terminal.wait_for(folder / LISTENING)
        time.sleep(2.0)
        play = ["pacat", "--raw", "--format=float32le", f"--rate={RATE}", "--channels=1"]
        playing = subprocess.Popen(
            [*play, "--latency-msec=100", f"--device={SINK}", str(file)], env=pulse.env
        )
        time.sleep(60.0 * minutes - 1.0)
        ended = time.monotonic()
        playing.wait(60)
        losses = dict(lose(pulse))
        terminal.close()
    finally:
        busy.kill()
        pulse.close()
    return Down(terminal, notes, sound, ended, losses)


def lose(pulse: Pulse) -> Iterator[tuple[str, tuple[float, float]]]:
    """Take the sound away and bring it back; what was done, and when: from then on it was gone,
    and from then on it was there."""
    gone = time.monotonic()
    time.sleep(1.5)
    back = time.monotonic()
    with pulse.hiss():
        time.sleep(1.5)
        yield "falls silent", (gone, back)
        gone = time.monotonic()
        pulse.pactl("suspend-sink", SINK, "1")
        time.sleep(1.5)
        back = time.monotonic()
        pulse.pactl("suspend-sink", SINK, "0")
        time.sleep(4.0)
        yield "is suspended", (gone, back)
    for how, another in (("nothing else there", False), ("another input there", True)):
        with pulse.hiss():  # it ends before, or it would move to the other input
            time.sleep(1.5)
            if another:
                pulse.pactl("load-module", "module-always-sink")
            gone = time.monotonic()
        pulse.pactl("unload-module", "module-null-sink")
        time.sleep(2.5)
        pulse.plug_in()
        back = time.monotonic()
        with pulse.hiss():
            time.sleep(4.0)
        yield f"vanishes, {how}", (gone, back)


def lag(played: Any, heard: Any) -> int:
    """By how many samples what was heard lies behind what was played."""
    size = len(played) + len(heard)
    spectra = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(played, size))
    at = int(np.argmax(np.fft.irfft(spectra, size)))
    return at if at < len(heard) else at - size


def line_under(samples: Any, times: Any) -> Any:
    """The straight line under all blocks, by sample: slope and start.

    A null sink's clock is its own, some 400 millionths off. Its rate is that of the promptest
    block of each second.
    """
    seconds = samples // RATE
    first = np.flatnonzero(np.diff(seconds, prepend=-1))
    prompt = np.array(
        [
            i + int(np.argmin(part - samples[i : i + len(part)] / RATE))
            for i, part in zip(first, np.split(times, first[1:]), strict=True)
        ]
    )
    slope, start = np.polyfit(samples[prompt], times[prompt], 1)
    return np.array([slope, start + np.min(times - slope * samples - start)])


def first_after(times: Any, moment: float) -> int:
    """The first of ascending numbers that is over a moment."""
    return int(np.searchsorted(times, moment, side="right"))


STAGES = (
    "the ear's need of sound",
    "sound to the listener's block",
    "block to reading",
    "reading to the app",
    "app to a drawn frame",
    "frame to the terminal",
)
SIGN, NAME = "onset: a sign of it", "onset: the note named"
NEEDLE, NUMBER = "right pitch: the needle", "right pitch: the number"
ORDER = [(what, hard) for hard in (True, False) for what in (SIGN, NAME, NEEDLE, NUMBER)]


class Proof:
    """What a run came to. All times in milliseconds."""

    def __init__(self, folder: Path, down: Down) -> None:
        listener, app = np.load(folder / LISTENER), np.load(folder / APP)
        self.lost, self.overflows = int(listener["lost"]), int(listener["overflows"])
        self.cpu = float(listener["cpu"]), float(app["cpu"])
        self.prompt = bool(listener["prompt"])
        self._losses, self._troubles = down.losses, app["troubles"]
        self._came = app["taken"][:, 0]
        frames = app["frames"][app["frames"][:, -1] > 0]
        shown = np.array(down.terminal.frames)
        if not len(frames) or len(frames) != len(shown):
            raise SystemExit(f"{len(frames)} frames drawn, {len(shown)} came")
        self._shown, self._frames = (all_[frames[:, 0] < down.ended] for all_ in (shown, frames))
        self._captured, self._known, self._taken, given = (
            rows[rows[:, 0] < down.ended]
            for rows in (listener["captured"], listener["known"], app["taken"], listener["given"])
        )
        self._all = listener["sound"]
        self._heard = self._all[: int(given[-1, 1])]
        self.gaps = int(np.sum(given[1:, 1] != given[:-1, 1] + given[:-1, 2]))
        ends = self._captured[:, 1] + self._captured[:, 2]
        self._ends = ends
        self._clock = line_under(ends, self._captured[:, 0])
        notes = [note for note in down.notes if note.onset < len(down.sound) - 3 * RATE]
        self._match(notes, down.sound)
        self._follow(notes)

    def at(self, samples: Any) -> Any:
        """When a sample was there at the earliest, s."""
        return np.polyval(self._clock, samples)

    def late(self, times: Any, samples: Any) -> Any:
        """How late something was against the sample clock, ms."""
        return (times - self.at(samples)) * 1000.0

    def _match(self, notes: list[Played], sound: Any) -> None:
        """Lay what was played beside what was heard."""
        near = slice(0, 20 * RATE)
        offset = lag(sound[near], self._heard[: 40 * RATE])
        if offset < 0:
            raise SystemExit("the app began to listen after the sound")
        begin, end = RATE, min(len(sound), len(self._heard) - offset)
        off = np.abs(self._heard[offset + begin : offset + end] - sound[begin:end])
        self.same = float(np.mean(off < 3 / 32768))
        self.compared = end - begin
        self._onsets = []
        for note in notes:
            piece = sound[note.onset - 2400 : note.onset + 12000]
            at = note.onset + offset
            there = self._heard[max(0, at - 9600) : at + 19200]
            moved = lag(piece, there) - min(9600, at) + 2400
            offset += moved
            self._onsets.append(note.onset + offset)

    def _follow(self, notes: list[Played]) -> None:
        """Each note from its first sample to the screen.

        Three moments are looked for: the first frame that shows that something sounds, the first
        that names it, the first whose needle stands within 10 cents of where it comes to stand.
        """
        self.times: dict[tuple[str, bool], list[float]] = {}
        self.missed = 0
        stages: dict[str, list[list[float]]] = {SIGN: [], NAME: []}
        for note, onset in zip(notes, self._onsets, strict=True):
            began = float(self.at(onset))
            first = first_after(self._shown, began)
            end = first_after(self._shown, began + NOTE_S - 0.05)
            frames = self._frames[first:end]
            named = frames[:, 3] != 0
            near = np.abs(frames[:, 5] - np.median(frames[named, 5][-12:])) <= RIGHT_CENTS
            number = np.abs(frames[:, 4] - np.median(frames[named, 5][-12:])) <= RIGHT_CENTS
            for what, there in (
                (SIGN, (named | (frames[:, 6] > 0)) & (frames[:, 2] >= self._first_word(onset))),
                (NAME, named),
                (NEEDLE, named & near),
                (NUMBER, named & number),
            ):
                if not np.any(there):
                    self.missed += 1
                    continue
                f = first + int(np.argmax(there))
                late = (self._shown[f] - began) * 1000.0
                self.times.setdefault((what, note.hard), []).append(late)
                if what in stages:
                    named_then = what == NAME or bool(named[f - first])
                    stages[what].append(self._stages(began, onset, f, named=named_then))
        self.stages = {what: np.array(rows) for what, rows in stages.items()}

    def _first_word(self, onset: int, *, named: bool = False) -> float:
        """The end of the sound of the first reading that tells of an onset, or names its note."""
        after = self._known[first_after(self._known[:, 2], onset) :]
        tells = (after[:, 3] > 0) | ((after[:, 4] > 0) & (not named))
        return float(after[np.argmax(tells), 2]) if np.any(tells) else np.inf

    def _stages(self, began: float, onset: int, frame: int, *, named: bool) -> list[float]:
        """What the time until a frame went into."""
        known, taken = self._known, self._taken
        k = first_after(known[:, 2], self._first_word(onset, named=named) - 1)
        block = first_after(self._ends, known[k, 2] - 1)
        moments = [
            began,
            self.at(known[k, 2]),
            self._captured[block, 0],
            known[k, 0],
            taken[first_after(taken[:, 1], known[k, 2] - 1), 0],
            self._frames[frame, 0],
            self._shown[frame],
        ]
        return list(1000.0 * np.diff(moments))

    def _loss_lines(self) -> Iterator[str]:
        """How soon a loss is noticed, and a return: until readings are in the app again."""
        yield "| the source | noticed on the screen after, s | recovered from after, s |"
        yield "| --- | --- | --- |"
        met = True
        for what, (gone, back) in self._losses.items():
            told = self._troubles[self._troubles[:, 0] > gone, 0]
            again = self._troubles[self._troubles[:, 0] > back, 0]
            if not (len(told) and len(again) and told[0] < back):
                yield f"| {what} | {'no' if not len(told) else 'late'} | - |"
                met = False
                continue
            if what == "falls silent":
                gone = self._last_noise(told[0])
            noticed, there = told[0] - gone, self._came[first_after(self._came, again[0])]
            met &= noticed <= NOTICED_S
            yield f"| {what} | {noticed:.2f} | {there - back:.2f} |"
        yield f"goal: noticed within {NOTICED_S:g} s: {_met(met)}"

    def _last_noise(self, before: float) -> float:
        """When the last sample came that is not 0."""
        end = int((before - self._clock[1]) / self._clock[0])
        return float(self.at(np.flatnonzero(self._all[:end])[-1]))

    def lines(self) -> Iterator[str]:
        """The table."""
        at_listener = self.late(self._known[:, 0], self._known[:, 2])
        at_app = self.late(self._taken[:, 0], self._taken[:, 1])
        at_block = self.late(self._captured[:, 0], self._ends)
        yield (
            f"blocks lost {self.lost}, overflows {self.overflows}, gaps {self.gaps}; of "
            f"{self.compared} samples played, {100 * self.same:.4f} % heard as they were"
        )
        yield f"the sink's clock is {(self._clock[0] * RATE - 1) * 1e6:+.0f} millionths off"
        yield f"goal: no block lost: {_met(not (self.lost or self.overflows or self.gaps))}"
        yield ""
        yield "| late by the sample clock, ms | median | 99 % | worst | at second | over 40 | of |"
        yield "| --- | --- | --- | --- | --- | --- | --- |"
        for name, late, samples in (
            ("block", at_block, self._ends),
            ("reading known", at_listener, self._known[:, 2]),
            ("reading in the app", at_app, self._taken[:, 1]),
        ):
            running = samples > OPENING_S * RATE
            late, samples = late[running], samples[running]
            middle, most, worst = np.percentile(late, (50, 99, 100))
            over = int(np.sum(late > WORST_MS))
            when = samples[np.argmax(late)] / RATE
            yield (
                f"| {name} | {middle:.1f} | {most:.1f} | {worst:.1f} | {when:.1f} | {over} | "
                f"{len(late)} |"
            )
        at_app = at_app[self._taken[:, 1] > OPENING_S * RATE]
        met = np.percentile(at_app, 99) < LATE_MS and np.max(at_app) <= WORST_MS
        yield f"goal: 99 % under {LATE_MS:g}, never over {WORST_MS:g}: {_met(met)}"
        yield ""
        yield "| sound to screen, ms | median | 95 % | worst | notes |"
        yield "| --- | --- | --- | --- | --- |"
        for (what, hard), times in sorted(self.times.items(), key=lambda one: ORDER.index(one[0])):
            middle, most, worst = np.percentile(times, (50, 95, 100))
            name = f"{what}, {'begun at full level' if hard else 'as recorded'}"
            yield f"| {name} | {middle:.1f} | {most:.1f} | {worst:.1f} | {len(times)} |"
        onset, right = (np.median(self.times[what, True]) for what in (SIGN, NEEDLE))
        yield f"not shown in time: {self.missed}"
        yield f"goal: onset in {ONSET_MS:g} at the median: {_met(onset <= ONSET_MS)}"
        yield f"goal: right pitch in {RIGHT_MS:g}: {_met(right <= RIGHT_MS)}"
        yield ""
        for what, rows in self.stages.items():
            yield f"| share of each stage, {what} | median, ms | mean, ms | of the whole |"
            yield "| --- | --- | --- | --- |"
            means = rows.mean(axis=0)
            for name, middle, mean in zip(STAGES, np.median(rows, axis=0), means, strict=True):
                share = 100 * mean / means.sum()
                yield f"| {name} | {middle:.2f} | {mean:.2f} | {share:.0f} % |"
            yield ""
        yield from self._loss_lines()
        yield ""
        seconds = self._shown[-1] - self._shown[0]
        yield (
            f"{len(self._shown) / seconds:.1f} frames a second over {seconds:.0f} s; cores: "
            f"listener {self.cpu[0]:.2f}, app {self.cpu[1]:.2f}"
        )
        served = "before other programs" if self.prompt else "like any program"
        yield f"the listener was served {served}, the app like any program"


def _met(yes: Any) -> str:
    return "met" if yes else "MISSED"


def main() -> None:
    """Run it and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, prog="python -m benchmarks.live")
    parser.add_argument("--minutes", type=float, default=10.0, help="how long to play")
    parser.add_argument(
        "--ordinary",
        action="store_true",
        help="take the right to be served before other programs from the trainer (root has it)",
    )
    asked = parser.parse_args()
    minutes = asked.minutes
    load = os.getloadavg()
    print(f"load average before: {load[0]:.2f} {load[1]:.2f} {load[2]:.2f}; ", end="")
    print(f"{os.cpu_count()} cores, {minutes:g} minutes", flush=True)
    # The path of the sound daemon's socket must be short.
    with tempfile.TemporaryDirectory(prefix="live-") as name:
        down = take_down(minutes, Path(name), ordinary=asked.ordinary)
        if not Path(name, LISTENER).exists():
            raise SystemExit(down.terminal.said.decode(errors="replace"))
        proof = Proof(Path(name), down)
        print("\n".join(proof.lines()))
        print("load average after: {:.2f} {:.2f} {:.2f}".format(*os.getloadavg()))


if __name__ == "__main__":
    main()
