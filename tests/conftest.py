"""Fixtures and hooks of all tests: separate user folders, and no silent skip in CI."""

from __future__ import annotations

import os
import signal
from collections import Counter
from collections.abc import Generator
from pathlib import Path
from typing import Any

import trainer as _trainer  # noqa: F401 - before numpy, whose BLAS reads its number of threads

# isort: split

import pytest
from hypothesis import settings

from tests.support.command_line import trainer  # noqa: F401 - a fixture
from tests.support.pulse import pulse  # noqa: F401 - a fixture
from tests.support.terminal import terminal  # noqa: F401 - a fixture

settings.register_profile("unhurried", deadline=None)  # the machine may be busy
settings.load_profile("unhurried")

# A shell without job control has its background commands ignore Ctrl-C, and nohup has them ignore
# the end of the terminal. All that they start inherits it, and the trainer respects it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP") and signal.getsignal(signal.SIGHUP) is signal.SIG_IGN:
    signal.signal(signal.SIGHUP, signal.SIG_DFL)

NO_SKIP = "HARP_TRAINER_NO_SKIP"
"""Set to 1 where PulseAudio, tmux and fonts must be installed, as in CI: a skipped test fails."""


@pytest.fixture(scope="session", autouse=True)
def separate_user_folders(tmp_path_factory: pytest.TempPathFactory) -> Generator[None]:
    """Keep the user's drills, takes and settings out of the tests, and the tests out of them."""
    with pytest.MonkeyPatch.context() as patch:
        home = str(tmp_path_factory.mktemp("home"))
        patch.setenv("HOME", home)
        patch.setenv("USERPROFILE", home)
        for kind in ("CACHE", "CONFIG", "DATA", "STATE"):
            patch.delenv(f"XDG_{kind}_HOME", raising=False)
        for name in [name for name in os.environ if name.startswith("TRAINER_")]:
            patch.delenv(name)
        yield


SPREAD = 25
"""Tests of one file that run in one process, in turn."""


@pytest.hookimpl(tryfirst=True)  # before pytest-xdist's, which reads the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Say which tests run in one process, in turn.

    Tests with a sound system do, and so do those in a terminal. Of the others, those of a file stay
    together, as they share fixtures and what they have cached, up to `SPREAD` of them.
    """
    numbers: Counter[Path] = Counter()
    for item in items:
        if item.get_closest_marker("needs_pulse"):
            group = "a sound system"
        elif item.get_closest_marker("needs_tmux"):
            group = "a terminal"
        elif not item.get_closest_marker("xdist_group"):
            group = f"{item.path.stem} {numbers[item.path] // SPREAD}"
            numbers[item.path] += 1
        else:
            continue
        item.add_marker(pytest.mark.xdist_group(group))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, Any, pytest.TestReport]:
    """Turn a skip into a failure where `NO_SKIP` is set."""
    report: pytest.TestReport = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get(NO_SKIP) == "1":
        report.outcome = "failed"
        why = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.longrepr = f"{why} (a failure, because {NO_SKIP}=1)"
    return report
