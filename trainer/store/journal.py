"""The journal: takes, own harps, calibrations and daily sets in one SQLite file.

The file is in WAL mode: readers never wait for a writer, and after a crash it opens with every
take that was finished. Several processes may use it at once; writers wait for each other. Data is
on the disk when a writing method returns.

Only the owner can read the file and its folder. Nothing in them is sent anywhere.
"""

from __future__ import annotations

import json
import logging
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import platformdirs

from trainer.store.database import (
    LOCK_TIMEOUT_S,
    describe_failure,
    transaction,
)
from trainer.store.errors import JournalError
from trainer.store.records import (
    Calibration,
    Focus,
    OwnHarp,
    Placement,
    StepRecord,
    TakeRecord,
)
from trainer.store.repair import DamageError, copy_database, is_damage, open_sound, suspect
from trainer.store.rows import (
    CALIBRATION_COLUMNS,
    FOCUS_COLUMNS,
    HARP_COLUMNS,
    PLACEMENT_COLUMNS,
    STEP_COLUMNS,
    TAKE_COLUMNS,
    Row,
    calibration_from_row,
    calibration_row,
    focus_from_row,
    focus_row,
    harp_from_row,
    harp_row,
    placement_from_row,
    placement_row,
    step_from_row,
    step_row,
    take_from_row,
    take_row,
)

FILE = "journal.sqlite"

_CONVERSION_ERRORS = (TypeError, ValueError, LookupError, OverflowError)
"""Raised where a row does not convert to a record, or a record to a row."""
CHECKPOINT_PAGES = 1000
"""Pages of the log (WAL) from which a commit copies them into the database; SQLite's default."""
_log = logging.getLogger(__name__)


class MergeCounts(NamedTuple):
    """Numbers of records that a merge added."""

    takes: int
    harps: int
    calibrations: int
    focuses: int = 0
    placements: int = 0


def journal_path() -> Path:
    """Return the default path of the journal, in the user's data folder."""
    return Path(platformdirs.user_data_dir("trainer", appauthor=False)) / FILE


def flush_journal(path: Path) -> None:
    """Write what is committed in an open journal to the disk; on a busy disk that takes seconds.

    May run in any thread, and while others write. A failure is logged; the next flush makes up for
    it.

    Args:
        path: the file of the journal.
    """
    existing = f"{Path(os.path.realpath(path)).as_uri()}?mode=rw"
    try:
        with closing(sqlite3.connect(existing, uri=True, isolation_level=None)) as db:
            db.execute("PRAGMA checkpoint_fullfsync = ON")
            db.execute("PRAGMA wal_checkpoint(PASSIVE)")
    except sqlite3.Error as error:
        _log.warning("the journal %s is not on the disk yet: %s", path, error)


class Journal:
    """An open journal, for use in the thread that opened it.

    Reading raises :class:`JournalError` where the file is damaged or cannot be read.
    """

    def __init__(self, path: Path | None = None) -> None:
        """Open a journal; create it if it is missing, upgrade it if it is older.

        Args:
            path: the file; None for :func:`journal_path`.

        Raises:
            JournalError: the file cannot be opened, is no journal, or a newer version wrote it. A
                damaged one is restored, see :mod:`trainer.store.repair`.
        """
        self.path = path or journal_path()
        try:
            self._db = open_sound(self.path)
        except (sqlite3.Error, OSError, DamageError, *_CONVERSION_ERRORS) as error:
            raise JournalError(
                f"the journal {self.path} cannot be opened: {describe_failure(self.path, error)}"
            ) from error

    @property
    def folder(self) -> Path:
        """The folder of the file."""
        return Path(os.path.realpath(self.path)).parent

    def close(self) -> None:
        """Close the journal. May be called twice."""
        self._db.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # Takes

    def add(self, *takes: TakeRecord) -> int:
        """Add takes, all or none; a take whose id exists already is left unchanged.

        Returns:
            the number of new takes.

        Raises:
            JournalError: the journal cannot be written.
        """
        with self._writing() as db:
            return sum(_add(db, take) for take in takes)

    def put(self, take: TakeRecord) -> None:
        """Add a take, in place of what there was of it under its id.

        It does not wait for the disk: it outlives this process, and from :func:`flush_journal` on a
        loss of power.

        Raises:
            JournalError: the journal cannot be written.
        """
        with self._leaving_the_disk(), self._writing() as db:
            db.execute("DELETE FROM takes WHERE id = ?", (take.id,))
            _add(db, take)

    def put_part(self, take: TakeRecord, steps: Iterable[StepRecord]) -> None:
        """Add a take that is still being played, or renew it; other steps of it stay.

        It waits neither for other processes nor for the disk: it outlives this process, but not a
        loss of power, and :meth:`put` follows.

        Args:
            take: the take; its own steps are ignored.
            steps: the steps that are new, or have changed.

        Raises:
            JournalError: the journal cannot be written now.
        """
        row = take_row(take)
        changes = ", ".join(f"{name} = excluded.{name}" for name in TAKE_COLUMNS[1:])
        query = _insert("takes", TAKE_COLUMNS, f"ON CONFLICT (id) DO UPDATE SET {changes}")
        with self._hurrying(), self._writing() as db:
            db.execute(query, row)
            rows = [step_row(take.id, step) for step in steps]
            db.executemany(_insert("steps", STEP_COLUMNS, _REPLACE), rows)

    def discard(self, take: str) -> None:
        """Delete a take, by its id; nothing happens where there is none.

        It does not wait for the disk, as :meth:`put` does not.

        Raises:
            JournalError: the journal cannot be written.
        """
        with self._leaving_the_disk(), self._writing() as db:
            db.execute("DELETE FROM takes WHERE id = ?", (take,))

    def takes(
        self,
        *,
        player: str | None = None,
        drill: str | None = None,
        since: date | None = None,
        until: date | None = None,
        steps: bool = True,
    ) -> list[TakeRecord]:
        """Return takes in the order in which they were played.

        Args:
            player: only takes of this player; None for all.
            drill: only takes of this drill; None for all.
            since: first day; None for no limit.
            until: last day; None for no limit.
            steps: whether to read the steps, too.
        """
        where, values = _where(
            ("player = ?", player),
            ("drill = ?", drill),
            ("day >= ?", since.isoformat() if since else None),
            ("day <= ?", until.isoformat() if until else None),
        )
        steps_by_take: dict[str, list[StepRecord]] = {}
        with self._reading() as db:
            # Takes first: their steps are in the file by then, whatever is added meanwhile.
            query = f"SELECT * FROM takes{where} ORDER BY began, id"
            rows = db.execute(query, values).fetchall()
            if steps:
                query = f"{_STEPS} WHERE take IN (SELECT id FROM takes{where})"
                for row in db.execute(f"{query} ORDER BY take, idx", values):
                    steps_by_take.setdefault(row["take"], []).append(step_from_row(row))
            return [take_from_row(row, steps_by_take.get(row["id"], ())) for row in rows]

    def columns(
        self, *names: str, player: str | None = None, since: date | None = None
    ) -> list[tuple[Any, ...]]:
        """Return fields of all steps as columns; far faster than records for a year of practice.

        Args:
            names: fields of :class:`StepRecord`, or ``take`` for the take's id; `parts` is JSON.
            player: as in :meth:`takes`.
            since: as in :meth:`takes`.
        """
        assert set(names) <= set(STEP_COLUMNS), names
        where, values = _where(
            ("player = ?", player), ("day >= ?", since.isoformat() if since else None)
        )
        query = f"SELECT {', '.join(names)} FROM steps WHERE take IN (SELECT id FROM takes{where})"
        with self._reading() as db:
            return list(zip(*db.execute(query, values), strict=True)) or [()] * len(names)

    def take(self, beginning: str) -> TakeRecord:
        """Return the take with this id, or the only one whose id begins so.

        Raises:
            JournalError: no take or several takes match.
        """
        with self._reading() as db:
            rows = db.execute(
                "SELECT * FROM takes WHERE substr(id, 1, ?) = ?", (len(beginning), beginning)
            ).fetchall()
            rows = [row for row in rows if row["id"] == beginning] or rows
            if len(rows) != 1 or not beginning:
                count = "more than one take" if rows else "no take"
                message = f"{count} has an id that begins with '{beginning}'"
                if not beginning:
                    message = "the id of a take is missing"
                raise JournalError(f"{message}; 'trainer journal list' shows all ids")
            (row,) = rows
            steps = db.execute(f"{_STEPS} WHERE take = ? ORDER BY idx", (row["id"],))
            return take_from_row(row, [step_from_row(step) for step in steps])

    def set_audio(self, take: str, audio: str | None) -> None:
        """Set the audio file of a take, by the take's id; None for no audio."""
        with self._writing() as db:
            db.execute("UPDATE takes SET audio = ? WHERE id = ?", (audio, take))

    def players(self) -> list[str]:
        """Return the names of all players who have a take, a harp, a focus or a level."""
        tables = ("takes", "harps", "focuses", "placements")
        query = " UNION ".join(f"SELECT player FROM {table}" for table in tables)
        with self._reading() as db:
            return [row["player"] for row in db.execute(f"{query} ORDER BY player")]

    # Harps, devices and days

    def add_harp(self, harp: OwnHarp) -> None:
        """Add a measurement of a harp, beside earlier ones."""
        with self._writing() as db:
            db.execute(_insert("harps", HARP_COLUMNS, _REPLACE), harp_row(harp))

    def harps(self, player: str | None = None) -> list[OwnHarp]:
        """Return all measurements of harps, in order of time; None for those of all players."""
        where, values = _where(("player = ?", player))
        query = f"SELECT * FROM harps{where} ORDER BY measured, name, player"
        with self._reading() as db:
            return [harp_from_row(row) for row in db.execute(query, values)]

    def add_calibration(self, calibration: Calibration) -> None:
        """Add a calibration, beside earlier ones of the same devices."""
        with self._writing() as db:
            query = _insert("calibrations", CALIBRATION_COLUMNS, _REPLACE)
            db.execute(query, calibration_row(calibration))

    def calibrations(self) -> list[Calibration]:
        """Return all calibrations, in order of time."""
        query = "SELECT * FROM calibrations ORDER BY measured, input, output"
        with self._reading() as db:
            return [calibration_from_row(row) for row in db.execute(query)]

    def save_daily_set(self, player: str, day: date, minutes: float, entries: list[Any]) -> None:
        """Save the daily set of a player, in place of an earlier one of that day.

        Args:
            player: the player of the set.
            day: the day of the set.
            minutes: its length.
            entries: its entries, as JSON values.
        """
        with self._writing() as db:
            row = (player, day.isoformat(), minutes, json.dumps(entries))
            db.execute(_insert("days", ("player", "day", "minutes", "entries"), _REPLACE), row)

    def day(self, player: str, day: date) -> tuple[float, list[Any]] | None:
        """Return minutes and entries of a daily set; None if none was saved."""
        query = "SELECT minutes, entries FROM days WHERE player = ? AND day = ?"
        with self._reading() as db:
            row = db.execute(query, (player, day.isoformat())).fetchone()
            return (row["minutes"], json.loads(row["entries"])) if row else None

    def save_focus(self, player: str, focus: Focus | None) -> None:
        """Save what a player wants to work on, in place of what it was before; None for nothing."""
        with self._writing() as db:
            db.execute("DELETE FROM focuses WHERE player = ?", (player,))
            if focus is not None:
                db.execute(_insert("focuses", FOCUS_COLUMNS), focus_row(player, focus))

    def focus(self, player: str, day: date) -> Focus | None:
        """Return what a player wants to work on, on a day; None for nothing."""
        query = "SELECT * FROM focuses WHERE player = ? AND since <= ? AND until >= ?"
        with self._reading() as db:
            row = db.execute(query, (player, day.isoformat(), day.isoformat())).fetchone()
            return focus_from_row(row) if row else None

    def focuses(self, player: str | None = None) -> list[tuple[str, Focus]]:
        """Return the last focus of each player, with the player's name, over or not.

        Args:
            player: only of this player; None for all.
        """
        where, values = _where(("player = ?", player))
        query = f"SELECT * FROM focuses{where} ORDER BY player"
        with self._reading() as db:
            return [(row["player"], focus_from_row(row)) for row in db.execute(query, values)]

    def save_placements(self, player: str, placements: Iterable[Placement]) -> None:
        """Save levels of a player, each in place of an earlier one of its skill."""
        with self._writing() as db:
            rows = [placement_row(player, each) for each in placements]
            db.executemany(_insert("placements", PLACEMENT_COLUMNS, _REPLACE), rows)

    def placements(self, player: str) -> list[Placement]:
        """Return the levels of a player, by skill."""
        return [placement for _, placement in self.all_placements(player)]

    def all_placements(self, player: str | None = None) -> list[tuple[str, Placement]]:
        """Return the levels of players with their names, by player and skill.

        Args:
            player: only of this player; None for all.
        """
        where, values = _where(("player = ?", player))
        query = f"SELECT * FROM placements{where} ORDER BY player, skill"
        with self._reading() as db:
            return [(row["player"], placement_from_row(row)) for row in db.execute(query, values)]

    # The whole journal

    def merge(
        self,
        takes: Iterable[TakeRecord],
        harps: Iterable[OwnHarp] = (),
        calibrations: Iterable[Calibration] = (),
        focuses: Iterable[tuple[str, Focus]] = (),
        placements: Iterable[tuple[str, Placement]] = (),
    ) -> MergeCounts:
        """Add records of another journal, all or none; existing records are left unchanged.

        Calibrations are added only for pairs of devices that this journal has none of: those of
        another computer must not replace its own. A player has one focus, and one level in a skill:
        the later one stays.

        Raises:
            JournalError: the journal cannot be written.
        """
        pairs = "SELECT DISTINCT input, output FROM calibrations"
        with self._writing() as db:
            known = {tuple(row) for row in db.execute(pairs)}
            new = [entry for entry in calibrations if (entry.input, entry.output) not in known]
            return MergeCounts(
                sum(_add(db, take) for take in takes),
                _insert_new(db, _insert("harps", HARP_COLUMNS, _SKIP), map(harp_row, harps)),
                _insert_new(
                    db,
                    _insert("calibrations", CALIBRATION_COLUMNS, _SKIP),
                    map(calibration_row, new),
                ),
                _insert_new(
                    db,
                    _insert("focuses", FOCUS_COLUMNS, _later("player", "since", FOCUS_COLUMNS)),
                    (focus_row(player, focus) for player, focus in focuses),
                ),
                _insert_new(
                    db,
                    _insert(
                        "placements",
                        PLACEMENT_COLUMNS,
                        _later("player, skill", "day", PLACEMENT_COLUMNS),
                    ),
                    (placement_row(player, placement) for player, placement in placements),
                ),
            )

    def copy_to(self, path: Path) -> None:
        """Write a consistent copy of the journal, even while other processes write to it.

        Raises:
            JournalError: the target exists, or cannot be written; no partial file stays behind.
        """
        try:
            copy_database(self._db, path)
        except FileExistsError as error:
            raise JournalError(f"{path} exists already; choose another name") from error
        except (sqlite3.Error, OSError) as error:
            raise JournalError(
                f"the journal {self.path} cannot be copied to {path}: "
                f"{describe_failure(path, error)}"
            ) from error

    # Transactions

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """Open a transaction, and turn its errors into :class:`JournalError`."""
        try:
            with transaction(self._db):
                yield self._db
        except sqlite3.IntegrityError as error:
            raise JournalError(
                f"a record cannot be written to the journal {self.path}: a field is missing or has "
                f"the wrong type ({error}); it is left out"
            ) from error
        except sqlite3.Error as error:
            raise JournalError(
                f"the journal {self.path} cannot be written: {describe_failure(self.path, error)}"
            ) from error
        except _CONVERSION_ERRORS as error:
            raise JournalError(
                f"a record cannot be written to the journal {self.path}: {error}; it is left out"
            ) from error

    @contextmanager
    def _hurrying(self) -> Iterator[None]:
        """Wait neither for other processes nor for the disk."""
        self._db.execute("PRAGMA busy_timeout = 0")
        try:
            with self._leaving_the_disk():
                yield
        finally:
            self._db.execute(f"PRAGMA busy_timeout = {round(1000 * LOCK_TIMEOUT_S)}")

    @contextmanager
    def _leaving_the_disk(self) -> Iterator[None]:
        """Leave the disk, which commits and checkpoints would wait for, to `flush_journal`."""
        self._db.execute("PRAGMA synchronous = NORMAL")
        self._db.execute("PRAGMA wal_autocheckpoint = 0")
        try:
            yield
        finally:
            self._db.execute("PRAGMA synchronous = FULL")
            self._db.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        try:
            yield self._db
        except (sqlite3.Error, *_CONVERSION_ERRORS) as error:
            if is_damage(error):
                suspect(self.path)
                raise JournalError(
                    f"the journal {self.path} is damaged: try again, and the trainer restores what "
                    "can be read of it and of its last backup"
                ) from error
            raise JournalError(
                f"the journal {self.path} cannot be read: {describe_failure(self.path, error)}"
            ) from error


_STEPS = f"SELECT {', '.join(STEP_COLUMNS)} FROM steps"
_REPLACE = "OR REPLACE"
_SKIP = "ON CONFLICT DO NOTHING"
"""Not OR IGNORE, which would also skip incomplete rows silently."""


def _later(key: str, day: str, columns: tuple[str, ...]) -> str:
    """Build a conflict clause that keeps the row with the later day, of two with the same key."""
    changes = ", ".join(f"{name} = excluded.{name}" for name in columns)
    return f"ON CONFLICT ({key}) DO UPDATE SET {changes} WHERE excluded.{day} > {day}"


def _insert(table: str, columns: tuple[str, ...], clash: str = "") -> str:
    """Build an INSERT statement; `clash` is the conflict clause."""
    before, after = (clash, "") if clash == _REPLACE else ("", clash)
    places = ", ".join("?" * len(columns))
    return f"INSERT {before} INTO {table} ({', '.join(columns)}) VALUES ({places}) {after}"


def _add(db: sqlite3.Connection, take: TakeRecord) -> bool:
    """Insert a take unless its id exists; return whether it was new."""
    if not _insert_new(db, _insert("takes", TAKE_COLUMNS, _SKIP), [take_row(take)]):
        return False
    rows = [step_row(take.id, step) for step in take.steps]
    db.executemany(_insert("steps", STEP_COLUMNS), rows)
    return True


def _insert_new(db: sqlite3.Connection, query: str, rows: Iterable[Row]) -> int:
    """Insert rows and return the number of new ones."""
    before = db.total_changes
    db.executemany(query, rows)
    return db.total_changes - before


def _where(*conditions: tuple[str, str | None]) -> tuple[str, list[str]]:
    """Build a WHERE clause and its values from the conditions that have one."""
    used = [(text, value) for text, value in conditions if value is not None]
    if not used:
        return "", []
    return " WHERE " + " AND ".join(text for text, _ in used), [value for _, value in used]
