"""Every benchmark starts through its command line and prints its table."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.support.terminal import ROOT


def run(module: str, *options: str) -> str:
    """Run a benchmark and return what it prints."""
    process = subprocess.run(
        [sys.executable, "-m", module, *options],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        timeout=300,
    )
    assert process.returncode == 0, process.stdout + process.stderr
    return process.stdout


@pytest.mark.needs_pulse
@pytest.mark.usefixtures("pulse")
def test_live() -> None:
    table = run("benchmarks.live", "--smoke")
    assert "| reading in the app |" in table
    assert "goal: no block lost" in table
