"""Results that cannot be stale, and batches in which every file ends in a mark or a sentence."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from tests.support.command_line import Trainer
from tests.support.evening_class import DRILL
from trainer.core import TrainerError
from trainer.harp import Harp
from trainer.practice import Fingerprint, Plan, fingerprint
from trainer.report.stored_results import StoredResults
from trainer.sound import RecordingSpec

DATA: Any = {"recording": "x.wav", "trouble": None, "notes": [], "score": 99.0}


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    path = tmp_path / "take.wav"
    sf.write(path, np.zeros(100), 48_000)
    return Plan(Harp.of("C"), RecordingSpec(path), drill=DRILL)


CHANGES: dict[str, Callable[[Plan], Plan]] = {
    "drill": lambda plan: replace(plan, drill=DRILL.at_tolerance(33.0)),
    "part": lambda plan: replace(plan, drill=replace(DRILL, steps=DRILL.steps[:-1])),
    "key": lambda plan: replace(plan, harp=Harp.of("A")),
    "pitch": lambda plan: replace(plan, harp=Harp.of("C", a4=442.0)),
    "offset": lambda plan: replace(plan, harp=Harp.of("C", offsets={"-4": 3.0})),
    "tempo": lambda plan: replace(plan, tempo=91.0),
    "start": lambda plan: replace(plan, start=1.0),
    "channel": lambda plan: replace(plan, source=RecordingSpec(Path(str(plan.source.file)), 1)),
}


@pytest.mark.parametrize("change", CHANGES)
def test_what_a_mark_follows_from_changes_the_fingerprint(plan: Plan, change: str) -> None:
    assert Fingerprint.of(CHANGES[change](plan)) != Fingerprint.of(plan)


def test_the_fingerprint_is_of_the_sound_and_not_of_where_it_lies(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = Fingerprint.of(plan)
    copy = shutil.copy(str(plan.source.file), tmp_path / "other.wav")
    assert Fingerprint.of(replace(plan, source=RecordingSpec(Path(copy)))) == before
    assert Fingerprint.of(replace(plan, player="Anna")) == before
    sf.write(copy, np.full(100, 0.1), 48_000)
    assert Fingerprint.of(replace(plan, source=RecordingSpec(Path(copy)))) != before
    monkeypatch.setattr(fingerprint.trainer, "__version__", "0.0.1")
    assert Fingerprint.of(plan) != before
    with pytest.raises(TrainerError, match=r"none\.wav cannot be read"):
        Fingerprint.of(replace(plan, source=RecordingSpec(tmp_path / "none.wav")))


@pytest.mark.parametrize("damage", [b"", b'{"score": 9', b"[]", b'{"score": 99}', b"\xff\xfe"])
def test_a_result_that_is_torn_or_of_another_kind_is_none(
    plan: Plan, tmp_path: Path, damage: bytes
) -> None:
    stored, path = StoredResults(tmp_path / "marks"), tmp_path / "take.wav"
    made_from = Fingerprint.of(plan)
    assert stored.read(path, DRILL, made_from) is None
    stored.write(path, DRILL, DATA, made_from)
    assert stored.read(path, DRILL, made_from) is not None
    assert stored.read(path, DRILL, replace(made_from, recording="other")) is None
    stored.path(path, DRILL).write_bytes(damage)
    assert stored.read(path, DRILL, made_from) is None


def test_a_full_disk_leaves_the_old_result_and_says_so(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored, path = StoredResults(tmp_path / "marks"), tmp_path / "take.wav"
    made_from = Fingerprint.of(plan)
    stored.write(path, DRILL, DATA, made_from)

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(TrainerError, match=r"cannot be written \(No space left on device\); make"):
        stored.write(path, DRILL, {**DATA, "score": 1.0}, made_from)
    kept = stored.read(path, DRILL, made_from)
    assert kept is not None
    assert kept["score"] == 99.0
    assert len(list((tmp_path / "marks").iterdir())) == 1


def test_no_two_recordings_share_a_result(tmp_path: Path) -> None:
    stored = StoredResults(tmp_path)
    paths = ["a-b.wav", "a/b.wav", "a b.wav", "a-b.flac", "A-B.wav", os.fsdecode(b"a\xffb.wav")]
    places = [stored.path(tmp_path / path, DRILL).name.casefold() for path in paths]
    assert len(set(places)) == len(paths)
    assert all(place.isascii() and len(place) < 120 for place in places)
    assert stored.path(Path("con.wav"), DRILL).name.partition(".")[0].casefold() != "con"


def test_a_new_take_under_an_old_name_is_marked_again(
    folder: Path, tmp_path: Path, trainer: Trainer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for name, source in (("anna", "marit"), ("bert", "jorun")):
        (tmp_path / "class" / name).mkdir(parents=True)
        shutil.copy(folder / f"{source}.wav", tmp_path / "class" / name / "take.wav")
    words = ("mark", "class", "--drill", DRILL.name, "--out", "marks", "--jobs", "1")

    def scores(*more: str) -> dict[str, float]:
        trainer(*words, "--class", "class.json", "--force", *more)
        data = json.loads(Path("class.json").read_text())
        return {student["who"]: student["score"] for student in data["students"]}

    first = scores()
    assert list(first) == ["anna", "bert"]
    assert first["anna"] > first["bert"]
    assert "2 of 2 have results" in trainer(*words).err
    shutil.copy(folder / "jorun.wav", tmp_path / "class" / "anna" / "take.wav")
    again = scores()
    assert again == {"anna": first["bert"], "bert": first["bert"]}
    (tmp_path / "list.txt").write_text("Anna Berg, anna\nBert\nClara\n")
    assert scores("--students", "list.txt") == {
        "Anna Berg": first["bert"],
        "Bert": first["bert"],
        "Clara": None,
    }


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such names")
def test_every_file_of_a_batch_ends_in_a_mark_or_a_sentence(
    folder: Path, tmp_path: Path, trainer: Trainer
) -> None:
    made = tmp_path / "class"
    made.mkdir()
    strange = made / os.fsdecode(b"mar\xefa \x1b[31m.wav")
    shutil.copy(folder / "marit.wav", strange)
    os.mkfifo(made / "pipe.wav")
    (made / "folder.wav").mkdir()
    (made / "gone.wav").symlink_to(made / "nowhere.wav")
    (made / "empty.wav").touch()
    out = tmp_path / "class.html"
    done = trainer(
        "mark", str(made), "--drill", DRILL.name, "--jobs", "1", "--out", str(tmp_path / "marks"),
        "--class", str(out),
    )  # fmt: skip
    assert done.code == 1
    assert "1 of 5 recordings marked" in done.out
    assert "\x1b" not in done.out
    for sentence in ("is a pipe", "is a folder", "there is no recording", "is an empty file"):
        assert sentence in " ".join(done.out.split()).replace("- ", "-")
    assert "mar\N{REPLACEMENT CHARACTER}a" in out.read_text(encoding="utf-8")
    assert out.read_text(encoding="utf-8").count("<tr>") >= 5
