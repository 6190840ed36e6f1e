"""Trials of what comes from outside: drills, recordings, scores, journals, settings, fields.

Each function prepares a kind of trial in a folder and returns the trial. It takes a source of
chance, and returns whether the input was accepted.
"""

from __future__ import annotations

import contextlib
import csv
import html
import io
import json
import re
import shutil
import sys
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path
from random import Random
from xml.etree import ElementTree

import numpy as np
import soundfile

from devtools.torture.mutation import HOSTILE, mutate
from tests.support.evenings import step, take
from trainer.cli import main
from trainer.core import TrainerError
from trainer.drill import (
    find_drill,
    format_drill,
    lint_drill,
    parse_drill,
    read_drill_text,
    write_drill,
)
from trainer.drill.shelf import drill_files
from trainer.drill.transpose import move_by_pitch
from trainer.exchange import read_midi, read_musicxml, read_tab_text, write_midi, write_musicxml
from trainer.harp import Harp
from trainer.harp.tuning import user_tuning_folder
from trainer.practice import Plan, run_take, saved_harp, saved_tolerance
from trainer.settings import resolve_settings
from trainer.settings.writer import parse_setting_key, set_setting
from trainer.sound import PlayerSpec, RecordingSpec, open_source
from trainer.store import Journal, TakeRecord, journal_path, repair

Trial = Callable[[Random], bool]
Preparation = Callable[[Path], Trial]
DRILL = "harbour-bell"
BIDIRECTIONAL = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
SHORT = 'title = "Two notes"\nharp = "C"\ntempo = 240\ntab = "4:2 -4:2 |"\n'
_STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def drills(folder: Path) -> Trial:
    """Mutated drill files are parsed; accepted ones are checked, formatted, written and moved."""
    texts = [path.read_bytes() for path in sorted(drill_files().values())]

    def trial(chance: Random) -> bool:
        text = mutate(chance.choice(texts), chance).decode("utf-8", "replace")
        with contextlib.suppress(TrainerError):
            drill = parse_drill(text, "mutant")
            match chance.randrange(8):
                case 0:
                    lint_drill(text, drill)
                case 1:
                    format_drill(text, "mutant")
                case 2:
                    parse_drill(write_drill(drill), "written")
                case 3:
                    with contextlib.suppress(TrainerError):
                        move_by_pitch(drill, Harp.of(chance.choice(("G", "A", "low F"))))
            return True
        return False

    return trial


def recordings(folder: Path) -> Trial:
    """Mutated recordings are read, and some of them marked."""
    drill = parse_drill(SHORT, "two-notes")
    saved = folder / "saved.flac"
    list(run_take(Plan(Harp.of("C"), PlayerSpec(), drill=drill, save=saved)))
    sound, rate = soundfile.read(saved)
    originals = [("flac", saved.read_bytes())]
    for suffix in ("wav", "ogg", "mp3"):
        path = folder / f"sound.{suffix}"
        soundfile.write(path, sound, rate)
        originals.append((suffix, path.read_bytes()))

    def trial(chance: Random) -> bool:
        suffix, data = chance.choice(originals)
        path = folder / f"mutant.{suffix}"
        # Headers and tags are where a parser decides; most of a file is sound.
        head = chance.choice((100, 1000, len(data)))
        path.write_bytes(mutate(data[:head], chance) + data[head:])
        try:
            if chance.random() < 0.05:
                plan = Plan(Harp.of("C"), RecordingSpec(path), drill=drill, as_played=True)
                list(run_take(plan))
                return True
            saved_harp(path)
            saved_tolerance(path, drill)
            source = open_source(RecordingSpec(path))
            size = 0
            for block in source.blocks():
                assert np.isfinite(block.samples).all()
                size += len(block.samples)
                if size > 60 * source.rate:
                    break
            source.close()
        except TrainerError:
            return False
        return True

    return trial


def scores(folder: Path) -> Trial:
    """Mutated MIDI, MusicXML and tab files are read."""
    drill = find_drill(DRILL)
    write_midi(drill, Harp.of("C"), folder / "a.mid")
    write_musicxml(drill, Harp.of("C"), folder / "a.musicxml")
    score = (folder / "a.musicxml").read_bytes()
    container = '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'

    def packed(content: bytes) -> bytes:
        file = io.BytesIO()
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("META-INF/container.xml", container)
            archive.writestr("a.xml", content)
        return file.getvalue()

    midi, tab = (folder / "a.mid").read_bytes(), b"+4 -4 (45) 4d -4b | 5 -5'\n" * 20

    def trial(chance: Random) -> bool:
        suffix = chance.choice(("mid", "musicxml", "mxl", "txt"))
        data = {
            "mid": lambda: mutate(midi, chance),
            "musicxml": lambda: mutate(score, chance),
            "mxl": lambda: (
                packed(mutate(score, chance))
                if chance.random() < 0.5
                else mutate(packed(score), chance)
            ),
            "txt": lambda: mutate(tab, chance),
        }[suffix]()
        path = folder / f"mutant.{suffix}"
        path.write_bytes(data)
        with contextlib.suppress(TrainerError):
            if suffix == "mid":
                read_midi(path)
            elif suffix == "txt":
                read_tab_text(path)
            else:
                read_musicxml(path)
            return True
        return False

    return trial


def journals(folder: Path) -> Trial:
    """Damaged journals are opened, read and written; the second opening must succeed."""
    own = folder / "journal.sqlite"
    drill = parse_drill(SHORT, "two-notes")
    plan = Plan(Harp.of("C"), PlayerSpec(), drill=drill, journal=own, player="Marit")
    for _ in range(2):
        list(run_take(plan))
    with Journal(own) as journal:
        take = journal.takes()[0]
    whole = own.read_bytes()

    def trial(chance: Random) -> bool:
        for old in folder.glob("journal.*"):
            old.unlink()
        data = bytearray(whole)
        for _ in range(chance.choice((1, 4, 64))):
            data[chance.randrange(len(data))] ^= 1 << chance.randrange(8)
        if chance.random() < 0.2:
            del data[chance.randrange(len(data)) :]
        own.write_bytes(data)
        repair._checked.clear()
        repair.take_notices()
        for attempt in range(2):
            try:
                with Journal(own) as journal:
                    journal.takes()
                    journal.harps()
                    journal.put(take)
                return attempt == 0
            except TrainerError as error:
                if str(own) not in str(error):
                    raise AssertionError(f"the sentence names no file: {error}") from error
        return False

    return trial


def settings(folder: Path) -> Trial:
    """Mutated settings are read, and one is set."""
    path = folder / "settings.toml"
    set_setting(path, parse_setting_key("player.name"), "Marit")
    set_setting(path, parse_setting_key("practice.minutes"), "25")
    whole = path.read_bytes()

    def trial(chance: Random) -> bool:
        path.write_bytes(mutate(whole, chance))
        resolved = resolve_settings(path)
        with contextlib.suppress(TrainerError):
            set_setting(path, parse_setting_key("harp.key"), "A")
            assert resolve_settings(path).settings.harp.key == "A"
        return not resolved.problems

    return trial


def fields(folder: Path) -> Trial:
    """Every field with control characters, markup and formulas, in every output that shows it."""
    drill = parse_drill(SHORT, "two-notes")
    saved = folder / "saved.flac"
    list(run_take(Plan(Harp.of("C"), PlayerSpec(), drill=drill, save=saved)))
    write_midi(drill, Harp.of("C"), folder / "plain.mid")
    write_musicxml(drill, Harp.of("C"), folder / "plain.musicxml")

    def trial(chance: Random) -> bool:
        def text(length: int = 40) -> str:
            return "".join(chance.choice(SHOWN) for _ in range(2))[:length]

        home = Path(tempfile.mkdtemp(dir=folder))
        try:
            world = _World(home, saved, text, chance)
            words = world.command(chance)
            code, shown = _run(*words)
            assert code != 70, f"{words}: {shown[-2000:]}"
            assert not _STEERING.search(shown), f"{words}: {shown!a}"
            world.check_files()
            return code == 0
        finally:
            shutil.rmtree(home)

    return trial


SHOWN = (*HOSTILE[:5], "[red]x[/red]", "| a | b", "`x`", "![i](http://x)", "%s{0}", "ä 笛", "a & b")
"""Texts that steer what shows them, and still make a name."""

REMARK = ("--remark", "<blink>")


class _World:
    """Files whose every text is hostile, and the commands that show them."""

    def __init__(self, home: Path, saved: Path, text: Callable[[], str], chance: Random) -> None:
        self._home, self._text = home, text
        self.name = _file_name(text())
        self._drill = home / f"{_file_name(text())}.toml"

        # Control characters are refused in a drill: most have the other texts alone.
        raw = chance.random() < 0.2

        def field(length: int = 120) -> str:
            return (text() if raw else _printed(text()))[:length]

        lines = [f"title = {_toml(field())}", f"about = {_toml(field())}", 'harp = "C"']
        lines += ["tempo = 240", f"skills = [{_toml(field(30))}]", 'tab = "4:2 -4:2 |"']
        if chance.random() < 0.5:
            lines += ["[remarks]", f'"bar 1" = {_toml(field())}']
        if chance.random() < 0.3:
            lines += ["[sections]", f'{_toml(field(12))} = "1-1"']
        safe = 'title = "x"\nharp = "C"\ntempo = 240\ntab = "4:2 -4:2 |"\n'
        self._drill.write_text("\n".join([*lines, ""]) if chance.random() < 0.8 else safe, "utf-8")
        self._recordings = home / "class"
        self._recordings.mkdir()
        for _ in range(2):
            student = self._recordings / f"{_file_name(text())}.flac"
            shutil.copy(saved, student)
            if chance.random() < 0.3:
                _retag(student, text)
        names = [f"{text()}, {each.stem}" for each in self._recordings.iterdir()]
        (home / "students.txt").write_text("\n".join(names), "utf-8", "replace")
        score = (saved.parent / "plain.musicxml").read_text("utf-8")
        self._score = home / f"{_file_name(text())}.musicxml"
        self._score.write_text(score.replace("Two notes", html.escape(_printed(text()))), "utf-8")
        tuning = (
            f"title = {_toml(text())}\nabout = {_toml(text())}\n"
            "blow = [0, 4, 7, 12, 16, 19, 24, 28, 31, 36]\n"
            "draw = [2, 7, 11, 14, 17, 21, 23, 26, 29, 33]\n"
        )
        self._tunings = user_tuning_folder()
        self._tunings.mkdir(parents=True, exist_ok=True)
        for old in self._tunings.iterdir():
            old.unlink()
        (self._tunings / f"{_file_name(text())}.toml").write_text(tuning, "utf-8")

        self.player = text()
        journal = journal_path()
        journal.parent.mkdir(parents=True, exist_ok=True)
        for old in journal.parent.glob(f"{journal.name}*"):
            old.unlink()
        with Journal(journal) as opened:
            opened.add(*(self._record(number) for number in range(4)))

    def _record(self, number: int) -> TakeRecord:
        """Return a take whose every text is hostile."""
        text = self._text
        remark = replace(step("-4'", 9.0 * number), sentence=text(), heard=text())
        record = take(date(2026, 11, 1 + 5 * number), [remark], number, player=self.player)
        record = replace(record, id=f"hostile-{number}", drill=text(), title=text())
        return replace(record, skills=(text(), text()), extras=(text(),))

    def command(self, chance: Random) -> list[str]:
        """Return a command that shows some of it."""
        drill, out = str(self._drill), self._home / "out"
        recording = str(next(self._recordings.iterdir()))
        mark = ["mark", str(self._recordings), "--drill", drill, "--jobs", "1"]
        return chance.choice(
            (
                ["drill", "show", drill],
                ["drill", "check", drill],
                ["drill", "export", drill, f"{out}.html", chance.choice(("--staff", "--plan"))],
                ["drill", "export", drill, f"{out}.musicxml"],
                ["drill", "export", drill, f"{out}.mid"],
                ["drill", "import", str(self._score), "--out", f"{out}.toml"],
                ["drill", "import", str(self._score)],
                ["harp", "chart", "C", "--tuning", next(self._tunings.iterdir()).stem],
                ["harp", "chart", "C", "--tuning", self._text()],
                ["harp", "show", self._text()],
                ["play", drill, "--player", "--plain"],
                ["play", drill, "--plain", "--device", self._text()],
                ["play", self._text()],
                ["settings", "set", "player.name", self._text()],
                ["settings", "set", "sound.device", self._text()],
                ["progress", self._text()],
                ["journal", "show", self._text()],
                ["journal", "list", "--player", self.player],
                ["journal", "show", "hostile-1"],
                ["journal", "export", "--out", f"{out}.csv"],
                ["progress", "--player", self.player],
                ["today", "--player", self.player],
                ["tab", recording, "--out", f"{out}.toml"],
                ["tab", recording, "--out", f"{out}.html"],
                ["compare", recording, recording],
                ["report", recording, "--drill", drill, "--out", f"{out}.html", *REMARK],
                ["mark", recording, "--drill", drill, "--player", self.name],
                [*mark],
                [*mark, "--format", "json"],
                [*mark, "--class", f"{out}.html", "--reports", f"{out}-pages"],
                [*mark, "--class", f"{out}.md"],
                [*mark, "--class", f"{out}.csv"],
                [*mark, "--class", f"{out}.html", "--students", str(self._home / "students.txt")],
                [*mark, "--class", f"{out}.csv", "--students", str(self._home / "students.txt")],
            )
        )

    def check_files(self) -> None:
        """Check what was written."""
        for path in self._home.glob("out*"):
            for each in path.rglob("*") if path.is_dir() else (path,):
                _check_file(each)


def _retag(take: Path, text: Callable[[], str]) -> None:
    """Give a saved take other texts in its tags."""
    sound, rate = soundfile.read(take)
    with soundfile.SoundFile(take) as file:
        tags = json.loads(file.comment)
    with soundfile.SoundFile(take, "w", rate, 1, "PCM_24") as file:
        file.title, file.artist = _printed(text()), _printed(text())
        file.comment = json.dumps({k: text() if isinstance(v, str) else v for k, v in tags.items()})
        file.write(sound)


def _check_file(path: Path) -> None:
    """Check that no text of a file became markup or a formula."""
    if path.suffix == ".mid":
        return
    content = path.read_text("utf-8")
    match path.suffix:
        case ".html":
            page = _Tags()
            page.feed(content)
            assert not page.foreign, f"{path.name}: {page.foreign}"
        case ".csv":
            for row in csv.reader(io.StringIO(content)):
                for cell in row:
                    is_number_or_tab = bool(re.fullmatch(r"-?[\d.]+'*", cell))
                    assert is_number_or_tab or not cell.startswith(("=", "+", "-", "@")), cell
        case ".md":
            assert not re.search(r"(?<!\\)<script|(?<!\\)!\[i\]\(", content), content[:2000]
        case ".musicxml":
            ElementTree.fromstring(content)  # a title is data there, and keeps its direction
            content = _printed(content.translate({ord(c): None for c in BIDIRECTIONAL}))
        case ".toml":
            read_drill_text(path)
    assert not _STEERING.search(content), f"{path.name}: {ascii(content)[:2000]}"


class _Tags(HTMLParser):
    """The tags of a page that no template has: scripts that alert, and images from elsewhere."""

    def __init__(self) -> None:
        super().__init__()
        self.foreign: list[str] = []
        self._in_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._in_script = tag == "script"
        outside = [v for k, v in attrs if k in ("src", "href") and v and v.startswith("http")]
        if tag == "blink" or outside or any(k.startswith("on") for k, _ in attrs):
            self.foreign.append(f"{tag} {attrs}")

    def handle_endtag(self, tag: str) -> None:
        self._in_script = False

    def handle_data(self, data: str) -> None:
        if self._in_script and data.strip() == "alert(1)":
            self.foreign.append("script")


def _file_name(text: str) -> str:
    """Return a text as a file's name, as far as the system allows it."""
    return text.replace("/", "").replace("\x00", "")[:60].strip() or "x"


def _toml(text: str) -> str:
    escaped = "".join(
        f"\\U{ord(c):08x}" if c in '"\\' or ord(c) < 32 or ord(c) == 127 else c for c in text
    )
    return f'"{escaped}"'


def _printed(text: str) -> str:
    """Return a text without control characters."""
    return "".join(c for c in text if ord(c) >= 32 and ord(c) != 127)


def _run(*words: str) -> tuple[int, str]:
    """Run a command in this process; return its exit code and output."""
    before = sys.argv, sys.stdout, sys.stderr
    out = io.StringIO()
    sys.argv = ["trainer", *words]
    sys.stdout = sys.stderr = out
    code: object = 0
    try:
        main()
    except SystemExit as end:
        code = end.code or 0
    finally:
        sys.argv, sys.stdout, sys.stderr = before
    return int(str(code)), out.getvalue()
