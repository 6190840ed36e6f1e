"""What differs between systems: signals, locks, renaming, typed lines, priority, file names.

Nothing else in the trainer asks which system it runs on, apart from the names of its parts that a
person reads. Tests load this module as another system would.
"""

from __future__ import annotations

import contextlib
import os
import shlex
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

LOCK_POLL_S = 0.02
REPLACE_TRIES = 20
"""Attempts to rename over a file that another program has open, `REPLACE_POLL_S` apart: on Windows,
virus scanners and indexers open each new file for a moment. Chosen."""
REPLACE_POLL_S = 0.05
ENDING_SIGNALS: tuple[int, ...] = tuple(
    getattr(signal, name)
    for name in ("SIGTERM", "SIGHUP", "SIGBREAK")  # no system has all of them
    if hasattr(signal, name)
)
"""Signals that end a program from outside: a closed terminal, a logout, a shutdown."""
SYSTEM = sys.platform
"""``win32``, ``darwin`` or ``linux``, for advice that names a system's own menus."""
CAN_FORK = sys.platform == "linux"
"""Whether a process can be forked safely; the sound libraries of macOS do not survive it."""
HAS_BYTE_NAMES = os.name != "nt"
"""Whether file names are bytes, of any encoding or none."""
EDITORS = ("sensible-editor", "nano", "vi") if HAS_BYTE_NAMES else ("notepad",)
_RESERVED = frozenset(
    ("con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10)))
)
_FORBIDDEN = frozenset('<>:"/\\|?*')


def portable_name(name: str) -> str:
    """Return a file name that every system allows, as similar as possible.

    Windows reserves some names whatever their extension, forbids some characters, and drops points
    and spaces at the end (Naming Files, Paths, and Namespaces, Microsoft).

    Args:
        name: a name without folders.
    """
    kept = "".join("_" if c in _FORBIDDEN or ord(c) < 32 else c for c in name).rstrip(". ")
    if kept.split(".")[0].rstrip().lower() in _RESERVED:
        kept = f"_{kept}"
    return kept or "_"


def name_for_library(path: Path) -> Path | bytes:
    """Return a path as a C library takes it, whose text must be UTF-8."""
    return os.fsencode(path) if HAS_BYTE_NAMES else path


def replace_path(source: Path, target: Path) -> None:
    """Rename a file over another, which a program may have open for a moment.

    Raises:
        OSError: it cannot be renamed.
    """
    for left in reversed(range(REPLACE_TRIES)):
        try:
            os.replace(source, target)
            return
        except PermissionError:
            if HAS_BYTE_NAMES or not left:  # elsewhere, open files can be renamed over
                raise
            time.sleep(REPLACE_POLL_S)


@contextmanager
def file_lock(path: Path, timeout_s: float) -> Iterator[None]:
    """Hold a lock that one process at a time can have; the system frees it if the process dies.

    Args:
        path: the lock's own file, which is made if it is missing, and stays.
        timeout_s: longest wait for another process, in seconds.

    Raises:
        TimeoutError: another process holds it for longer.
        OSError: the file cannot be opened.
    """
    with path.open("a+b") as file:
        until = time.monotonic() + timeout_s
        while not _try_lock(file.fileno()):
            if time.monotonic() > until:
                raise TimeoutError(f"another copy of the trainer holds {path}")
            time.sleep(LOCK_POLL_S)
        try:
            yield
        finally:
            _unlock(file.fileno())


@contextmanager
def handle_signals(
    handler: Callable[[int, FrameType | None], None], *numbers: int
) -> Iterator[None]:
    """Handle signals in a block; one that is ignored, as below ``nohup``, stays so."""
    before = {
        number: signal.signal(number, handler)
        for number in numbers
        if signal.getsignal(number) is not signal.SIG_IGN
    }
    try:
        yield
    finally:
        for number, handled in before.items():
            signal.signal(number, handled if handled is not None else signal.SIG_DFL)


def leave_signals_to_the_screen(terminate: Callable[[], None]) -> None:
    """Ignore Ctrl-C and a closed terminal in this process; handle a wish to end it alone.

    Args:
        terminate: called by the handler of SIGTERM.
    """
    for name in ("SIGINT", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, lambda number, frame: terminate())


def elapsed_s() -> float:
    """Return seconds that go on while the computer sleeps, from an arbitrary start."""
    if hasattr(time, "CLOCK_BOOTTIME"):  # Linux, whose monotonic clock stops meanwhile
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    if sys.platform == "darwin":  # so does Python's on macOS, but not this one
        return time.clock_gettime(time.CLOCK_MONOTONIC)
    return time.monotonic()


def raise_priority() -> None:
    """Get scheduled before other programs, where the system allows it; later threads inherit it."""
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
    except (AttributeError, OSError):  # not on this system, or not for this user
        with contextlib.suppress(AttributeError, OSError):
            os.nice(-5)


def installed_editor() -> str | None:
    """Return an editor of text that is installed; None if there is none."""
    return next(filter(shutil.which, EDITORS), None)


def editor_command(editor: str, path: Path) -> str | list[str]:
    """Return the command that opens a file in an editor.

    Windows takes a command as one string, in which backslashes separate folders.

    Args:
        editor: its command, with options.
        path: the file.

    Raises:
        ValueError: a quotation mark in `editor` is not closed.
    """
    return [*shlex.split(editor), str(path)] if HAS_BYTE_NAMES else f'{editor} "{path}"'


if sys.platform == "win32":
    import msvcrt

    _ENTER = "\r"

    def read_typed_line() -> str | None:
        """Return what was typed, None if nothing. The console of Windows gives single keys."""
        if not msvcrt.kbhit():
            return None
        key = msvcrt.getwch()
        return "" if key == _ENTER else key

    def has_hung_up(file: int) -> bool:
        """Whether a terminal is gone. A console of Windows ends the program itself."""
        return False

    def _try_lock(file: int) -> bool:
        os.lseek(file, 0, os.SEEK_SET)
        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(file: int) -> None:
        os.lseek(file, 0, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_UNLCK, 1)

else:
    import fcntl
    import select

    def read_typed_line() -> str | None:
        """Return the line that was typed; None if none was, or the terminal is gone.

        A thread that blocks in reading would keep Python from exiting.
        """
        try:
            if sys.stdin is None or not sys.stdin.isatty():
                return None
            file = sys.stdin.fileno()
            if not select.select([file], [], [], 0.0)[0]:
                return None
            if os.tcgetpgrp(file) != os.getpgrp():  # a background process that reads is stopped
                return None
            return os.read(file, 1024).decode(errors="replace") or None
        except OSError:
            return None

    def has_hung_up(file: int) -> bool:
        """Whether a terminal is gone: reading it would return nothing for ever."""
        poll = select.poll()
        poll.register(file, 0)
        return any(event & select.POLLHUP for _, event in poll.poll(0))

    def _try_lock(file: int) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True

    def _unlock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_UN)
