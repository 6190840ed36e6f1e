"""Trials of what comes from outside: drills, recordings, scores, journals, settings, fields.

Each function prepares a kind of trial in a folder and returns the trial. It takes a source of
chance, and returns whether the input was accepted.
"""

from __future__ import annotations

import contextlib
import io
import re
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path
from random import Random

import numpy as np
import soundfile

from devtools.torture.mutation import HOSTILE, mutate
from trainer.cli import main
from trainer.core import TrainerError
from trainer.drill import (
    find_drill,
    format_drill,
    lint_drill,
    parse_drill,
    write_drill,
)
from trainer.drill.shelf import drill_files
from trainer.drill.transpose import move_by_pitch
from trainer.exchange import read_midi, read_musicxml, read_tab_text, write_midi, write_musicxml
from trainer.harp import Harp
from trainer.practice import Plan, run_take, saved_harp, saved_tolerance
from trainer.settings import resolve_settings
from trainer.settings.writer import parse_setting_key, set_setting
from trainer.sound import PlayerSpec, RecordingSpec, open_source
from trainer.store import Journal, recovery

Trial = Callable[[Random], bool]
Preparation = Callable[[Path], Trial]
DRILL = "harbour-bell"
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
        recovery._checked.clear()
        recovery.take_notices()
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
    """Fields with control characters, markup and formulas are shown as text and pages."""

    def trial(chance: Random) -> bool:
        title, skill = (
            "".join(chance.choice(HOSTILE[:7]) for _ in range(2)).replace('"', "'")
            for _ in range(2)
        )
        quoted = "".join(f"\\u{ord(c):04x}" if ord(c) < 32 else c for c in title)
        text = f'title = "{quoted}"\nharp = "C"\ntempo = 240\ntab = "4:2 -4:2 |"\n'
        path = folder / "a.toml"
        path.write_text(text, "utf-8", "replace")
        code, shown = _run("play", str(path), "--player", "--plain")
        assert code != 70, shown
        assert not _STEERING.search(shown), ascii(shown)
        code, shown = _run("drill", "show", str(folder / chance.choice((skill, "a.toml"))[:100]))
        assert code != 70, shown
        assert not _STEERING.search(shown), ascii(shown)
        return code == 0

    return trial


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
