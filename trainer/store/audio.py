"""Audio of takes: FLAC files in the folder ``audio`` beside the journal, within a size limit.

The audio of a take is ``audio/<id>.flac``; the take's record holds this name. To stay within the
limit, files are deleted in this order, and never the takes themselves. The latest take and the best
one of each drill stay the longest:

1. files named after a take that this journal lacks, oldest first;
2. audio that is not the best of its drill, oldest first;
3. the best audio of drills other than the latest take's, oldest first;
4. the latest take, unless it is the best of its drill; finally, that best one.

The best audio of a player's drill is that of the highest score, on a tie the latest. Takes of a
part of a drill rank below all takes of the whole drill.

A crash loses nothing: a file under its final name is complete, and a take that does not refer to
its file yet is linked to it the next time that audio is stored. Files with other names are never
touched.
"""

from __future__ import annotations

import errno
import os
import re
import shutil
import stat
import time
from dataclasses import dataclass
from pathlib import Path

from trainer.core.files import (
    atomic_write,
    create_private_file,
    make_private_folder,
    partial_path,
    restrict_to_owner,
)
from trainer.core.system import replace_path
from trainer.store.database import describe_failure
from trainer.store.errors import JournalError
from trainer.store.journal import Journal
from trainer.store.records import TakeRecord

AUDIO_FOLDER = "audio"
BYTES_PER_MB = 1_000_000
_NAME = re.compile(r"([0-9a-f]{32})\.flac")
_LEFT_OVER = re.compile(r"[0-9a-f]{32}\.flac\.[0-9a-f]{8}\.part")
_LEFT_OVER_S = 86_400.0
"""Age in seconds after which an incomplete copy is deleted. Chosen: a day."""


@dataclass(frozen=True, slots=True)
class TakeAudio:
    """The audio file of one or more takes.

    Attributes:
        path: the file.
        size: bytes; None if the file is missing.
        since: when it was played, in seconds since the epoch.
        takes: the takes that refer to it, in order of time; empty if none does.
    """

    path: Path
    size: int | None
    since: float
    takes: tuple[TakeRecord, ...]


def list_audio(journal: Journal) -> list[TakeAudio]:
    """List the audio that takes refer to, and the files named after takes, oldest first.

    Raises:
        JournalError: the journal or its folder cannot be read.
    """
    takes: dict[str, list[TakeRecord]] = {}
    for take in journal.takes(steps=False):
        if take.audio is not None:
            takes.setdefault(_path(journal, take.audio).name, []).append(take)
    files = _files(journal)
    audio = []
    for name in files.keys() | takes.keys():
        owners, file = tuple(takes.get(name, ())), files.get(name)
        if owners:
            since = owners[0].began.timestamp()
        elif file and _NAME.fullmatch(name):
            since = file.st_mtime
        else:
            continue
        size = file.st_size if file else None
        audio.append(TakeAudio(audio_folder(journal) / name, size, since, owners))
    return sorted(audio, key=lambda entry: (entry.since, entry.path))


def audio_folder(journal: Journal) -> Path:
    """Return the folder of a journal's audio; it may not exist."""
    return journal.folder / AUDIO_FOLDER


def audio_path(journal: Journal, take: TakeRecord) -> Path:
    """Return the audio file of a take.

    Raises:
        JournalError: the take has no audio, or its file is missing.
    """
    label = f"the take {take.id[:8]} ({take.title}, {take.day})"
    if take.audio is None:
        raise JournalError(
            f"{label} has no audio: it was not kept, or was deleted to make room; set "
            "journal.keep_audio to keep the audio of takes"
        )
    path = _path(journal, take.audio)
    if not path.is_file():
        raise JournalError(
            f"the audio of {label} is missing: {path} does not exist; restore it from a backup"
        )
    return path


def store_audio(journal: Journal, take: str, flac: Path, mb: float | None = None) -> Path:
    """Move the audio of a take into the journal's folder, and enforce the size limit.

    Args:
        journal: the journal, which has the take already.
        take: the take's id.
        flac: the file; it is moved.
        mb: size limit of all audio in megabytes; None for that of the settings.

    Returns:
        the new path.

    Raises:
        JournalError: the take does not exist, the file alone exceeds the limit, or it cannot be
            moved; it then stays where it was.
    """
    mb = _limit_from_settings_mb() if mb is None else mb
    name = f"{take}.flac"
    path = audio_folder(journal) / name
    if journal.take(take).id != take or path.name != name:
        raise JournalError(f"the journal {journal.path} has no take '{take}'")
    try:
        if not flac.is_file():
            raise JournalError(f"the audio file {flac} does not exist; play the take again")
        size = flac.stat().st_size
        if size > mb * BYTES_PER_MB:
            raise JournalError(
                f"{flac} has {size / BYTES_PER_MB:.1f} MB, more than the limit of {mb:g} MB for "
                "all audio (journal.audio_mb); it stays where it is"
            )
        make_private_folder(path.parent)
        restrict_to_owner(flac)
        _move(flac, path)
    except OSError as error:
        raise JournalError(
            f"{flac} cannot be moved into the journal: {describe_failure(path, error)}"
        ) from error
    journal.set_audio(take, f"{AUDIO_FOLDER}/{name}")
    enforce_audio_limit(journal, mb, take)
    return path


def enforce_audio_limit(journal: Journal, mb: float, newest: str | None = None) -> list[Path]:
    """Link takes to their files, and delete audio beyond the size limit.

    Args:
        journal: the journal.
        mb: size limit of all audio in megabytes.
        newest: id of the latest take, if any.

    Returns:
        the deleted files.

    Raises:
        JournalError: the journal or a file cannot be written.
    """
    silent = {take.id for take in journal.takes(steps=False) if take.audio is None}
    for name in _files(journal):
        if (match := _NAME.fullmatch(name)) and match[1] in silent:
            journal.set_audio(match[1], f"{AUDIO_FOLDER}/{name}")
    files = [audio for audio in list_audio(journal) if audio.size is not None]
    excess = sum(audio.size or 0 for audio in files) - mb * BYTES_PER_MB
    deleted = []
    for audio in _in_deletion_order(files, newest):
        if excess <= 0:
            break
        _delete(journal, audio)
        deleted.append(audio.path)
        excess -= audio.size or 0
    return deleted


def copy_audio(journal: Journal, take: TakeRecord, to: Path) -> None:
    """Copy the audio of a take into a new file.

    Raises:
        JournalError: the take has no audio, the target exists, or it cannot be written.
    """
    source = audio_path(journal, take)
    try:
        with atomic_write(to) as part:
            shutil.copyfile(source, part)
    except FileExistsError as error:
        raise JournalError(f"{to} exists already; choose another name") from error
    except OSError as error:
        raise JournalError(
            f"{source} cannot be copied to {to}: {describe_failure(to, error)}"
        ) from error


def _in_deletion_order(files: list[TakeAudio], newest: str | None) -> list[TakeAudio]:
    """Sort audio by the order in which it is deleted; the input is sorted oldest first."""
    best: dict[_Drill, _Quality] = {}
    for audio in files:
        for take in audio.takes:
            best[_drill(take)] = max(_quality(take), best.get(_drill(take), _quality(take)))
    current = {_drill(take) for audio in files for take in audio.takes if take.id == newest}

    def rank(audio: TakeAudio) -> int:
        if not audio.takes:
            return 1
        best_of = {_drill(take) for take in audio.takes if best[_drill(take)] == _quality(take)}
        if not best_of:
            return 4 if any(take.id == newest for take in audio.takes) else 2
        return 5 if best_of & current else 3

    return sorted(files, key=rank)


_Drill = tuple[str, str]
"""Player and drill."""
_Quality = tuple[bool, float, float]
"""Whether the whole drill was played, the score, and the time."""


def _drill(take: TakeRecord) -> _Drill:
    return take.player, take.drill


def _quality(take: TakeRecord) -> _Quality:
    return take.whole, take.score, take.began.timestamp()


def _delete(journal: Journal, audio: TakeAudio) -> None:
    """Delete a file, then its references: a file without a reference is linked again later."""
    try:
        audio.path.unlink(missing_ok=True)
    except OSError as error:
        raise JournalError(
            f"{audio.path} cannot be deleted: {describe_failure(audio.path, error)}"
        ) from error
    for take in audio.takes:
        journal.set_audio(take.id, None)


def _files(journal: Journal) -> dict[str, os.stat_result]:
    """Return the files in the audio folder, after deleting copies that were never completed."""
    folder = audio_folder(journal)
    files = {}
    try:
        for path in folder.iterdir() if folder.is_dir() else ():
            try:
                file = path.lstat()
                if _LEFT_OVER.fullmatch(path.name) and file.st_mtime < time.time() - _LEFT_OVER_S:
                    path.unlink()
                elif stat.S_ISREG(file.st_mode):
                    files[path.name] = file
            except FileNotFoundError:
                continue  # another process deleted it meanwhile
    except OSError as error:
        raise JournalError(
            f"the audio in {folder} cannot be read: {describe_failure(folder, error)}"
        ) from error
    return files


def _path(journal: Journal, audio: str) -> Path:
    """Return the file that a record refers to, always inside the audio folder."""
    return audio_folder(journal) / Path(audio).name


def _move(flac: Path, path: Path) -> None:
    """Move a file, also to another disk; at the target it is always complete."""
    try:
        replace_path(flac, path)
        return
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
    part = partial_path(path)
    create_private_file(part)
    try:
        shutil.copyfile(flac, part)
        replace_path(part, path)
    finally:
        part.unlink(missing_ok=True)
    flac.unlink()


def _limit_from_settings_mb() -> float:
    from trainer.settings import load_settings

    return load_settings().journal.audio_mb
