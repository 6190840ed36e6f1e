"""A pytest plugin that records which functions of a room each test calls.

    pytest -p devtools.call_trace --traced-room=marking --calls=calls.json tests/marking

`devtools/mutants.py` uses it to run the tests first that can detect a mutant. Calls in other
processes are not seen. What fixtures call counts for all tests of the module, because one test's
set-up can make what the next ones look at.
"""

from __future__ import annotations

import json
import sys
import threading
from collections import defaultdict
from collections.abc import Generator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

import pytest

ROOT = Path(__file__).resolve().parent.parent


class CallTrace:
    """Calls and durations of all tests of a run."""

    def __init__(self, room: str, file: Path) -> None:
        self._folder = str(ROOT / "trainer" / room) + "/"
        self._file = file
        self._now: set[tuple[str, str]] = set()
        self._of_fixtures: dict[str, set[tuple[str, str]]] = defaultdict(set)
        self._of_tests: dict[str, set[tuple[str, str]]] = defaultdict(set)
        self._seconds: dict[str, float] = defaultdict(float)

    def _note_call(self, frame: FrameType, event: str, argument: object) -> None:
        code = frame.f_code
        if code.co_filename.startswith(self._folder):
            self._now.add((code.co_filename, code.co_qualname))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> Generator[None]:
        """Record what the fixtures call."""
        with self._recording(self._of_fixtures[item.nodeid.split("::")[0]]):
            return (yield)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Generator[None]:
        """Record what the test calls."""
        with self._recording(self._of_tests[item.nodeid]):
            return (yield)

    @contextmanager
    def _recording(self, calls: set[tuple[str, str]]) -> Generator[None]:
        """Record calls of all threads in a set."""
        self._now = calls
        threading.settrace(self._note_call)
        sys.settrace(self._note_call)
        try:
            yield
        finally:
            sys.settrace(None)
            threading.settrace(None)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Add up durations."""
        self._seconds[report.nodeid] += report.duration

    def pytest_sessionfinish(self) -> None:
        """Write the file."""
        calls = {}
        for test, seconds in self._seconds.items():
            functions = self._of_tests[test] | self._of_fixtures[test.split("::")[0]]
            relative = [(Path(path).relative_to(ROOT).as_posix(), name) for path, name in functions]
            calls[test] = (seconds, sorted(relative))
        self._file.write_text(json.dumps(calls), encoding="utf-8")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options."""
    parser.addoption("--traced-room", required=False, help="package of trainer")
    parser.addoption("--calls", required=False, help="file to write")


def pytest_configure(config: pytest.Config) -> None:
    """Start if both options are given."""
    room, file = config.getoption("--traced-room"), config.getoption("--calls")
    if room and file:
        config.pluginmanager.register(CallTrace(room, Path(file)))
