"""Damaged journals: found when they are opened, moved aside, and restored from a backup.

Once a day the journal is read as a whole and copied into the folder ``backups`` beside it, which
keeps the last `BACKUPS` of these copies. A process checks the structure of a journal when it first
opens it, and reads it as a whole where another one has met damage (`.suspect`).

A damaged journal is moved aside, never deleted. In its place comes the newest backup that is sound,
with the takes of the damaged file that can still be read and that the backup lacks.
"""

from __future__ import annotations

import contextlib
import logging
import os
import re
import shutil
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from datetime import date, datetime
from pathlib import Path
from typing import Any

from trainer.core.files import atomic_write, make_private_folder, partial_path
from trainer.core.system import file_lock, replace_path
from trainer.store.database import LOCK_TIMEOUT_S, describe_failure, open_database, transaction
from trainer.store.errors import JournalError
from trainer.store.rows import (
    CALIBRATION_COLUMNS,
    HARP_COLUMNS,
    STEP_COLUMNS,
    TAKE_COLUMNS,
    calibration_from_row,
    harp_from_row,
    step_from_row,
    take_from_row,
)
from trainer.store.schema import APPLICATION_ID

BACKUP_FOLDER = "backups"
BACKUPS = 5
"""Backups that are kept, one for each day on which the journal was opened. Chosen."""
_BACKUP = re.compile(r"\d{4}-\d{2}-\d{2}")
_MAGIC = b"SQLite format 3\0"
_APPLICATION_ID_AT = 68
"""Byte of a database at which its application id begins (Database File Format, sqlite.org)."""
_BESIDE = ("-wal", "-shm")
_MAX_PADDING = 16
"""Most times its length by which a journal that was cut off is padded."""
_STEPS = ", ".join(STEP_COLUMNS)
_TABLES: dict[str, tuple[str, Callable[[sqlite3.Row], object]]] = {
    "takes": ("*", lambda row: take_from_row(row, ())),
    "steps": (_STEPS, step_from_row),
    "harps": ("*", harp_from_row),
    "calibrations": ("*", calibration_from_row),
    "days": ("*", tuple),
    "focuses": ("*", tuple),
    "placements": ("*", tuple),
}
"""The tables, with their columns and what converts a row to a record."""
_CONVERSION_ERRORS = (TypeError, ValueError, LookupError, OverflowError)

_checked: set[tuple[str, int]] = set()
"""Files that this process has checked, by path and inode."""
_notices: list[str] = []
_log = logging.getLogger(__name__)


class DamageError(Exception):
    """A journal is damaged."""


def take_notices() -> list[str]:
    """Return what the player should know about the journal, a sentence each, and forget it."""
    notices = list(_notices)
    _notices.clear()
    return notices


def note(sentence: str) -> None:
    """Keep a sentence for :func:`take_notices`, and log it."""
    _log.warning("%s", sentence)
    _notices.append(sentence)


def open_sound(path: Path) -> sqlite3.Connection:
    """Open a journal; restore it first if it is damaged, and back it up once a day.

    Raises:
        JournalError: it is damaged and cannot be restored, is no journal, or a newer version wrote
            it.
        sqlite3.Error, OSError, ValueError: it cannot be opened.
    """
    try:
        db = _open_checked(path)
    except (sqlite3.Error, DamageError, *_CONVERSION_ERRORS) as error:
        if not (is_damage(error) and _is_ours(path)):
            raise
        db = _restore(path, error)
    with contextlib.suppress(sqlite3.Error, OSError):
        _back_up(db, path)
    return db


def is_damage(error: BaseException) -> bool:
    """Return whether an error stands for a damaged file."""
    name = getattr(error, "sqlite_errorname", "")
    is_text = isinstance(error, sqlite3.Error) and "decode to UTF-8" in str(error)
    return (
        name.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT"))
        or is_text
        or isinstance(error, (DamageError, *_CONVERSION_ERRORS))
    )


def suspect(path: Path) -> None:
    """Have a journal read as a whole when it is next opened."""
    with contextlib.suppress(OSError):
        _suspect_path(path).touch(mode=0o600)
    _checked.clear()


def _suspect_path(path: Path) -> Path:
    return path.with_name(f"{path.name}.suspect")


def _open_checked(path: Path) -> sqlite3.Connection:
    """Open a journal, and check it where this process has not done so."""
    db = open_database(path)
    try:
        key = (os.path.realpath(path), path.stat().st_ino)
        is_suspect = _suspect_path(path).exists()
        needs_backup = _needs_backup(db, path)
        if is_suspect or needs_backup or key not in _checked:
            _check(db, thorough=is_suspect or needs_backup, is_suspect=is_suspect)
            _checked.add(key)
        if is_suspect:
            _suspect_path(path).unlink(missing_ok=True)
    except BaseException:
        db.close()
        raise
    return db


def _check(db: sqlite3.Connection, *, thorough: bool, is_suspect: bool = False) -> None:
    """Check a journal.

    Args:
        db: the journal.
        thorough: whether to read every row; else only the structure is checked.
        is_suspect: whether reading it has failed before.

    Raises:
        DamageError, sqlite3.Error, ValueError, TypeError, KeyError: it is damaged.
    """
    (report,) = db.execute("PRAGMA quick_check(1)").fetchone()
    if report != "ok":
        raise DamageError(report)
    if not thorough:
        return
    for table, (columns, convert) in _TABLES.items():
        # A column that the schema lacks is damage only where somebody has missed it.
        with contextlib.nullcontext() if is_suspect else contextlib.suppress(IndexError):
            for row in db.execute(f"SELECT {columns} FROM {table}"):
                convert(row)


def _is_ours(path: Path) -> bool:
    """Return whether a damaged file was a journal: its header says so, or most of it."""
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError:
        return False
    ours = APPLICATION_ID.to_bytes(4, "big")
    at = head[_APPLICATION_ID_AT : _APPLICATION_ID_AT + 4]
    if at == ours:
        return True
    # With the header gone, the name and the backups speak for it.
    return head.startswith(_MAGIC) and not at.strip(b"\0") and bool(_backups(path))


# --- backups ---------------------------------------------------------------------------------


def _backup_path(path: Path, day: str) -> Path:
    real = Path(os.path.realpath(path))
    return real.parent / BACKUP_FOLDER / f"{real.stem}-{day}{real.suffix}"


def _backups(path: Path) -> list[Path]:
    """Return the backups of a journal, newest first."""
    pattern = _backup_path(path, "*")
    prefix = len(pattern.stem) - 1
    return sorted(
        (
            file
            for file in pattern.parent.glob(pattern.name)
            if _BACKUP.fullmatch(file.stem[prefix:])
        ),
        reverse=True,
    )


def _needs_backup(db: sqlite3.Connection, path: Path) -> bool:
    """Return whether a journal has takes and no backup of today."""
    if _backup_path(path, date.today().isoformat()).exists():
        return False
    return db.execute("SELECT 1 FROM takes LIMIT 1").fetchone() is not None


def _back_up(db: sqlite3.Connection, path: Path) -> None:
    """Copy a journal that has just been read as a whole, once a day; drop the oldest copies."""
    if not _needs_backup(db, path):
        return
    target = _backup_path(path, date.today().isoformat())
    make_private_folder(target.parent)
    with contextlib.suppress(FileExistsError):  # another process was quicker
        copy_database(db, target)
    for old in _backups(path)[BACKUPS:]:
        old.unlink(missing_ok=True)


def copy_database(db: sqlite3.Connection, path: Path) -> None:
    """Write a consistent copy of a database into a new file.

    Raises:
        FileExistsError: the name is taken.
        sqlite3.Error, OSError: it cannot be written; nothing of it remains.
    """
    with atomic_write(path) as part, closing(sqlite3.connect(part)) as copy:
        db.backup(copy)
        # Out of WAL mode, the copy is one file, and opens on read-only media.
        copy.execute("PRAGMA journal_mode = DELETE")


# --- restoring -------------------------------------------------------------------------------


def _restore(path: Path, error: BaseException) -> sqlite3.Connection:
    """Move a damaged journal aside, and put what is sound of it in its place.

    Raises:
        JournalError: it cannot be moved, or nothing can be written in its place.
    """
    real = Path(os.path.realpath(path))
    _log.error("the journal %s is damaged: %s", path, error)
    try:
        with file_lock(real.with_name(f".{real.name}.lock"), LOCK_TIMEOUT_S):
            with contextlib.suppress(sqlite3.Error, *_CONVERSION_ERRORS, DamageError):
                return _open_checked(path)  # another process has restored it meanwhile
            aside = _move_aside(real)
            part = partial_path(real)
            try:
                backup = _copy_backup(real, part)
                salvaged = _salvage(aside, part)
                replace_path(part, real)
            finally:
                for suffix in ("", *_BESIDE):
                    part.with_name(part.name + suffix).unlink(missing_ok=True)
            _suspect_path(path).unlink(missing_ok=True)
            note(_report(aside, backup, salvaged))
            return open_database(path)
    except (OSError, sqlite3.Error) as failure:
        raise JournalError(
            f"the journal {path} is damaged and cannot be restored: "
            f"{describe_failure(path, failure)}"
        ) from failure


def _report(aside: Path, backup: Path | None, salvaged: int) -> str:
    takes = f"{salvaged} take{'' if salvaged == 1 else 's'} that could still be read"
    if backup is None:
        kept = f"a new one holds {takes}" if salvaged else "a new one begins"
    else:
        later = f", with {takes}" if salvaged else ""
        kept = f"it is restored from the backup of {backup.stem[-10:]}{later}"
    return f"the journal was damaged: {kept}; the damaged file is kept as {aside}"


def _move_aside(real: Path) -> Path:
    """Rename a damaged journal with the files beside it; return its new name."""
    stamp = f"{datetime.now():%Y-%m-%d-%H%M%S}"
    aside = real.with_name(f"{real.stem}.damaged-{stamp}{real.suffix}")
    number = 1
    while os.path.lexists(aside):
        number += 1
        aside = real.with_name(f"{real.stem}.damaged-{stamp}-{number}{real.suffix}")
    for suffix in (*_BESIDE, ""):  # the journal last: a -wal file must not meet a restored one
        beside = real.with_name(real.name + suffix)
        if beside.exists():
            replace_path(beside, aside.with_name(aside.name + suffix))
    return aside


def _copy_backup(real: Path, part: Path) -> Path | None:
    """Copy the newest sound backup; return it, None if there is none."""
    for backup in _backups(real):
        try:
            shutil.copyfile(backup, part)
            with closing(open_database(part)) as db:
                _check(db, thorough=True)
            return backup
        except (sqlite3.Error, OSError, JournalError, DamageError, *_CONVERSION_ERRORS) as error:
            _log.warning("the backup %s cannot be used: %s", backup, error)
            for suffix in ("", *_BESIDE):
                part.with_name(part.name + suffix).unlink(missing_ok=True)
    return None


def _salvage(aside: Path, part: Path) -> int:
    """Add what can be read of a damaged journal to another one; return the number of new takes."""
    with closing(open_database(part)) as into:
        count = 0
        with _readable(aside) as damaged:
            if damaged is not None:
                count = _salvage_takes(damaged, into)
                for table, columns in (
                    ("harps", HARP_COLUMNS),
                    ("calibrations", CALIBRATION_COLUMNS),
                ):
                    _add(into, table, columns, _sound_rows(damaged, table, "rowid"))
        into.execute("PRAGMA journal_mode = DELETE")
    return count


def _salvage_takes(damaged: sqlite3.Connection, into: sqlite3.Connection) -> int:
    known = {row["id"] for row in into.execute("SELECT id FROM takes")}
    count = 0
    for take in _sound_rows(damaged, "takes", "rowid"):
        if take["id"] in known:
            continue
        steps = list(_sound_rows(damaged, "steps", "idx", take["id"]))
        with transaction(into):
            _add(into, "takes", TAKE_COLUMNS, [take])
            _add(into, "steps", STEP_COLUMNS, steps)
        known.add(take["id"])
        count += 1
    return count


@contextlib.contextmanager
def _readable(aside: Path) -> Iterator[sqlite3.Connection | None]:
    """Yield a copy of a damaged journal that can be read in part; None where nothing can."""
    copy = partial_path(aside)
    db = None
    try:
        for suffix in ("", *_BESIDE[:1]):
            beside = aside.with_name(aside.name + suffix)
            if beside.exists():
                shutil.copyfile(beside, copy.with_name(copy.name + suffix))
        _mend_header(copy)
        with contextlib.suppress(sqlite3.Error, JournalError, *_CONVERSION_ERRORS):
            open_database(copy).close()  # brings an older one up to date, if it can
        db = sqlite3.connect(copy, isolation_level=None)
        db.row_factory = sqlite3.Row
        # One bad byte would end the reading of a table; like this, it damages a field.
        db.text_factory = lambda data: data.decode("utf-8", "replace")
        yield db
    finally:
        if db is not None:
            db.close()
        for suffix in ("", *_BESIDE):
            copy.with_name(copy.name + suffix).unlink(missing_ok=True)


def _mend_header(copy: Path) -> None:
    """Give a file the first bytes and the length that SQLite wants before it reads any page.

    Offsets are those of the Database File Format (sqlite.org).
    """
    with copy.open("r+b") as file:
        head = file.read(100)
        length = file.seek(0, os.SEEK_END)
        page, pages = int.from_bytes(head[16:18], "big"), int.from_bytes(head[28:32], "big")
        if length < page * pages <= _MAX_PADDING * length:
            file.truncate(page * pages)
        file.seek(0)
        file.write(_MAGIC)


def _sound_rows(
    db: sqlite3.Connection, table: str, key: str, take: str | None = None
) -> Iterator[sqlite3.Row]:
    """Yield the rows of a table that can be read, from both ends up to the damage.

    Args:
        db: a damaged journal.
        table: the table.
        key: the column by which it is read.
        take: only the rows of this take; None for all.
    """
    columns, convert = _TABLES[table]
    where, values = ("", ()) if take is None else (" WHERE take = ?", (take,))
    for order in ("ASC", "DESC"):
        with contextlib.suppress(sqlite3.Error, *_CONVERSION_ERRORS):
            query = f"SELECT {columns} FROM {table}{where} ORDER BY {key} {order}"
            for row in db.execute(query, values):
                with contextlib.suppress(*_CONVERSION_ERRORS):
                    convert(row)
                    yield row
            return


def _add(
    db: sqlite3.Connection, table: str, columns: Iterable[str], rows: Iterable[sqlite3.Row]
) -> None:
    """Insert rows, except those that are there already."""
    names = tuple(columns)
    query = f"INSERT INTO {table} ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})"
    values: Iterable[tuple[Any, ...]] = (tuple(row[name] for name in names) for row in rows)
    db.executemany(f"{query} ON CONFLICT DO NOTHING", values)
