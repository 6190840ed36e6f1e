"""Two takes compared: known faults of the built-in player in one of them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from trainer.cli import app
from trainer.drill import Drill, parse_drill
from trainer.harp import Harp
from trainer.marking import Result
from trainer.practice import PassEnded, Plan, run_take
from trainer.report.comparison import Comparison, compare_takes, comparison_data, comparison_text
from trainer.sound import Fault, PlayerSpec

TUNE = '''
title = "Ropes ashore"
harp = "C"
tempo = 100
tab = """
4:1 -4:1 5:1 -5:1 | 6:2 5:2 |
"""
'''


@pytest.fixture(scope="module")
def drill() -> Drill:
    return parse_drill(TUNE, "ropes-ashore")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, drill: Drill) -> Path:
    """A folder with the drill and two takes of it."""
    folder = tmp_path_factory.mktemp("two")
    (folder / "ropes-ashore.toml").write_text(TUNE, encoding="utf-8")
    return folder


def played(drill: Drill, path: Path, faults: dict[int, Fault]) -> Result:
    plan = Plan(Harp.of("C"), PlayerSpec(faults=faults), drill=drill, save=path)
    (result,) = [event.result for event in run_take(plan) if isinstance(event, PassEnded)]
    return result


@pytest.fixture(scope="module")
def comparison(drill: Drill, folder: Path) -> Comparison:
    faults = {1: Fault(cents=-20.0), 2: Fault(late_ms=90.0), 3: Fault(leak_db=-12.0)}
    first = played(drill, folder / "monday.flac", faults)
    second = played(drill, folder / "friday.flac", {3: Fault(leak_db=-12.0), 5: Fault(skip=True)})
    return compare_takes(("monday", "friday"), first, second)


def test_each_difference_is_on_its_step_with_its_size(comparison: Comparison) -> None:
    steps = {step.step.index: step for step in comparison.steps}
    (pitch,) = [each for each in steps[1].figures if each.figure.name == "cents"]
    assert (pitch.before, pitch.after) == pytest.approx((-20.0, 0.0), abs=1.0)
    (time,) = [each for each in steps[2].figures if each.figure.name == "late_ms"]
    assert time.before == pytest.approx(90.0, abs=10.0)
    assert time.after == pytest.approx(0.0, abs=10.0)
    assert steps[5].heard == ("5", None)
    assert steps[0].is_alike
    assert steps[3].is_alike, "the same leak is no difference"
    assert steps[4].is_alike
    assert comparison.differing[0].step.index == 5


def test_the_lines_say_where_and_by_how_much(comparison: Comparison) -> None:
    text = comparison_text(comparison)
    assert "Ropes ashore: monday, then friday" in text
    assert "pitch -20 to +0 cents" in text
    assert "heard 5, then nothing" in text
    assert "alike on 3." in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_a_take_does_not_differ_from_itself(comparison: Comparison) -> None:
    same = compare_takes(("a", "b"), comparison.results[0], comparison.results[0])
    assert not same.differing
    assert "No step differs" in comparison_text(same)


def test_the_command_compares_with_a_drill_and_without(
    comparison: Comparison, folder: Path
) -> None:
    takes = [str(folder / "monday.flac"), str(folder / "friday.flac")]
    drill = ["--drill", str(folder / "ropes-ashore.toml")]
    done = CliRunner().invoke(app, ["compare", *takes, *drill, "--format", "json"])
    assert done.exit_code == 0, done.output
    data = json.loads(done.stdout)
    assert data["steps"] == comparison_data(comparison)["steps"]
    alone = CliRunner().invoke(app, ["compare", *takes])
    assert alone.exit_code == 0, alone.output
    assert "then nothing" in alone.output


def test_a_recording_that_is_missing_is_named(folder: Path) -> None:
    missing = str(folder / "sunday.flac")
    done = CliRunner().invoke(app, ["compare", missing, missing, "--drill", "harbour-bell"])
    assert done.exit_code
    assert "sunday.flac" in str(done.exception or "") + done.output
