"""What earlier versions left behind opens, upgrades and marks: see devtools/version_fixtures.py."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from trainer.drill import read_drill
from trainer.harp import Harp
from trainer.practice import PassEnded, Plan, run_take, saved_harp
from trainer.settings import resolve_settings
from trainer.settings.writer import parse_setting_key, set_setting
from trainer.sound import RecordingSpec
from trainer.store import Journal
from trainer.transfer import import_journal

VERSIONS = sorted((Path(__file__).parents[1] / "versions").iterdir())


@pytest.fixture(params=VERSIONS, ids=lambda folder: folder.name)
def version(request: pytest.FixtureRequest) -> Path:
    folder = request.param
    assert isinstance(folder, Path)
    return folder


def test_its_journal_is_upgraded_and_keeps_its_takes(version: Path, tmp_path: Path) -> None:
    file = tmp_path / "journal.sqlite"
    with closing(sqlite3.connect(file)) as db:
        db.executescript((version / "journal.sql").read_text("utf-8"))
    with Journal(file) as journal:
        takes = journal.takes(player="Marit")
        assert [take.title for take in takes] == ["Two notes at the quay"] * 2
        assert all(len(take.steps) == 2 and take.passed for take in takes)
        journal.put(takes[0])


def test_its_export_is_imported(version: Path, tmp_path: Path) -> None:
    with Journal(tmp_path / "journal.sqlite") as journal:
        import_journal(journal, version / "journal.jsonl")
        assert len(journal.takes(player="Marit")) == 2


def test_its_settings_are_read_and_changed(version: Path, tmp_path: Path) -> None:
    file = Path(shutil.copy(version / "settings.toml", tmp_path))
    resolved = resolve_settings(file)
    settings = resolved.settings
    assert not resolved.problems
    assert (settings.player.name, settings.harp.key, settings.practice.minutes) == (
        "Marit",
        "A",
        25,
    )
    set_setting(file, parse_setting_key("harp.key"), "D")
    assert resolve_settings(file).settings.harp.key == "D"
    assert resolve_settings(file).settings.player.name == "Marit"


def test_its_saved_take_has_its_drill_and_gets_its_mark(version: Path) -> None:
    drill = read_drill(version / "quay.toml")
    assert drill.goal.tolerance == 12
    take = version / "take.flac"
    harp = saved_harp(take)
    assert harp is not None
    assert Harp.of("C").key == harp.key
    plan = Plan(harp, RecordingSpec(take), drill=drill)
    (ended,) = [event for event in run_take(plan) if isinstance(event, PassEnded)]
    assert ended.result.passed
    assert ended.result.score == pytest.approx(100.0, abs=5.0)
