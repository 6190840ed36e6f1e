"""The published formats: current, complete, and what the converters return."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from pydantic import ConfigDict, TypeAdapter, ValidationError

from devtools.schemas import FORMATS, Format, field_docs, files, schema
from tests.support.evening_class import plan
from trainer.drill import find_drill, read_shelf
from trainer.drill.transpose import move_by_pitch
from trainer.ear import Reading
from trainer.harp import Harp, load_tuning
from trainer.practice.batch import MarkedRecording, mark_recordings
from trainer.report.batch_report import best_pass_data, recording_data
from trainer.report.class_report import class_csv, class_data, read_students
from trainer.report.harp_chart import Chart, chart_data, harp_choices_data
from trainer.report.heard_report import reading_data
from trainer.report.journal_report import journal_data, take_data, takes_data
from trainer.report.shelf_report import shelf_data
from trainer.report.sound_report import calibration_data, device_data, microphone_check_data
from trainer.report.student_page import StudentReport
from trainer.report.student_report import student_csv, student_data
from trainer.report.transposition_report import transposition_data
from trainer.settings import resolve_settings
from trainer.settings.schemas import settings_data
from trainer.sound.devices import Device
from trainer.sound.microphone_check import MicrophoneCheck
from trainer.sound.round_trip import RoundTrip
from trainer.store import Calibration, Journal, TakeRecord

BY_NAME = {format_.name: format_ for format_ in FORMATS}
WHEN = datetime(2026, 11, 25, 18, 30, tzinfo=UTC)


def check(name: str, data: Any) -> None:
    """Check that data are exactly of a published format: every field, and no other."""
    listed: Any = list.__class_getitem__(BY_NAME[name].type)
    config = ConfigDict(strict=True, extra="forbid")
    TypeAdapter(listed, config=config).validate_json(json.dumps([data], allow_nan=False))


@pytest.fixture(scope="module")
def recordings(folder: Path) -> list[MarkedRecording]:
    return list(mark_recordings([plan(folder / f"{name}.wav") for name in ("jorun", "sigrid")], 1))


@pytest.mark.parametrize(("path", "text"), files().items(), ids=[path.name for path in files()])
def test_the_published_files_are_current(path: Path, text: str) -> None:
    assert path.read_text(encoding="utf-8") == text, "run python -m devtools.schemas"


def test_no_other_schema_is_published() -> None:
    folder = next(path.parent for path in files() if path.name == "reading.schema.json")
    assert {path.name for path in folder.iterdir()} == {
        path.name for path in files() if path.parent == folder
    }


@pytest.mark.parametrize("format_", FORMATS, ids=list(BY_NAME))
def test_every_field_is_described(format_: Format) -> None:
    body = schema(format_)
    for shape in (body, *body.get("$defs", {}).values()):
        for field, value in shape.get("properties", {}).items():
            assert value["description"].endswith("."), (shape["title"], field)


def test_inherited_fields_keep_their_descriptions() -> None:
    docs = field_docs()
    assert docs["BestPassData"]["drill"] == docs["ResultData"]["drill"] == "Name of the drill."
    assert docs["BestPassData"]["passes"] not in docs["ResultData"].values()


def test_a_check_fails_for_a_field_too_many_too_few_or_of_another_type() -> None:
    good = reading_data(Reading(480, 960, 48000, None, -120.0, False))
    check("reading", good)
    for bad in ({**good, "more": 1}, {**good, "time": "0"}, {"time": 0.01}):
        with pytest.raises(ValidationError):
            check("reading", bad)


def test_reports_on_recordings(told: StudentReport, recordings: list[MarkedRecording]) -> None:
    for reading in told.readings[::50]:
        check("reading", reading_data(reading))
    check("student-report", student_data(told.result, told.advice, told.name))
    for recording in recordings:
        check("recording", recording_data(recording))
        check("pass", best_pass_data(recording))
    bad = recordings[1]
    assert best_pass_data(bad) is None
    assert recording_data(bad)["trouble"] == bad.trouble
    check("recordings", [recording_data(recording) for recording in recordings])
    students = read_students([recording_data(recording) for recording in recordings])
    check("class-report", class_data(told.result.drill, students))


def test_harps_and_drills() -> None:
    for key in ("C", "low F"):
        check("harp-chart", chart_data(Chart.of(Harp.of(key), 2)))
    check("harp-choices", harp_choices_data("Am", 3, load_tuning("richter")))
    check("shelf", shelf_data(read_shelf()))
    drill = find_drill("two-at-the-rail")
    ways = [move_by_pitch(drill, Harp.of("A"), half_steps) for half_steps in (-3, 4)]
    check("transposition", transposition_data(drill, ways))


def test_journal(told: StudentReport, tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    check("journal", journal_data(path))
    take = TakeRecord.of(told.result, told.harp, player="Anna", began=WHEN, source="recording")
    with Journal(path) as journal:
        journal.add(take)
    check("journal", journal_data(path))
    for one in (take, replace(take, audio="x.flac", steps=())):
        check("take", take_data(one))
        check("takes", takes_data([one]))
    assert list(take_data(take)) == [field for field in TakeRecord.__dataclass_fields__]
    assert take.day == date(2026, 11, 25)


def test_settings_and_sound() -> None:
    check("settings", settings_data(resolve_settings()))
    check("devices", [device_data(Device(0, "mic", "ALSA", 2, 0, 48000, True, False))])
    check(
        "microphone-check",
        microphone_check_data(MicrophoneCheck("m", 1, 2.0, -9.0, -60.0, 0, 0, 0, ("x",))),
    )
    calibration = Calibration("in", "out", 48000, 20.5, 0.4, WHEN)
    check("calibration", calibration_data(calibration, None))
    check("calibration", calibration_data(calibration, RoundTrip(20.5, 0.4, 11, 12)))
    assert "heard" not in calibration_data(calibration, None)
    assert calibration_data(calibration, RoundTrip(20.5, 0.4, 11, 12))["heard"] == 11


def columns(name: str) -> list[str]:
    return list(BY_NAME[name].type.__annotations__)


def test_columns_of_tables(told: StudentReport) -> None:
    assert student_csv(told.result).splitlines()[0].split(",") == columns("student-table")
    head = class_csv([]).splitlines()[0].split(",")
    assert list(dict.fromkeys(head)) == columns("class-table")
