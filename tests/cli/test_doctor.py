"""The report of a problem has what is needed, and nothing private."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support import journal_records as made
from tests.support.command_line import Trainer
from trainer import __version__
from trainer.report import doctor_report
from trainer.settings import settings_path
from trainer.settings.writer import set_setting
from trainer.sound import Device
from trainer.store import Journal


def test_nothing_private_is_printed(
    trainer: Trainer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TRAINER_SETTINGS", str(tmp_path / "settings.toml"))
    set_setting(settings_path(), ("player", "name"), "Wilhelmine")
    set_setting(settings_path(), ("journal", "file"), str(tmp_path / "secret" / "own.sqlite"))
    with Journal(tmp_path / "secret" / "own.sqlite") as journal:
        journal.add(*made.numbered(12))
        takes = journal.takes()
    own = Device(0, "Wilhelmine's ears", "ALSA", 1, 0, 48_000, True, False)
    monkeypatch.setattr(doctor_report, "find_devices", lambda: (own,))
    answer = trainer("doctor")
    assert answer.code == 0
    assert f"trainer {__version__}" in answer.out
    assert "12 takes, 0 backups" in answer.out
    assert "set: journal.file, player.name" in answer.out
    assert "1 x ALSA 1 in 0 out 48000 Hz (default input)" in answer.out
    private = {"Wilhelmine", "secret", str(tmp_path), str(Path.home())}
    private |= {text for take in takes for text in (take.player, take.drill, take.title)}
    assert not [text for text in private if text in answer.out]
