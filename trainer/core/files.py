"""Files written atomically, and files and folders that only their owner can access."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from trainer.core.system import replace_path

_OWNER_FILE_MODE = 0o600
_OWNER_FOLDER_MODE = 0o700
_OTHERS_MASK = 0o077
_NO_HARD_LINK_ERRNOS = (
    errno.EPERM,
    errno.EOPNOTSUPP,
    errno.ENOSYS,
    errno.EMLINK,
    errno.EACCES,
)


def make_private_folder(path: Path) -> None:
    """Create a folder, and its missing parents, that only the owner can enter.

    An existing folder is left unchanged.

    Raises:
        OSError: it cannot be created.
    """
    if path.is_dir() or path == path.parent:
        return
    make_private_folder(path.parent)
    path.mkdir(mode=_OWNER_FOLDER_MODE, exist_ok=True)


def create_private_file(path: Path) -> None:
    """Create an empty file that only the owner can read.

    Raises:
        OSError: it cannot be created, or the name is taken.
    """
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _OWNER_FILE_MODE))


def restrict_to_owner(path: Path) -> None:
    """Remove the permissions of other users from a file, if it exists and belongs to us."""
    with contextlib.suppress(FileNotFoundError, PermissionError):
        if path.stat().st_mode & _OTHERS_MASK:
            path.chmod(_OWNER_FILE_MODE)


@contextmanager
def atomic_write(path: Path) -> Iterator[Path]:
    """Write a new private file under a temporary name; it gets its own name at the end.

    Yields:
        The temporary path to write to.

    Raises:
        FileExistsError: the name is taken; that file is left unchanged.
        OSError: it cannot be written; nothing of it remains.
    """
    if os.path.lexists(path):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    part = partial_path(path)
    create_private_file(part)
    try:
        yield part
        _rename_without_overwriting(part, path)
    finally:
        part.unlink(missing_ok=True)


def replace_file(
    path: Path, data: bytes, *, mode: int = _OWNER_FILE_MODE, waits_for_disk: bool = True
) -> None:
    """Replace the content of a file atomically: readers see the old content or the new.

    Args:
        path: the file; where it is a link, the file it points to is replaced.
        data: the new content.
        mode: permissions of the new file.
        waits_for_disk: whether it is on the disk on return. If not, it outlives the process but
            not a loss of power in the next seconds; on a busy disk, waiting takes seconds.

    Raises:
        OSError: it cannot be written; the old file is left unchanged.
    """
    path = path.resolve()
    handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}-", suffix=".new", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            if waits_for_disk:
                file.flush()
                os.fsync(file.fileno())
        temporary.chmod(mode)
        replace_path(temporary, path)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise


def usual_mode() -> int:
    """Return the permissions that a new file usually gets from the process's mask."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def partial_path(path: Path) -> Path:
    """Return a unique temporary name beside a file, for use while it is incomplete."""
    import secrets  # loads OpenSSL, which commands that write nothing need not wait for

    return path.with_name(f"{path.name}.{secrets.token_hex(4)}.part")


def _rename_without_overwriting(part: Path, path: Path) -> None:
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError as error:
        if error.errno not in _NO_HARD_LINK_ERRNOS:
            raise
        # File systems without hard links, as on memory cards: check and rename are two steps.
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from error
        replace_path(part, path)
