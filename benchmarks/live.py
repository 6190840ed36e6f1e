"""Latency from sound to screen, with one core kept busy.

    python -m benchmarks.live [--minutes 10]

The microphone is the monitor of a null sink of a PulseAudio daemon that is started here. The real
app listens in a terminal of 120x40, its listener in a process of its own as always, while an
endless loop keeps one core busy. Recorded reeds are played into the sink, some as recorded and some
cut to begin at full level. :mod:`benchmarks.watched` records when each block arrived, each reading
was known and each frame was drawn. The other end of the terminal is read here: a frame counts as
shown when its last byte has arrived.

The sample clock is the straight line under the arrival times of all blocks: no sample arrived
earlier than it predicts. Latencies are measured against it.
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
"""RMS level of the room's noise re full scale: -80 dB."""
SYNC_QUERY, SYNC_ANSWER, SYNC_END = b"\x1b[?2026$p", b"\x1b[?2026;2$y", b"\x1b[?2026l"
LATE_MS, WORST_MS, ONSET_MS, RIGHT_MS, RIGHT_CENTS = 20.0, 40.0, 15.0, 35.0, 10.0
"""Goals: latency of a reading at the 99th percentile and at most; latency from sound to screen of
an onset and of a pitch within RIGHT_CENTS."""
NOTICED_S = 0.5
"""Goal: seconds until a lost source is shown."""
OPENING_S = 1.0
"""Seconds at the start that are not measured: the stream buffers while it is opened."""
SMOKE_MINUTES = 0.1


@dataclass(frozen=True)
class Played:
    """A played note.

    Attributes:
        onset: first sample.
        hole: negative for draw.
        hard: whether it begins at full level.
    """

    onset: int
    hole: int
    hard: bool


def performance(seconds: float) -> tuple[Any, list[Played]]:
    """Return recorded reeds in noise, at times independent of the frames, and the notes."""
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
    """The other end of the app's terminal.

    Attributes:
        frames: times at which the last byte of each frame arrived.
        output: the last bytes that the app wrote.
        process: the app.
    """

    def __init__(
        self, command: list[str], env: dict[str, str], size: tuple[int, int] = (COLUMNS, LINES)
    ) -> None:
        columns, lines = size
        self.frames: list[float] = []
        self.output = b""
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
        """Wait until the app has written a file."""
        until = time.monotonic() + within_s
        while not file.exists():
            if time.monotonic() > until or self.process.poll() is not None:
                raise SystemExit(self.output.decode(errors="replace"))
            time.sleep(0.05)

    def close(self) -> None:
        """Press q and wait until the app has ended."""
        os.write(self._end, b"q")
        self.process.wait(60)
        self._reader.join(5)
        os.close(self._end)

    def _read(self) -> None:
        tail = b""
        while True:
            try:
                chunk = os.read(self._end, 1 << 16)
            except OSError:  # the app has closed it
                return
            now = time.monotonic()
            self.output = (self.output + chunk)[-1500:]
            seen = tail + chunk
            if SYNC_QUERY in seen:
                os.write(self._end, SYNC_ANSWER)
            self.frames += [now] * seen.count(SYNC_END)
            cut_at = seen.rfind(SYNC_END) + len(SYNC_END) if SYNC_END in seen else 0
            tail = seen[max(cut_at, len(seen) - len(SYNC_QUERY) + 1) :]


@dataclass(frozen=True)
class Session:
    """A finished run of the app.

    Attributes:
        terminal: where it ran.
        notes, sound: what was played.
        ended: time at which playing was about to end.
        losses: by the kind of loss: times at which the sound was lost and restored.
    """

    terminal: Terminal
    notes: list[Played]
    sound: Any
    ended: float
    losses: dict[str, tuple[float, float]]


def run_session(
    minutes: float, folder: Path, *, ordinary: bool = False, smoke: bool = False
) -> Session:
    """Play with the app listening, then lose the source in four ways.

    Args:
        minutes: how long to play.
        folder: for files of the run; its path must be short, for the daemon's socket.
        ordinary: deny the listener real-time scheduling.
        smoke: neither keep a core busy nor lose the source.
    """
    sound, notes = performance(60.0 * minutes)
    file = folder / "played.f32"
    sound.tofile(file)
    pulse = Pulse(folder)
    load = "pass" if smoke else "while True: pass"
    busy = subprocess.Popen([sys.executable, "-c", load])
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
        losses = {} if smoke else dict(lose_source(pulse))
        terminal.close()
    finally:
        busy.kill()
        busy.wait()
        pulse.close()
    return Session(terminal, notes, sound, ended, losses)


def lose_source(pulse: Pulse) -> Iterator[tuple[str, tuple[float, float]]]:
    """Lose the source and restore it in each way; yield the way and both times."""
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
    """Return the delay of a recording in samples, from the maximum of the cross-correlation."""
    size = len(played) + len(heard)
    spectra = np.fft.rfft(heard, size) * np.conj(np.fft.rfft(played, size))
    at = int(np.argmax(np.fft.irfft(spectra, size)))
    return at if at < len(heard) else at - size


def line_under(samples: Any, times: Any) -> Any:
    """Return slope and intercept of the line under the arrival times of all blocks.

    The clock of a null sink is some 400 ppm off. The slope is fitted to the block of each second
    that arrived with the least delay.
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
    """Return the index of the first of ascending times after `moment`."""
    return int(np.searchsorted(times, moment, side="right"))


STAGES = (
    "sound that the ear needs",
    "sound to block in the listener",
    "block to reading",
    "reading to the app",
    "app to a drawn frame",
    "frame to the terminal",
)
SIGN, NAME = "onset indicated", "note named"
RIGHT = "pitch right"
ORDER = [(kind, hard) for hard in (True, False) for kind in (SIGN, NAME, RIGHT)]


class LatencyAnalysis:
    """Latencies of a run, in milliseconds."""

    def __init__(self, folder: Path, session: Session) -> None:
        listener, app = np.load(folder / LISTENER), np.load(folder / APP)
        self.lost, self.overflows = int(listener["lost"]), int(listener["overflows"])
        self.cpu = float(listener["cpu"]), float(app["cpu"])
        self.realtime = bool(listener["realtime"])
        self._losses, self._troubles = session.losses, app["troubles"]
        self._arrivals = app["taken"][:, 0]
        frames = app["frames"][app["frames"][:, -1] > 0]
        shown = np.array(session.terminal.frames)
        if not len(frames) or len(frames) != len(shown):
            raise SystemExit(f"{len(frames)} frames drawn, {len(shown)} arrived")
        before_end = frames[:, 0] < session.ended
        self._shown, self._frames = shown[before_end], frames[before_end]
        self._captured, self._known, self._taken, given = (
            rows[rows[:, 0] < session.ended]
            for rows in (listener["captured"], listener["known"], app["taken"], listener["given"])
        )
        self._samples = listener["sound"]
        self._heard = self._samples[: int(given[-1, 1])]
        self.gaps = int(np.sum(given[1:, 1] != given[:-1, 1] + given[:-1, 2]))
        ends = self._captured[:, 1] + self._captured[:, 2]
        self._ends = ends
        self._clock = line_under(ends, self._captured[:, 0])
        notes = [note for note in session.notes if note.onset < len(session.sound) - 3 * RATE]
        self._match(notes, session.sound)
        self._follow(notes)

    def at(self, samples: Any) -> Any:
        """Return the earliest time at which a sample was available, in seconds."""
        return np.polyval(self._clock, samples)

    def late(self, times: Any, samples: Any) -> Any:
        """Return latencies against the sample clock, in ms."""
        return (times - self.at(samples)) * 1000.0

    def _match(self, notes: list[Played], sound: Any) -> None:
        """Align what was recorded with what was played."""
        near = slice(0, 20 * RATE)
        offset = lag(sound[near], self._heard[: 40 * RATE])
        if offset < 0:
            raise SystemExit("the app started to listen after playing had begun")
        begin, end = RATE, min(len(sound), len(self._heard) - offset)
        off = np.abs(self._heard[offset + begin : offset + end] - sound[begin:end])
        self.same = float(np.mean(off < 3 / 32768))
        self.compared = end - begin
        self._onsets = []
        for note in notes:
            piece = sound[note.onset - 2400 : note.onset + 12000]
            at = note.onset + offset
            around = self._heard[max(0, at - 9600) : at + 19200]
            moved = lag(piece, around) - min(9600, at) + 2400
            offset += moved
            self._onsets.append(note.onset + offset)

    def _follow(self, notes: list[Played]) -> None:
        """Follow each note from its first sample to the screen.

        Times of the first frame that indicates an onset, of the first that names the note, and of
        the first whose cents are within 10 cents of their final value.
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
            near = np.abs(frames[:, 4] - np.median(frames[named, 4][-12:])) <= RIGHT_CENTS
            for kind, matches in (
                (SIGN, (named | (frames[:, 5] > 0)) & (frames[:, 2] >= self._first_sign(onset))),
                (NAME, named),
                (RIGHT, named & near),
            ):
                if not np.any(matches):
                    self.missed += 1
                    continue
                f = first + int(np.argmax(matches))
                late = (self._shown[f] - began) * 1000.0
                self.times.setdefault((kind, note.hard), []).append(late)
                if kind in stages:
                    named_then = kind == NAME or bool(named[f - first])
                    stages[kind].append(self._stages(began, onset, f, named=named_then))
        self.stages = {kind: np.array(rows) for kind, rows in stages.items()}

    def _first_sign(self, onset: int, *, named: bool = False) -> float:
        """Return the last sample of the first reading with an onset, or with a pitch."""
        after = self._known[first_after(self._known[:, 2], onset) :]
        signs = (after[:, 3] > 0) | ((after[:, 4] > 0) & (not named))
        return float(after[np.argmax(signs), 2]) if np.any(signs) else np.inf

    def _stages(self, began: float, onset: int, frame: int, *, named: bool) -> list[float]:
        """Return the duration of each of `STAGES` until a frame, in ms."""
        known, taken = self._known, self._taken
        k = first_after(known[:, 2], self._first_sign(onset, named=named) - 1)
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
        """Yield the table of losses: seconds until each is shown, and until readings resume."""
        yield "| loss of the source | shown after, s | readings again after, s |"
        yield "| --- | --- | --- |"
        met = True
        for kind, (gone, back) in self._losses.items():
            shown = self._troubles[self._troubles[:, 0] > gone, 0]
            again = self._troubles[self._troubles[:, 0] > back, 0]
            if not (len(shown) and len(again) and shown[0] < back):
                yield f"| {kind} | {'no' if not len(shown) else 'late'} | - |"
                met = False
                continue
            if kind == "falls silent":
                gone = self._last_noise(shown[0])
            resumed = self._arrivals[first_after(self._arrivals, again[0])]
            met &= shown[0] - gone <= NOTICED_S
            yield f"| {kind} | {shown[0] - gone:.2f} | {resumed - back:.2f} |"
        yield f"goal: shown within {NOTICED_S:g} s: {_met(met)}"

    def _last_noise(self, before: float) -> float:
        """Return the time of the last sample before `before` that is not 0."""
        end = int((before - self._clock[1]) / self._clock[0])
        return float(self.at(np.flatnonzero(self._samples[:end])[-1]))

    def lines(self) -> Iterator[str]:
        """Yield the lines of the tables."""
        at_listener = self.late(self._known[:, 0], self._known[:, 2])
        at_app = self.late(self._taken[:, 0], self._taken[:, 1])
        at_block = self.late(self._captured[:, 0], self._ends)
        yield (
            f"blocks lost {self.lost}, overflows {self.overflows}, gaps {self.gaps}; of "
            f"{self.compared} samples played, {100 * self.same:.4f} % arrived unchanged"
        )
        yield f"clock of the sink: {(self._clock[0] * RATE - 1) * 1e6:+.0f} ppm"
        yield f"goal: no block lost: {_met(not (self.lost or self.overflows or self.gaps))}"
        yield ""
        yield "| latency, ms | median | 99 % | worst | at second | over 40 | n |"
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
        for (kind, hard), times in sorted(self.times.items(), key=lambda row: ORDER.index(row[0])):
            middle, most, worst = np.percentile(times, (50, 95, 100))
            name = f"{kind}, {'begins at full level' if hard else 'as recorded'}"
            yield f"| {name} | {middle:.1f} | {most:.1f} | {worst:.1f} | {len(times)} |"
        yield f"not shown in time: {self.missed}"
        for kind, what, goal_ms in (
            (SIGN, "onset", ONSET_MS),
            (RIGHT, "right pitch", RIGHT_MS),
        ):
            late_ms = self.times.get((kind, True), [])  # none on a machine that is too busy
            met = bool(late_ms) and np.median(late_ms) <= goal_ms
            yield f"goal: {what} within {goal_ms:g} ms, median: {_met(met)}"
        yield ""
        for kind, rows in self.stages.items():
            if not len(rows):
                continue
            yield f"| stage, {kind} | median, ms | mean, ms | of the mean |"
            yield "| --- | --- | --- | --- |"
            means = rows.mean(axis=0)
            for name, middle, mean in zip(STAGES, np.median(rows, axis=0), means, strict=True):
                share = 100 * mean / means.sum()
                yield f"| {name} | {middle:.2f} | {mean:.2f} | {share:.0f} % |"
            yield ""
        if self._losses:
            yield from self._loss_lines()
            yield ""
        seconds = self._shown[-1] - self._shown[0]
        yield (
            f"{len(self._shown) / seconds:.1f} frames a second over {seconds:.0f} s; cores: "
            f"listener {self.cpu[0]:.2f}, app {self.cpu[1]:.2f}"
        )
        yield f"scheduling of the listener: {'real-time' if self.realtime else 'ordinary'}"


def _met(yes: Any) -> str:
    return "met" if yes else "MISSED"


def main() -> None:
    """Run the app and print the tables."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.live")
    parser.add_argument("--minutes", type=float, default=10.0, help="how long to play")
    parser.add_argument(
        "--ordinary",
        action="store_true",
        help="deny the listener real-time scheduling, which root has",
    )
    parser.add_argument(
        "--smoke", action="store_true", help="a few seconds, on idle cores, without losses"
    )
    options = parser.parse_args()
    minutes = SMOKE_MINUTES if options.smoke else options.minutes
    load = " ".join(f"{average:.2f}" for average in os.getloadavg())
    print(f"load average before: {load}; {os.cpu_count()} cores, {minutes:g} minutes", flush=True)
    # The path of the sound daemon's socket must be short.
    with tempfile.TemporaryDirectory(prefix="live-") as name:
        session = run_session(minutes, Path(name), ordinary=options.ordinary, smoke=options.smoke)
        if not Path(name, LISTENER).exists():
            raise SystemExit(session.terminal.output.decode(errors="replace"))
        analysis = LatencyAnalysis(Path(name), session)
        print("\n".join(analysis.lines()))
        print("load average after: {:.2f} {:.2f} {:.2f}".format(*os.getloadavg()))


if __name__ == "__main__":
    main()
