"""Every benchmark starts through its command line and prints its table."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys

import pytest

from benchmarks.fonts import VOICES, FontError, find_font
from tests.support.terminal import ROOT


def run(module: str, *options: str, tries: int = 1) -> str:
    """Run a benchmark and return what it prints.

    Args:
        module: the benchmark.
        options: its options.
        tries: how often it is run where it ends with a sentence: on a busy machine, one that
            measures live sound may have nothing to measure. A traceback is never tried again.
    """
    process = subprocess.run(
        [sys.executable, "-m", module, *options],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        encoding="utf-8",
        timeout=300,
    )
    if process.returncode and "Traceback" not in process.stderr and tries > 1:
        return run(module, *options, tries=tries - 1)
    assert process.returncode == 0, process.stdout + process.stderr
    return process.stdout


@pytest.fixture(scope="module")
def fonts() -> None:
    """Skip where the sound fonts, or what plays them, are not installed."""
    try:
        for voice in VOICES.values():
            find_font(voice.font)
    except FontError as error:
        pytest.skip(str(error))
    if not shutil.which("fluidsynth"):
        pytest.skip("needs fluidsynth")


@pytest.mark.parametrize(
    ("module", "head", "row"),
    [
        ("benchmarks.adversary", "gross x", "9 of 9 hold"),
        ("benchmarks.backlog", "h per CPU h", "pool               1       1"),
        ("benchmarks.classroom", "for next week", "3 of 3 lines as they should be"),
        ("benchmarks.course_year", "first  done passed", "first breath"),
        ("benchmarks.following", "at once", "phrases, as played "),
        ("benchmarks.guessed", "first three", "  independent "),
        ("benchmarks.homework", "piecewise misaligned", "1 of 1 lines as they should be"),
        ("benchmarks.lengths", "meters", "made-up tunes "),
        ("benchmarks.learner", "median days", "usual    rotation"),
        ("benchmarks.points", "faultless", "3 of 3 hold"),
        ("benchmarks.reed_watch", "harp- false alarms", "no wear                          1"),
        ("benchmarks.screen", "frames a second", " 80x24 "),
        ("benchmarks.sensitivity", "  cents  ", " constants matter more than they should"),
        ("benchmarks.solos", "rises  others", "scale up and down "),
        ("benchmarks.stretch", "wobble", "pedalboard, finer"),
        ("benchmarks.voice_ear", "within 5", "glides, natural            1.0000"),
    ],
)
def test_a_benchmark_prints_its_table(module: str, head: str, row: str) -> None:
    table = run(module, "--smoke")
    assert head in table
    assert row in table


@pytest.mark.usefixtures("fonts")
@pytest.mark.parametrize(
    ("module", "head", "row"),
    [
        ("benchmarks", "| | goal | tuned on", "| exact holes 60 ms after a hard onset, clean |"),
        ("benchmarks.duets", "noticed", "alone, 0 dB below "),
        ("benchmarks.echo", "| residual echo | clicks |", "| laptop, near | -"),
        ("benchmarks.microphone", "| echo | takes | found |", "| white noise | 25 | 1 | 0 |"),
        ("benchmarks.records", "| condition | onset | given |", "| a piano under it, 6 dB below |"),
        ("benchmarks.rendered", "reeds player", "1 of 1 within 3 points"),
        ("benchmarks.notes", "| | tuned on | n |", "| notes detected, slide | "),
        ("benchmarks.transcripts", "Brier", "alone, tuned on "),
        ("benchmarks.voices", "partials   soft", "harmonica 2 (aside)"),
    ],
)
def test_a_benchmark_on_recorded_reeds_prints_its_table(module: str, head: str, row: str) -> None:
    table = run(module, "--smoke")
    assert head in table
    assert row in table


def test_the_report_of_a_recording_is_timed() -> None:
    assert "report of a minute: " in run("benchmarks.backlog", "--report", "--smoke")


@pytest.mark.needs_pulse
@pytest.mark.usefixtures("pulse")
def test_live() -> None:
    table = run("benchmarks.live", "--smoke", tries=3)
    assert "| reading in the app |" in table
    assert "goal: no block lost" in table


def test_a_tune_is_likely_on_its_own_harp_under_its_own_generator() -> None:
    from benchmarks.guess_ceiling import likelihood
    from benchmarks.tunes import make_tune

    tune = make_tune("A", 1, 1)
    assert likelihood(tune, "A", 1) > likelihood(tune, "Eb", 1)
    assert likelihood(tune, "A", 1) > 0.0
