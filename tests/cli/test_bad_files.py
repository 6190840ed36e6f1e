"""Files from anywhere: each command ends in a sentence and its exit code, never in an error."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tests.support.command_line import Trainer
from trainer.cli.exit_codes import ExitCode
from trainer.harp.tuning import user_tuning_folder


def wav(path: Path, rate: int, channels: int = 1) -> Path:
    """A WAV file whose header claims a rate."""
    data = bytes(8000)
    most = 2**32 - 1
    fields = (16, 1, channels, rate, min(rate * 2, most), 2 * channels, 16)
    head = b"WAVEfmt " + struct.pack("<IHHIIHH", *fields) + b"data" + struct.pack("<I", len(data))
    path.write_bytes(b"RIFF" + struct.pack("<I", 36 + len(data)) + head + data)
    return path


@pytest.mark.parametrize("command", ["mark", "tab"])
@pytest.mark.parametrize(("rate", "channels"), [(2_000_000_000, 1), (1, 1), (44_100, 500)])
def test_a_header_of_any_rate_is_refused(
    trainer: Trainer, tmp_path: Path, command: str, rate: int, channels: int
) -> None:
    words = ["--drill", "harbour-bell"] if command == "mark" else []
    answer = trainer(command, str(wav(tmp_path / "a.wav", rate, channels)), *words)
    assert answer.code == ExitCode.BAD_INPUT
    assert f"{rate} samples a second" in answer.err


def test_sound_without_a_header_is_refused(trainer: Trainer, tmp_path: Path) -> None:
    path = tmp_path / "a.raw"
    path.write_bytes(bytes(1000))
    answer = trainer("mark", str(path), "--drill", "harbour-bell")
    assert answer.code == ExitCode.BAD_INPUT
    assert "is not audio that can be read" in answer.err


def test_decoders_do_not_chatter(trainer: Trainer, tmp_path: Path) -> None:
    path = tmp_path / "a.mp3"
    tone = 0.3 * np.sin(2 * np.pi * 523.0 * np.arange(44_100) / 44_100)
    soundfile.write(path, tone, 44_100, format="MP3")
    data = bytearray(path.read_bytes())
    data[len(data) // 3 : len(data) // 3 + 700] = bytes(range(256)) * 2 + bytes(188)
    path.write_bytes(data)
    answer = trainer("tab", str(path))
    assert answer.code in (ExitCode.OK, ExitCode.BAD_INPUT)
    assert "mpg123" not in answer.err
    assert "resync" not in answer.err


@pytest.mark.parametrize("text", ["blow = [" + "1" * 5000 + "]", "a = " + "[" * 5000])
def test_a_tuning_of_any_numbers_is_refused(trainer: Trainer, text: str) -> None:
    path = user_tuning_folder() / "digits.toml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    try:
        answer = trainer("play", "harbour-bell", "--player", "--plain", "--tuning", "digits")
    finally:
        path.unlink()
    assert answer.code == ExitCode.BAD_INPUT
    assert str(path) in answer.err


@pytest.mark.parametrize("kind", [["take"], {}, None, 3])
def test_a_journal_of_any_kind_is_refused(trainer: Trainer, tmp_path: Path, kind: object) -> None:
    path = tmp_path / "a.jsonl"
    head = {"format": "trainer journal", "version": 2}
    path.write_text(f"{json.dumps(head)}\n{json.dumps({'kind': kind})}\n")
    answer = trainer("journal", "import", str(path))
    assert answer.code == ExitCode.BAD_INPUT
    assert f"{path}:2: its 'kind' must be one of" in answer.err


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_full_output_is_reported() -> None:
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "trainer", "--version"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"COLUMNS": "1"},
        )
    assert done.returncode == ExitCode.OUTPUT
    assert done.stderr.strip() == "the output cannot be written: No space left on device"
