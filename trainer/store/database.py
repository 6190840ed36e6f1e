"""Opening the journal's file: private, known for what it is, and brought up to date."""

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
"""So long one waits for another copy of the trainer."""
OLDEST_SQLITE = (3, 37, 0)
"""The first with strict tables."""
_RETRY_S = 0.02
_HARDLY_FREE = 2**20
_ASK = (
    "SELECT (SELECT count(*) FROM sqlite_master), application_id, user_version "
    "FROM pragma_application_id, pragma_user_version"
)
_MAKING = threading.Lock()
_log = logging.getLogger(__name__)


def open_database(path: Path) -> sqlite3.Connection:
    """The journal in a file; one that is not there is made, an older one is brought up to date.

    Raises:
        JournalError: it is no journal, or a newer trainer wrote it; the file stays as it was.
        sqlite3.Error, OSError: it cannot be opened; :func:`describe_failure` says why.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE[:2]))
        raise JournalError(
            f"the journal needs SQLite {needed} or newer, and this Python has "
            f"{sqlite3.sqlite_version}; use a newer Python"
        )
    real = Path(os.path.realpath(path))
    if real.exists() and not real.is_file():
        raise JournalError(f"the journal {path} is no file; move it away, or name another")
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
            # SQLite does not wait where it would have to turn a lock for reading into one for
            # writing, as when a new file is written ahead for the first time.
            if not (_is_busy(error) and time.monotonic() < deadline):
                raise
        time.sleep(_RETRY_S)


@contextmanager
def transaction(db: sqlite3.Connection) -> Iterator[None]:
    """All of what is written in the block is kept, or none; then it is on the disk."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:  # a full disk may have ended it already
            with contextlib.suppress(sqlite3.Error):
                db.execute("ROLLBACK")
        raise


def describe_failure(path: Path, error: Exception) -> str:
    """Why something could not be done with a file, and the way out: ``the disk is full; make
    room on it``.

    Args:
        path: the file.
        error: of SQLite's or the system's, or about what was read from the file.
    """
    return "; ".join(_reason(path, error))


def _reason(path: Path, error: Exception) -> tuple[str, str]:
    code = getattr(error, "sqlite_errorname", "")
    number = error.errno if isinstance(error, OSError) else None
    if (
        code.startswith("SQLITE_FULL")
        or number in (errno.ENOSPC, errno.EDQUOT)
        or (code.startswith("SQLITE_IOERR") and _is_full(path))
    ):
        return "the disk is full", "make room on it"
    if code.startswith("SQLITE_IOERR") or number in (errno.EIO, errno.EFBIG):
        return (
            "the disk refused it, or takes no more",
            "make room on it, and see whether it is sound",
        )
    if code.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")) or number in (
        errno.EACCES,
        errno.EPERM,
        errno.EROFS,
    ):
        return "its folder or file may not be written", "check their owner and rights"
    if number == errno.ENOENT:
        return f"there is no folder {path.parent}", "make it, or name another file"
    if number in (errno.ENOTDIR, errno.EEXIST):
        return "a file stands where a folder should be", "move that away, or name another file"
    if code.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")) or isinstance(error, ValueError):
        # A log that is left beside another file would be written into that one.
        return "it is damaged or no journal", "move it away with its -wal, and bring back a backup"
    if code.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL")):
        return "another copy of the trainer holds it", "close that one, or try again"
    said = str(getattr(error, "strerror", None) or error)
    return said, "check the file, its folder and their rights"


def _is_full(path: Path) -> bool:
    try:
        return shutil.disk_usage(path.parent).free < _HARDLY_FREE
    except OSError:
        return False


def _is_busy(error: BaseException) -> bool:
    name = getattr(error, "sqlite_errorname", "")
    return name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED", "SQLITE_PROTOCOL"))


def _make_private(path: Path) -> None:
    """See that the file is there, and that its owner alone can read it; SQLite gives those that
    it makes beside it the same rights.

    A file that is there is not opened: closing it again would let go of the locks that SQLite has
    on it for the rest of this process (as POSIX has it), and others could then write over what is
    in use.
    """
    make_private_folder(path.parent)
    with _MAKING:
        try:
            create_private_file(path)
        except FileExistsError:
            for end in ("", "-wal", "-shm"):
                restrict_to_owner(path.with_name(path.name + end))


def _prepare(db: sqlite3.Connection, path: Path) -> None:
    db.row_factory = sqlite3.Row
    version = _version(db, path)  # before anything is written into somebody else's file
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA fullfsync = ON")
    if version < SCHEMA_VERSION:
        _bring_up_to_date(db, path)
    db.execute("PRAGMA foreign_keys = ON")


def _version(db: sqlite3.Connection, path: Path) -> int:
    """The version of a journal; 0 for a file with nothing in it.

    Raises:
        JournalError: it is another program's database, or a newer trainer's.
    """
    tables, mark, version = db.execute(_ASK).fetchone()
    if mark != APPLICATION_ID and (tables or mark or version):
        raise JournalError(
            f"{path} is a database of another program and no journal; name another file"
        )
    if version > SCHEMA_VERSION:
        raise JournalError(
            f"the journal {path} was written by a newer trainer (version {version}, and this "
            f"one knows {SCHEMA_VERSION}); update the trainer, or name another file"
        )
    return int(version)


def _bring_up_to_date(db: sqlite3.Connection, path: Path) -> None:
    """Take the steps from the journal's version to ours, all or none.

    While tables are rebuilt, rows may point nowhere for a utc_text and must not be deleted for
    that; they are checked when all is done.
    """
    with transaction(db):
        for step in MIGRATIONS[_version(db, path) :]:  # another copy may have been at it meanwhile
            for statement in _statements(step):
                db.execute(statement)
        if db.execute("PRAGMA foreign_key_check").fetchone():
            raise JournalError(
                f"the journal {path} cannot be brought up to date: it has steps without a take; "
                "move it away with its -wal, and bring back a backup"
            )
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    _log.info("upgraded %s to schema version %d", path, SCHEMA_VERSION)


def _statements(script: str) -> Iterator[str]:
    """The statements of a script, one by one: to run it whole would end the transaction."""
    statement = ""
    for piece in script.split(";"):
        statement += piece + ";"
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
    if statement:
        yield statement  # SQLite says what is wrong with it
