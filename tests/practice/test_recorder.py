"""What a take leaves in the journal, and that practice goes on where that cannot be."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from trainer.drill import parse_drill
from trainer.harp import Harp
from trainer.practice import (
    Event,
    Notice,
    PassEnded,
    Plan,
    StepMarked,
    StopRequest,
    adopt_cut_off_takes,
    run_take,
)
from trainer.practice.recorder import ResultRecorder
from trainer.sound import Fault, PlayerSpec, RecordingSpec
from trainer.store import Journal, StepRecord, take_notices

DRILL = parse_drill(
    'title = "Along the mole"\nharp = "C"\ntempo = 90\n'
    'tab = """-4\'>-4:2 4+5:2 | -4\':1 -2/3:1 -3=-3\':2"""\n',
    "mole",
)


def plan(journal: Path | None, **more: object) -> Plan:
    source = PlayerSpec(faults={2: Fault(cents=-18.0)})
    return Plan(Harp.of("A"), source, drill=DRILL, journal=journal, player="Marit", **more)  # type: ignore[arg-type]


def test_a_result_is_in_the_journal_before_its_event(tmp_path: Path) -> None:
    path = tmp_path / "own" / "journal.sqlite"
    ended_passes = 0
    for event in run_take(plan(path, harp_name="old A")):
        if isinstance(event, PassEnded):
            ended_passes += 1
            with Journal(path) as journal:
                (take,) = journal.takes(player="Marit")
            assert take.score == event.result.score
            assert take.id == event.record
            assert (take.drill, take.source, take.whole) == ("mole", "player", True)
            assert (take.harp.key, take.harp.name) == ("A", "old A")
            assert take.began.tzinfo is not None
            assert [step.tab for step in take.steps] == [step.tab for step in DRILL.steps]
            assert take.steps[2].cents == pytest.approx(-18.0, abs=3.0)
            assert take.steps[2].sentence == event.result.marks[2].sentence
    assert ended_passes == 1


def test_what_was_held_is_kept_in_hertz_where_one_reed_tells(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    list(run_take(plan(path)))
    with Journal(path) as journal:
        steps = journal.takes()[0].steps
    glide, chord, bend, either, ladder = steps
    harp = Harp.of("A")
    bent = harp.hz(DRILL.steps[2].first[0]) * 2.0 ** (-18.0 / 1200.0)
    assert glide.hz == pytest.approx(harp.hz(DRILL.steps[0].last[0]), rel=1e-3)
    assert bend.hz == pytest.approx(bent, rel=1e-3)
    assert either.entry == "-2"
    assert [chord.entry, chord.hz, ladder.entry, ladder.hz] == [None] * 4
    assert isinstance(bend, StepRecord)


def test_the_ear_does_not_wait_for_a_busy_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, is_free = tmp_path / "journal.sqlite", threading.Event()
    flushed: list[tuple[str, Path]] = []

    def flush(journal: Path) -> None:
        assert is_free.wait(60.0)
        flushed.append((threading.current_thread().name, journal))

    monkeypatch.setattr("trainer.practice.recorder.flush_journal", flush)
    ended: list[Event] = []
    for event in run_take(plan(path, loop=True), lambda: len(ended) >= 3):
        if isinstance(event, PassEnded):
            assert not flushed  # the disk is busy, and the take goes on
            ended.append(event)
            if len(ended) >= 3:
                is_free.set()
    assert flushed == [("journal", path), (threading.current_thread().name, path)]
    with Journal(path) as journal:
        assert len(journal.takes()) >= 3


def test_a_loop_leaves_a_take_a_pass(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    ended: list[Event] = []
    for event in run_take(plan(path, loop=True), lambda: len(ended) >= 2):
        if isinstance(event, PassEnded):
            ended.append(event)
    with Journal(path) as journal:
        takes = journal.takes()
    assert len(takes) == len(ended) >= 2
    assert len({take.id for take in takes}) == len(takes)


def test_a_false_start_is_not_kept_and_a_stopped_pass_is(tmp_path: Path) -> None:
    for stop_after, kept in ((0, 0), (1, 1)):
        path = tmp_path / f"{stop_after}.sqlite"
        marked: list[Event] = []
        for event in run_take(plan(path), lambda n=stop_after, m=marked: len(m) > n):  # type: ignore[misc]
            if isinstance(event, StepMarked):
                marked.append(event)
            if isinstance(event, PassEnded):
                assert not event.result.passed
        with Journal(path) as journal:
            takes = journal.takes()
        assert len(takes) == kept
        assert not any(take.passed or take.whole for take in takes)


def test_each_step_is_in_the_journal_before_its_event(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    marks, looks = {}, 0
    for event in run_take(plan(path)):
        if isinstance(event, StepMarked):
            marks[event.mark.step.index] = event.mark
            with Journal(path) as journal:
                (take,) = journal.takes()
            assert (take.whole, take.passed) == (False, False)
            assert {step.index: step.score for step in take.steps} == {
                index: mark.score for index, mark in marks.items()
            }
            looks += 1
    assert looks >= len(DRILL.steps)
    with Journal(path) as journal:
        (take,) = journal.takes()
    assert take.whole
    assert len(take.steps) == len(DRILL.steps)


@pytest.mark.parametrize("saved", [True, False])
def test_a_reader_that_goes_away_ends_the_take_and_loses_nothing(
    tmp_path: Path, saved: bool
) -> None:
    path, flac = tmp_path / "journal.sqlite", tmp_path / "take.flac"
    events = run_take(plan(path, save=flac if saved else None))
    first = next(event for event in events if isinstance(event, StepMarked))
    events.close()  # type: ignore[attr-defined]
    with Journal(path) as journal:
        (take,) = journal.takes()
    assert not take.whole
    assert [step.index for step in take.steps] == [first.mark.step.index]
    assert not [*tmp_path.glob("*.part*")]
    if saved:
        again = list(run_take(Plan(Harp.of("A"), RecordingSpec(flac), drill=DRILL)))
        (result,) = [event.result for event in again if isinstance(event, PassEnded)]
        assert [mark.score for mark in result.marks] == [step.score for step in take.steps]


def test_a_false_start_is_kept_where_it_was_not_the_player_who_stopped(tmp_path: Path) -> None:
    path, marked = tmp_path / "journal.sqlite", []
    for event in run_take(plan(path), lambda: bool(marked) and StopRequest.OUTSIDE):
        if isinstance(event, StepMarked):
            marked.append(event)
    with Journal(path) as journal:
        (take,) = journal.takes()
    assert len(take.steps) == 1


def test_a_step_waits_for_no_other_process(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    with Journal(path), closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        for event in run_take(plan(path)):
            if isinstance(event, StepMarked):
                if other.in_transaction and event.mark.step.index == 1:
                    other.execute("ROLLBACK")
                elif not other.in_transaction:
                    break
    with Journal(path) as journal:
        assert len(journal.takes()[0].steps) >= 3


def test_practice_goes_on_where_nothing_can_be_stored(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    events = list(run_take(plan(tmp_path / "file" / "journal.sqlite", loop=False)))
    (notice,) = [event for event in events if isinstance(event, Notice)]
    assert "practice goes on" in notice.sentence
    assert sum(isinstance(event, PassEnded) for event in events) == 1


def test_a_recording_is_remembered_as_one(tmp_path: Path) -> None:
    flac, path = tmp_path / "take.flac", tmp_path / "journal.sqlite"
    list(run_take(plan(None, save=flac)))
    again = Plan(Harp.of("A"), RecordingSpec(flac), drill=DRILL, journal=path, player="Jorun")
    list(run_take(again))
    with Journal(path) as journal:
        assert [(take.player, take.source) for take in journal.takes()] == [("Jorun", "recording")]


def test_the_sound_of_passes_is_kept_with_the_best_of_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the sound of a live source is stored, so the built-in player is made one here."""
    monkeypatch.setattr(PlayerSpec, "is_live", True)
    monkeypatch.setattr(
        "trainer.practice.recorder.with_calibrated_latency", lambda journal, spec: spec
    )
    path = tmp_path / "journal.sqlite"
    ended: list[Event] = []
    for event in run_take(plan(path, loop=True, sound_mb=50.0), lambda: len(ended) >= 2):
        if isinstance(event, PassEnded):
            ended.append(event)
    with Journal(path) as journal:
        takes = journal.takes()
        best = max(takes, key=lambda take: (take.whole, take.score))
        assert [take.id for take in takes if take.audio] == [best.id]
        sound = tmp_path / str(best.audio and journal.take(best.id).audio)
    again = Plan(Harp.of("A"), RecordingSpec(sound), drill=DRILL)
    scores = [event.result.score for event in run_take(again) if isinstance(event, PassEnded)]
    assert scores[: len(takes)] == [take.score for take in takes]


CUT_OFF = """
import os, sys
from pathlib import Path
from tests.practice import test_recorder as here
here.PlayerSpec.is_live = True
import trainer.practice.recorder as recorder
recorder.with_calibrated_latency = lambda journal, spec: spec
save = Path(sys.argv[2]) if len(sys.argv) > 2 else None
marked = 0
for event in here.run_take(here.plan(Path(sys.argv[1]), sound_mb=50.0, save=save)):
    marked += isinstance(event, here.StepMarked)
    if marked == 3:
        os._exit(9)
"""


@pytest.mark.parametrize("saved", [True, False], ids=["to a file", "in the journal"])
def test_the_sound_of_a_killed_take_is_adopted_and_reported(tmp_path: Path, saved: bool) -> None:
    path, flac = tmp_path / "journal.sqlite", tmp_path / "take.flac"
    words = [sys.executable, "-c", CUT_OFF, path, *([flac] if saved else [])]
    assert subprocess.run(words).returncode == 9
    with Journal(path) as journal:
        (take,) = journal.takes()
        assert len(take.steps) >= 2
        adopt_cut_off_takes(journal, 50.0)
        (notice,) = take_notices()
        assert "Along the mole" in notice
        assert "was cut off" in notice
        if not saved:
            flac = tmp_path / str(journal.take(take.id).audio)
        adopt_cut_off_takes(journal, 50.0)
        assert not take_notices()
    assert not [*(tmp_path / "running").iterdir(), *tmp_path.glob("*.part.flac")]
    again = list(run_take(Plan(Harp.of("A"), RecordingSpec(flac), drill=DRILL)))
    (result,) = [event.result for event in again if isinstance(event, PassEnded)]
    scores = {mark.step.index: mark.score for mark in result.marks}
    first = take.steps[0]
    assert scores[first.index] == pytest.approx(first.score, abs=1.0)


def test_no_sound_is_kept_unless_it_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    list(run_take(plan(path)))
    assert not (tmp_path / "audio").exists()


def test_the_sound_of_the_last_take_makes_room_for_the_next(tmp_path: Path) -> None:
    plan = Plan(Harp.of("C"), PlayerSpec(), scratch=tmp_path)
    flac = tmp_path / "take.flac"
    assert ResultRecorder(plan).sound_file() == flac  # in an empty folder
    flac.touch()
    (tmp_path / "take.part.flac").touch()
    (tmp_path / "mine.flac").touch()
    assert ResultRecorder(plan).sound_file() == flac
    assert [path.name for path in tmp_path.iterdir()] == ["mine.flac"]
    assert ResultRecorder(replace(plan, keeps_sound=False)).sound_file() is None
    assert ResultRecorder(replace(plan, scratch=None)).sound_file() is None
