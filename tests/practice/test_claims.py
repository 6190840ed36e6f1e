"""What a file says of itself: believed as far as it can be, shown, and second to the teacher."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile as sf

from tests.support.command_line import Trainer
from tests.support.evening_class import CLASS, DRILL, plan
from trainer.cli.exit_codes import ExitCode
from trainer.harp import Harp
from trainer.practice import mark_recording, saved_harp
from trainer.practice.passes import Pass, saved_passes, tags_of

FORGED = {"harp": {"key": "C", "tuning": "richter", "a4": 440.0, "offsets": {"-4'": -28.0}}}
"""Tags that take the fault of one student for the harp's tuning."""


def write_flac(path: Path, samples: Any, tags: Any) -> Path:
    with sf.SoundFile(path, "w", 48_000, 1, "PCM_16", format="FLAC") as file:
        file.comment = json.dumps(tags)
        file.write(samples)
    return path


def test_an_option_and_a_class_come_before_what_a_file_says(
    folder: Path, tmp_path: Path, trainer: Trainer
) -> None:
    sound, _ = sf.read(folder / "jorun.wav")
    forged = str(write_flac(tmp_path / "jorun.flac", sound, FORGED))
    words = ("mark", forged, "--drill", DRILL.name, "--format", "json")
    alone = trainer(*words)
    says = "jorun.flac: the file names targets of its own (1 offset of up to 28 cents); "
    assert f"{says}--harp takes yours instead" in alone.err
    mine = trainer(*words, "--harp", "C")
    assert f"{says}yours were used" in mine.err
    in_class = trainer(*words, "--class", str(tmp_path / "class.json"), "--jobs", "1")
    (entry,) = in_class.data
    assert any("yours were used" in note for note in entry["notes"])
    off = [data["steps"][4]["measured"]["cents"] for data in (alone.data, mine.data, entry)]
    assert off == pytest.approx([0.0, CLASS["jorun"], CLASS["jorun"]], abs=3.0)


def test_a_harp_that_cannot_be_stops_no_teacher(
    folder: Path, tmp_path: Path, trainer: Trainer
) -> None:
    sound, _ = sf.read(folder / "marit.wav")
    lute = {"harp": {"key": "C", "tuning": "lute"}}
    words = ("mark", str(write_flac(tmp_path / "a.flac", sound, lute)), "--drill", DRILL.name)
    assert trainer(*words).code == ExitCode.BAD_INPUT
    mine = trainer(*words, "--harp", "C")
    assert mine.code == 0
    assert "the harp that the file names is invalid (no tuning is called 'lute'" in mine.err


def test_tags_as_deep_as_anybody_likes_are_none(tmp_path: Path) -> None:
    with sf.SoundFile(tmp_path / "a.flac", "w", 48_000, 1, format="FLAC") as file:
        file.comment = "[" * 20_000
        file.write(np.zeros(100))
    assert saved_harp(tmp_path / "a.flac") is None


def test_a_crash_on_one_file_stops_no_other(
    folder: Path, tmp_path: Path, trainer: Trainer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def crashes_on_jorun(path: Path) -> Harp | None:
        if path.stem == "jorun":
            raise ZeroDivisionError("by accident")
        return None

    monkeypatch.setattr("trainer.practice.saved_harp", crashes_on_jorun)
    files = [str(folder / f"{name}.wav") for name in ("jorun", "sigrid")]
    done = trainer("mark", *files, "--drill", DRILL.name, "--jobs", "1")
    text = " ".join(done.out.split())
    assert "× the trainer crashed on it" in text
    assert "sigrid.wav" in text
    assert "0 of 2 recordings marked" in text


HARP = tags_of(None, Harp.of("C"), ())["harp"]
PASS = asdict(Pass(0, 80.0, 0, 4, 0, 48_000, 4))


@pytest.mark.parametrize(
    "changed",
    [
        {"a4": "440"},
        {"a4": float("nan")},
        {"a4": float("inf")},
        {"key": 5},
        {"tuning": None},
        {"temperament_name": ["equal"]},
        {"offsets": [1]},
        {"offsets": {"4": "3"}},
        {"offsets": {"4": float("nan")}},
        {"extra": 1},
    ],
)
def test_a_harp_that_the_trainer_would_not_have_written_is_none(
    tmp_path: Path, changed: dict[str, Any]
) -> None:
    path = write_flac(tmp_path / "a.flac", np.zeros(100), {"harp": HARP})
    assert saved_harp(path) == Harp.of("C")
    path = write_flac(tmp_path / "b.flac", np.zeros(100), {"harp": {**HARP, **changed}})
    assert saved_harp(path) is None


@pytest.mark.parametrize(
    "changed",
    [
        {"zero": "0"},
        {"zero": 0.5},
        {"zero": 10**40},
        {"tempo": 0.0},
        {"tempo": float("nan")},
        {"tempo": 1e308},
        {"first": 4},
        {"last": 10_000},
        {"begin": -1},
        {"close": -1},
        {"upto": None},
        {"swing": 0.0},
        {"broken": "no"},
        {"waits": 1},
        {"extra": 1},
    ],
)
def test_a_pass_that_the_trainer_would_not_have_written_is_none(changed: dict[str, Any]) -> None:
    def passes(fields: dict[str, Any]) -> tuple[Pass, ...]:
        return saved_passes({"drill": DRILL.name, "passes": [fields]}, DRILL)

    assert passes(PASS)
    assert passes({**PASS, **changed}) == ()


@pytest.mark.parametrize("kind", ["flac", "mp3"])
def test_a_cut_recording_is_marked_as_far_as_it_goes(
    folder: Path, tmp_path: Path, kind: str
) -> None:
    """What the file lacks was not left out by the player, and a part of a drill is not passed."""
    path = tmp_path / f"marit.{kind}"
    sound, rate = sf.read(folder / "marit.wav")
    sf.write(path, sound, rate)
    whole = path.read_bytes()
    path.write_bytes(whole[: round(0.55 * len(whole))])
    marked = mark_recording(plan(path))
    (note,) = [note for note in marked.notes if "damaged" in note]
    assert re.search(r"cannot be read beyond [\d.]+ s of [\d.]+ s; what comes before was", note)
    assert marked.best is not None
    assert not marked.best.passed
    assert 2 < len(marked.best.marks) < len(DRILL.steps)
    assert min(mark.score for mark in marked.best.marks) > 80.0
