"""Save a corrected drill without losing what a file holds."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from trainer.drill import (
    DrillError,
    DrillRecording,
    FileTaken,
    free_name,
    parse_drill,
    read_drill,
    save_drill,
)

DRILL = parse_drill('title = "From the quay"\nharp = "C"\ntempo = 90\ntab = "4:1 -4:3 |"\n', "quay")


def test_a_saved_drill_is_read_back_with_its_recording_beside_it(tmp_path: Path) -> None:
    recording = DrillRecording(str(tmp_path / "quay.wav"), (0.5, 1.2), doubtful=(2,))
    saved = save_drill(replace(DRILL, recording=recording), tmp_path / "evening.toml")
    assert saved.name == "evening"
    assert saved.recording is not None
    assert saved.recording.file == "quay.wav"
    assert read_drill(tmp_path / "evening.toml") == saved
    elsewhere = tmp_path / "class"
    elsewhere.mkdir()
    moved = save_drill(saved, elsewhere / "evening.toml").recording
    assert moved is not None
    assert moved.path == (tmp_path / "quay.wav").resolve()


def test_a_file_is_replaced_only_where_nothing_of_it_is_lost(tmp_path: Path) -> None:
    path = tmp_path / "quay.toml"
    other = replace(DRILL, tempo=60.0)
    save_drill(DRILL, path)
    with pytest.raises(FileTaken):
        save_drill(other, path)
    save_drill(other, path, over=DRILL)
    assert read_drill(path).tempo == 60.0
    path.write_text(f"# for Monday\n{path.read_text()}")
    with pytest.raises(FileTaken):
        save_drill(DRILL, path, over=other)
    assert path.read_text().startswith("# for Monday")
    save_drill(DRILL, path, force=True)
    assert read_drill(path) == DRILL
    assert free_name(path).name == "quay-2.toml"
    assert [file.name for file in tmp_path.iterdir()] == ["quay.toml"]


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(DrillError, match="cannot be written"):
        save_drill(DRILL, tmp_path / "none" / "quay.toml")
