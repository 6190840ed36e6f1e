"""Log files, and ``--verbose``."""

from __future__ import annotations

import logging
import os
import stat
import sys
from collections.abc import Generator
from pathlib import Path

import pytest

from tests.support.command_line import Trainer
from trainer.core import logs
from trainer.store import Journal


@pytest.fixture(autouse=True)
def log_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Generator[Path]:
    """Return an empty folder for the log files."""
    folder = tmp_path / "log"
    monkeypatch.setattr(logs, "log_folder", lambda: folder)
    monkeypatch.setenv(logs.VERBOSE_VARIABLE, "")
    yield folder
    logs.stop_logging()


def test_a_new_journal_is_logged_and_the_console_stays_clean(
    trainer: Trainer, log_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "new.sqlite"))
    answer = trainer("harp", "list")
    assert (answer.code, answer.err) == (0, "")
    (line,) = (log_folder / "trainer.log").read_text().splitlines()
    assert " INFO trainer.store.database: upgraded " in line
    assert "new.sqlite" in line


def test_verbose_logs_to_standard_error_too(
    trainer: Trainer, log_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "new.sqlite"))
    answer = trainer("--verbose", "harp", "list")
    assert answer.code == 0
    assert "INFO trainer.store.database: upgraded " in answer.err
    assert "DEBUG trainer.store.database: opened " in answer.err
    assert "DEBUG trainer.store.database: opened " in (log_folder / "trainer.log").read_text()


def test_a_command_with_nothing_to_log_makes_no_file(trainer: Trainer, log_folder: Path) -> None:
    assert trainer("drill", "schema").code == 0
    assert not log_folder.exists()


def test_a_folder_that_cannot_be_written_stops_no_command(
    trainer: Trainer, log_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAINER_JOURNAL", str(tmp_path / "new.sqlite"))
    log_folder.write_text("in the way")
    answer = trainer("harp", "list")
    assert (answer.code, answer.err) == (0, "")


def test_a_take_is_logged_from_source_to_end(trainer: Trainer, log_folder: Path) -> None:
    assert trainer("demo", "--plain").code == 0
    lines = (log_folder / "trainer.log").read_text().splitlines()
    assert " INFO trainer.practice.event_log: source open: " in lines[0]
    assert lines[-1].endswith(" INFO trainer.practice.event_log: take finished")


@pytest.mark.skipif(os.name == "nt", reason="files have other rights there")
def test_only_the_owner_can_read_the_log(log_folder: Path) -> None:
    logs.start_logging()
    logging.getLogger("trainer.store").info("a line")
    assert stat.S_IMODE((log_folder / "trainer.log").stat().st_mode) == 0o600


def test_the_log_rotates(log_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logs, "MAX_LOG_BYTES", 1_000)
    logs.start_logging()
    for number in range(200):
        logging.getLogger("trainer.store").info("line %d", number)
    files = sorted(log_folder.iterdir())
    assert len(files) == 1 + logs.OLD_LOGS
    assert all(file.stat().st_size <= 1_000 for file in files)


def test_the_console_handler_follows_a_redirected_standard_error(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setenv(logs.VERBOSE_VARIABLE, "1")
    logs.start_logging()
    with (tmp_path / "errors").open("w") as file:
        monkeypatch.setattr(sys, "stderr", file)
        Journal(tmp_path / "new.sqlite").close()
    assert "upgraded" in (tmp_path / "errors").read_text()
    assert capsys.readouterr().err == ""
