"""What holds for every test: folders of its own, and no silent skip where all must run."""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import trainer as _trainer  # noqa: F401 - before numpy, whose library of algebra reads its threads

# isort: split

import pytest
from hypothesis import settings

from tests.support.command_line import trainer  # noqa: F401 - a fixture
from tests.support.evening_class import folder, told  # noqa: F401 - fixtures
from tests.support.pulse import pulse  # noqa: F401 - a fixture
from tests.support.terminal import terminal  # noqa: F401 - a fixture

settings.register_profile("unhurried", deadline=None)  # other work may hold a machine up
settings.load_profile("unhurried")

NO_SKIP = "HARP_TRAINER_NO_SKIP"
"""Set to 1 where PulseAudio and tmux must be there, as in CI: then a skipped test fails."""


@pytest.fixture(scope="session", autouse=True)
def folders_of_its_own(tmp_path_factory: pytest.TempPathFactory) -> Generator[None]:
    """Keep the player's own drills, takes and settings out of the tests, and these out of them."""
    with pytest.MonkeyPatch.context() as patch:
        home = str(tmp_path_factory.mktemp("home"))
        patch.setenv("HOME", home)
        patch.setenv("USERPROFILE", home)
        for kind in ("CACHE", "CONFIG", "DATA", "STATE"):
            patch.delenv(f"XDG_{kind}_HOME", raising=False)
        for name in [name for name in os.environ if name.startswith("TRAINER_")]:
            patch.delenv(name)
        yield


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep what takes its time from a sound system or a terminal in one process, in turn."""
    for item in items:
        if item.get_closest_marker("needs_pulse") or item.get_closest_marker("needs_tmux"):
            item.add_marker(pytest.mark.xdist_group("in real time"))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, Any, pytest.TestReport]:
    """Turn a skip into a failure where nothing may be skipped."""
    report: pytest.TestReport = yield
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get(NO_SKIP) == "1":
        report.outcome = "failed"
        why = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.longrepr = f"{why} (a failure, because {NO_SKIP}=1)"
    return report
