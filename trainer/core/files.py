"""Files that their owner alone can read, and that are whole as soon as they have their name."""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

_ONLY_MINE = 0o600
_OTHERS = 0o077
_NO_LINKS = (errno.EPERM, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EACCES)


def make_private_folder(path: Path) -> None:
    """Make a folder, with those above it, that its owner alone can enter; one that is there
    stays as it is.

    Raises:
        OSError: it cannot be made.
    """
    if path.is_dir() or path == path.parent:
        return
    make_private_folder(path.parent)
    path.mkdir(mode=0o700, exist_ok=True)


def create_private_file(path: Path) -> None:
    """Make an empty file that its owner alone can read.

    Raises:
        OSError: it cannot be made, or something has that name.
    """
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _ONLY_MINE))


def restrict_to_owner(path: Path) -> None:
    """Take away what others may do with a file, if it is there and ours."""
    with contextlib.suppress(FileNotFoundError, PermissionError):
        if path.stat().st_mode & _OTHERS:
            path.chmod(_ONLY_MINE)


@contextmanager
def atomic_write(path: Path) -> Iterator[Path]:
    """Write a new private file under another name; it takes its own when the block is done.

    Raises:
        FileExistsError: something has that name; it stays as it is.
        OSError: it cannot be written; nothing is left of it.
    """
    if os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    part = partial_path(path)
    create_private_file(part)
    try:
        yield part
        _take_name(part, path)
    finally:
        part.unlink(missing_ok=True)


def partial_path(path: Path) -> Path:
    """A name beside a file's for what is not whole yet; no two are the same."""
    return path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")


def _take_name(part: Path, path: Path) -> None:
    """Give a file its name, unless something has it."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        # A disk without hard links, as memory cards are: there is no way to ask and take at once.
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from error
        os.replace(part, path)
