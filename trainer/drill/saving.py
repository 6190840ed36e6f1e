"""Saving a drill that was made or corrected in the app."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from trainer.core.files import replace_file, usual_mode
from trainer.drill.errors import DrillError
from trainer.drill.model import Drill
from trainer.drill.writer import write_drill

MAX_COPIES = 1000
"""Highest number that is tried for the name of a copy."""


class FileTaken(DrillError):
    """A drill file that holds something else, which saving would lose."""


def save_drill(
    drill: Drill, path: Path, *, over: Drill | None = None, force: bool = False
) -> Drill:
    """Write a drill file atomically, and return the drill as it is read from there.

    Its name becomes that of the file, and the path of its recording relative to the file's folder
    where the recording lies in it.

    Args:
        drill: the drill.
        path: the file.
        over: the drill that the file is known to hold: it is replaced if it was written like this,
            so that no comment of somebody's own is lost; None for a new file.
        force: whether to replace whatever the file holds.

    Raises:
        FileTaken: the file holds something else; it is left unchanged.
        DrillError: the drill or the file cannot be written.
    """
    recording = drill.recording and drill.recording.moved_beside(path)
    drill = replace(drill, name=path.stem, recording=recording)
    text = write_drill(drill)
    try:
        if not force and path.exists() and not _holds(path, over):
            raise FileTaken(f"{path.name} holds something else")
        replace_file(path, text.encode("utf-8"), mode=usual_mode())
    except OSError as error:
        raise DrillError(f"{path} cannot be written: {error.strerror or error}") from None
    return drill


def _holds(path: Path, drill: Drill | None) -> bool:
    """Whether a file holds a drill as :func:`save_drill` writes it."""
    if drill is None:
        return False
    try:
        return path.read_text(encoding="utf-8") == write_drill(drill)
    except (UnicodeDecodeError, DrillError):
        return False


def free_name(path: Path) -> Path:
    """Return the path of a file that does not exist yet: ``quay-2.toml`` beside ``quay.toml``.

    Raises:
        DrillError: all names are taken.
    """
    for number in range(2, MAX_COPIES):
        free = path.with_name(f"{path.stem}-{number}{path.suffix}")
        if not free.exists():
            return free
    raise DrillError(f"all names beside {path} are taken; save to another folder with --out")
