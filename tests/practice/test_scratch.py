"""Scratch folders: made, deleted, and those of killed listeners deleted by the next."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import pytest

from trainer.core.system import file_lock
from trainer.practice import scratch
from trainer.practice.scratch import LOCK_FILE, YOUNG_S, scratch_folder


@pytest.fixture(autouse=True)
def own_temporary_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))


def left_behind(folder: Path, age_s: float = 2 * YOUNG_S) -> Path:
    folder.mkdir()
    (folder / "take.flac").write_bytes(b"sound")
    (folder / LOCK_FILE).touch()
    os.utime(folder / LOCK_FILE, (time.time() - age_s,) * 2)
    return folder


def test_the_folder_ends_with_the_block(tmp_path: Path) -> None:
    with scratch_folder() as folder:
        assert folder.parent == tmp_path
        (folder / "take.flac").write_bytes(b"sound")
    assert not folder.exists()


def test_only_folders_of_dead_owners_are_deleted(tmp_path: Path) -> None:
    dead = left_behind(tmp_path / f"{scratch.PREFIX}dead")
    young = left_behind(tmp_path / f"{scratch.PREFIX}young", age_s=0.0)
    others = tmp_path / f"{scratch.PREFIX}by-another-program"
    others.mkdir()
    alive = left_behind(tmp_path / f"{scratch.PREFIX}alive")
    with file_lock(alive / LOCK_FILE, 0.0), scratch_folder():
        assert not dead.exists()
        assert (alive / "take.flac").exists()
        assert (young / "take.flac").exists()
        assert others.exists()
