"""The journal: one SQLite file that remembers every take.

It is written ahead (WAL), so that whoever reads never waits for who writes, and a journal that was
killed at any moment opens again with every take that was finished. Two copies of the trainer may
use it at once: a writer waits its turn. What is written is on the disk when the call returns.

The file and its folder can be read by their owner alone, and nothing in them is sent anywhere.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, fields
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import platformdirs

from trainer.journal.errors import JournalError
from trainer.journal.records import (
    Calibration,
    HarpTag,
    OwnHarp,
    ReedRecord,
    StepRecord,
    TakeRecord,
)
from trainer.journal.schema import STEPS, VERSION

PATIENCE_S = 10.0
"""So long a writer waits for another copy of the trainer."""
FILE = "journal.sqlite"

_STEP_COLUMNS = ("take", "idx", *(one.name for one in fields(StepRecord) if one.name != "index"))
_TAKE_COLUMNS = (
    *("id", "player", "began", "day", "drill", "title", "skills"),
    *("harp_key", "harp_tuning", "harp_a4", "harp_temperament", "harp_name"),
    *("tempo", "source", "score", "passed", "whole", "seconds", "extras", "audio"),
)


def journal_path() -> Path:
    """Where the journal lies unless the player says otherwise."""
    return Path(platformdirs.user_data_dir("trainer", appauthor=False)) / FILE


class Journal:
    """An open journal. May be used from the thread that opened it."""

    def __init__(self, path: Path | None = None) -> None:
        """Open it; one that is not there yet is made, an older one is brought up to date.

        Args:
            path: the file; None takes :func:`journal_path`.

        Raises:
            JournalError: it cannot be opened, is no journal, or a newer trainer wrote it.
        """
        self.path = path or journal_path()
        try:
            self._db = _open(self.path)
            _bring_up_to_date(self._db, self.path)
        except (sqlite3.Error, OSError) as error:
            raise JournalError(_why(self.path, "opened", error)) from error

    @property
    def folder(self) -> Path:
        """The folder that it lies in."""
        return self.path.parent

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
        new = 0
        with self._writing() as db:
            for take in takes:
                row = _take_row(take)
                before = db.total_changes
                db.execute(_insert("takes", _TAKE_COLUMNS, "OR IGNORE"), row)
                if db.total_changes == before:
                    continue
                new += 1
                rows = [_step_row(take.id, step) for step in take.steps]
                db.executemany(_insert("steps", _STEP_COLUMNS), rows)
        return new

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
        rows = self._rows(f"SELECT * FROM takes{where} ORDER BY began, id", values)
        inside: dict[str, list[StepRecord]] = {}
        if steps:
            wanted = f"SELECT id FROM takes{where}"
            query = f"SELECT * FROM steps WHERE take IN ({wanted}) ORDER BY take, idx"
            for row in self._rows(query, values):
                inside.setdefault(row["take"], []).append(_step_of(row))
        return [_take_of(row, inside.get(row["id"], ())) for row in rows]

    def columns(
        self, *names: str, player: str | None = None, since: date | None = None
    ) -> list[tuple[Any, ...]]:
        """Some figures of all steps, each as a column: a year's in a fraction of what records take.

        Args:
            names: fields of :class:`StepRecord`, or ``take`` for the take's id; `parts` is JSON.
            player, since: as in :meth:`takes`.
        """
        assert set(names) <= set(_STEP_COLUMNS), names
        where, values = _where(
            ("player = ?", player), ("day >= ?", since.isoformat() if since else None)
        )
        query = f"SELECT {', '.join(names)} FROM steps WHERE take IN (SELECT id FROM takes{where})"
        return list(zip(*self._rows(query, values), strict=True)) or [()] * len(names)

    def take(self, beginning: str) -> TakeRecord:
        """The one take whose id begins so.

        Raises:
            JournalError: there is none, or more than one.
        """
        rows = self._rows(
            "SELECT * FROM takes WHERE substr(id, 1, ?) = ?", (len(beginning), beginning)
        )
        if len(rows) != 1 or not beginning:
            count = "no take" if not rows else "more than one take"
            raise JournalError(
                f"{count} has an id that begins with '{beginning}'; 'trainer journal list' shows "
                "them"
            )
        steps = self._rows("SELECT * FROM steps WHERE take = ? ORDER BY idx", (rows[0]["id"],))
        return _take_of(rows[0], [_step_of(row) for row in steps])

    def set_audio(self, take: str, audio: str | None) -> None:
        """Say which sound file belongs to a take, by its id."""
        with self._writing() as db:
            db.execute("UPDATE takes SET audio = ? WHERE id = ?", (audio, take))

    def players(self) -> list[str]:
        """Everybody who has a take or a harp in it."""
        query = "SELECT player FROM takes UNION SELECT player FROM harps ORDER BY player"
        return [row["player"] for row in self._rows(query)]

    # Harps, devices and days

    def keep_harp(self, harp: OwnHarp) -> None:
        """Keep a harp as it was measured, beside earlier measurements of it."""
        with self._writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO harps VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    harp.player,
                    harp.name,
                    harp.tag.key,
                    harp.tag.tuning,
                    harp.tag.a4,
                    harp.tag.temperament,
                    _moment(harp.measured),
                    json.dumps([asdict(reed) for reed in harp.reeds]),
                ),
            )

    def harps(self, player: str | None = None) -> list[OwnHarp]:
        """Harps as they were measured, each as often as it was, in order of time."""
        where, values = _where(("player = ?", player))
        rows = self._rows(f"SELECT * FROM harps{where} ORDER BY measured, name", values)
        return [_harp_of(row) for row in rows]

    def keep_calibration(self, calibration: Calibration) -> None:
        """Keep a round trip, beside earlier ones of the same devices."""
        one = calibration
        with self._writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO calibrations VALUES (?, ?, ?, ?, ?, ?, ?)",
                (
                    *(one.input, one.output, one.rate, one.latency_ms, one.spread_ms),
                    *(_moment(one.measured), int(one.by_hand)),
                ),
            )

    def calibrations(self) -> list[Calibration]:
        """All round trips, in order of time."""
        return [
            Calibration(
                row["input"],
                row["output"],
                row["rate"],
                row["latency_ms"],
                row["spread_ms"],
                datetime.fromisoformat(row["measured"]),
                bool(row["by_hand"]),
            )
            for row in self._rows("SELECT * FROM calibrations ORDER BY measured")
        ]

    def keep_day(self, player: str, day: date, minutes: float, entries: list[Any]) -> None:
        """Keep the set of a day, as JSON can hold it, in place of an earlier one."""
        with self._writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO days VALUES (?, ?, ?, ?)",
                (player, day.isoformat(), minutes, json.dumps(entries)),
            )

    def day(self, player: str, day: date) -> tuple[float, list[Any]] | None:
        """Minutes and entries of a day's set; None if none was made."""
        rows = self._rows(
            "SELECT minutes, entries FROM days WHERE player = ? AND day = ?",
            (player, day.isoformat()),
        )
        return (rows[0]["minutes"], json.loads(rows[0]["entries"])) if rows else None

    def copy_to(self, path: Path) -> None:
        """Write a copy that is whole, whatever other copies of the trainer are doing.

        Raises:
            JournalError: there is something already, or it cannot be written.
        """
        if path.exists():
            raise JournalError(f"{path} is there already; name a file that is not")
        try:
            _make_private(path)
            with sqlite3.connect(path) as copy:
                self._db.backup(copy)
            copy.close()
        except (sqlite3.Error, OSError) as error:
            raise JournalError(_why(path, "written", error)) from error

    # Inside

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """A transaction: all of it is kept, or none."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
            except BaseException:
                if self._db.in_transaction:  # a full disk has already ended it
                    self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            raise JournalError(_why(self.path, "written", error)) from error

    def _rows(self, query: str, values: Iterable[Any] = ()) -> list[sqlite3.Row]:
        try:
            return self._db.execute(query, tuple(values)).fetchall()
        except sqlite3.Error as error:
            raise JournalError(_why(self.path, "read", error)) from error


def _open(path: Path) -> sqlite3.Connection:
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    _make_private(path)
    db = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None)
    db.row_factory = sqlite3.Row
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    return db


def _make_private(path: Path) -> None:
    """Make a file, if it is not there, that its owner alone can read; SQLite's own beside it get
    the same rights."""
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))


def _bring_up_to_date(db: sqlite3.Connection, path: Path) -> None:
    if _version(db) == VERSION:
        return
    db.execute("BEGIN IMMEDIATE")  # another copy may be at it, too
    try:
        version = _version(db)
        if version > VERSION:
            raise JournalError(
                f"the journal {path} was written by a newer trainer (version {version}, and this "
                f"one knows {VERSION}); update the trainer, or name another file"
            )
        for step in STEPS[version:]:
            for statement in step.split(";"):
                db.execute(statement)
        db.execute(f"PRAGMA user_version = {VERSION}")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
    db.execute("COMMIT")


def _version(db: sqlite3.Connection) -> int:
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def _why(path: Path, done: str, error: Exception) -> str:
    """Why something could not be done, and the way out."""
    code = getattr(error, "sqlite_errorname", "")
    if code.startswith("SQLITE_FULL"):
        reason, way = "the disk is full", "make room on it"
    elif code.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN", "SQLITE_PERM")):
        reason, way = "its folder or file may not be written", "check their owner and rights"
    elif code.startswith(("SQLITE_NOTADB", "SQLITE_CORRUPT")):
        reason, way = "it is damaged or no journal", "move it away, or bring back a backup"
    elif code.startswith("SQLITE_BUSY"):
        reason, way = "another copy of the trainer holds it", "close that one, or try again"
    else:
        reason, way = str(getattr(error, "strerror", None) or error), "check its folder and rights"
    return f"the journal {path} cannot be {done}: {reason}; {way}"


def _insert(table: str, columns: tuple[str, ...], clash: str = "") -> str:
    places = ", ".join("?" * len(columns))
    return f"INSERT {clash} INTO {table} ({', '.join(columns)}) VALUES ({places})"


def _where(*conditions: tuple[str, str | None]) -> tuple[str, list[str]]:
    known = [(text, value) for text, value in conditions if value is not None]
    if not known:
        return "", []
    return " WHERE " + " AND ".join(text for text, _ in known), [value for _, value in known]


def _moment(when: datetime) -> str:
    """A moment as text that sorts by time."""
    return when.astimezone(UTC).isoformat(timespec="microseconds")


def _take_row(take: TakeRecord) -> tuple[Any, ...]:
    harp = take.harp
    return (
        *(take.id, take.player, _moment(take.began), take.day.isoformat()),
        *(take.drill, take.title, json.dumps(take.skills)),
        *(harp.key, harp.tuning, harp.a4, harp.temperament, harp.name),
        *(take.tempo, take.source, take.score, int(take.passed), int(take.whole), take.seconds),
        *(json.dumps(take.extras), take.audio),
    )


def _step_row(take: str, step: StepRecord) -> tuple[Any, ...]:
    values = asdict(step)
    index, values["parts"] = values.pop("index"), json.dumps(values["parts"])
    return (take, index, *values.values())


def _step_of(row: Mapping[str, Any] | sqlite3.Row) -> StepRecord:
    values = {name: row[name] for name in _STEP_COLUMNS[2:]}
    return StepRecord(index=row["idx"], **{**values, "parts": json.loads(row["parts"])})


def _take_of(row: sqlite3.Row, steps: Iterable[StepRecord]) -> TakeRecord:
    return TakeRecord(
        id=row["id"],
        player=row["player"],
        began=datetime.fromisoformat(row["began"]),
        day=date.fromisoformat(row["day"]),
        drill=row["drill"],
        title=row["title"],
        skills=tuple(json.loads(row["skills"])),
        harp=HarpTag(
            row["harp_key"],
            row["harp_tuning"],
            row["harp_a4"],
            row["harp_temperament"],
            row["harp_name"],
        ),
        tempo=row["tempo"],
        source=row["source"],
        score=row["score"],
        passed=bool(row["passed"]),
        whole=bool(row["whole"]),
        seconds=row["seconds"],
        steps=tuple(steps),
        extras=tuple(json.loads(row["extras"])),
        audio=row["audio"],
    )


def _harp_of(row: sqlite3.Row) -> OwnHarp:
    return OwnHarp(
        row["player"],
        row["name"],
        HarpTag(row["key"], row["tuning"], row["a4"], row["temperament"], row["name"]),
        datetime.fromisoformat(row["measured"]),
        tuple(ReedRecord(**reed) for reed in json.loads(row["reeds"])),
    )
