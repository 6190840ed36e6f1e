"""The journal: one SQLite file that remembers every take.

It is written ahead (WAL), so that whoever reads never waits for who writes, and a journal that was
killed at any utc_text opens again with every take that was finished. Two copies of the trainer may
use it at once: a writer waits its turn. What is written is on the disk when the call returns.

The file and its folder can be read by their owner alone, and nothing in them is sent anywhere.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import platformdirs

from trainer.core.files import atomic_write
from trainer.store.database import describe_failure, open_database, transaction
from trainer.store.errors import JournalError
from trainer.store.records import Calibration, OwnHarp, StepRecord, TakeRecord
from trainer.store.rows import (
    CALIBRATION_COLUMNS,
    HARP_COLUMNS,
    STEP_COLUMNS,
    TAKE_COLUMNS,
    Row,
    calibration_from_row,
    calibration_row,
    harp_from_row,
    harp_row,
    step_from_row,
    step_row,
    take_from_row,
    take_row,
)

FILE = "journal.sqlite"

_UNFIT = (TypeError, ValueError, KeyError, OverflowError)
"""What comes of a row that cannot be a record, and of a record that cannot be a row."""


class MergeCounts(NamedTuple):
    """How many of each were new."""

    takes: int
    harps: int
    calibrations: int


def journal_path() -> Path:
    """Where the journal lies unless the player says otherwise."""
    return Path(platformdirs.user_data_dir("trainer", appauthor=False)) / FILE


class Journal:
    """An open journal. May be used from the thread that opened it.

    Whatever cannot be read raises :class:`JournalError`.
    """

    def __init__(self, path: Path | None = None) -> None:
        """Open it; one that is not there yet is made, an older one is brought up to date.

        Args:
            path: the file; None takes :func:`journal_path`.

        Raises:
            JournalError: it cannot be opened, is no journal, or a newer trainer wrote it.
        """
        self.path = path or journal_path()
        try:
            self._db = open_database(self.path)
        except (sqlite3.Error, OSError) as error:
            raise JournalError(
                f"the journal {self.path} cannot be opened: {describe_failure(self.path, error)}"
            ) from error

    @property
    def folder(self) -> Path:
        """The folder that it lies in."""
        return Path(os.path.realpath(self.path)).parent

    def close(self) -> None:
        """Let go of it. May be called twice."""
        self._db.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # Takes

    def add(self, *takes: TakeRecord) -> int:
        """Keep takes, all or none; one that is there already stays as it is.

        Returns:
            how many were new.

        Raises:
            JournalError: they could not be written.
        """
        with self._writing() as db:
            return sum(_add(db, take) for take in takes)

    def takes(
        self,
        *,
        player: str | None = None,
        drill: str | None = None,
        since: date | None = None,
        until: date | None = None,
        steps: bool = True,
    ) -> list[TakeRecord]:
        """Takes in the order in which they were played.

        Args:
            player, drill: only theirs; None takes all.
            since, until: first and last day; None has no limit.
            steps: whether their steps are read, too.
        """
        where, values = _where(
            ("player = ?", player),
            ("drill = ?", drill),
            ("day >= ?", since.isoformat() if since else None),
            ("day <= ?", until.isoformat() if until else None),
        )
        inside: dict[str, list[StepRecord]] = {}
        with self._reading() as db:
            # Takes first: each has its steps by then, whatever others add meanwhile.
            query = f"SELECT * FROM takes{where} ORDER BY began, id"
            rows = db.execute(query, values).fetchall()
            if steps:
                query = f"{_STEPS} WHERE take IN (SELECT id FROM takes{where})"
                for row in db.execute(f"{query} ORDER BY take, idx", values):
                    inside.setdefault(row["take"], []).append(step_from_row(row))
            return [take_from_row(row, inside.get(row["id"], ())) for row in rows]

    def columns(
        self, *names: str, player: str | None = None, since: date | None = None
    ) -> list[tuple[Any, ...]]:
        """Some figures of all steps, each as a column: a year's in a fraction of what records take.

        Args:
            names: fields of :class:`StepRecord`, or ``take`` for the take's id; `parts` is JSON.
            player, since: as in :meth:`takes`.
        """
        assert set(names) <= set(STEP_COLUMNS), names
        where, values = _where(
            ("player = ?", player), ("day >= ?", since.isoformat() if since else None)
        )
        query = f"SELECT {', '.join(names)} FROM steps WHERE take IN (SELECT id FROM takes{where})"
        with self._reading() as db:
            return list(zip(*db.execute(query, values), strict=True)) or [()] * len(names)

    def take(self, beginning: str) -> TakeRecord:
        """The one take whose id begins so, or is so.

        Raises:
            JournalError: there is none, or more than one.
        """
        with self._reading() as db:
            rows = db.execute(
                "SELECT * FROM takes WHERE substr(id, 1, ?) = ?", (len(beginning), beginning)
            ).fetchall()
            rows = [row for row in rows if row["id"] == beginning] or rows
            if len(rows) != 1 or not beginning:
                count = "more than one take" if rows else "no take"
                told = f"{count} has an id that begins with '{beginning}'"
                if not beginning:
                    told = "an empty text is no take's id"
                raise JournalError(f"{told}; 'trainer journal list' shows them")
            (row,) = rows
            found = db.execute(f"{_STEPS} WHERE take = ? ORDER BY idx", (row["id"],))
            return take_from_row(row, [step_from_row(one) for one in found])

    def set_audio(self, take: str, audio: str | None) -> None:
        """Say which sound file belongs to a take, by its id."""
        with self._writing() as db:
            db.execute("UPDATE takes SET audio = ? WHERE id = ?", (audio, take))

    def players(self) -> list[str]:
        """Everybody who has a take or a harp in it."""
        query = "SELECT player FROM takes UNION SELECT player FROM harps ORDER BY player"
        with self._reading() as db:
            return [row["player"] for row in db.execute(query)]

    # Harps, devices and days

    def add_harp(self, harp: OwnHarp) -> None:
        """Keep a harp as it was measured, beside earlier measurements of it."""
        with self._writing() as db:
            db.execute(_insert("harps", HARP_COLUMNS, _INSTEAD), harp_row(harp))

    def harps(self, player: str | None = None) -> list[OwnHarp]:
        """Harps as they were measured, each as often as it was, in order of time."""
        where, values = _where(("player = ?", player))
        query = f"SELECT * FROM harps{where} ORDER BY measured, name, player"
        with self._reading() as db:
            return [harp_from_row(row) for row in db.execute(query, values)]

    def add_calibration(self, calibration: Calibration) -> None:
        """Keep a round trip, beside earlier ones of the same devices."""
        with self._writing() as db:
            query = _insert("calibrations", CALIBRATION_COLUMNS, _INSTEAD)
            db.execute(query, calibration_row(calibration))

    def calibrations(self) -> list[Calibration]:
        """All round trips, in order of time."""
        query = "SELECT * FROM calibrations ORDER BY measured, input, output"
        with self._reading() as db:
            return [calibration_from_row(row) for row in db.execute(query)]

    def save_daily_set(self, player: str, day: date, minutes: float, entries: list[Any]) -> None:
        """Keep the set of a day, as JSON can hold it, in place of an earlier one."""
        with self._writing() as db:
            row = (player, day.isoformat(), minutes, json.dumps(entries))
            db.execute(_insert("days", ("player", "day", "minutes", "entries"), _INSTEAD), row)

    def day(self, player: str, day: date) -> tuple[float, list[Any]] | None:
        """Minutes and entries of a day's set; None if none was made."""
        query = "SELECT minutes, entries FROM days WHERE player = ? AND day = ?"
        with self._reading() as db:
            row = db.execute(query, (player, day.isoformat())).fetchone()
            return (row["minutes"], json.loads(row["entries"])) if row else None

    # All of it

    def merge(
        self,
        takes: Iterable[TakeRecord],
        harps: Iterable[OwnHarp] = (),
        calibrations: Iterable[Calibration] = (),
    ) -> MergeCounts:
        """Keep what comes from another journal, all or none; what is there stays as it is.

        Round trips are kept only of devices of which this journal has none: what another computer
        measured must not take the place of what this one did.

        Raises:
            JournalError: they could not be written.
        """
        pairs = "SELECT DISTINCT input, output FROM calibrations"
        with self._writing() as db:
            own = {tuple(row) for row in db.execute(pairs)}
            strange = [one for one in calibrations if (one.input, one.output) not in own]
            return MergeCounts(
                sum(_add(db, take) for take in takes),
                _new(db, _insert("harps", HARP_COLUMNS, _UNLESS), map(harp_row, harps)),
                _new(
                    db,
                    _insert("calibrations", CALIBRATION_COLUMNS, _UNLESS),
                    map(calibration_row, strange),
                ),
            )

    def copy_to(self, path: Path) -> None:
        """Write a copy that is whole, whatever other copies of the trainer are doing.

        Raises:
            JournalError: there is something already, or it cannot be written; nothing is left of
                it then.
        """
        try:
            with atomic_write(path) as part, closing(sqlite3.connect(part)) as copy:
                self._db.backup(copy)
                # One file by itself, also where nothing can be written beside it.
                copy.execute("PRAGMA journal_mode = DELETE")
        except FileExistsError as error:
            raise JournalError(f"{path} is there already; name a file that is not") from error
        except (sqlite3.Error, OSError) as error:
            raise JournalError(
                f"the journal {self.path} cannot be copied to {path}: "
                f"{describe_failure(path, error)}"
            ) from error

    # Inside

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """A transaction: all of it is kept, or none."""
        try:
            with transaction(self._db):
                yield self._db
        except sqlite3.IntegrityError as error:
            raise JournalError(
                f"a record cannot be kept in the journal {self.path}: something in it is missing "
                f"or no number ({error}); it is left out"
            ) from error
        except sqlite3.Error as error:
            raise JournalError(
                f"the journal {self.path} cannot be written: {describe_failure(self.path, error)}"
            ) from error
        except _UNFIT as error:
            raise JournalError(
                f"a record cannot be kept in the journal {self.path}: {error}; it is left out"
            ) from error

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        try:
            yield self._db
        except (sqlite3.Error, *_UNFIT) as error:
            raise JournalError(
                f"the journal {self.path} cannot be read: {describe_failure(self.path, error)}"
            ) from error


_STEPS = f"SELECT {', '.join(STEP_COLUMNS)} FROM steps"
_INSTEAD = "OR REPLACE"
_UNLESS = "ON CONFLICT DO NOTHING"
"""Not OR IGNORE, which would pass over rows that are not whole without a word."""


def _insert(table: str, columns: tuple[str, ...], clash: str = "") -> str:
    """A statement that inserts a row; `clash` says what if it is there."""
    before, after = (clash, "") if clash == _INSTEAD else ("", clash)
    places = ", ".join("?" * len(columns))
    return f"INSERT {before} INTO {table} ({', '.join(columns)}) VALUES ({places}) {after}"


def _add(db: sqlite3.Connection, take: TakeRecord) -> bool:
    """Insert a take, unless it is there; whether it was new."""
    if not _new(db, _insert("takes", TAKE_COLUMNS, _UNLESS), [take_row(take)]):
        return False
    rows = [step_row(take.id, step) for step in take.steps]
    db.executemany(_insert("steps", STEP_COLUMNS), rows)
    return True


def _new(db: sqlite3.Connection, query: str, rows: Iterable[Row]) -> int:
    """Insert rows; how many there had not been."""
    before = db.total_changes
    db.executemany(query, rows)
    return db.total_changes - before


def _where(*conditions: tuple[str, str | None]) -> tuple[str, list[str]]:
    known = [(text, value) for text, value in conditions if value is not None]
    if not known:
        return "", []
    return " WHERE " + " AND ".join(text for text, _ in known), [value for _, value in known]
