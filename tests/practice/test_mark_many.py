"""Mark many recordings at once: independent, on all cores, resumable, with a bad one among them."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from tests.support.command_line import Trainer
from tests.support.evening_class import CLASS, plan
from trainer.practice import Plan, batch
from trainer.practice.batch import CRASHED, MarkedRecording, mark_recording, mark_recordings
from trainer.report.batch_report import batch_summary_text, recording_data, recording_line
from trainer.sound import RecordingSpec


def test_the_same_marks_in_any_number_of_processes(folder: Path) -> None:
    plans = [plan(folder / f"{name}.wav") for name in CLASS]
    alone = {recording.path: recording.passes for recording in mark_recordings(plans, 1)}
    together = {recording.path: recording.passes for recording in mark_recordings(plans, 3)}
    assert alone == together
    for name, cents in CLASS.items():
        (result,) = together[folder / f"{name}.wav"]
        assert result.marks[4].measured.cents == pytest.approx(cents, abs=3.0)


def test_a_bad_file_stops_no_other(folder: Path) -> None:
    plans = [plan(folder / f"{name}.wav") for name in ("sigrid", *CLASS)]
    marked = {recording.path.stem: recording for recording in mark_recordings(plans, 2)}
    assert "is not audio" in marked["sigrid"].trouble
    assert all(marked[name].best for name in CLASS)


def _dies_on_jorun(plan_: Plan) -> MarkedRecording:
    assert isinstance(plan_.source, RecordingSpec)
    if plan_.source.path.stem == "jorun":
        os._exit(3)
    return mark_recording(plan_)


def test_a_process_that_dies_takes_only_its_own_recording(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch, "mark_recording", _dies_on_jorun)
    marked = {
        recording.path.stem: recording
        for recording in mark_recordings([plan(folder / f"{n}.wav") for n in CLASS], 2)
    }
    assert marked["jorun"].trouble == CRASHED
    assert marked["marit"].best
    assert marked["odger"].best


def test_a_folder_is_marked_reported_saved_and_resumed(
    folder: Path, tmp_path: Path, trainer: Trainer
) -> None:
    out = tmp_path / "marks"
    done = trainer("mark", str(folder), "--drill", "harbour-bell", "--out", str(out))
    assert done.code == 1, done.err
    assert "jorun.wav" in done.out
    assert "weakest: step 5 (-4')" in done.out
    assert "3 of 4 recordings marked" in done.out
    assert "Hardest for most: step 5" in done.out
    assert len(list(out.iterdir())) == 3
    (jorun,) = [json.loads(path.read_text()) for path in out.iterdir() if "jorun" in path.name]
    assert jorun["steps"][4]["measured"]["cents"] == pytest.approx(-28.0, abs=3.0)
    again = trainer("mark", str(folder), "--drill", "harbour-bell", "--out", str(out))
    assert "3 of 4 have results" in again.err
    assert "0 of 1 recording marked" in again.out


def test_several_are_written_as_data(folder: Path, trainer: Trainer) -> None:
    files = [str(folder / f"{name}.wav") for name in ("marit", "odger")]
    done = trainer("mark", *files, "--drill", "harbour-bell", "--format", "json", "--jobs", "1")
    data = json.loads(done.out)
    assert [Path(entry["recording"]).stem for entry in data] == ["marit", "odger"]
    assert all(entry["trouble"] is None for entry in data)


def test_an_empty_folder_is_an_error(tmp_path: Path, trainer: Trainer) -> None:
    done = trainer("mark", str(tmp_path), "--drill", "harbour-bell")
    assert "has no recordings" in done.err
    assert done.code


def test_results_cannot_be_kept_in_a_file(folder: Path, tmp_path: Path, trainer: Trainer) -> None:
    (tmp_path / "marks").touch()
    out = str(tmp_path / "marks")
    done = trainer("mark", str(folder), "--drill", "harbour-bell", "--out", out)
    assert done.code == 3
    assert "cannot be created" in done.err


def test_lines_fit_80_columns(folder: Path) -> None:
    long = MarkedRecording(
        Path("the-whole-of-a-long-name-of-a-recording-from-the-loft.wav"), trouble="x " * 60
    )
    lines = [recording_line(mark_recording(plan(folder / "odger.wav"))), recording_line(long)]
    lines.append(batch_summary_text([mark_recording(plan(folder / "odger.wav")), long]))
    assert all(len(row) <= 80 for line in lines for row in line.splitlines())
    assert recording_data(long)["trouble"].startswith("x")
