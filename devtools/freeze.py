#!/usr/bin/env python3
"""Freeze what the program says, and compare it later.

A refactor may change words, and no figure. This script runs the trainer's command line on a fixed
set of recordings, drills and journals. It keeps two digests of each output:

- EXACT: of the whole text, without the names of temporary folders.
- DIGITS: of the keys, the numbers, and the short tokens such as ``-4'`` and ``C4``.

``DIGITS`` must stay equal. Where only ``EXACT`` differs, the wording has changed, which is reported
but is no failure. The script imports nothing of the program, so it survives the renaming of
modules. It runs ``python -m trainer`` in an empty home, on a fixed day; to save time, in forks of
a Python that has loaded the libraries (with HARP_FREEZE_NO_FORK=1, each in a new Python).

    python devtools/freeze.py make --tree BASE      # record what a tree says
    python devtools/freeze.py check                 # compare this tree with it
    python devtools/freeze.py check --quick         # a subset, under a minute
    python devtools/freeze.py check --only 'tab/*' --wording
    python devtools/freeze.py check --against BASE  # run both trees, and compare

Recordings and whole outputs lie in a cache folder outside of git: ``--inputs``, or
``HARP_FREEZE_INPUTS``, or ``harp-trainer-freeze`` in the user's cache folder. The recordings are
made once, by the tree that ``make`` is given; ``make --new-inputs`` makes them anew. The digests
lie in ``frozen.json``. They hold for one machine and one set of packages: floating-point results
may differ elsewhere. There, use ``make --new-inputs --tree BASE`` first.
"""

from __future__ import annotations

import argparse
import csv
import difflib
import gzip
import hashlib
import io
import json
import os
import platform
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
import uuid
import xml.etree.ElementTree as ET
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fnmatch import fnmatch
from html.parser import HTMLParser
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile as sf
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
FROZEN = HERE / "frozen.json"
TODAY = date(2026, 11, 25)
ZONE = "Europe/Oslo"
PLAYER = "Runa"
RATE = 48_000
TIMEOUT_S = 300

# The clock of the program: date.today() asks time.time().
CLOCK = f"""
import time
_began, _zero = time.monotonic(), {datetime(2026, 11, 25, 11, 0, tzinfo=UTC).timestamp()}
time.time = lambda: _zero + time.monotonic() - _began
"""

# A server runs each command in a fork of itself. Libraries are loaded once, and nothing of the
# program. A request is a line of JSON; the answer is the exit code.
SERVER = """
import importlib, json, os, runpy, signal, sys, time
for name in LIBRARIES:
    try:
        importlib.import_module(name)
    except ImportError:
        pass
for line in sys.stdin.buffer.raw:
    asked = json.loads(line)
    child = os.fork()
    if child:
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
        continue
    signal.alarm(asked["limit"])
    os.environ.clear()
    os.environ.update(asked["env"])
    time.tzset()
    os.chdir(asked["cwd"])
    sys.path[0] = asked["cwd"]
    for target, name in enumerate(("/dev/null", asked["out"], asked["err"])):
        file = os.open(name, os.O_RDWR | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, target)
        os.close(file)
    sys.argv = ["trainer", *asked["words"]]
    runpy.run_module("trainer", run_name="__main__", alter_sys=True)
    break
"""
LIBRARIES = [
    *("numpy", "soundfile", "typer", "pydantic", "pydantic_core", "mido", "tomlkit", "fsrs"),
    *("platformdirs", "aubio", "sqlite3", "csv", "xml.etree.ElementTree", "fractions", "uuid"),
    *("concurrent.futures", "importlib.metadata", "email.message", "http", "numpy.fft"),
]

Samples = NDArray[np.float64]


# --- the recordings -------------------------------------------------------------------------


def _drill(tab: str, *lines: str, harp: str = "C", tempo: int = 96) -> str:
    """Give the text of a short drill."""
    head = [f'title = "A frozen drill"\nharp = "{harp}"\ntempo = {tempo}\nskills = ["phrases"]']
    return "\n".join([*head, *lines, f'\ntab = """\n{tab}\n"""\n'])


DRILLS = {
    "shallow": _drill("-4':2 4:1 r:1 | -3':2 -2':1 r:1"),
    "deep": _drill("-3''':2 4:1 r:1 | -3'':2 -2'':1 r:1"),
    "cents": _drill("-3@-40:2 r:1 4:1 | -3'@+20:2 -2/3:1 r:1"),
    "blow-bends": _drill("8':2 8:1 r:1 | 10'':2 9':1 r:1"),
    "overblows": _drill("6:1 6o:2 r:1 | -7:1 -7o:2 r:1"),
    "pairs": _drill("4+5:2 -4+5:1 r:1 | 3+4:2 -3+4:1 r:1"),
    "chords": _drill("{chord} -2+3+4:2 3+4+5:1 r:1 | {} 4:1{clean} 1+2+3:2 r:1"),
    "splits": _drill("1+4:2 -1+4:1 r:1 | 2+5:2 3+6:1 r:1"),
    "clean": _drill("4:1{clean} -4:1{clean} 5:1{clean} r:1 | {blur} -3:1 4:1 6:1 r:1"),
    "vibrato": _drill("-4:3{vibrato} r:1 | -2:2{vibrato 4 15} -3:1 r:1", tempo=80),
    "wah": _drill("4:3{wah 3} r:1 | -3:2{wah} 4:1 r:1", tempo=80),
    "glides": _drill("-4'>-4:2 -4>-4':1 r:1 | 4>5>6:2 r:2"),
    "ladder": _drill("-3=-3'=-3'':3 r:1 | -2=-2'=-2'':3 r:1", tempo=80),
    "rhythm": _drill("-4:1. 5:0.5 [4 -4 5]:1 r:1 | r:0.5 -4:0.5 -3:1 4:2 | ~:1 r:3"),
    "swing": _drill("5:0.5 5:0.5 -4:0.5 4:0.5 5:1 r:1 | 6:1 5:0.5 -4:0.5 4:1 r:1", "swing = 2"),
    "waltz": _drill("-4:1 | 5:2 -4:0.5 4:0.5 | -3:2", 'meter = "3/4"', "pickup = 1"),
    "repeats": _drill("|: -2:1 -3:1 4:2 |1. -4:3 r:1 :|\n|2. -3:2 -2:2 |"),
    "free": _drill("-4:1 -4':1 4:1 r:1", 'clock = "free"', "\n[goal]\nhold = 0.6").replace(
        '\n[goal]\nhold = 0.6\n\ntab = """\n-4:1 -4\':1 4:1 r:1\n"""',
        '\ntab = """\n-4:1 -4\':1 4:1 r:1\n"""\n\n[goal]\nhold = 0.6',
    ),
    "calls": _drill("{call} 4:1 -4:1 5:1 r:1 | {answer} 4:1 -4:1 5:1 r:1", tempo=110),
    "loops": _drill("4:1 -4:1 5:1 r:1 | -4:1 4:2 r:1", 'loop = "1-2"', tempo=120),
    "two": _drill("5:2 -4:1 r:1 | 4:3 r:1").replace(
        "r:1\n", 'r:1\n"""\n\nsecond = """\n2:2 -1:1 r:1 | 1:3 r:1\n'
    ),
    "low": _drill("1:1 -1:1 2:1 r:1 | -2':2 -3:1 r:1", harp="low F"),
    "high": _drill("4:1 -4:1 5:1 r:1 | 6:1 -6:1 7:1 r:1", harp="high G"),
    "paddy": _drill("3:1 -3:1 4:1 r:1 | -4:1 5:2 r:1", 'tuning = "paddy"', harp="D"),
    "country": _drill("-5:1 5:1 -4:1 r:1 | -3':2 4:1 r:1", 'tuning = "country"', harp="A"),
    "minor": _drill("4:1 -4:1 5:1 r:1 | -3:2 4:1 r:1", 'tuning = "natural-minor"', harp="A"),
}
"""Short drills of our own, by name."""


@dataclass(frozen=True)
class Take:
    """One recording by the built-in player.

    Attributes:
        drill: one of ``DRILLS``.
        faults: what the player does wrong, as ``--fault`` takes it.
        options: other options of ``play``.
        marked: options that ``mark`` needs for it.
    """

    drill: str
    faults: tuple[str, ...] = ()
    options: tuple[str, ...] = ()
    marked: tuple[str, ...] = ()


TAKES = {
    "shallow": Take("shallow", ("1:cents=22", "3:cents=9,scoop_cents=60")),
    "shallow-right": Take("shallow"),
    "deep": Take("deep", ("1:cents=35", "3:cents=-14,drift_cents=12")),
    "cents": Take("cents", ("1:cents=12", "3:wobble_cents=6")),
    "blow-bends": Take("blow-bends", ("1:cents=18", "4:scoop_cents=-70,scoop_ms=200")),
    "overblows": Take("overblows", ("2:cents=-12",)),
    "pairs": Take("pairs", ("1:alone=true", "3:cents=-11")),
    "chords": Take("chords", ("1:cents=8", "3:leak_db=-9")),
    "splits": Take("splits", ("2:cents=14",)),
    "leaks": Take("clean", ("1:leak_db=-12", "2:leak_db=-6,leak_hole=5", "3:leak_db=-20")),
    "vibrato": Take("vibrato", ("1:vibrato_hz=6.5,vibrato_cents=35",)),
    "wah": Take("wah", ("2:cents=-9",)),
    "glides": Take("glides", ("1:stray_cents=25", "2:back_cents=20")),
    "ladder": Take("ladder", ("1:rung=2,rung_cents=22",)),
    "rhythm": Take("rhythm", ("2:late_ms=60", "4:late_ms=-45", "6:short_ms=120")),
    "wrong": Take("clean", ("1:instead=5", "5:skip=true", "3:extra=-3")),
    "swing": Take("swing", ("2:late_ms=40",)),
    "waltz": Take("waltz", ("2:cents=-16",)),
    "repeats": Take("repeats", ("2:cents=-12", "6:cents=13")),
    "free": Take("free", ("2:cents=6",)),
    "calls": Take("calls", ("2:cents=-17",)),
    "loops": Take("loops", ("2:cents=-21",)),
    "two-first": Take("two", ("1:cents=-8",)),
    "two-second": Take("two", ("2:cents=12",), ("--part", "2"), ("--part", "2")),
    "low": Take("low", ("4:cents=15",)),
    "high": Take("high", ("5:cents=-13",)),
    "paddy": Take("paddy", ("2:cents=11",)),
    "country": Take("country", ("4:cents=18",)),
    "minor": Take("minor", ("3:leak_db=-14",)),
    "just": Take("chords", (), ("--temperament", "just7"), ("--temperament", "just7")),
    "offset": Take(
        "shallow",
        (),
        ("--offset=-4'=-20", "--a4", "443", "--harp", "Bb"),
        ("--offset=-4'=-20", "--a4", "443", "--harp", "Bb"),
    ),
}

REEDS = {
    "again": "C",
    "bends": "C",
    "c-harp": "C",
    "faulty-phrase": "C",
    "high-g-harp": "high G",
    "low-f-harp": "low F",
    "phrase": "C",
}
"""The recorded reeds of the tests, and the harp of each."""


def _resounding(sound: Samples, seconds: float, seed: int) -> Samples:
    """Give a sound in a room that takes that long to fall by 60 dB."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * RATE)) / RATE
    echo = rng.standard_normal(len(t)) * 10 ** (-3 * t / seconds) * (t > 0.003)
    echo *= 0.5 / np.sqrt(np.sum(echo**2))
    echo[0] = 1.0
    size = 1 << (len(sound) + len(echo)).bit_length()
    both = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(echo, size), size)
    wet: Samples = both[: len(sound) + len(echo) // 2]
    wet *= 0.7 / max(np.max(np.abs(wet)), 1e-9)
    return wet


def _noisy(sound: Samples, down_db: float, seed: int) -> Samples:
    """Give a sound with white noise that far below it."""
    noise = np.random.default_rng(seed).standard_normal(len(sound))
    rms = np.sqrt(np.mean(sound[np.abs(sound) > 1e-3] ** 2))
    noisy: Samples = sound + noise * rms * 10 ** (-down_db / 20)
    return noisy


def _down_to_8k(sound: Samples) -> Samples:
    """Give a sound at 8 kHz, low-passed by its spectrum."""
    whole = sound[: len(sound) // 6 * 6]
    spectrum = np.fft.rfft(whole)[: len(whole) // 12 + 1]
    low: Samples = np.fft.irfft(spectrum, len(whole) // 6) / 6
    return low


def _mixed(first: Samples, second: Samples) -> Samples:
    """Return the mix of two sounds."""
    both = np.zeros(max(len(first), len(second)))
    both[: len(first)] += 0.6 * first
    both[: len(second)] += 0.5 * second
    return both


@dataclass(frozen=True)
class Derived:
    """A recording that is made of others.

    Attributes:
        of: the name of the take that it is made of, for the drill and the options of ``mark``.
        file: its file name.
        make: makes samples of those of the take.
        rate: samples a second.
    """

    of: str
    file: str
    make: Callable[[Samples], Samples]
    rate: int = RATE


DERIVED = {
    "noise": Derived("shallow", "noise.wav", lambda x: _noisy(x, 20, 1)),
    "noise-chords": Derived("chords", "noise-chords.wav", lambda x: _noisy(x, 20, 2)),
    "room-300": Derived("glides", "room-300.wav", lambda x: _resounding(x, 0.3, 3)),
    "room-600": Derived("rhythm", "room-600.wav", lambda x: _resounding(x, 0.6, 4)),
    "mp3": Derived("deep", "mp3.mp3", lambda x: x),
    "ogg": Derived("ladder", "ogg.ogg", lambda x: x),
    "8k": Derived("leaks", "8k.wav", _down_to_8k, 8000),
    "stereo": Derived("swing", "stereo.wav", lambda x: np.stack([x, 0.4 * np.roll(x, 7)], 1)),
    "clipped": Derived("pairs", "clipped.wav", lambda x: np.clip(6 * x, -0.9, 0.9)),
    "quiet": Derived("vibrato", "quiet.wav", lambda x: 0.02 * x),
    "silence": Derived("loops", "silence.wav", lambda x: np.zeros(5 * RATE)),
    "passes": Derived(
        "loops", "passes.wav", lambda x: np.concatenate([x, np.zeros(RATE // 2), 0.8 * x])
    ),
}
MIX = "mix.wav"
LIVE = "live.flac"
JOURNAL = "journal.jsonl"
OLD = "old.sqlite"
TUNE = "tune"


# --- running the program --------------------------------------------------------------------


FORKS = hasattr(os, "fork") and not os.environ.get("HARP_FREEZE_NO_FORK")
_SERVERS: dict[tuple[str, int], subprocess.Popen[str]] = {}


@dataclass(frozen=True)
class Place:
    """A tree under test, and where it is run.

    Attributes:
        tree: the folder that holds the package.
        inputs: the folder of recordings.
        work: a temporary folder, with the fake clock and one folder for each item.
    """

    tree: Path
    inputs: Path
    work: Path

    @staticmethod
    def at(tree: Path, inputs: Path, work: Path) -> Place:
        """Set a place up, and see that its tree is the one that is run."""
        (work / "clock").mkdir(parents=True)
        (work / "clock" / "sitecustomize.py").write_text(CLOCK, "utf-8")
        place = Place(tree.resolve(), inputs.resolve(), work.resolve())
        asked = "import datetime, importlib.util as u; print(u.find_spec('trainer').origin)"
        asked += "; print(datetime.date.today())"
        command = [sys.executable, "-c", asked]
        printed = subprocess.run(
            command, env=place.env(work), cwd=work, capture_output=True, text=True, check=True
        ).stdout.split("\n")
        if not Path(printed[0]).is_relative_to(place.tree):
            sys.exit(f"the package comes from {printed[0]}, which is not in {place.tree}")
        if printed[1] != TODAY.isoformat():
            sys.exit(f"the clock is not fixed: it shows {printed[1]}")
        return place

    def env(self, home: Path, **more: str) -> dict[str, str]:
        """The environment of one command: nothing of the user's."""
        kinds = ("CONFIG", "DATA", "CACHE", "STATE")
        return {
            "PATH": os.environ.get("PATH", ""),
            "HOME": str(home),
            "USER": "nobody",
            **{f"XDG_{kind}_HOME": str(home / kind.lower()) for kind in kinds},
            "PYTHONPATH": os.pathsep.join([str(self.work / "clock"), str(self.tree)]),
            "PYTHONHASHSEED": "0",
            "PYTHONPYCACHEPREFIX": str(self.inputs / "bytecode"),
            "PYTHONIOENCODING": "utf-8",
            "TZ": ZONE,
            "LANG": "C.UTF-8",
            "COLUMNS": "100",
            "LINES": "40",
            "TERM": "dumb",
            "NO_COLOR": "1",
            "MPLCONFIGDIR": str(self.work / "matplotlib"),
            "SOURCE_DATE_EPOCH": "0",
            "OPENBLAS_NUM_THREADS": "1",
            "TRAINER_PLAYER": PLAYER,
            **more,
        }

    def folder(self, name: str) -> Path:
        """An empty folder with the inputs in it as ``in``, and the tree's drills as ``shelf``."""
        folder = self.work / re.sub(r"\W+", "_", name)
        (folder / "home").mkdir(parents=True)
        (folder / "in").symlink_to(self.inputs)
        (folder / "shelf").symlink_to(self.tree / "drills")
        return folder

    def run(self, folder: Path, words: Sequence[str], **more: str) -> tuple[int, str, str]:
        """Run one command there: its exit code, output and errors."""
        env = self.env(folder / "home", **more)
        out, err = folder / "stdout", folder / "stderr"
        if FORKS:
            code = self._asked(
                words=list(words), env=env, cwd=str(folder), out=str(out), err=str(err)
            )
        else:
            with out.open("wb") as to_out, err.open("wb") as to_err:
                code = subprocess.run(
                    [sys.executable, "-m", "trainer", *words],
                    env=env,
                    cwd=folder,
                    stdin=subprocess.DEVNULL,
                    stdout=to_out,
                    stderr=to_err,
                    timeout=TIMEOUT_S,
                    check=False,
                ).returncode
        return code, self.clean(out.read_bytes(), folder), self.clean(err.read_bytes(), folder)

    def _asked(self, **request: Any) -> int:
        """Have this thread's server run a command, and give the exit code."""
        key = (str(self.work), threading.get_ident())
        if key not in _SERVERS:
            _SERVERS[key] = subprocess.Popen(
                [sys.executable, "-c", SERVER.replace("LIBRARIES", repr(LIBRARIES))],
                env=self.env(self.work),
                cwd=self.work,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
        server = _SERVERS[key]
        assert server.stdin is not None
        assert server.stdout is not None
        server.stdin.write(json.dumps(request | {"limit": TIMEOUT_S}) + "\n")
        server.stdin.flush()
        return int(server.stdout.readline())

    def clean(self, data: bytes, folder: Path) -> str:
        """Give text without the names of this machine's folders."""
        text = data.decode("utf-8", "replace")
        for path, name in ((folder, "WORK"), (self.inputs, "INPUTS"), (self.tree, "TREE")):
            text = text.replace(str(path), name)
        return text


# --- what is run ----------------------------------------------------------------------------


@dataclass(frozen=True)
class Item:
    """One command, and what it leaves.

    Attributes:
        name: a path of words, such as ``tab/noise``.
        words: the command line.
        kind: what standard output is: text, json, jsonl or csv.
        files: what it writes, beside standard output.
        journal: ``new``, an import by the tree under test; ``old``, one by the first tree.
        quick: whether it belongs to the quick subset.
    """

    name: str
    words: tuple[str, ...]
    kind: str = "text"
    files: tuple[str, ...] = ()
    journal: str = ""
    quick: bool = False


def items(tree: Path) -> list[Item]:
    """Everything that is run."""
    shelf = sorted(path.stem for path in (tree / "drills").glob("*.toml"))
    all_items = [*_of_recordings(), *_of_journals(), *_of_drills(shelf), *_of_harps()]
    names = Counter(item.name for item in all_items)
    assert max(names.values()) == 1, names.most_common(3)
    return all_items


def _recordings() -> Iterator[tuple[str, str, str | None, tuple[str, ...], str]]:
    """Name, file, drill, options of mark, and key of each recording."""
    keys = {name: re.findall(r'harp = "(.+)"', text)[0] for name, text in DRILLS.items()}
    for name, take in TAKES.items():
        yield name, f"in/{name}.flac", f"in/drills/{take.drill}.toml", take.marked, keys[take.drill]
    for name, derived in DERIVED.items():
        take = TAKES[derived.of]
        drill = f"in/drills/{take.drill}.toml"
        yield name, f"in/{derived.file}", drill, take.marked, keys[take.drill]
    for name, key in REEDS.items():
        bell = "harbour-bell" if "phrase" in name else None
        yield f"reeds-{name}", f"in/reeds/{name}.flac", bell, (), key
    yield "mix", f"in/{MIX}", "in/drills/two.toml", (), "C"
    yield "live", f"in/{LIVE}", "in/drills/loops.toml", (), "C"


def _of_recordings() -> Iterator[Item]:
    """What is heard in recordings, and how they are marked."""
    quick = {"shallow", "chords", "room-600", "mp3", "reeds-faulty-phrase", "live"}
    some = {*quick, "wrong", "glides", "passes", "two-second", "free", "8k", "leaks", "splits"}
    for name, file, drill, marked, key in _recordings():
        fast = name in quick
        tuning = next(
            (("--tuning", t) for t in re.findall(r'tuning = "(.+)"', DRILLS.get(name, ""))), ()
        )
        harp = ("--harp", key, *tuning)
        line = ("listen", file, *harp, "--format")
        yield Item(f"listen/{name}", (*line, "jsonl"), "jsonl", quick=fast)
        yield Item(f"tab/{name}", ("tab", file, "--format", "json"), "json", quick=fast)
        if name in some:
            yield Item(f"listen-text/{name}", (*line, "text"), quick=name == "chords")
            yield Item(f"tab-text/{name}", ("tab", file, *harp), quick=name == "chords")
            for end in ("csv", "toml", "mid", "musicxml", "html", "jsonl"):
                words = ("tab", file, *harp, "--out", f"out.{end}")
                fine = name == "reeds-faulty-phrase"
                if name in quick or end in ("csv", "toml"):
                    yield Item(f"tab-{end}/{name}", words, files=(f"out.{end}",), quick=fine)
        if drill is None:
            continue
        mark = ("mark", file, "--drill", drill, *marked)
        yield Item(f"mark/{name}", (*mark, "--format", "json"), "json", quick=fast)
        if name in some or marked:
            yield Item(f"mark-text/{name}", mark, quick=name == "reeds-faulty-phrase")
        if "--part" in marked or "--temperament" in marked or "--a4" in marked:
            continue
        report = ("report", file, "--drill", drill, "--out")
        fine = name == "reeds-faulty-phrase"
        yield Item(f"report-md/{name}", (*report, "out.md"), files=("out.md",), quick=fine)
        for end in ("json", "csv", "html"):
            if name in some:
                words = (*report, f"out.{end}")
                yield Item(f"report-{end}/{name}", words, files=(f"out.{end}",), quick=fine)
    yield from _of_odd_recordings()


def _of_odd_recordings() -> Iterator[Item]:
    """Recordings under odd options, classes, passages, and performances."""
    bell = ("--drill", "harbour-bell")
    mix = ("tab", f"in/{MIX}", "--format", "json", "--harps")
    yield Item("tab/mix-of-two", (*mix, "2"), "json", quick=True)
    yield Item("tab/mix-of-one", (*mix, "1"), "json")
    part = ("tab", "in/reeds/phrase.flac", "--from", "2", "--to", "8", "--tempo", "96")
    yield Item("tab/passage", (*part, "--meter", "3/4", "--format", "csv"), "csv")
    yield Item("tab/first-beat", (*part, "--first-beat", "2.5", "--format", "drill"))
    stereo = ("listen", "in/stereo.wav", "--harp", "C", "--channel", "2", "--format", "jsonl")
    yield Item("listen/stereo-2", stereo, "jsonl")
    just = ("--temperament", "just5", "--a4", "442", "--format", "jsonl")
    yield Item("listen/just5", ("listen", "in/chords.flac", "--harp", "C", *just), "jsonl")
    other = ("mark", "in/passes.wav", "--drill", "in/drills/loops.toml", "--format", "json")
    yield Item("mark/start", (*other, "--start", "2", "--tempo", "118"), "json")
    yield Item("mark/other-drill", ("mark", "in/deep.flac", *bell, "--format", "json"), "json")
    yield Item("mark/other-harp", ("mark", "in/shallow.flac", *bell, "--harp", "A"), quick=True)
    yield Item("mark/nothing", ("mark", "in/none.flac", *bell), quick=True)
    for end in ("html", "md", "csv", "json"):
        words = ("mark", "in/class", *bell, "--jobs", "1", "--class", f"class.{end}")
        yield Item(f"class/{end}", words, files=(f"class.{end}",), quick=end == "json")
    loop = ("loop", "in/reeds/phrase.flac", "--from", "2", "--to", "5", "--out", "out.wav")
    yield Item("loop/slow", (*loop, "--speed", "60"), files=("out.wav",), quick=True)
    moved = ("--played-on", "C", "--harp", "A", "--speed", "100")
    yield Item("loop/moved", (*loop, *moved), files=("out.wav",))
    for name, take in TAKES.items():
        faults = [word for fault in take.faults for word in ("--fault", fault)]
        saved = (*take.options, *faults, "--save", "take.flac")
        play = ("play", f"in/drills/{take.drill}.toml", "--player", "--plain", "--no-loop", *saved)
        yield Item(f"play/{name}", play, files=("take.flac",), quick=name in ("shallow", "wrong"))
    yield Item("demo", ("demo", "--plain"), quick=True)


def _of_journals() -> Iterator[Item]:
    """What journals say: one that the tree imported, and some of one that the first tree did."""
    texts = {"today/text", "journal/list", "journal/export"}
    data = {"today/json", "progress/json", "progress/bend-json", "journal/show-json-0"}
    old = texts | data | {"harp/show-json", "harp/watch-json"}
    yield from (item for item in _of_a_journal("old") if item.name.removesuffix("-old") in old)
    yield from _of_a_journal("new")
    yield Item("today/empty", ("today",), quick=True)
    yield Item("progress/empty", ("progress",))
    yield Item("journal/import", ("journal", "import", f"in/{JOURNAL}"), quick=True)
    measure = ("harp", "measure", "old C", "--harp", "C", "--from", "in/reeds/c-harp.flac")
    yield Item("harp/measure", measure, quick=True)


def _of_a_journal(kind: str) -> Iterator[Item]:
    """What one journal says."""

    def item(name: str, *words: str, of: str = "text", quick: bool = False) -> Item:
        journal, files = kind, tuple(word for word in words if word.startswith("out."))
        return Item(f"{name}-{kind}", words, of, files, journal, quick and kind == "new")

    yield item("today/text", "today", quick=True)
    yield item("today/json", "today", "--format", "json", of="json", quick=True)
    yield item("today/plain", "today", "--minutes", "10", "--plain")
    yield item("today/long", "today", "--minutes", "60", "--format", "json", of="json")
    yield item("today/harp", "today", "--harp", "A", "--format", "json", of="json")
    yield item("today/other", "today", "--player", "Marit", "--format", "json", of="json")
    for of in ("text", "json", "csv"):
        yield item(f"progress/{of}", "progress", "--format", of, of=of, quick=True)
        for name, subject in (
            ("bend", "-4'"),
            ("skill", "half-step bends"),
            ("chords", "chords"),
            ("ladders", "ladders"),
            ("everything", "everything"),
        ):
            words = ("progress", subject, "--format", of)
            yield item(f"progress/{name}-{of}", *words, of=of, quick=name == "bend")
    four = ("progress", "-4", "--weeks", "4", "--since", "2026-10-01", "--what", "tune")
    yield item("progress/weeks", *four)
    yield item("progress/weeks-json", *four, "--format", "json", of="json")
    yield item("progress/plot", "progress", "-4'", "--plain", "--plot", "out.svg")
    yield item("journal/list", "journal", "list", quick=True)
    yield item("journal/list-json", "journal", "list", "--format", "json", of="json")
    yield item("journal/list-some", "journal", "list", "--since", "2026-11-20")
    for number in range(4):
        show = ("journal", "show", _id(number))
        yield item(f"journal/show-{number}", *show, quick=not number)
        json_of = (*show, "--format", "json")
        yield item(f"journal/show-json-{number}", *json_of, of="json", quick=not number)
    yield item("journal/export", "journal", "export", of="jsonl", quick=True)
    yield item("journal/export-csv", "journal", "export", "--out", "out.csv")
    yield item("harp/list", "harp", "list", quick=True)
    yield item("harp/list-json", "harp", "list", "--format", "json", of="json")
    yield item("harp/show", "harp", "show", "old C", quick=True)
    just = ("harp", "show", "old C", "--temperament", "just5", "--format", "json")
    yield item("harp/show-json", *just, of="json")
    yield item("harp/watch-all", "harp", "watch")
    yield item("harp/watch", "harp", "watch", "old C", quick=True)
    yield item("harp/watch-json", "harp", "watch", "old C", "--format", "json", of="json")
    yield item("harp/watch-reed", "harp", "watch", "old C", "--reed=-4")
    bell = ("in/reeds/faulty-phrase.flac", "--drill", "harbour-bell", "--harp", "old C")
    yield item("mark/own-harp", "mark", *bell, "--format", "json", of="json", quick=True)
    yield item("harp/chart-own", "harp", "old C", "--format", "json", of="json")


def _of_drills(shelf: Sequence[str]) -> Iterator[Item]:
    """What is said of drills."""
    yield Item("drill/list", ("drill", "list"), quick=True)
    yield Item("drill/list-json", ("drill", "list", "--format", "json"), "json")
    yield Item("drill/schema", ("drill", "schema"), "json", quick=True)
    yield Item("drill/check", ("drill", "check", "shelf", "in/drills"), quick=True)
    yield Item("drill/check-wrong", ("drill", "check", "in/wrong"), quick=True)
    yield Item("drill/fmt", ("drill", "fmt", "--check", "shelf", "in/drills"))
    for number, path in enumerate([*shelf, *(f"in/drills/{name}.toml" for name in DRILLS)]):
        name = Path(path).stem
        fast = name in ("ferry-home", "loops")
        yield Item(f"drill-show/{name}", ("drill", "show", path), quick=fast)
        whole = fast or name in DRILLS or number % 4 == 0
        for end in ("mid", "musicxml", "txt") if whole else ("mid",):
            words = ("drill", "export", path, f"out.{end}")
            fine = name == "ferry-home"
            yield Item(f"drill-{end}/{name}", words, files=(f"out.{end}",), quick=fine)
    for name in ("ferry-home", "harbour-bell", "two-at-the-rail", "coal-barge-shuffle"):
        html = ("drill", "export", name, "out.html")
        yield Item(f"drill-html/{name}", html, files=("out.html",), quick=name == "ferry-home")
        export = ("drill", "export", name, "out.musicxml", "--harp", "A")
        yield Item(f"drill-export-on-a/{name}", export, files=("out.musicxml",))
        move, fast = ("drill", "move", name), name == "harbour-bell"
        yield Item(f"drill-move/{name}", (*move, "--by", "pitch"), quick=fast)
        as_json = ("--format", "json")
        yield Item(f"drill-move-json/{name}", (*move, "--by", "pitch", *as_json), "json")
        third = ("--by", "pitch", "--position", "3", "--harp", "G", "--out", "out.toml")
        yield Item(f"drill-move-third/{name}", (*move, *third), files=("out.toml",))
        yield Item(f"drill-move-holes/{name}", (*move, "--harp", "low F", *as_json), "json")
    for end in ("mid", "musicxml"):
        tune = ("drill", "import", f"in/{TUNE}.{end}")
        out = (*tune, "--out", "out.toml")
        yield Item(f"drill-import/{end}", out, files=("out.toml",), quick=end == "mid")
        yield Item(f"drill-import-second/{end}", (*tune, "--position", "2"))


def _of_harps() -> Iterator[Item]:
    """The charts of harps, settings, and helps."""
    charts = {
        "C": ("C",),
        "A-2": ("A", "--position", "2"),
        "low-F": ("low F", "--temperament", "just7", "--offset=-3=-6"),
        "high-G": ("high G", "--a4", "443"),
        "Bb-3": ("Bb", "--position", "3", "--temperament", "just5"),
        "song-A": ("--song", "A", "--position", "2"),
        "song-on": ("Bb", "--song", "F#m"),
    }
    for tuning in ("paddy", "country", "solo", "natural-minor", "harmonic-minor", "none"):
        charts[tuning] = ("D", "--tuning", tuning)
    for name, words in charts.items():
        fast = name in ("A-2", "song-A", "none")
        yield Item(f"chart/{name}", ("harp", *words), quick=fast)
        yield Item(f"chart-json/{name}", ("harp", *words, "--format", "json"), "json")
    yield Item("settings/show", ("settings", "show"), quick=True)
    yield Item("settings/json", ("settings", "show", "--format", "json"), "json")
    yield Item("version", ("--version",), quick=True)
    commands = "play listen mark report tab loop today progress harp drill journal settings sound"
    for command in ("", *commands.split()):
        yield Item(f"help/{command or 'all'}", (*command.split(), "--help"), quick=not command)


def _id(number: int) -> str:
    """The id of a numbered take of the journal."""
    return uuid.UUID(int=random.Random(number).getrandbits(128), version=4).hex


# --- what was said: the whole, and the digits -----------------------------------------------

_NUMBER = re.compile(r"(?<![A-Za-z])[-+]?\d+(?:[.,:/]\d+)*(?:e[-+]?\d+)?(?:'+|o\b)?")
_WORDS = {"about", "detail", "help", "hint", "reason", "sentence", "text", "title", "why"}
"""Keys whose texts are for people, however short."""
_IN_LINE = {"a", "abbr", "b", "code", "em", "i", "span", "strong", "sub", "sup", "tspan"}


@dataclass(frozen=True)
class Said:
    """The output of an item, whole and reduced."""

    exact: str
    digits: str

    @property
    def digests(self) -> list[str]:
        """The digests of both."""
        return [hashlib.sha256(t.encode()).hexdigest()[:16] for t in (self.exact, self.digits)]


def _numbers(text: str) -> str:
    """The numbers and tab entries in a text."""
    return " ".join(_NUMBER.findall(text))


def _of_string(text: str) -> str:
    """A token as it is; of a sentence its numbers."""
    token = text.isascii() and len(text) <= 40 and not re.search(r"\s", text)
    return text if token else "~ " + _numbers(text)


def _of_json(value: Any, path: str = "", key: str = "") -> Iterator[str]:
    """A line for each value in JSON, without sentences."""
    if isinstance(value, dict):
        yield f"{path}: {{{' '.join(value)}}}"
        for name, inner in value.items():
            yield from _of_json(inner, f"{path}.{name}", name)
    elif isinstance(value, list):
        if all(isinstance(number, int | float) for number in value):
            yield f"{path}: {value}"
            return
        yield f"{path}: [{len(value)}]"
        for index, inner in enumerate(value):
            yield from _of_json(inner, f"{path}[{index}]", key)
    elif isinstance(value, str):
        yield f"{path}: {'~ ' + _numbers(value) if key in _WORDS else _of_string(value)}"
    else:
        yield f"{path}: {value!r}"


def _of_csv(text: str) -> Iterator[str]:
    """A line for each row of a table, without sentences."""
    head: list[str] = []
    for row in csv.reader(io.StringIO(text)):
        if not head:
            head = row
            yield " | ".join(row)
            continue
        named = zip(row, [*head, *[""] * len(row)], strict=False)
        yield " | ".join(_numbers(c) if name in _WORDS else _of_string(c) for c, name in named)


def _of_text(text: str) -> Iterator[str]:
    """The numbers of each line that has any."""
    yield from filter(None, map(_numbers, text.splitlines()))


class _Page(HTMLParser):
    """Reads a page: the numbers of its texts, pictures and tables, however it is laid out."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.lines: list[str] = []
        self._text = ""
        self._silent = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Take the figures in a tag; what is inside a line of text does not end it."""
        if tag not in _IN_LINE:
            self._end_text()
        self._silent = tag in ("style", "script")
        for name, value in sorted(attrs):
            if not value or tag == "meta" or name in ("class", "style"):
                continue
            if value.startswith("data:"):
                self.lines.append(f"data {hashlib.sha256(value.encode()).hexdigest()[:16]}")
            elif numbers := _numbers(value):
                self.lines.append(f"{tag} {name} {numbers}")

    def handle_endtag(self, tag: str) -> None:
        """End the text of an element."""
        if tag not in _IN_LINE:
            self._end_text()
        self._silent = False

    def handle_data(self, data: str) -> None:
        """Take text."""
        if not self._silent:
            self._text += data

    def _end_text(self) -> None:
        numbers, self._text = _numbers(self._text), ""
        if numbers:
            self.lines.append(numbers)


def _of_html(text: str) -> Iterator[str]:
    """The numbers of a page, and digests of its sounds and pictures."""
    page = _Page()
    page.feed(text)
    page.close()
    page.handle_endtag("html")
    yield from page.lines


def _of_xml(text: str) -> Iterator[str]:
    """The elements of a score, without sentences."""
    for element in ET.fromstring(text).iter():
        inner = _of_string((element.text or "").strip())
        attributes = " ".join(f"{k}={_of_string(v)}" for k, v in element.attrib.items())
        yield f"{element.tag} {attributes} {inner}"


def _of_midi(data: bytes) -> tuple[str, str]:
    """The messages of a MIDI file: all, and with their texts reduced."""
    file = mido.MidiFile(file=io.BytesIO(data))
    whole, digits = [f"type {file.type} ticks {file.ticks_per_beat}"], []
    for number, track in enumerate(file.tracks):
        for message in track:
            whole.append(f"{number} {message!r}")
            fields = vars(message)
            texts = {k: _numbers(v) if isinstance(v, str) else v for k, v in fields.items()}
            texts["type"] = message.type
            digits.append(f"{number} {texts}")
    return "\n".join(whole), "\n".join([whole[0], *digits])


def _of_sound(path: Path) -> tuple[str, str]:
    """The samples of a recording, and its tags."""
    with sf.SoundFile(path) as file:
        samples = file.read(dtype="int32")
        tags = file.copy_metadata()
        head = f"{file.samplerate} Hz, {file.channels}, {file.subtype}, {len(samples)} frames"
    digest = hashlib.sha256(samples.tobytes()).hexdigest()[:16]
    digits = [head, f"samples {digest}"]
    for name, text in sorted(tags.items()):
        try:
            digits += _of_json(json.loads(text), name)
        except json.JSONDecodeError:
            digits.append(f"{name}: {_of_string(text)}")
    return "\n".join([head, digest, *map(str, sorted(tags.items()))]), "\n".join(digits)


def _reduced(text: str, kind: str) -> str:
    """The digits of a text of some kind."""
    try:
        if kind == "json" and text.strip():
            return "\n".join(_of_json(json.loads(text)))
        if kind == "jsonl":
            lines = text.splitlines()
            return "\n".join(
                x for i, y in enumerate(lines) for x in _of_json(json.loads(y), f"{i}")
            )
        if kind in ("musicxml", "xml"):
            return "\n".join(_of_xml(text))
    except (json.JSONDecodeError, ET.ParseError) as error:
        return f"not {kind}: {type(error).__name__}\n" + "\n".join(_of_text(text))
    ways = {"csv": _of_csv, "html": _of_html, "svg": _of_html}
    return "\n".join(ways.get(kind, _of_text)(text))


def said_by(place: Place, item: Item) -> Said:
    """Run an item and return its output."""
    folder, more = place.folder(item.name), {}
    if item.journal:
        source = place.inputs / OLD if item.journal == "old" else place.work / "new.sqlite"
        more["TRAINER_JOURNAL"] = str(folder / "journal.sqlite")
        shutil.copyfile(source, folder / "journal.sqlite")
    code, out, err = place.run(folder, item.words, **more)
    parts = [(f"exit {code}", f"exit {code}")]
    if out:
        parts.append(("== output\n" + out, "== output\n" + _reduced(out, item.kind)))
    if err:
        parts.append(("== errors\n" + err, "== errors\n" + _reduced(err, "text")))
    for file in item.files:
        path = folder / file
        if not path.exists():
            whole, digits = "none", "none"
        elif path.suffix in (".wav", ".flac"):
            whole, digits = _of_sound(path)
        elif path.suffix == ".mid":
            whole, digits = _of_midi(path.read_bytes())
        else:
            whole = place.clean(path.read_bytes(), folder)
            digits = _reduced(whole, path.suffix[1:])
        parts.append((f"== {file}\n{whole}", f"== {file}\n{digits}"))
    shutil.rmtree(folder)
    return Said(*("\n".join(side) + "\n" for side in zip(*parts, strict=True)))


def say_all(
    place: Place, wanted: Sequence[Item], jobs: int
) -> Iterator[tuple[Item, Said | Exception]]:
    """Run items, some at a time, and give what each said in their order."""
    if any(item.journal == "new" for item in wanted):
        folder = place.folder("import")
        more = {"TRAINER_JOURNAL": str(place.work / "new.sqlite")}
        code, _, err = place.run(folder, ("journal", "import", f"in/{JOURNAL}"), **more)
        if code:
            sys.exit(f"the journal could not be imported: {err}")

    def run(item: Item) -> Said | Exception:
        try:
            return said_by(place, item)
        except Exception as error:
            return error

    with ThreadPoolExecutor(jobs) as pool:
        yield from zip(wanted, pool.map(run, wanted), strict=True)
    for key in [key for key in _SERVERS if key[0] == str(place.work)]:
        server = _SERVERS.pop(key)
        server.communicate()


# --- making the inputs ----------------------------------------------------------------------


def make_inputs(tree: Path, inputs: Path) -> None:
    """Make the recordings, drills, tunes and journals, by a tree."""
    for name in ("drills", "wrong", "reeds", "class"):
        (inputs / name).mkdir(parents=True, exist_ok=True)
    for name, text in DRILLS.items():
        (inputs / "drills" / f"{name}.toml").write_text(text, "utf-8")
    wrong = DRILLS["shallow"].replace("4:1 r:1", "4:1 11:1", 1).replace("tempo = 96", "tempo = 7")
    (inputs / "wrong" / "wrong.toml").write_text(wrong, "utf-8")
    for name in REEDS:
        shutil.copyfile(tree / "tests" / "reeds" / f"{name}.flac", inputs / f"reeds/{name}.flac")
    with tempfile.TemporaryDirectory() as temporary:
        place = Place.at(tree, inputs, Path(temporary) / "work")
        _make_takes(place)
        _make_live(place)
        _make_derived(inputs)
        for end in ("mid", "musicxml"):
            _must(
                place,
                f"tune-{end}",
                ("drill", "export", "ferry-home", f"in/{TUNE}.{end}", "--force"),
            )
        _make_journals(place)


def _must(place: Place, name: str, words: Sequence[str], **more: str) -> str:
    """Run a command that must succeed, and give its output."""
    code, out, err = place.run(place.folder(f"make-{name}"), words, **more)
    if code:
        sys.exit(f"{name}: {' '.join(words)}: {err or out}")
    return out


def _play(place: Place, name: str, take: Take, drill: str, file: str) -> None:
    faults = [word for fault in take.faults for word in ("--fault", fault)]
    words = ["play", drill, "--player", "--plain", "--no-loop", *take.options, *faults]
    _must(place, name, [*words, "--save", file])


def _make_takes(place: Place) -> None:
    """Let the built-in player play them."""
    for name, take in TAKES.items():
        (place.inputs / f"{name}.flac").unlink(missing_ok=True)
        _play(place, name, take, f"in/drills/{take.drill}.toml", f"in/{name}.flac")
    for name, faults in {
        "anna": ("2:cents=-18", "5:cents=25"),
        "bo": ("1:leak_db=-8", "4:late_ms=70"),
        "cleo": ("3:skip=true",),
    }.items():
        (place.inputs / f"class/{name}.flac").unlink(missing_ok=True)
        _play(place, name, Take("", faults), "harbour-bell", f"in/class/{name}.flac")


def _make_live(place: Place) -> None:
    """Save a take of some passes: the loop is stopped after two totals."""
    (place.inputs / LIVE).unlink(missing_ok=True)
    folder = place.folder("live")
    words = ["play", "in/drills/loops.toml", "--player", "--plain", "--loop"]
    words += ["--fault", "2:cents=-21", "--save", f"in/{LIVE}"]
    process = subprocess.Popen(
        [sys.executable, "-m", "trainer", *words],
        env=place.env(folder / "home", PYTHONUNBUFFERED="1"),
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    totals = 0
    for line in process.stdout:
        totals += line.startswith("Total")
        if totals == 2:
            process.send_signal(signal.SIGINT)
            break
    process.stdout.read()
    process.wait(30)
    if not (place.inputs / LIVE).exists():
        sys.exit("the take of some passes was not saved")


def _make_derived(inputs: Path) -> None:
    """Make recordings of others."""
    for derived in DERIVED.values():
        sound, _ = sf.read(inputs / f"{derived.of}.flac")
        sf.write(inputs / derived.file, derived.make(sound), derived.rate)
    first, second = (sf.read(inputs / f"two-{part}.flac")[0] for part in ("first", "second"))
    sf.write(inputs / MIX, _mixed(first, second), RATE)


def _make_journals(place: Place) -> None:
    """Make a journal of weeks out of marks of takes, and one that the tree imported."""
    kept = {"TRAINER_JOURNAL": str(place.work / "journal.sqlite")}
    for number, (drill, faults) in enumerate(
        [
            ("harbour-bell", ("2:cents=-18", "5:cents=25")),
            ("half-step-on-four", ("2:cents=20", "4:cents=-12")),
            ("chord-or-one-note", ("1:cents=9", "2:leak_db=-9")),
            ("rungs-down-and-up", ("1:cents=12",)),
            ("first-clean-notes", ("1:leak_db=-15",)),
            ("bend-and-let-up", ("1:cents=14", "3:cents=-11")),
            ("vibrato-to-finish", ("2:cents=7",)),
            ("ferry-home", ("3:late_ms=50",)),
        ]
    ):
        file = f"{place.work}/journal-{number}.flac"
        _play(place, f"journal-{number}", Take("", faults), drill, file)
        _must(place, f"mark-{number}", ("mark", file, "--drill", drill, "--player", PLAYER), **kept)
    reeds = "in/reeds/c-harp.flac"
    _must(place, "own", ("harp", "measure", "old C", "--harp", "C", "--from", reeds), **kept)
    head, *lines = _must(place, "export", ("journal", "export"), **kept).splitlines()
    made = [head, *(json.dumps(record, ensure_ascii=False) for record in _weeks(lines))]
    (place.inputs / JOURNAL).write_text("\n".join(made) + "\n", "utf-8")
    (place.inputs / OLD).unlink(missing_ok=True)
    old = {"TRAINER_JOURNAL": str(place.work / "old.sqlite")}
    _must(place, "old", ("journal", "import", f"in/{JOURNAL}"), **old)
    _must(place, "backup", ("journal", "backup", f"in/{OLD}"), **old)


def _weeks(lines: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Spread the takes of an export over nine weeks, with other figures each day."""
    records = [json.loads(line) for line in lines]
    takes = sorted((r for r in records if r["kind"] == "take"), key=lambda take: take["drill"])
    number = 0
    for back in range(63, 0, -1):
        rng = random.Random(back)
        if rng.random() < 0.25:
            continue
        night = rng.gauss(0.0, 4.0)
        for of in rng.sample(takes, 2):
            day = TODAY - timedelta(days=back)
            began = datetime(day.year, day.month, day.day, 17, number % 60, tzinfo=UTC)
            take = json.loads(json.dumps(of))
            take.update(id=_id(number), began=began.isoformat(), day=day.isoformat())
            take.update(source=rng.choice(["microphone", "microphone", "recording"]))
            take["player"] = "Marit" if rng.random() < 0.15 else PLAYER
            if rng.random() < 0.6 and take["harp"]["key"] == "C":
                take["harp"]["name"] = "old C"
            for step in take["steps"]:
                if step["cents"] is None:
                    continue
                flat = 0.15 * (63 - back) if step["tab"] == "-4" else 0.0
                more = night + rng.gauss(0.0, 4.0 + back / 8) - flat
                step["cents"] += more
                if step["hz"] is not None:
                    step["hz"] *= 2 ** (more / 1200)
                if step["late_ms"] is not None:
                    step["late_ms"] += rng.gauss(10.0, 25.0)
                step["score"] = max(0.0, min(100.0, step["score"] - abs(more)))
            take["score"] = max(0.0, take["score"] - rng.uniform(0.0, 25.0))
            take["passed"] = take["score"] >= 80
            number += 1
            yield take
    for harp in (r for r in records if r["kind"] == "harp"):
        yield harp | {"measured": "2026-09-20T10:00:00+00:00"}


# --- the commands ---------------------------------------------------------------------------


def _stored(inputs: Path, name: str) -> Path:
    return inputs / "outputs" / f"{name.replace('/', '--')}.json.gz"


def _sum_of(inputs: Path) -> str:
    """One digest of all inputs."""
    whole = hashlib.sha256()
    for path in sorted(p for p in inputs.rglob("*") if p.is_file()):
        if path.relative_to(inputs).parts[0] not in ("outputs", "bytecode"):
            whole.update(f"{path.relative_to(inputs)}\0".encode())
            whole.update(hashlib.sha256(path.read_bytes()).digest())
    return whole.hexdigest()[:16]


def _made_with() -> dict[str, str]:
    """What the figures may depend on, beside the program."""
    versions = {"python": platform.python_version(), "machine": platform.machine()}
    for name in ("numpy", "soundfile", "aubio-ledfx", "pedalboard", "fsrs"):
        try:
            versions[name] = version(name)
        except PackageNotFoundError:
            versions[name] = "none"
    return versions


def _took(began: float) -> str:
    """How long it took, and how much work that was: other programs may share the cores."""
    times = os.times()
    work = times.children_user + times.children_system + times.user + times.system
    return f"{time.monotonic() - began:.0f} s ({work:.0f} s of one core)"


def _chosen(args: argparse.Namespace, tree: Path) -> list[Item]:
    only = args.only
    return [
        item
        for item in items(tree)
        if (item.quick or not args.quick)
        and (
            not only or any(fnmatch(item.name, pattern) or pattern in item.name for pattern in only)
        )
    ]


def make(args: argparse.Namespace) -> int:
    """Record what a tree says."""
    inputs: Path = args.inputs
    began = time.monotonic()
    if args.new_inputs or not (inputs / OLD).exists():
        make_inputs(args.tree, inputs)
        print(f"made the inputs in {time.monotonic() - began:.0f} s")
    wanted, frozen = items(args.tree), {}
    if not args.resume:
        shutil.rmtree(inputs / "outputs", ignore_errors=True)
    (inputs / "outputs").mkdir(exist_ok=True)
    for item in wanted:
        if known := _read(inputs, item.name):
            frozen[item.name] = known.digests
    with tempfile.TemporaryDirectory() as temporary:
        place = Place.at(args.tree, inputs, Path(temporary) / "work")
        for item, outcome in say_all(place, [i for i in wanted if i.name not in frozen], args.jobs):
            if isinstance(outcome, Exception):
                raise outcome
            frozen[item.name] = outcome.digests
            stored = json.dumps([outcome.exact, outcome.digits], ensure_ascii=False).encode()
            _stored(inputs, item.name).write_bytes(gzip.compress(stored, 6, mtime=0))
    whole = {"made_with": _made_with(), "inputs": _sum_of(inputs), "items": frozen}
    FROZEN.write_text(_laid_out(whole), "utf-8")
    print(f"froze {len(frozen)} items in {_took(began)}")
    return 0


def _laid_out(whole: dict[str, Any]) -> str:
    """JSON with a line for each item."""
    rows = [f"    {json.dumps(k)}: {json.dumps(v)}" for k, v in sorted(whole["items"].items())]
    head = json.dumps({k: v for k, v in whole.items() if k != "items"}, indent=2)[:-2]
    return head + ',\n  "items": {\n' + ",\n".join(rows) + "\n  }\n}\n"


def _first_difference(old: str, new: str, around: int = 2) -> list[str]:
    """The first lines that differ, with some lines before them."""
    before, after = old.splitlines(), new.splitlines()
    pairs = zip(before, after, strict=False)
    at = next((i for i, (a, b) in enumerate(pairs) if a != b), min(len(before), len(after)))
    lines = [f"      line {at + 1} of {len(before)} (now {len(after)})"]
    lines += [f"        {line[:200]}" for line in before[max(0, at - around) : at]]
    lines += [f"      - {line[:200]}" for line in before[at : at + around]]
    return lines + [f"      + {line[:200]}" for line in after[at : at + around]]


def check(args: argparse.Namespace) -> int:
    """Compare a tree with what was recorded, or with another tree."""
    inputs: Path = args.inputs
    began = time.monotonic()
    if not (inputs / OLD).exists():
        sys.exit("there are no inputs; run 'make --tree BASE' with the code before the change")
    frozen = json.loads(FROZEN.read_text("utf-8")) if FROZEN.exists() else {"items": {}}
    if not args.against:
        if frozen.get("made_with") != _made_with():
            print(f"note: frozen with {frozen.get('made_with')}, now {_made_with()}")
        if frozen.get("inputs") != _sum_of(inputs):
            sys.exit("the inputs are not those that were frozen; use --against, or make again")
    wanted = _chosen(args, args.tree)
    reference: dict[str, Said] = {}
    with tempfile.TemporaryDirectory() as temporary:
        if args.against:
            other = Place.at(args.against, inputs, Path(temporary) / "against")
            for item, outcome in say_all(other, wanted, args.jobs):
                if isinstance(outcome, Exception):
                    raise outcome
                reference[item.name] = outcome
        place = Place.at(args.tree, inputs, Path(temporary) / "work")
        worded: list[str] = []
        wrong: list[str] = []
        for item, outcome in say_all(place, wanted, args.jobs):
            known = reference.get(item.name)
            was = known.digests if known else frozen["items"].get(item.name)
            if isinstance(outcome, Exception):
                wrong.append(item.name)
                print(f"FAILED   {item.name}: {outcome!r}", flush=True)
            elif was is None:
                wrong.append(item.name)
                print(f"NEW      {item.name}: it was not frozen", flush=True)
            elif outcome.digests != was:
                same = outcome.digests[1] == was[1]
                (worded if same else wrong).append(item.name)
                _print_difference(
                    item, outcome, known or _read(inputs, item.name), same, args.wording
                )
    if not args.only and not args.quick and not args.against:
        for name in sorted(frozen["items"].keys() - {item.name for item in wanted}):
            wrong.append(name)
            print(f"MISSING  {name}")
    print(
        f"{len(wanted)} items in {_took(began)}: {len(wrong)} differ, "
        f"{len(worded)} in wording alone"
    )
    return 1 if wrong else 0


def _read(inputs: Path, name: str) -> Said | None:
    """What was said when it was frozen, if it is kept."""
    path = _stored(inputs, name)
    return Said(*json.loads(gzip.decompress(path.read_bytes()))) if path.exists() else None


def _print_difference(
    item: Item, output: Said, known: Said | None, same: bool, wording: bool
) -> None:
    """Print how an item differs."""
    line = "trainer " + " ".join(f"'{w}'" if " " in w or "'" in w else w for w in item.words)
    if same:
        print(f"wording  {item.name}", flush=True)
        if wording and known:
            both = known.exact.splitlines(), output.exact.splitlines()
            for text in difflib.unified_diff(*both, "before", "now", n=1, lineterm=""):
                print(f"    {text[:300]}")
        return
    print(f"DIGITS   {item.name}: {line}", flush=True)
    if known is None:
        print("      (the output of before is not kept here)")
        return
    if Counter(known.digits.split()) == Counter(output.digits.split()):
        print("      only their order differs")
    print("\n".join(_first_difference(known.digits, output.digits)))
    if wording:
        print("      in the whole text:")
        print("\n".join(_first_difference(known.exact, output.exact)))


def _inputs() -> Path:
    """The usual folder of inputs."""
    if named := os.environ.get("HARP_FREEZE_INPUTS"):
        return Path(named)
    cache = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(cache) / "harp-trainer-freeze"


def main() -> int:
    """Read the command line, and do what it says."""
    parser = argparse.ArgumentParser(description="Freeze what the program says, and compare later.")
    commands = parser.add_subparsers(required=True)
    for name, does in (("make", make), ("check", check), ("list", None)):
        command = commands.add_parser(name, help=does.__doc__ if does else "List the items.")
        command.set_defaults(does=does)
        command.add_argument("--tree", type=Path, default=HERE.parent, help="the code to run")
        command.add_argument(
            "--inputs", type=Path, default=_inputs(), help="recordings and outputs"
        )
        command.add_argument("--jobs", type=int, default=2, help="commands at a time; default: 2")
        if name == "make":
            command.add_argument("--new-inputs", action="store_true", help="make recordings anew")
            command.add_argument(
                "--resume", action="store_true", help="keep what was recorded before"
            )
            continue
        command.add_argument(
            "--only", action="append", metavar="PATTERN", help="items of that name"
        )
        command.add_argument("--quick", action="store_true", help="a subset, under a minute")
        command.add_argument("--wording", action="store_true", help="show how words differ")
        command.add_argument("--against", type=Path, metavar="PATH", help="run this tree, too")
    args = parser.parse_args()
    if args.does is None:
        print("\n".join(item.name for item in _chosen(args, args.tree)))
        return 0
    return int(args.does(args))


if __name__ == "__main__":
    sys.exit(main())
