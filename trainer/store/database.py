"""Opening the journal's database: file rights, identity check and schema upgrades."""

from __future__ import annotations

import contextlib
import errno
import logging
import os
import shutil
import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from trainer.core.files import create_private_file, make_private_folder, restrict_to_owner
from trainer.store.errors import JournalError
from trainer.store.schema import APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION

LOCK_TIMEOUT_S = 10.0
"""Maximum wait in seconds for another process to release the database. Chosen."""
OLDEST_SQLITE = (3, 37, 0)
"""First version of SQLite with STRICT tables (its release notes)."""
_RETRY_INTERVAL_S = 0.02
_FULL_DISK_BYTES = 2**20
"""Free space in bytes below which an I/O error is reported as a full disk. Chosen."""
_IDENTITY_QUERY = (
    "SELECT (SELECT count(*) FROM sqlite_master), application_id, user_version "
    "FROM pragma_application_id, pragma_user_version"
)
_CREATION_LOCK = threading.Lock()
_log = logging.getLogger(__name__)


def open_database(path: Path) -> sqlite3.Connection:
    """Open a journal's database; create it if it is missing, upgrade it if it is older.

    Raises:
        JournalError: the file is no journal, or a newer version wrote it; it is left unchanged.
        sqlite3.Error, OSError: the file cannot be opened; see :func:`describe_failure`.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE[:2]))
        raise JournalError(
            f"the journal needs SQLite {needed} or newer, and this Python has "
            f"{sqlite3.sqlite_version}; use a newer Python"
        )
    real = Path(os.path.realpath(path))
    if real.exists() and not real.is_file():
        raise JournalError(f"the journal {path} is not a file; move it, or choose another path")
    _make_private(real)
    deadline = time.monotonic() + LOCK_TIMEOUT_S
    while True:
        db = sqlite3.connect(real, timeout=LOCK_TIMEOUT_S, isolation_level=None)
        try:
            _prepare(db, path)
            _log.debug("opened %s", path)
            return db
        except BaseException as error:
            db.close()
            # SQLite's own timeout does not cover the upgrade of a read lock to a write lock, which
            # happens when a new file enters WAL mode.
            if not (_is_busy(error) and time.monotonic() < deadline):
                raise
        time.sleep(_RETRY_INTERVAL_S)


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """Run the block as one transaction, committed to disk at its end or rolled back."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:  # a full disk may have rolled it back already
            with contextlib.suppress(sqlite3.Error):
                db.execute("ROLLBACK")
        raise


def describe_failure(path: Path, error: Exception) -> str:
    """Describe why a file could not be used, and the remedy: ``the disk is full; free some space``.

    Args:
        path: the file.
        error: an error of SQLite or of the system, or a ValueError about the file's content.
    """
    return "; ".join(_reason_and_remedy(path, error))


def _reason_and_remedy(path: Path, error: Exception) -> tuple[str, str]:
    code = getattr(error, "sqlite_errorname", "")
    number = error.errno if isinstance(error, OSError) else None
    if (
        code.startswith("SQLITE_FULL")
        or number in (errno.ENOSPC, errno.EDQUOT)
        or (code.startswith("SQLITE_IOERR") and _is_full(path))
    ):
        return "the disk is full", "free some space"
    if code.startswith("SQLITE_IOERR") or number in (errno.EIO, errno.EFBIG):
        return "the disk reported an error", "free some space, and check the disk"
    if code.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")) or number in (
        errno.EACCES,
        errno.EPERM,
        errno.EROFS,
    ):
        return "no permission to write the file or its folder", "check their owner and permissions"
    if number == errno.ENOENT:
        return f"the folder {path.parent} does not exist", "create it, or choose another file"
    if number in (errno.ENOTDIR, errno.EEXIST):
        return "a file is in the place of a folder", "move it, or choose another file"
    if code.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")) or isinstance(error, ValueError):
        # SQLite would apply a -wal file that stays behind to the restored backup.
        return (
            "it is damaged or not a journal",
            "move it away with its -wal file, and restore a backup",
        )
    if code.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL")):
        return "another copy of the trainer is using it", "close that one, or try again"
    message = str(getattr(error, "strerror", None) or error)
    return message, "check the file, its folder and their permissions"


def _is_full(path: Path) -> bool:
    try:
        return shutil.disk_usage(path.parent).free < _FULL_DISK_BYTES
    except OSError:
        return False


def _is_busy(error: BaseException) -> bool:
    name = getattr(error, "sqlite_errorname", "")
    return name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL"))


def _make_private(path: Path) -> None:
    """Make sure that the file exists and that only its owner can read it.

    SQLite gives the files beside it (-wal, -shm) the same permissions. An existing file is not
    opened here: POSIX releases all locks of a process on a file when any of its descriptors is
    closed, so SQLite would lose its locks.
    """
    make_private_folder(path.parent)
    with _CREATION_LOCK:
        try:
            create_private_file(path)
        except FileExistsError:
            for suffix in ("", "-wal", "-shm"):
                restrict_to_owner(path.with_name(path.name + suffix))


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    db.row_factory = sqlite3.Row
    version = _version(db, path)  # first: nothing may be written into another program's file
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA fullfsync = ON")
    if version < SCHEMA_VERSION:
        _upgrade(db, path)
    db.execute("PRAGMA foreign_keys = ON")


def _version(db: sqlite3.Connection, path: Path) -> int:
    """Return the schema version of a journal; 0 for an empty database.

    Raises:
        JournalError: the database belongs to another program, or a newer version wrote it.
    """
    tables, application, version = db.execute(_IDENTITY_QUERY).fetchone()
    if application != APPLICATION_ID and (tables or application or version):
        raise JournalError(
            f"{path} is a database of another program, not a journal; choose another file"
        )
    if version > SCHEMA_VERSION:
        raise JournalError(
            f"a newer trainer wrote the journal {path} (version {version}; this one reads up to "
            f"{SCHEMA_VERSION}); update the trainer, or choose another file"
        )
    return int(version)


def _upgrade(db: sqlite3.Connection, path: Path) -> None:
    """Apply the missing migrations in one transaction.

    Foreign keys are off meanwhile, because a migration may rebuild tables; they are checked at the
    end.
    """
    with transaction(db):
        # Read the version again: another process may have upgraded the file meanwhile.
        for script in MIGRATIONS[_version(db, path) :]:
            for statement in _statements(script):
                db.execute(statement)
        if db.execute("PRAGMA foreign_key_check").fetchone():
            raise JournalError(
                f"the journal {path} cannot be upgraded: it has steps without a take; move it away "
                "with its -wal file, and restore a backup"
            )
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    _log.info("upgraded %s to schema version %d", path, SCHEMA_VERSION)


def _statements(script: str) -> Iterator[str]:
    """Split a script into statements; ``executescript`` would commit the transaction."""
    statement = ""
    for piece in script.split(";"):
        statement += piece + ";"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
    if statement:
        yield statement  # incomplete: SQLite raises the error
