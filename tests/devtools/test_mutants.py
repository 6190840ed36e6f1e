"""The mutation audit: its mutants, its sample, and its output."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from devtools.mutants import mutants_of, sample
from tests.support.terminal import ROOT

SOURCE = """\
def clamp(x: float, low: float = 0.5) -> float:
    if x < low and not x == 3:
        return low
    return x + 1
"""


@pytest.fixture
def tree(tmp_path: Path) -> Path:
    room = tmp_path / "trainer" / "room"
    room.mkdir(parents=True)
    (room / "clamp.py").write_text(SOURCE)
    return tmp_path


def test_each_kind_of_place_is_changed(tree: Path) -> None:
    mutants = list(mutants_of(Path("trainer/room/clamp.py"), tree))
    changed = {(mutant.line, mutant.before, mutant.after) for mutant in mutants}
    assert changed >= {
        (1, "0.5", "0.55"),
        (1, "0.5", "0.45"),
        (2, "x < low", "x >= low"),
        (2, "x < low and (not x == 3)", "x < low or not x == 3"),
        (2, "not x == 3", "x == 3"),
        (2, "x == 3", "x != 3"),
        (2, "3", "4"),
        (2, "3", "2"),
        (3, "return low", "return None"),
        (4, "x + 1", "x - 1"),
    }
    assert all(mutant.source.count("def clamp") == 1 for mutant in mutants)
    assert len({mutant.source for mutant in mutants}) == len(mutants)


def test_a_sample_is_repeatable_and_has_one_mutant_a_line(tree: Path) -> None:
    first, second = (sample("room", 3, 7, tree) for _ in range(2))
    assert first == second
    assert len({mutant.line for mutant in first}) == 3
    assert len(sample("room", 99, 7, tree)) == 4


def test_the_audit_starts_and_prints_the_share() -> None:
    tests = "tests/core/test_toml.py"
    process = subprocess.run(
        [sys.executable, "-m", "devtools.mutants", "core", "--count=1", f"--tests={tests}"],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        timeout=600,
    )
    assert process.returncode == 0, process.stderr
    verdict, share = process.stdout.splitlines()
    assert verdict.split()[0] in ("killed", "SURVIVED", "timed")
    assert share.endswith(" of 1 mutants of core killed (100%)") or "0 of 1" in share
