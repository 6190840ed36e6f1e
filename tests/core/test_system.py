"""What differs between systems, on this one and as another would run it."""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path
from types import ModuleType, SimpleNamespace

import pytest

from trainer.core import system


class Console:
    """The console of Windows, as its C runtime shows it (module ``msvcrt``)."""

    LK_NBLCK, LK_UNLCK = 2, 0

    def __init__(self) -> None:
        self.keys: list[str] = []
        self.locked: set[int] = set()

    def kbhit(self) -> bool:
        return bool(self.keys)

    def getwch(self) -> str:
        return self.keys.pop(0)

    def locking(self, file: int, mode: int, size: int) -> None:
        inode = os.fstat(file).st_ino
        if mode == self.LK_NBLCK and inode in self.locked:
            raise PermissionError(13, "Permission denied")
        (self.locked.add if mode == self.LK_NBLCK else self.locked.discard)(inode)


@pytest.fixture
def windows(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The module as Windows would load it: no SIGHUP, no scheduler, a console of its own."""
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setitem(sys.modules, "msvcrt", Console())  # type: ignore[arg-type]
    for name in ("SIGHUP", "SIGKILL"):
        monkeypatch.delattr(signal, name)
    for name in ("sched_setscheduler", "nice"):
        monkeypatch.delattr(os, name)
    spec = importlib.util.spec_from_file_location("windows_system", system.__file__)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    with monkeypatch.context() as naming:
        naming.setattr(os, "name", "nt")
        spec.loader.exec_module(module)
    return module


def test_windows_has_its_own_ways(windows: ModuleType) -> None:
    assert windows.ENDING_SIGNALS == (signal.SIGTERM,)
    assert not windows.CAN_FORK
    assert not windows.HAS_BYTE_NAMES
    assert windows.name_for_library(Path("takt.wav")) == Path("takt.wav")
    assert windows.EDITORS == ("notepad",)
    assert windows.editor_command("code -w", Path("a b.toml")) == 'code -w "a b.toml"'
    assert not windows.has_hung_up(0)
    windows.raise_priority()  # which it does not know
    console = sys.modules["msvcrt"]
    assert windows.read_typed_line() is None
    console.keys = ["\r", "b"]  # type: ignore[attr-defined]
    assert [windows.read_typed_line() for _ in range(3)] == ["", "b", None]


@pytest.mark.parametrize("elsewhere", [True, False], ids=["windows", "here"])
def test_one_at_a_time_holds_a_lock(
    tmp_path: Path, elsewhere: bool, request: pytest.FixtureRequest
) -> None:
    module = request.getfixturevalue("windows") if elsewhere else system
    lock = tmp_path / "lock"
    with module.file_lock(lock, 1.0), pytest.raises(TimeoutError), module.file_lock(lock, 0.05):
        raise AssertionError
    with module.file_lock(lock, 0.0):
        pass


def test_a_file_that_is_open_elsewhere_is_replaced_when_it_is_closed(
    windows: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    source, target = tmp_path / "new", tmp_path / "old"
    source.write_text("new")
    target.write_text("old")
    tries = 0

    def replace(first: Path, second: Path) -> None:
        nonlocal tries
        tries += 1
        if tries < 3:
            raise PermissionError(13, "The process cannot access the file")
        shutil.move(first, second)

    monkeypatch.setattr(windows, "os", SimpleNamespace(replace=replace))
    monkeypatch.setattr(windows, "REPLACE_POLL_S", 0.0)
    windows.replace_path(source, target)
    assert target.read_text() == "new"


@pytest.mark.parametrize(
    ("name", "portable"),
    [
        ("evening.flac", "evening.flac"),
        ("Con.flac", "_Con.flac"),
        ("lpt1", "_lpt1"),
        ("what? who: me", "what_ who_ me"),
        ("a/b\\c", "a_b_c"),
        ("pier. . ", "pier"),
        ("\x1b[2J", "_[2J"),
        ("...", "_"),
        ("Früh am Kai", "Früh am Kai"),
    ],
)
def test_names_suit_every_system(name: str, portable: str) -> None:
    assert system.portable_name(name) == portable


def test_a_lock_ends_with_its_process(tmp_path: Path) -> None:
    code = (
        "import os, sys; from pathlib import Path; from trainer.core.system import file_lock\n"
        "with file_lock(Path(sys.argv[1]), 1.0): os._exit(9)"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "lock")])
    assert done.returncode == 9
    with system.file_lock(tmp_path / "lock", 0.0):
        pass
