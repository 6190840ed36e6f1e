"""A class of thirty sends its homework: does the class's page say each one's trouble first?

    python -m benchmarks.classroom [--record] [--smoke] [--keep FOLDER]

Thirty recordings of one drill, each with what a student really does to it, are marked by one
command, ``trainer mark FOLDER --class … --reports …``. For each student the table shows what the
class's page says, and whether it begins with that trouble. The sound is the built-in player's in a
modelled room, as WAV, FLAC, Ogg Vorbis and MP3; talk is modelled, as vowels of a glottal pulse.

What a line must say is written by hand below, from what was done and not from what the page said.
"""

from __future__ import annotations

import argparse
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path

import trainer  # noqa: F401 - before numpy

# isort: split

import numpy as np
import soundfile as sf
from scipy import signal

from benchmarks.free_performances import RATE, Played
from benchmarks.homework import in_room, render, timed
from benchmarks.results import Results, add_options
from trainer.core.types import Floats
from trainer.drill import Drill, find_drill
from trainer.harp import Harp
from trainer.sound import Fault

DRILL = "ferry-home"
"""Seven bars in second position, with bends and off-beats."""
OTHER_DRILL = "pilot-calls"
"""What is played by somebody who mistook the homework."""
ROOM_S = 0.25
"""Reverberation time of a furnished living room, in seconds."""
NOISE_DB = -60.0
"""Level of the noise of a phone's recording, relative to full scale."""
LEAK_DB = -8.0
"""Level of a leaking neighbour relative to the note."""
STOPPED = "Stopped for 0.[678] s before bar 3"
SHALLOW = "Bends not deep enough"
DAMAGED = ".* recording is damaged"
FORMATS = ("wav", "flac", "ogg", "mp3")
BENT, OFF_BEAT = "bent", "off-beat"
"""Groups of steps that a fault can be of."""


@dataclass(frozen=True)
class Homework:
    """A student and what is done.

    Attributes:
        name: the student's name.
        trouble: what is done.
        says: pattern of how the page's words must begin; of a pass, empty means any words.
        passes: whether the drill must be passed.
        how: arguments of :func:`benchmarks.homework.timed`.
        path: indices of steps in the order in which they are played; None for all in order.
        faults: faults by group of steps; "all" is every step.
        key: key of the harp; empty for the drill's.
        a4: reference pitch in hertz.
        spoil: what becomes of the file; one of `SPOILERS`.
    """

    name: str
    trouble: str
    says: str
    passes: bool = False
    how: Mapping[str, object] = field(default_factory=dict)
    path: tuple[int, ...] | None = None
    faults: Mapping[str, Fault] = field(default_factory=dict)
    key: str = ""
    a4: float = 440.0
    spoil: str = ""


def homework(drill: Drill) -> tuple[Homework, ...]:
    """Return the class."""
    every = [step.index for step in drill.steps]
    bars = {step.bar: [s.index for s in drill.steps if s.bar == step.bar] for step in drill.steps}
    third, fourth = bars[3][0], bars[4]
    again = (*every[: fourth[-1] + 1], *every[fourth[0] :])
    back = (*every[: fourth[1] + 1], *every[fourth[0] :])
    without = tuple(i for i in every if i not in fourth)
    shallow = {BENT: Fault(cents=45.0)}
    flat = 440.0 * 2.0 ** (-25.0 / 1200.0)
    tempo = drill.tempo
    above, below = ({"all": Fault(leak_db=LEAK_DB, leak_hole=side)} for side in (1, -1))
    quick = {"ratio": 1.1}
    fast, slow = f"at {tempo * 1.12:.0f}", f"at {tempo * 0.8:.0f}"
    return (
        Homework("Aleda", "all right", "", passes=True),
        Homework("Boje", "all right", "", passes=True),
        Homework("Carsta", "12 % fast", f"(?i).*{fast} instead", True, {"ratio": 1.12}),
        Homework("Detmar", "20 % slow", f"(?i).*{slow} instead", True, {"ratio": 0.8}),
        Homework("Ebba", "stops", STOPPED, True, {"stops": {third: 0.7}}),
        Homework("Folkert", "false start", "A false start", True, {"start": third + 2}),
        Homework("Gesa", "backs up", "Went back", True, path=back),
        Homework("Harm", "repeats a bar", "Repeated bar 4", True, path=again),
        Homework("Imke", "skips a bar", "Skipped bar 4", path=without),
        Homework("Jorun", "speeds up", "(Sped up|You speed up)", True, {"rush": 1.2}),
        Homework("Keno", "notes cut short", "Notes are cut short", how={"held": 0.14}),
        Homework("Lubina", "whole harp flat", "The whole harp .*2[3-7] cents flat", a4=flat),
        Homework("Marit", "whole harp flat", "The whole harp .*2[3-7] cents flat", a4=flat),
        Homework("Nanno", "another key of harp", ".* played on a harp in D", key="D"),
        Homework("Odger", "talk before", "", True, spoil="talk"),
        Homework("Peeka", "noise before", "", True, spoil="noise"),
        Homework("Quirin", "bends shallow", SHALLOW, faults=shallow),
        Homework("Renske", "bends shallow", SHALLOW, faults=shallow),
        Homework("Sigrid", "bends shallow, fast", SHALLOW, how=quick, faults=shallow),
        Homework("Tamme", "hole above leaks", "The hole above leaks", faults=above),
        Homework("Ulfert", "hole below leaks", "The hole below leaks", faults=below),
        Homework("Venna", "off-beats early", "Off-beats come .*early", how={"early": 0.11}),
        Homework("Wiebe", "off-beats early", "Off-beats come .*early", how={"early": 0.11}),
        Homework("Xenja", "cut MP3", DAMAGED, spoil="cut mp3"),
        Homework("Ysolde", "cut FLAC", DAMAGED, spoil="cut flac"),
        Homework("Zetta", "silence", "(?i)no note is heard", spoil="silence"),
        Homework("Alrun", "another drill", ".* cannot be found", spoil="drill"),
        Homework("Bod\udce9l", "name that is no UTF-8", "", True),
        Homework("Corven", "no file, a pipe", ".* is a pipe", spoil="pipe"),
        Homework("Dorte", "nothing sent", "No recording", spoil="missing"),
    )  # fmt: skip


def performed(drill: Drill, work: Homework) -> Floats:
    """Return the sound of a student's homework."""
    if work.spoil == "silence":
        return np.zeros(12 * RATE)
    played = find_drill(OTHER_DRILL) if work.spoil == "drill" else drill
    how = dict(work.how)
    start, early = int(how.pop("start", 0)), float(how.pop("early", 0.0))  # type: ignore[call-overload, arg-type]
    every = [step.index for step in played.steps]
    notes = timed(played, work.path or every, **how)  # type: ignore[arg-type]
    if start:
        first = timed(played, every[:start])
        notes = [*first, *timed(played, every, at=first[-1][2] + 2.5)]
    group = _groups(played)
    if early:
        notes = [(i, at - early * (i in group[OFF_BEAT]), end) for i, at, end in notes]
        pairs = zip(notes, [*notes[1:], None], strict=True)
        notes = [
            (i, at, min(end, after[1] - 0.03) if after else end) for (i, at, end), after in pairs
        ]
    harp = Harp.of(work.key or drill.key, drill.tuning, a4=work.a4)
    faults = {
        place: _on_step(fault, played, index)
        for place, (index, _, _) in enumerate(notes)
        for name, fault in work.faults.items()
        if index in group[name]
    }
    sequence = [Played(at, end, i, played.steps[i].first[0], True, 0) for i, at, end in notes]
    return render(played, harp, sequence, faults)


def _groups(drill: Drill) -> Mapping[str, frozenset[int]]:
    return {
        "all": frozenset(step.index for step in drill.steps),
        BENT: frozenset(s.index for s in drill.steps if s.first[0].bend and not s.is_glide),
        OFF_BEAT: frozenset(s.index for s in drill.steps if s.start % 1),
    }


def _on_step(fault: Fault, drill: Drill, index: int) -> Fault:
    """Return a fault for a step: a leak's hole is given relative to the step's."""
    if fault.leak_hole is None:
        return fault
    holes = [tab.hole for tab in drill.steps[index].first]
    hole = max(holes) + 1 if fault.leak_hole > 0 else min(holes) - 1
    return replace(fault, leak_hole=hole) if 1 <= hole <= 10 else Fault()


def talk(seconds: float, seed: int) -> Floats:
    """Return modelled talk: vowels of a glottal pulse, with pauses between words."""
    rng = np.random.default_rng(seed)
    parts: list[Floats] = []
    while sum(len(part) for part in parts) < seconds * RATE:
        count = int(rng.uniform(0.12, 0.35) * RATE)
        pitch = rng.uniform(95.0, 220.0) * np.linspace(1.0, rng.uniform(0.85, 1.1), count)
        pulse = signal.sawtooth(2.0 * np.pi * np.cumsum(pitch) / RATE)
        for formant in (rng.uniform(300, 800), rng.uniform(900, 2200), 2700.0):
            pulse = pulse + 2.0 * signal.sosfilt(_formant(float(formant)), pulse)
        parts += [np.hanning(count) * pulse / 12.0, np.zeros(int(rng.uniform(0.03, 0.3) * RATE))]
    return np.concatenate(parts)


def _formant(hz: float) -> Floats:
    return np.asarray(signal.butter(1, (hz * 0.92, hz * 1.08), "bandpass", fs=RATE, output="sos"))


def write(folder: Path, drill: Drill, work: Homework, number: int) -> None:
    """Write a student's file, or what came in its place."""
    if work.spoil == "missing":
        return
    if work.spoil == "pipe":
        os.mkfifo(folder / f"{work.name}.wav")
        return
    rng = np.random.default_rng(number)
    sound = in_room(performed(drill, work), ROOM_S, number)
    if work.spoil == "talk":
        sound = np.concatenate([talk(6.0, number), np.zeros(RATE), sound])
    if work.spoil == "noise":
        crackle = rng.normal(0.0, 0.05, 4 * RATE) * (rng.random(4 * RATE) < 0.02)
        sound = np.concatenate([crackle, sound])
    if work.spoil != "silence":
        sound = 0.5 * sound / np.abs(sound).max()
    sound = sound + 10.0 ** (NOISE_DB / 20.0) * rng.normal(0.0, 1.0, len(sound))
    format_ = work.spoil.removeprefix("cut ") if work.spoil.startswith("cut") else ""
    path = folder / f"{work.name}.{format_ or FORMATS[number % len(FORMATS)]}"
    sf.write(os.fsencode(path), sound, RATE)
    if format_:
        data = path.read_bytes()
        path.write_bytes(data[: len(data) * 45 // 100])


class _Rows(HTMLParser):
    """Reads the rows of the table of everybody: name, whether passed, and what is needed."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[dict[str, str]] = []
        self._in_table = False
        self._cell = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        kind = dict(attrs).get("class") or ""
        if tag == "table":
            self._in_table = "everybody" in kind
        elif self._in_table and tag == "tr":
            self.rows.append({})
        elif self._in_table and tag in ("td", "th"):
            self._cell = "name" if tag == "th" else kind or "other"

    def handle_endtag(self, tag: str) -> None:
        if tag == "table":
            self._in_table = False

    def handle_data(self, data: str) -> None:
        if self._in_table and self.rows:
            row = self.rows[-1]
            row[self._cell] = row.get(self._cell, "") + data


def class_rows(page: str) -> dict[str, Mapping[str, str]]:
    """Return the rows of a class's page by the students' names."""
    reader = _Rows()
    reader.feed(page)
    return {row["name"].strip(): row for row in reader.rows if row.get("needs") is not None}


def holds(work: Homework, row: Mapping[str, str]) -> bool:
    """Whether a row begins with the trouble, and passes what must pass."""
    says = " ".join(row["needs"].split())
    passed = row.get("verdict", "").strip().startswith("passed")
    return passed >= work.passes and bool(re.match(work.says, says))


def lines(folder: Path, count: int | None) -> Iterator[str]:
    """Mark the class, and yield the table."""
    drill = find_drill(DRILL)
    everybody: Sequence[Homework] = homework(drill)
    everybody = [everybody[i] for i in (0, 16, 29)][:count] if count else everybody
    recordings = folder / "class"
    recordings.mkdir(parents=True)
    for number, work in enumerate(everybody):
        write(recordings, drill, work, number)
    listed = folder / "class.txt"
    listed.write_bytes(
        os.fsencode("".join(f"{work.name}\n" for work in everybody if work.name.isascii()))
    )
    page = folder / "class.html"
    words = ["mark", str(recordings), "--drill", DRILL, "--students", str(listed)]
    words += [
        "--out",
        str(folder / "marks"),
        "--class",
        str(page),
        "--reports",
        str(folder / "pages"),
    ]
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "-m", "trainer", *words], capture_output=True, text=True)
    seconds = time.perf_counter() - began
    if not page.exists():
        raise SystemExit(done.stdout + done.stderr)
    rows = class_rows(page.read_text(encoding="utf-8"))
    good = 0
    for work in everybody:
        row = _row_of(work, rows)
        fits = row is not None and holds(work, row)
        good += fits
        words_of_page = " ".join(row["needs"].split()) if row else "not in the page"
        mark = row.get("score", "") if row else ""
        yield f"{' ' if fits else 'x'} {work.trouble:<22} {mark:>5}  {words_of_page[:110]}"
    yield f"{good} of {len(everybody)} lines as they should be"
    yield f"marked in {seconds:.0f} s, {seconds / len(everybody):.1f} s a recording"
    text = page.read_text(encoding="utf-8")
    exercise_list = re.search(r'(?s)<ol class="advice">(.*?)</ol>', text)
    for item in re.findall(r"(?s)<li>(.*?)</li>", exercise_list[1] if exercise_list else ""):
        yield "for next week: " + " ".join(re.sub(r"<[^>]+>", "", item).split())[:200]


def _row_of(work: Homework, rows: Mapping[str, Mapping[str, str]]) -> Mapping[str, str] | None:
    """Return a student's row; a name that is no UTF-8 is shown with a sign in its place."""
    readable = re.sub(r"[^\x00-\x7f]", ".{1,6}", work.name)
    return next((row for name, row in rows.items() if re.fullmatch(readable, name)), None)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.classroom")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="keep the files and pages here")
    add_options(parser)
    options = parser.parse_args()
    results = Results(
        "benchmarks.classroom",
        f"30 recordings of {DRILL} by the built-in player, {ROOM_S:g} s of reverberation",
        "no constant was chosen on it; the words of the page were written with its lines in "
        "view, and leaks were set from -5 to -8 dB after seven notes with the hole below at "
        "-5 dB had been taken for skipped",
    )
    count = 3 if options.smoke else None
    if options.keep:
        results.print(*lines(options.keep, count))
    else:
        with tempfile.TemporaryDirectory() as folder:
            results.print(*lines(Path(folder), count))
    results.finish(options)


if __name__ == "__main__":
    main()
