"""What a report of a problem needs to know about this computer, and nothing private.

No names of players, devices, drills or takes, and no values of settings: only versions, counts,
sizes, and whether things work. Paths begin with ``~``.
"""

from __future__ import annotations

import importlib.metadata
import locale
import os
import platform
import shutil
import sqlite3
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path

from trainer import __version__
from trainer.core.logs import log_folder
from trainer.core.quantities import quantity_text
from trainer.core.system import CAN_FORK, HAS_BYTE_NAMES
from trainer.settings import ResolvedSettings
from trainer.sound import Device, SoundError, find_devices
from trainer.store import Journal, JournalError

LIBRARIES = ("numpy", "soundfile", "sounddevice", "textual", "typer", "pydantic")
"""Libraries whose version often explains a problem."""


def doctor_lines(resolved: ResolvedSettings, journal: Path) -> Iterator[str]:
    """Yield the lines of the report.

    Args:
        resolved: the settings; only the names of those that are set are shown.
        journal: the player's journal; it is opened, and so checked.
    """
    yield f"trainer {__version__}"
    yield f"Python {platform.python_version()} on {platform.system()} {platform.release()}"
    yield f"machine: {platform.machine()}, {os.cpu_count()} cores"
    yield f"libraries: {', '.join(f'{name} {_version(name)}' for name in LIBRARIES)}"
    yield f"SQLite {sqlite3.sqlite_version}, libsndfile {_sndfile_version()}"
    yield f"forks: {_yes(CAN_FORK)}; file names are bytes: {_yes(HAS_BYTE_NAMES)}"
    yield f"terminal: {_terminal()}"
    yield f"settings: {_settings(resolved)}"
    yield f"journal: {_journal(journal)}"
    yield f"sound: {_sound()}"
    yield f"log files: {_home_as_tilde(log_folder())}"


def _version(library: str) -> str:
    try:
        return importlib.metadata.version(library)
    except importlib.metadata.PackageNotFoundError:
        return "missing"


def _sndfile_version() -> str:
    try:
        import soundfile

        return str(soundfile.__libsndfile_version__)
    except (OSError, ImportError) as error:
        return f"missing ({error})"


def _terminal() -> str:
    size = shutil.get_terminal_size((0, 0))
    kind = os.environ.get("TERM", "") or "none"
    encodings = f"{sys.stdout.encoding}, {locale.getpreferredencoding(False)}"
    shown = _yes(sys.stdin is not None and sys.stdin.isatty() and sys.stdout.isatty())
    return f"{kind}, {size.columns} by {size.lines}, {encodings}; interactive: {shown}"


def _settings(resolved: ResolvedSettings) -> str:
    names = sorted(".".join(key) for key in resolved.origins)
    problems = len(resolved.problems)
    exists = "a file" if resolved.file.exists() else "no file"
    return f"{exists}, {problems} problems; set: {', '.join(names) or 'nothing'}"


def _journal(path: Path) -> str:
    if not path.exists():
        return "none yet"
    size_mb = path.stat().st_size / 1e6
    free_gb = shutil.disk_usage(path.parent).free / 1e9
    backups = len([*(path.parent / "backups").glob("*")])
    try:
        with Journal(path) as journal:
            takes = len(journal.takes(steps=False))
    except JournalError as error:
        reason = str(error).replace(str(path), "FILE")
        return f"{size_mb:.1f} MB, cannot be used: {_home_as_tilde(reason)}"
    kept = f"{quantity_text(takes, 'take')}, {quantity_text(backups, 'backup')}"
    return f"{size_mb:.1f} MB, {kept}, {free_gb:.0f} GB free"


def _sound() -> str:
    try:
        devices = find_devices()
    except (SoundError, OSError) as error:
        return f"none ({error})"
    return _devices(devices) or "no devices"


def _devices(devices: Sequence[Device]) -> str:
    """Return numbers of devices by their host and rate; names may be private."""
    counts = Counter(
        f"{device.host} {device.inputs} in {device.outputs} out {device.rate} Hz"
        + (" (default input)" if device.is_default_input else "")
        + (" (default output)" if device.is_default_output else "")
        for device in devices
    )
    return "; ".join(f"{count} x {what}" for what, count in counts.items())


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _home_as_tilde(text: object) -> str:
    return str(text).replace(str(Path.home()), "~")
