"""The published formats: current, complete, and what the converters return."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from pydantic import ValidationError

from devtools.schemas import FORMATS, Format, field_docs, files, schema
from tests.support import journal_records, worn_reed
from tests.support.evening_class import plan
from tests.support.formats import BY_NAME, check_format, columns_of
from trainer.coach import course_standing
from trainer.drill import find_drill, read_course, read_shelf
from trainer.drill.transpose import move_by_pitch
from trainer.ear import Reading
from trainer.harp import Harp, load_tuning
from trainer.practice import MarkedRecording, mark_recordings
from trainer.report.batch_report import best_pass_data, recording_data
from trainer.report.class_report import class_csv, class_data, read_students
from trainer.report.course_report import course_data
from trainer.report.harp_chart import Chart, chart_data, harp_choices_data
from trainer.report.heard_report import reading_data
from trainer.report.journal_report import journal_data, take_data, takes_data
from trainer.report.last_time import Summary
from trainer.report.own_harp_report import own_harp_data, own_harps_data
from trainer.report.shelf_report import shelf_data
from trainer.report.sound_report import calibration_data, device_data, microphone_check_data
from trainer.report.student_page import StudentReport
from trainer.report.student_report import student_csv, student_data
from trainer.report.transposition_report import transposition_data
from trainer.settings import resolve_settings
from trainer.settings.schemas import settings_data
from trainer.sound import Device, Echo, MicrophoneCheck, RoundTrip
from trainer.store import Calibration, Journal, TakeRecord
from trainer.transfer import export_journal_lines
from trainer.transfer.takes_csv import takes_csv_lines

WHEN = datetime(2026, 11, 25, 18, 30, tzinfo=UTC)


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
    check_format("reading", good)
    for bad in ({**good, "more": 1}, {**good, "time": "0"}, {"time": 0.01}):
        with pytest.raises(ValidationError):
            check_format("reading", bad)


def test_reports_on_recordings(
    student_report: StudentReport, recordings: list[MarkedRecording]
) -> None:
    for reading in student_report.readings[::50]:
        check_format("reading", reading_data(reading))
    check_format(
        "student-report",
        student_data(student_report.result, student_report.advice, student_report.name),
    )
    for recording in recordings:
        check_format("pass", best_pass_data(recording))
    made_from = {name: "" for name in ("recording", "drill", "harp", "options", "version")}
    more = {"made_from": made_from, "last_time": Summary.of(student_report.result).data}
    check_format("recording", {**recording_data(recordings[0]), **more})
    bad = recordings[1]
    assert best_pass_data(bad) is None
    assert recording_data(bad)["trouble"] == bad.trouble
    check_format("recordings", [recording_data(recording) for recording in recordings])
    students = read_students([recording_data(recording) for recording in recordings])
    check_format("class-report", class_data(student_report.result.drill, students))


def test_harps_and_drills() -> None:
    for key in ("C", "low F"):
        check_format("harp-chart", chart_data(Chart.of(Harp.of(key), 2)))
    check_format("harp-choices", harp_choices_data("Am", 3, load_tuning("richter")))
    check_format("shelf", shelf_data(read_shelf()))
    check_format("course", course_data(course_standing(read_course(), {"low-water"}), read_shelf()))
    drill = find_drill("two-at-the-rail")
    ways = [move_by_pitch(drill, Harp.of("A"), half_steps) for half_steps in (-3, 4)]
    check_format("transposition", transposition_data(drill, ways))


def test_journal(student_report: StudentReport, tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    check_format("journal", journal_data(path))
    take = TakeRecord.of(
        student_report.result, student_report.harp, player="Anna", began=WHEN, source="recording"
    )
    with Journal(path) as journal:
        journal.add(take)
    check_format("journal", journal_data(path))
    for record in (take, replace(take, audio="x.flac", steps=())):
        check_format("take", take_data(record))
        check_format("takes", takes_data([record]))
    assert list(take_data(take)) == [field for field in TakeRecord.__dataclass_fields__]
    assert take.day == date(2026, 11, 25)


def test_settings_and_sound() -> None:
    check_format("settings", settings_data(resolve_settings()))
    check_format("devices", [device_data(Device(0, "mic", "ALSA", 2, 0, 48000, True, False))])
    check = MicrophoneCheck("m", 1, 2.0, -9.0, -60.0, 0, 0, 0, ("x",))
    check_format("microphone-check", microphone_check_data(check))
    with_echo = replace(check, echo=Echo(31.0, -40.0, None))
    check_format("microphone-check", microphone_check_data(with_echo))
    calibration = Calibration("in", "out", 48000, 20.5, 0.4, WHEN)
    check_format("calibration", calibration_data(calibration, None))
    check_format("calibration", calibration_data(calibration, RoundTrip(20.5, 0.4, 11, 12)))
    assert "heard" not in calibration_data(calibration, None)
    assert calibration_data(calibration, RoundTrip(20.5, 0.4, 11, 12))["heard"] == 11


def test_columns_of_tables(student_report: StudentReport) -> None:
    assert student_csv(student_report.result).splitlines()[0].split(",") == columns_of(
        "student-table"
    )
    head = class_csv([]).splitlines()[0].split(",")
    assert list(dict.fromkeys(head)) == columns_of("class-table")
    text = io.StringIO()
    text.writelines(takes_csv_lines([]))
    assert text.getvalue().strip().split(",") == columns_of("journal-table")


def test_an_exported_journal_line_by_line(student_report: StudentReport, tmp_path: Path) -> None:
    take = TakeRecord.of(
        student_report.result, student_report.harp, player="Anna", began=WHEN, source="recording"
    )
    with Journal(tmp_path / "journal.sqlite") as journal:
        journal.add(take, *journal_records.numbered(3))
        journal.add_harp(journal_records.harp(1))
        journal.add_calibration(journal_records.calibration(1))
        lines = [json.loads(line) for line in export_journal_lines(journal)]
    assert {line.get("kind") for line in lines} == {None, "take", "harp", "calibration"}
    for line in lines:
        check_format("journal-lines", line)


def test_own_harps() -> None:
    own = worn_reed.measured(WHEN)
    check_format("own-harps", own_harps_data([own]))
    data = own_harp_data(own, "just5")
    check_format("own-harp", data)
    summary = own_harps_data([own])[0]
    same = ("name", "player", "key", "tuning", "measured")
    assert [data[field] for field in same] == [summary[field] for field in same]
    assert data["temperament"] == "just5"
