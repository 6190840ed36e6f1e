"""Export and import of a journal as JSON lines or CSV.

JSON lines hold everything of a player. The first line is
``{"format": "trainer journal", "version": 2}``; each other line is an object whose ``kind`` is
``take``, ``harp``, ``calibration``, ``focus`` or ``placement`` (see
:mod:`trainer.transfer.schemas`). Version 1 has neither of the last two, nor the bars and the
tolerance of a take. Times are ISO 8601 with
their zone. CSV holds takes alone, a row per step; see :mod:`trainer.transfer.takes_csv`.

Sound is not exported, and neither are daily sets, which are derived from the takes. Round trips of
devices belong to a computer, so that the export of one player leaves them out.

Import is idempotent, because every take has a unique id. A file is imported completely or not at
all.
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
from trainer.core.text_files import TextFileError, decode_utf8
from trainer.store import (
    Calibration,
    Focus,
    Journal,
    JournalError,
    MergeCounts,
    OwnHarp,
    Placement,
    TakeRecord,
    describe_failure,
)
from trainer.transfer.records import (
    calibration_line,
    focus_line,
    own_harp_line,
    placement_line,
    take_line,
)
from trainer.transfer.schemas import (
    CalibrationLine,
    FocusLine,
    JournalHeadLine,
    OwnHarpLine,
    PlacementLine,
    TakeLine,
)
from trainer.transfer.takes_csv import read_takes_csv, takes_csv_lines
from trainer.transfer.validation import (
    InvalidRecord,
    check_player_name,
    parse_calibration,
    parse_focus,
    parse_own_harp,
    parse_placement,
    parse_take,
)

JOURNAL_FORMAT_NAME: Literal["trainer journal"] = "trainer journal"
JOURNAL_FORMAT_VERSION = 2
MAX_SHOWN_LINES = 10
"""Maximum number of invalid lines that an error lists."""
_SQLITE_MAGIC = b"SQLite format 3\0"
"""First bytes of an SQLite file."""
JournalLine = TakeLine | OwnHarpLine | CalibrationLine | FocusLine | PlacementLine
"""A line of an exported journal, except the first."""
_HEAD: JournalHeadLine = {"format": JOURNAL_FORMAT_NAME, "version": JOURNAL_FORMAT_VERSION}


class JournalFormat(StrEnum):
    """Format of an exported journal."""

    JSONL = "jsonl"
    CSV = "csv"


@dataclass(frozen=True, slots=True)
class JournalContents:
    """What an exported journal holds."""

    takes: tuple[TakeRecord, ...] = ()
    harps: tuple[OwnHarp, ...] = ()
    calibrations: tuple[Calibration, ...] = ()
    focuses: tuple[tuple[str, Focus], ...] = ()
    placements: tuple[tuple[str, Placement], ...] = ()

    @property
    def players(self) -> list[str]:
        """Return the names of all players."""
        players = {take.player for take in self.takes} | {harp.player for harp in self.harps}
        players |= {player for player, _ in self.focuses}
        return sorted(players | {player for player, _ in self.placements})

    def under(self, player: str) -> JournalContents:
        """Return the contents with another name of the player."""
        return JournalContents(
            tuple(replace(take, player=player) for take in self.takes),
            tuple(replace(harp, player=player) for harp in self.harps),
            self.calibrations,
            tuple((player, focus) for _, focus in self.focuses),
            tuple((player, placement) for _, placement in self.placements),
        )


@dataclass(frozen=True, slots=True)
class JournalImport:
    """The outcome of an import.

    Attributes:
        contents: what the file holds, under the names that it was imported with.
        new: how much of it was new.
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
    """Yield the journal as lines with their line ends; the output is deterministic.

    Args:
        journal: the journal.
        format_: format of the lines.
        player: exports one player; None exports all, and the round trips of devices.
        since: first day of the exported takes; all else is always exported.

    Raises:
        JournalError: the journal cannot be read, or the player is unknown.
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
    for name, focus in journal.focuses(player):
        yield _line(focus_line(name, focus))
    for name, placement in journal.all_placements(player):
        yield _line(placement_line(name, placement))


def export_journal(
    journal: Journal,
    path: Path,
    format_: JournalFormat = JournalFormat.JSONL,
    *,
    player: str | None = None,
    since: date | None = None,
) -> None:
    """Write the journal to a new file that only its owner can read.

    Args:
        path: the file; it appears only when it is complete.
        journal: as for :func:`export_journal_lines`.
        format_: as for :func:`export_journal_lines`.
        player: as for :func:`export_journal_lines`.
        since: as for :func:`export_journal_lines`.

    Raises:
        JournalError: there is something already, or it cannot be written; or as of
            :func:`export_journal_lines`.
    """
    try:
        with atomic_write(path) as part, part.open("w", encoding="utf-8", newline="\n") as file:
            file.writelines(export_journal_lines(journal, format_, player=player, since=since))
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise JournalError(f"{path} exists already; choose another name") from error
    except OSError as error:
        raise JournalError(f"{path} cannot be written: {describe_failure(path, error)}") from error


def check_player(journal: Journal, player: str | None) -> None:
    """Check that a player is in the journal; None is always valid.

    Raises:
        JournalError: the player is unknown; the message lists the known ones.
    """
    players = journal.players()
    if player is not None and player not in players:
        known = f"it has {', '.join(players)}" if players else "it has no players yet"
        raise JournalError(f"no player '{player}' in the journal {journal.path}; {known}")


def import_journal(journal: Journal, path: Path, player: str | None = None) -> JournalImport:
    """Import all of an exported file or nothing; existing records stay unchanged.

    Args:
        journal: the journal that receives it.
        path: a file of JSON lines or CSV.
        player: new name of the player; None keeps the names in the file.

    Raises:
        JournalError: lines are invalid (the message lists them), the file has several players
            and `player` is given, or the journal cannot be written.
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
            raise JournalError(f"'{player!a}' is not a valid name: {error}") from None
    new = journal.merge(
        contents.takes,
        contents.harps,
        contents.calibrations,
        contents.focuses,
        contents.placements,
    )
    return JournalImport(contents, new)


def read_journal_file(path: Path) -> JournalContents:
    """Return the contents of an exported file.

    Args:
        path: a file of JSON lines or CSV, recognised by its first character.

    Raises:
        JournalError: the file cannot be read, or lines are invalid (the message lists them).
    """
    text = _read_text(path)
    faults: list[tuple[int, str]] = []
    if text.lstrip()[:1] in ("{", "["):
        contents = _read_lines(text, faults)
    else:
        contents = JournalContents(tuple(read_takes_csv(text, faults)))
    if faults:
        messages = [f"{path}:{line}: {fault}" for line, fault in faults[:MAX_SHOWN_LINES]]
        if len(faults) > MAX_SHOWN_LINES:
            messages.append(f"{path}: {len(faults) - MAX_SHOWN_LINES} more lines are wrong")
        messages.append(f"nothing of {path} was imported; correct it, or export it again")
        raise JournalError("\n".join(messages))
    return contents


def _line(data: JournalHeadLine | JournalLine) -> str:
    return json.dumps(data, ensure_ascii=False, allow_nan=False) + "\n"


def _read_text(path: Path) -> str:
    try:
        data = path.read_bytes()
    except FileNotFoundError as error:
        raise JournalError(f"{path} does not exist; check the name and the folder") from error
    except OSError as error:
        if path.is_dir():
            raise JournalError(f"{path} is a folder; name a file inside it") from error
        raise JournalError(f"{path} cannot be read: {describe_failure(path, error)}") from error
    if data.startswith(_SQLITE_MAGIC):
        raise JournalError(
            f"{path} is a journal, not an export of one; run 'trainer journal export' where it is "
            "used"
        )
    try:
        return decode_utf8(path, data).removeprefix("\ufeff")
    except TextFileError as error:
        raise JournalError(
            f"{path}:{error.line}: this is not UTF-8 text; save it as UTF-8, or export it again"
        ) from error


def _read_lines(text: str, faults: list[tuple[int, str]]) -> JournalContents:
    """Return the contents of JSON lines; each fault is added to `faults` with its line number."""
    first, *lines = enumerate(text.split("\n"), start=1)
    if fault := _unknown_format(_parsed(first[1], [])):
        faults.append((1, fault))
        return JournalContents()
    records: dict[str, list[Any]] = {kind: [] for kind in _READERS}
    for number, line in lines:
        if not line.strip():
            continue
        messages: list[str] = []
        data = _parsed(line, messages)
        if not messages:
            try:
                kind = data.pop("kind", None) if isinstance(data, dict) else None
                if not isinstance(kind, str) or kind not in _READERS:
                    raise InvalidRecord(f"its 'kind' must be one of {', '.join(_READERS)}")
                records[kind].append(_READERS[kind](data))
            except InvalidRecord as error:
                messages.append(str(error))
        faults += [(number, fault) for fault in messages]
    return JournalContents(*map(tuple, records.values()))


_READERS: dict[str, Callable[[Any], Any]] = {
    "take": parse_take,
    "harp": parse_own_harp,
    "calibration": parse_calibration,
    "focus": parse_focus,
    "placement": parse_placement,
}


def _parsed(line: str, messages: list[str]) -> Any:
    try:
        return json.loads(line)
    except json.JSONDecodeError as error:
        messages.append(f"this is not JSON: {error.msg} at column {error.colno}")
    except (RecursionError, ValueError):  # numbers of thousands of digits are a ValueError
        messages.append("this is not JSON of a journal: it nests too deeply, or has huge numbers")
    return None


def _unknown_format(head: Any) -> str | None:
    """Return what is wrong with the first line; None if it is valid."""
    if not isinstance(head, dict) or head.get("format") != JOURNAL_FORMAT_NAME:
        expected = _line(_HEAD).strip()
        return f"this is not an exported journal; one begins with {expected}"
    version = head.get("version")
    if type(version) is not int or version < 1:
        return "its 'version' must be a number from 1"
    if version > JOURNAL_FORMAT_VERSION:
        return (
            f"update the trainer: a newer one wrote this (format version {version}, and this one "
            f"reads {JOURNAL_FORMAT_VERSION})"
        )
    return None
