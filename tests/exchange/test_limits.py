"""Scores from strangers: bombs and mutants end in a sentence, at once."""

from __future__ import annotations

import contextlib
import io
import os
import random
import time
import zipfile
from pathlib import Path

import pytest

from trainer.core import TrainerError
from trainer.drill import find_drill
from trainer.exchange import ExchangeError, read_midi, read_musicxml, write_midi, write_musicxml
from trainer.harp import Harp

SCORE = """<score-partwise><part-list><score-part id="P1"><part-name>x</part-name></score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>{divisions}</divisions>
</attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>{duration}</duration>
</note></measure></part></score-partwise>"""
CONTAINER = '<container><rootfiles><rootfile full-path="a.xml"/></rootfiles></container>'
WITHIN_S = 10.0
MUTANTS = 60


def compressed(score: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", CONTAINER)
        archive.writestr("a.xml", score)
    return packed.getvalue()


@pytest.mark.parametrize(
    ("name", "content", "reason"),
    [
        ("a.musicxml", SCORE.format(divisions=1, duration="1e999999999").encode(), "nine digits"),
        ("a.musicxml", SCORE.format(divisions=1, duration="9" * 5000).encode(), "nine digits"),
        ("a.musicxml", SCORE.format(divisions=1, duration="900000000").encode(), "beats"),
        ("a.mxl", compressed(b" " * 20_000_000), "unpacks to more than"),
        ("a.musicxml", b" " * 16_000_001, "more than 16 MB"),
        (
            "a.mid",
            b"MThd\0\0\0\6\0\0\0\1\0\1MTrk\0\0\0\x11\x81\x80\x80\0\x90\x3c\x40\xbd\x84\x40\x80"
            b"\x3c\0\0\xff\x2f\0",
            "beats",
        ),
        ("a.mid", b"MThd" + bytes(1_000_000), "more than 1 MB"),
    ],
    ids=["huge", "digits", "long", "ratio", "size", "rest", "midi size"],
)
def test_bombs_end_in_a_sentence(tmp_path: Path, name: str, content: bytes, reason: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    began = time.process_time()
    with pytest.raises(ExchangeError, match=reason):
        (read_midi if name.endswith("mid") else read_musicxml)(path)
    assert time.process_time() - began < WITHIN_S


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipes_and_devices_are_no_files(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.mid")
    for path in (tmp_path / "a.mid", Path(os.devnull), tmp_path):
        for read in (read_midi, read_musicxml):
            with pytest.raises(ExchangeError, match="a folder, a pipe or a device"):
                read(path)


def test_mutated_scores_end_in_a_melody_or_a_sentence(tmp_path: Path) -> None:
    drill = find_drill("harbour-bell")
    midi, score = tmp_path / "a.mid", tmp_path / "a.musicxml"
    write_midi(drill, Harp.of("C"), midi)
    write_musicxml(drill, Harp.of("C"), score)
    chance = random.Random(24)
    for number in range(MUTANTS):
        kind = number % 3
        data = bytearray(
            (midi.read_bytes(), score.read_bytes(), compressed(score.read_bytes()))[kind]
        )
        for _ in range(chance.randint(1, 6)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        path = tmp_path / f"m{number}.{('mid', 'musicxml', 'mxl')[kind]}"
        path.write_bytes(data)
        with contextlib.suppress(TrainerError):  # and no other error
            (read_midi if kind == 0 else read_musicxml)(path)
