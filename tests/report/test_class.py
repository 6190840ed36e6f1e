"""A class's recordings: who needs what, in every form; and a backlog marked by Dask's workers."""

from __future__ import annotations

import csv
import io
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support import shelf
from tests.support.command_line import Trainer
from tests.support.evening_class import CLASS, DRILL, plan
from tests.support.waiting import WITHIN_S, wait_until
from trainer.drill import CRITERIA
from trainer.practice import BatchError, mark_recordings
from trainer.practice.batch import MARKED_HERE, _path
from trainer.report.batch_report import recording_data
from trainer.report.class_page import class_html
from trainer.report.class_report import (
    Beside,
    Student,
    class_csv,
    class_data,
    class_habits,
    class_markdown,
    exercises,
    median_scores,
    needs_text,
    read_students,
    students_by_loss,
)
from trainer.report.losses import MIN_LOSS_POINTS, losses
from trainer.report.student_page import StudentReport
from trainer.report.student_report import student_csv, student_data, student_markdown

SHELF = shelf.SHELF.drills


@pytest.fixture(scope="module")
def marked(folder: Path) -> list[dict[str, Any]]:
    paths = sorted(folder.glob("*.wav"))
    done = mark_recordings([plan(path) for path in paths], 2)
    return [json.loads(json.dumps(recording_data(recording))) for recording in done]


def test_a_student_needs_what_was_played_wrong(marked: list[dict[str, Any]]) -> None:
    some = {student.name: student for student in read_students(marked)}
    assert list(some) == sorted([*CLASS, "sigrid"])
    assert [(loss.criterion, loss.tab) for loss in some["jorun"].losses] == [("pitch", "-4'")]
    assert some["marit"].losses == ()
    assert "is not audio" in some["sigrid"].trouble
    assert some["jorun"].steps is not None
    scores = {step["index"]: step["score"] for step in marked_of(marked, "jorun")["steps"]}
    assert some["jorun"].steps == scores
    words, who = students_by_loss(list(some.values()))[0]
    assert words == "-4': pitch"
    assert [name for name, _ in who] == ["jorun", "odger"]  # 28 cents flat, 12 sharp
    middle = median_scores(list(some.values()))
    assert min(middle, key=lambda index: middle[index]) == 4


def marked_of(marked: list[dict[str, Any]], name: str) -> dict[str, Any]:
    return next(entry for entry in marked if Path(entry["recording"]).stem == name)


def test_what_is_lost_adds_up_to_what_the_means_lack(marked: list[dict[str, Any]]) -> None:
    """By the formula at the head of score.py, before anything is capped."""
    for name in CLASS:
        data = marked_of(marked, name)
        marks = data["steps"]
        steps = [(m["target"]["tab"], m["target"]["length_beats"], m["parts"]) for m in marks]
        whole = sum(beats for _, beats, _ in steps)
        lacking = sum(
            (100.0 - m["formula"]["mean"]) * m["target"]["length_beats"] / whole for m in marks
        )
        lost = sum(loss.points for loss in losses(steps, data["weights"], 0.0))
        assert lost == pytest.approx(lacking, abs=1e-6)
        assert all(loss.points >= MIN_LOSS_POINTS for loss in losses(steps, data["weights"]))


def test_every_form_says_the_same_of_everybody(marked: list[dict[str, Any]]) -> None:
    some = read_students(marked)
    page, text = class_html(DRILL, some), class_markdown(DRILL, some)
    rows = list(csv.DictReader(io.StringIO(class_csv(some))))
    data = json.loads(json.dumps(class_data(DRILL, some)))
    for student, row, entry in zip(some, rows, data["students"], strict=True):
        assert row["who"] == entry["who"] == student.name
        assert student.name in page
        assert f"| {student.name} |" in text
        if student.score is None:
            assert row["trouble"] == entry["trouble"] == student.trouble
            continue
        assert entry["score"] == student.score
        assert float(row["mark"]) == pytest.approx(student.score, abs=0.01)
        for loss in student.losses:
            assert loss.phrase in text
    assert class_markdown(DRILL, [Student("x", trouble="y")]).count("\n| ") == 3


def test_no_name_is_markup_or_a_formula() -> None:
    student = Student("=1+1 | [x](y) <b>`", trouble="*no* `recording`")
    assert r"| =1+1 \| \[x\](y) \<b\>\` |" in class_markdown(DRILL, [student])
    assert r"| \*no\* \`recording\` |" in class_markdown(DRILL, [student])
    (row,) = csv.DictReader(io.StringIO(class_csv([student])))
    assert row["who"] == "'=1+1 | [x](y) <b>`"
    assert class_data(DRILL, [student])["students"][0]["who"] == student.name


def data_of(name: str, **more: Any) -> dict[str, Any]:
    """A result of two steps, as JSON."""
    step = {"target": {"tab": "4", "length_beats": 1.0}, "parts": {"pitch": 100.0}}
    steps = [{**step, "index": index, "score": 100.0} for index in range(len(DRILL.steps))]
    base = {"recording": f"{name}.wav", "score": 96.0, "passed": True, "passes": [96.0]}
    return {**base, "steps": steps, "weights": {"pitch": 40.0}, **more}


def remark(kind: str, sentence: str, step: int | None = None, size: float = 1.0) -> dict[str, Any]:
    return {"kind": kind, "sentence": sentence, "step": step, "size": size}


def test_what_happened_in_a_performance_is_said_as_what_it_is() -> None:
    missing = {"name": "notes missing", "steps": [2, 3], "size": 0.0}
    stop = remark("stop", "stopped for 0.6 s before bar 3", 4, 0.6)
    tempo, drift = remark("tempo", "at 93 instead of 84"), remark("drift", "sped up from 87 to 99")
    students = read_students(
        [
            data_of("bert", remarks=[stop]),
            data_of("clara", remarks=[remark("skip", "skipped bar 2", 2, 2.0)], habits=[missing]),
            data_of("dora", remarks=[tempo, drift]),
            data_of("emil", remarks=[remark("repeat", "repeated bar 4", 5, 3.0)], notes=["cut"]),
            {"recording": "/a/b/finn.wav", "trouble": "/a/b/finn.wav is a pipe"},
        ]
    )
    assert {student.name: needs_text(student) for student in students} == {
        "bert": "Stopped for 0.6 s before bar 3.",
        "clara": "Skipped bar 2.",  # and not "notes are left out"
        "dora": "Sped up from 87 to 99. At 93 instead of 84.",
        "emil": "Repeated bar 4.",
        "finn": "Finn.wav is a pipe.",
    }
    habits = {habit.name: habit.students for habit in class_habits(students)}
    assert habits == {"stops": ("bert", "emil"), "skips": ("clara",), "speeds up": ("dora",)}
    titles = [exercise.title for exercise in exercises(DRILL, students, SHELF)]
    assert titles[0] == f"{DRILL.title}, slower, without a stop"
    assert len(titles) == 3


def test_no_exercise_is_a_drill_that_was_passed() -> None:
    shallow = {"name": "bends shallow", "steps": [4], "size": 30.0}

    def titles(passed: str) -> list[str]:
        beside = {"bert.wav": Beside(passed_drills=frozenset([passed]))}
        data = [data_of("bert", passed=False, habits=[shallow])]
        return [each.title for each in exercises(DRILL, read_students(data, beside=beside), SHELF)]

    (first,) = titles("")
    (second,) = titles(next(drill.name for drill in SHELF if drill.title == first))
    assert first != second
    for title in (first, second):
        drill = next(drill for drill in SHELF if drill.title == title)
        assert drill.level <= DRILL.level
        assert drill.tuning == DRILL.tuning
        assert any("'" in step.tab for step in drill.steps)


def test_a_report_as_markdown_table_and_data(student_report: StudentReport) -> None:
    result = student_report.result
    text = student_markdown(result, student_report.advice, "a|b*.flac")
    assert "a\\|b\\*.flac" in text
    for mark in result.marks:
        assert f"| {mark.step.index + 1} | `{mark.step.tab}` |" in text
    assert all(advice.drill in text for advice in student_report.advice if advice.drill)
    rows = list(csv.DictReader(io.StringIO(student_csv(result))))
    assert len(rows) == len(result.marks)
    for row, mark in zip(rows, result.marks, strict=True):
        assert float(row["mark"]) == pytest.approx(mark.score, abs=0.01)
        assert {part for part in CRITERIA if row[part]} == set(mark.criteria)
        assert (row["cents"] == "") == (mark.measured.cents is None)
    data = json.loads(json.dumps(student_data(result, student_report.advice, "x")))
    assert data["score"] == result.score
    assert [entry["what"] for entry in data["to_work_on"]] == [
        advice.focus for advice in student_report.advice
    ]


def test_the_commands_write_them_and_remember_what_was_marked_before(
    folder: Path, tmp_path: Path, trainer: Trainer
) -> None:
    kept, page = tmp_path / "marks", tmp_path / "class.html"
    words = ("mark", str(folder), "--drill", DRILL.name, "--out", str(kept))
    first = trainer(*words, "--class", str(page))
    assert first.code == 1  # one is no recording
    again = trainer(*words, "--class", str(page.with_suffix(".json")))
    assert "3 of 4 have results" in again.err
    data = json.loads(page.with_suffix(".json").read_text())
    assert [entry["who"] for entry in data["students"]] == sorted([*CLASS, "sigrid"])
    assert all(name in page.read_text() for name in CLASS)
    assert "exists already" in trainer(*words, "--class", str(page)).err
    wrong = trainer(*words, "--class", "class.pdf")
    assert "'class.pdf' has no known format" in wrong.err
    for ending in ("md", "csv", "json"):
        out = tmp_path / f"jorun.{ending}"
        done = trainer(
            "report", str(folder / "jorun.wav"), "--drill", DRILL.name, "--out", str(out)
        )
        assert done.code == 0, done.err
        assert "-4'" in out.read_text()
    wrong = trainer("report", str(folder / "jorun.wav"), "--drill", DRILL.name, "--out", "x.pdf")
    assert wrong.code == 3
    assert "'x.pdf' has no known format" in wrong.err


# --- a scheduler and workers, each a process of its own -----------------------------------------


PATHS = (Path(__file__).parent.parent.parent, Path(__file__).parent)
"""Where a worker finds the packages of the tests, and this module."""


class Cluster:
    """A Dask scheduler and workers on this machine."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._file = folder / "scheduler.json"
        command = ["scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
        self.scheduler = self._start(*command, "--scheduler-file", str(self._file))
        wait_until(self._is_written, "the scheduler starts")
        self.address: str = json.loads(self._file.read_text())["address"]
        self.workers: list[subprocess.Popen[bytes]] = []

    def _is_written(self) -> bool:
        """Whether the scheduler's file is there, whole."""
        return self._file.exists() and self._file.read_text().rstrip().endswith("}")

    def add(self) -> None:
        words = ["--nthreads", "1", "--no-nanny", "--no-dashboard", "--death-timeout", "60"]
        worker = self._start("worker", self.address, *words, "--host", "127.0.0.1")
        self.workers.append(worker)

    def _start(self, *words: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-m", "dask", *words],
            cwd=self._folder,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(map(str, PATHS))},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    def close(self) -> None:
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait(20)


@pytest.fixture
def cluster(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Cluster]:
    monkeypatch.setattr("trainer.practice.batch.WORKERS_S", WITHIN_S)  # the machine may be busy
    made = Cluster(tmp_path)
    yield made
    made.close()


def test_the_same_marks_from_workers_of_which_some_are_killed(
    cluster: Cluster,
    folder: Path,
) -> None:
    paths = [folder / f"{name}.wav" for name in (*CLASS, "sigrid")] * 3
    plans = [plan(path) for path in paths]
    alone = {
        recording.path: (recording.passes, recording.trouble)
        for recording in mark_recordings(plans[:4], 1)
    }
    for _ in range(3):
        cluster.add()
    done = []
    for recording in mark_recordings(plans, cluster.address):
        done.append(recording)
        if len(done) in (1, 4):  # while others are at work
            cluster.workers.pop(0).send_signal(signal.SIGKILL)
            cluster.add()
    assert sorted(recording.path for recording in done) == sorted(paths)
    for recording in done:
        assert (recording.passes, recording.trouble) == alone[recording.path]


def test_the_command_marks_by_a_scheduler(cluster: Cluster, folder: Path, trainer: Trainer) -> None:
    cluster.add()
    words = ("mark", str(folder), "--drill", DRILL.name, "--scheduler", cluster.address)
    done = trainer(*words)
    assert "3 of 4 recordings marked" in done.out
    assert done.code == 1


def test_a_scheduler_that_is_killed_leaves_the_rest_to_this_machine(
    cluster: Cluster, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("trainer.practice.batch.PING_S", 0.5)
    cluster.add()
    plans = [plan(folder / f"{name}.wav") for name in CLASS] * 2
    done = []
    for recording in mark_recordings(plans, cluster.address):
        done.append(recording)
        if len(done) == 1:
            cluster.scheduler.send_signal(signal.SIGKILL)
    assert sorted(each.path for each in done) == sorted(_path(each) for each in plans)
    assert all(each.passes for each in done)
    assert MARKED_HERE in done[-1].notes


def test_workers_are_checked_before_anything_is_sent(
    cluster: Cluster, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plans = [plan(folder / "marit.wav")]
    monkeypatch.setattr("trainer.practice.batch.WORKERS_S", 0.5)
    with pytest.raises(BatchError, match="has no worker; start one on each machine"):
        list(mark_recordings(plans, cluster.address))
    monkeypatch.setattr("trainer.practice.batch.WORKERS_S", WITHIN_S)
    cluster.add()
    monkeypatch.setattr("trainer.__version__", "99.0")
    with pytest.raises(BatchError, match=r"has another version .*; install 99\.0"):
        list(mark_recordings(plans, cluster.address))


def test_a_scheduler_that_is_not_there_is_told(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("trainer.practice.batch.CONNECT_S", 1.0)
    with pytest.raises(BatchError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:9 "):
        list(mark_recordings([plan(folder / "marit.wav")], "tcp://127.0.0.1:9"))
    with pytest.raises(BatchError, match="no Dask scheduler answers at nowhere"):
        list(mark_recordings([plan(folder / "marit.wav")], "nowhere"))
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BatchError, match="needs Dask: python -m pip install distributed"):
        list(mark_recordings([plan(folder / "marit.wav")], "tcp://127.0.0.1:9"))
