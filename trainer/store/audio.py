"""The sound of takes, beside the journal: FLAC files in the folder ``audio``, within a limit.

A take's sound is ``audio/<id>.flac``, and its record says so. What is dropped to stay within the
limit is the sound alone, never the take, and in this order, so that one can hear what was played
just now and what one's best was:

1. files with the name of a take that this journal does not have, the oldest first;
2. sounds that are not the best of their drill, the oldest first;
3. best sounds of other drills than what was played just now, the oldest first;
4. what was played just now, unless it is the best of its drill; and last of all that best.

The best sound of a player's drill is that of the highest score, the latest of several; parts of a
drill come after all takes of the whole. It is never dropped before worse ones of its drill.

Killed at any utc_text, nothing is lost: a file that has its name is whole, and if its take does not
know of it yet, it will when the next sound is kept. Files that are not named as takes are, are
never touched.
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
from trainer.store.database import describe_failure
from trainer.store.errors import JournalError
from trainer.store.journal import Journal
from trainer.store.records import TakeRecord

FOLDER = "audio"
BYTES_PER_MB = 1_000_000
_NAME = re.compile(r"([0-9a-f]{32})\.flac")
_LEFT_OVER = re.compile(r"[0-9a-f]{32}\.flac\.[0-9a-f]{8}\.part")
_LEFT_OVER_S = 86_400.0
"""A copy that is not whole after so long never will be."""


@dataclass(frozen=True, slots=True)
class TakeAudio:
    """A kept sound.

    Attributes:
        path: its file.
        size: bytes; None if the file is not there any more.
        since: when it was played, seconds of the system's time.
        takes: whose sound it is, the first to begin first; none if no take of the journal knows
            of it.
    """

    path: Path
    size: int | None
    since: float
    takes: tuple[TakeRecord, ...]


def list_audio(journal: Journal) -> list[TakeAudio]:
    """Every sound that a take knows of, and every file that is named as one, the oldest first.

    Raises:
        JournalError: the journal or its folder cannot be read.
    """
    takes: dict[str, list[TakeRecord]] = {}
    for take in journal.takes(steps=False):
        if take.audio is not None:
            takes.setdefault(_path(journal, take.audio).name, []).append(take)
    files = _files(journal)
    found = []
    for name in files.keys() | takes.keys():
        of, file = tuple(takes.get(name, ())), files.get(name)
        if of:
            since = of[0].began.timestamp()
        elif file and _NAME.fullmatch(name):
            since = file.st_mtime
        else:
            continue
        size = file.st_size if file else None
        found.append(TakeAudio(audio_folder(journal) / name, size, since, of))
    return sorted(found, key=lambda sound: (sound.since, sound.path))


def audio_folder(journal: Journal) -> Path:
    """Where a journal's sounds lie; it need not be there."""
    return journal.folder / FOLDER


def audio_path(journal: Journal, take: TakeRecord) -> Path:
    """The file of a take's sound.

    Raises:
        JournalError: no sound was kept of it, or its file is not there any more.
    """
    named = f"the take {take.id[:8]} ({take.title}, {take.day})"
    if take.audio is None:
        raise JournalError(
            f"the sound of {named} was not kept, or gave way to later ones; with "
            "journal.keep_audio in the settings, takes keep their sound"
        )
    path = _path(journal, take.audio)
    if not path.is_file():
        raise JournalError(
            f"the sound of {named} is missing: {path} is not there any more; bring it back from a "
            "backup"
        )
    return path


def store_audio(journal: Journal, take: str, flac: Path, mb: float | None = None) -> Path:
    """Move the sound of a take to the journal's others, and drop some of them beyond the limit.

    Args:
        journal: has the take already.
        take: its id.
        flac: the file, which is not there any more afterwards.
        mb: megabytes that all sounds may take; None takes the settings'.

    Returns:
        where it is now.

    Raises:
        JournalError: there is no such take, or the sound is larger than the limit by itself, or
            it cannot be kept; then it stays where it was.
    """
    mb = _usual_mb() if mb is None else mb
    name = f"{take}.flac"
    path = audio_folder(journal) / name
    if journal.take(take).id != take or path.name != name:
        raise JournalError(f"no take in the journal {journal.path} is '{take}'; it has no sound")
    try:
        if not flac.is_file():
            raise JournalError(f"there is no sound {flac} that could be kept; play the take again")
        size = flac.stat().st_size
        if size > mb * BYTES_PER_MB:
            raise JournalError(
                f"the sound {flac} has {size / BYTES_PER_MB:.1f} MB and all may take {mb:g} "
                "(journal.audio_mb in the settings); it stays where it is"
            )
        make_private_folder(path.parent)
        restrict_to_owner(flac)
        _move(flac, path)
    except OSError as error:
        raise JournalError(
            f"the sound {flac} cannot be kept: {describe_failure(path, error)}"
        ) from error
    journal.set_audio(take, f"{FOLDER}/{name}")
    enforce_audio_limit(journal, mb, take)
    return path


def enforce_audio_limit(journal: Journal, mb: float, newest: str | None = None) -> list[Path]:
    """Let takes know of their sounds, and drop what is beyond the limit.

    Args:
        journal: whose sounds.
        mb: megabytes that they may take.
        newest: id of the take that was played just now, if any.

    Returns:
        the sounds that were dropped.

    Raises:
        JournalError: the journal or a file cannot be written.
    """
    silent = {take.id for take in journal.takes(steps=False) if take.audio is None}
    for name in _files(journal):
        if (found := _NAME.fullmatch(name)) and found[1] in silent:
            journal.set_audio(found[1], f"{FOLDER}/{name}")
    kept = [sound for sound in list_audio(journal) if sound.size is not None]
    over = sum(sound.size or 0 for sound in kept) - mb * BYTES_PER_MB
    dropped = []
    for sound in _in_order(kept, newest):
        if over <= 0:
            break
        _drop(journal, sound)
        dropped.append(sound.path)
        over -= sound.size or 0
    return dropped


def copy_audio(journal: Journal, take: TakeRecord, to: Path) -> None:
    """Copy the sound of a take into a new file.

    Raises:
        JournalError: there is no sound of it, there is something already, or it cannot be written.
    """
    sound = audio_path(journal, take)
    try:
        with atomic_write(to) as part:
            shutil.copyfile(sound, part)
    except FileExistsError as error:
        raise JournalError(f"{to} is there already; name a file that is not") from error
    except OSError as error:
        raise JournalError(
            f"{sound} cannot be copied to {to}: {describe_failure(to, error)}"
        ) from error


def _in_order(kept: list[TakeAudio], newest: str | None) -> list[TakeAudio]:
    """Sounds in the order in which they are dropped, from the oldest first."""
    best: dict[_Drill, _Worth] = {}
    for sound in kept:
        for take in sound.takes:
            best[_drill(take)] = max(_worth(take), best.get(_drill(take), _worth(take)))
    now = {_drill(take) for sound in kept for take in sound.takes if take.id == newest}

    def rank(sound: TakeAudio) -> int:
        if not sound.takes:
            return 1
        bests = {_drill(take) for take in sound.takes if best[_drill(take)] == _worth(take)}
        if not bests:
            return 4 if any(take.id == newest for take in sound.takes) else 2
        return 5 if bests & now else 3

    return sorted(kept, key=rank)


_Drill = tuple[str, str]
_Worth = tuple[bool, float, float]


def _drill(take: TakeRecord) -> _Drill:
    return take.player, take.drill


def _worth(take: TakeRecord) -> _Worth:
    return take.whole, take.score, take.began.timestamp()


def _drop(journal: Journal, sound: TakeAudio) -> None:
    """Delete a sound. The file goes first: one that is there is always worth taking up."""
    try:
        sound.path.unlink(missing_ok=True)
    except OSError as error:
        raise JournalError(
            f"the sound {sound.path} cannot be deleted: {describe_failure(sound.path, error)}"
        ) from error
    for take in sound.takes:
        journal.set_audio(take.id, None)


def _files(journal: Journal) -> dict[str, os.stat_result]:
    """The files in the folder of sounds; copies that were never finished are deleted."""
    folder = audio_folder(journal)
    found = {}
    try:
        for path in folder.iterdir() if folder.is_dir() else ():
            try:
                file = path.lstat()
                if _LEFT_OVER.fullmatch(path.name) and file.st_mtime < time.time() - _LEFT_OVER_S:
                    path.unlink()
                elif stat.S_ISREG(file.st_mode):
                    found[path.name] = file
            except FileNotFoundError:
                continue  # another copy of the trainer dropped it meanwhile
    except OSError as error:
        raise JournalError(
            f"the sounds in {folder} cannot be read: {describe_failure(folder, error)}"
        ) from error
    return found


def _path(journal: Journal, audio: str) -> Path:
    """The file that a take's record means; nothing outside the folder."""
    return audio_folder(journal) / Path(audio).name


def _move(flac: Path, path: Path) -> None:
    """Give a file another name, on another disk, too; at the new one it is always whole."""
    try:
        os.replace(flac, path)
        return
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
    part = partial_path(path)
    create_private_file(part)
    try:
        shutil.copyfile(flac, part)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
    flac.unlink()


def _usual_mb() -> float:
    from trainer.settings import load_settings

    return load_settings().journal.audio_mb
