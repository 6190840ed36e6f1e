"""The mutation audit: its mutants, its sample, and its output."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from devtools.mutants import CallsOfTest, function_of, mutants_of, ordered, read_calls, sample
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


def test_types_and_options_of_decorators_are_not_changed(tree: Path) -> None:
    (tree / "trainer/room/point.py").write_text(
        "@dataclass(frozen=True)\nclass P:\n    x: Literal[3] = 4\n"
        "    def f(self) -> Literal[5]: ...\n"
    )
    mutants = mutants_of(Path("trainer/room/point.py"), tree)
    assert {mutant.before for mutant in mutants} == {"4"}


def test_a_sample_is_repeatable_and_has_one_mutant_a_line(tree: Path) -> None:
    first, second = (sample("room", 3, 7, tree) for _ in range(2))
    assert first == second
    assert len({mutant.line for mutant in first}) == 3
    assert len(sample("room", 99, 7, tree)) == 4


def test_a_line_belongs_to_the_innermost_function_and_a_default_to_none(tree: Path) -> None:
    (tree / "trainer/room/nested.py").write_text(
        "X = 1\n@cache\ndef outer(a=2):\n    def inner():\n        return 3\n    return inner\n"
    )
    lines = [function_of(Path("trainer/room/nested.py"), line, tree) for line in range(1, 7)]
    names = [None, None, None, "outer", "outer.<locals>.inner", "outer"]
    assert lines == [name and ("trainer/room/nested.py", name) for name in names]
    (tree / "trainer/room/method.py").write_text("class A:\n    B = 1\n    def c(self): return 2\n")
    assert function_of(Path("trainer/room/method.py"), 2, tree) is None
    assert function_of(Path("trainer/room/method.py"), 3, tree) == ("trainer/room/method.py", "A.c")


def test_the_tests_that_call_a_function_run_first_and_quick_files_before_slow_ones() -> None:
    f, g = ("trainer/room/a.py", "f"), ("trainer/room/a.py", "g")
    calls = [
        CallsOfTest("slow.py::a", 5.0, frozenset({f, g})),
        CallsOfTest("quick.py::b", 1.0, frozenset({f})),
        CallsOfTest("quick.py::c", 1.5, frozenset({g})),
        CallsOfTest("quick.py::d", 1.0, frozenset({f})),
    ]
    assert ordered(calls, f) == [["quick.py::b", "quick.py::d", "slow.py::a"], ["quick.py::c"]]
    assert ordered(calls, None) == [["quick.py::b", "quick.py::c", "quick.py::d", "slow.py::a"]]


def test_the_calls_of_tests_and_of_their_fixtures_are_recorded(tmp_path: Path) -> None:
    room = tmp_path / "trainer" / "room"
    room.mkdir(parents=True)
    for name in ("", "trainer/", "trainer/room/"):
        (tmp_path / name / "__init__.py").touch()
    (room / "sums.py").write_text(
        "def add(a, b):\n    return a + b\n\ndef sub(a, b):\n    return a - b\n"
    )
    (tmp_path / "devtools").mkdir()
    for name in ("__init__", "call_trace"):
        source = ROOT / "devtools" / f"{name}.py"
        (tmp_path / "devtools" / source.name).write_text(source.read_text(encoding="utf-8"))
    (tmp_path / "test_sums.py").write_text(
        "import pytest\nfrom threading import Thread\nfrom trainer.room.sums import add, sub\n"
        "@pytest.fixture(scope='module')\ndef two():\n    return add(1, 1)\n"
        "def test_two(two):\n    assert two == 2\n"
        "def test_sub():\n    t = Thread(target=sub, args=(3, 2))\n    t.start()\n    t.join()\n"
    )
    options = ("-p", "devtools.call_trace", "--traced-room=room", "--calls=calls.json")
    command = [sys.executable, "-m", "pytest", "-q", "--rootdir=.", *options, "test_sums.py"]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, encoding="utf-8")
    assert done.returncode == 0, done.stdout + done.stderr
    calls = {call.test: call.functions for call in read_calls(tmp_path / "calls.json")}
    add, sub = ("trainer/room/sums.py", "add"), ("trainer/room/sums.py", "sub")
    assert calls == {"test_sums.py::test_two": {add}, "test_sums.py::test_sub": {add, sub}}


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
