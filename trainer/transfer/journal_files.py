"""A journal as lines of text that other journals can take in.

JSON lines (the format ``jsonl``) hold all of a player: the first line is
``{"format": "trainer journal", "version": 1}``, and each that follows is an object whose ``kind``
is ``take``, ``harp`` or ``calibration`` and whose other fields are those of
:class:`trainer.journal.TakeRecord` (with its steps), `OwnHarp` and `Calibration`. Moments are ISO
8601 with their zone. CSV holds takes alone, one row a step; see :mod:`trainer.transfer.takes_csv`.

Of a take everything travels but its sound. Days' sets do not: they are made anew from the takes.
Round trips of devices belong to a computer, not to a player, and are left out of one player's
export.

Taking in is idempotent, because every take has a name of its own; a file is taken in whole or not
at all.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import Any, Literal

from trainer.core.files import atomic_write
from trainer.store.database import describe_failure
from trainer.store.errors import JournalError
from trainer.store.journal import Journal, MergeCounts
from trainer.store.records import Calibration, OwnHarp, TakeRecord
from trainer.transfer.records import calibration_line, own_harp_line, take_line
from trainer.transfer.schemas import CalibrationLine, JournalHeadLine, OwnHarpLine, TakeLine
from trainer.transfer.takes_csv import read_takes_csv, takes_csv_lines
from trainer.transfer.validation import (
    InvalidRecord,
    check_player_name,
    parse_calibration,
    parse_own_harp,
    parse_take,
)

JOURNAL_FORMAT_NAME: Literal["trainer journal"] = "trainer journal"
JOURNAL_FORMAT_VERSION = 1
MAX_SHOWN_LINES = 10
"""So many bad lines of a file are told one by one."""
_SQLITE = b"SQLite format 3\0"
_HEAD: JournalHeadLine = {"format": JOURNAL_FORMAT_NAME, "version": JOURNAL_FORMAT_VERSION}


class JournalFormat(StrEnum):
    """How an export is written."""

    JSONL = "jsonl"
    CSV = "csv"


@dataclass(frozen=True, slots=True)
class JournalContents:
    """What a file holds."""

    takes: tuple[TakeRecord, ...] = ()
    harps: tuple[OwnHarp, ...] = ()
    calibrations: tuple[Calibration, ...] = ()

    @property
    def players(self) -> list[str]:
        """Everybody who has a take or a harp in it."""
        return sorted({take.player for take in self.takes} | {harp.player for harp in self.harps})

    def under(self, player: str) -> JournalContents:
        """The same, of a player of that name."""
        return JournalContents(
            tuple(replace(take, player=player) for take in self.takes),
            tuple(replace(harp, player=player) for harp in self.harps),
            self.calibrations,
        )


@dataclass(frozen=True, slots=True)
class JournalImport:
    """What was taken in of a file.

    Attributes:
        contents: all that it holds, under the names that it was taken in by.
        new: how much of that had not been there.
    """

    contents: JournalContents
    new: MergeCounts


def export_journal_lines(
    journal: Journal,
    format_: JournalFormat = JournalFormat.JSONL,
    *,
    player: str | None = None,
    since: date | None = None,
) -> Iterator[str]:
    """The journal as lines, each with its end; the same journal gives the same lines.

    Args:
        journal: what is to be written.
        format_: how.
        player: only theirs; None takes all, and the round trips of devices.
        since: first day of the takes; harps are written whenever they were measured.

    Raises:
        JournalError: it cannot be read, or nobody of that name is in it.
    """
    check_player(journal, player)
    takes = journal.takes(player=player, since=since)
    if format_ is JournalFormat.CSV:
        yield from takes_csv_lines(takes)
        return
    yield _line(_HEAD)
    for take in takes:
        yield _line(take_line(take))
    for harp in journal.harps(player):
        yield _line(own_harp_line(harp))
    for calibration in journal.calibrations() if player is None else ():
        yield _line(calibration_line(calibration))


def export_journal(
    journal: Journal,
    path: Path,
    format_: JournalFormat = JournalFormat.JSONL,
    *,
    player: str | None = None,
    since: date | None = None,
) -> None:
    """Write the journal into a new file, which its owner alone can read.

    Args:
        path: the file, which is whole as soon as it is there.
        journal, format_, player, since: as of :func:`export_lines`.

    Raises:
        JournalError: there is something already, or it cannot be written; or as of
            :func:`export_lines`.
    """
    try:
        with atomic_write(path) as part, part.open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(export_journal_lines(journal, format_, player=player, since=since))
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise JournalError(f"{path} is there already; name a file that is not") from error
    except OSError as error:
        raise JournalError(f"{path} cannot be written: {describe_failure(path, error)}") from error


def check_player(journal: Journal, player: str | None) -> None:
    """See that a player is in the journal; None always is.

    Raises:
        JournalError: nobody of that name is in it; the message tells who is.
    """
    players = journal.players()
    if player is not None and player not in players:
        who = f"there are {', '.join(players)}" if players else "nobody is, so far"
        raise JournalError(f"nobody called '{player}' is in the journal {journal.path}; {who}")


def import_journal(journal: Journal, path: Path, player: str | None = None) -> JournalImport:
    """Take in all of an exported file, or nothing of it; what is there already stays as it is.

    Args:
        journal: what it goes into.
        path: JSON lines or CSV.
        player: whose takes they are to be; None leaves them under the names that they have.

    Raises:
        JournalError: lines of it are wrong, each with its number; or several players are to be
            one; or the journal cannot be written.
    """
    contents = read_journal_file(path)
    if player is not None:
        if len(contents.players) > 1:
            raise JournalError(
                f"{path} has takes of {', '.join(contents.players)}, who cannot all be "
                f"'{player}'; import it as it is, or export one of them with --player"
            )
        try:
            contents = contents.under(check_player_name(player))
        except InvalidRecord as error:
            raise JournalError(f"'{player!a}' can be nobody's name: {error}") from None
    new = journal.merge(contents.takes, contents.harps, contents.calibrations)
    return JournalImport(contents, new)


def read_journal_file(path: Path) -> JournalContents:
    """What an exported file holds.

    Args:
        path: JSON lines or CSV, told apart by how they begin.

    Raises:
        JournalError: it cannot be read, or lines of it are wrong, each with its number.
    """
    text = _read_text(path)
    faults: list[tuple[int, str]] = []
    if text.lstrip()[:1] in ("{", "["):
        contents = _read_lines(text, faults)
    else:
        contents = JournalContents(tuple(read_takes_csv(text, faults)))
    if faults:
        told = [f"{path}:{line}: {fault}" for line, fault in faults[:MAX_SHOWN_LINES]]
        if len(faults) > MAX_SHOWN_LINES:
            told.append(f"{path}: {len(faults) - MAX_SHOWN_LINES} more lines are wrong")
        told.append(f"nothing of {path} was imported; mend it, or export it again")
        raise JournalError("\n".join(told))
    return contents


def _line(data: JournalHeadLine | TakeLine | OwnHarpLine | CalibrationLine) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"


def _read_text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise JournalError(f"there is no file {path}; check the name and the folder") from error
    except OSError as error:
        if path.is_dir():
            raise JournalError(f"{path} is a folder; name a file inside it") from error
        raise JournalError(f"{path} cannot be read: {describe_failure(path, error)}") from error
    if data.startswith(_SQLITE):
        raise JournalError(
            f"{path} is a journal itself and no export of one; write one where it is used, with "
            "'trainer journal export'"
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise JournalError(
            f"{path}:{line}: this is not UTF-8 text; save it as UTF-8, or export it again"
        ) from error


def _read_lines(text: str, faults: list[tuple[int, str]]) -> JournalContents:
    """What JSON lines hold; what is wrong with them is added to `faults`."""
    first, *lines = enumerate(text.split("\n"), start=1)
    if fault := _unknown_format(_parsed(first[1], [])):
        faults.append((1, fault))
        return JournalContents()
    found: dict[str, list[Any]] = {kind: [] for kind in _READERS}
    for number, line in lines:
        if not line.strip():
            continue
        wrong: list[str] = []
        data = _parsed(line, wrong)
        if not wrong:
            try:
                kind = data.pop("kind", None) if isinstance(data, dict) else None
                if kind not in _READERS:
                    raise InvalidRecord(f"its 'kind' must be one of {', '.join(_READERS)}")
                found[kind].append(_READERS[kind](data))
            except InvalidRecord as error:
                wrong.append(str(error))
        faults += [(number, fault) for fault in wrong]
    return JournalContents(*map(tuple, found.values()))


_READERS: dict[str, Callable[[Any], Any]] = {
    "take": parse_take,
    "harp": parse_own_harp,
    "calibration": parse_calibration,
}


def _parsed(line: str, wrong: list[str]) -> Any:
    try:
        return json.loads(line)
    except json.JSONDecodeError as error:
        wrong.append(f"this is not JSON: {error.msg} at column {error.colno}")
    except (RecursionError, ValueError):  # numbers of thousands of digits are a ValueError
        wrong.append("this is not JSON of a journal: it nests too deeply, or has huge numbers")
    return None


def _unknown_format(head: Any) -> str | None:
    """What is wrong with the first line."""
    if not isinstance(head, dict) or head.get("format") != JOURNAL_FORMAT_NAME:
        expected = _line(_HEAD).strip()
        return f"this is no export of a journal, which begins with {expected}"
    version = head.get("version")
    if type(version) is not int or version < 1:
        return "its 'version' must be a number from 1"
    if version > JOURNAL_FORMAT_VERSION:
        return (
            f"a newer trainer wrote this (format version {version}, and this one knows "
            f"{JOURNAL_FORMAT_VERSION}); update the trainer"
        )
    return None
