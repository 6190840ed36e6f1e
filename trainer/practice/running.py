"""Takes that are being played, and those that were cut off: their sound is adopted.

While a take with a journal is played, a folder in ``running`` beside the journal names it, and
holds its sound if that is kept. The process holds a lock there, which ends with it: a folder
without one was left by a process that was killed. Its passes are in the journal as far as they were
marked (:mod:`trainer.practice.recorder`); what is adopted here is the sound.
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import secrets
import shutil
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from trainer.core import TrainerError
from trainer.core.files import make_private_folder, replace_file
from trainer.core.system import file_lock
from trainer.sound import finish_cut_off
from trainer.store import Journal, JournalError, TakeRecord, note, store_audio

RUNNING_FOLDER = "running"
TAKE_FILE = "take.flac"
"""Name of the file that holds a take's sound until it is stored or replaced."""
_NOTE, _LOCK = "take.json", "lock"
_log = logging.getLogger(__name__)


class RunningTake:
    """The folder of a take that is being played.

    Attributes:
        folder: the folder.
    """

    def __init__(self, journal: Journal) -> None:
        """Make the folder.

        Raises:
            OSError: it cannot be made.
        """
        self.folder = journal.folder / RUNNING_FOLDER / secrets.token_hex(8)
        make_private_folder(self.folder)
        self._held = contextlib.ExitStack()
        self._held.enter_context(file_lock(self.folder / _LOCK, 0.0))

    def note(self, takes: Sequence[str], tags: Mapping[str, Any], save: Path | None) -> None:
        """Note what is needed to adopt the sound.

        The ear waits meanwhile: this must not wait for the disk.

        Args:
            takes: ids of the passes so far, the running one last.
            tags: what is to be saved with the sound.
            save: where the player wants it saved; None if nowhere.
        """
        content = {"takes": takes, "tags": tags, "save": str(save.absolute()) if save else None}
        with contextlib.suppress(OSError):
            note_file = self.folder / _NOTE
            replace_file(note_file, json.dumps(content).encode(), waits_for_disk=False)

    def close(self) -> None:
        """End the take; its folder is deleted unless it still holds sound."""
        self._held.close()
        if not any(self.folder.glob("*.flac")):
            shutil.rmtree(self.folder, ignore_errors=True)


def adopt_cut_off_takes(journal: Journal, sound_mb: float | None) -> None:
    """Store the sound of takes whose process was killed, and note what was done.

    Args:
        journal: the journal; its takes have their passes already.
        sound_mb: megabytes that the journal's sounds may take; None deletes the sound.
    """
    try:
        folders = sorted((journal.folder / RUNNING_FOLDER).iterdir())
    except OSError:
        return
    for folder in folders:
        try:
            with file_lock(folder / _LOCK, 0.0):
                _adopt(journal, folder, sound_mb)
            if not any(folder.glob("*.flac")):
                shutil.rmtree(folder, ignore_errors=True)
        except TimeoutError:
            continue  # it is being played
        except (OSError, ValueError, KeyError, TypeError) as error:
            _log.warning("the take in %s cannot be adopted: %s", folder, error)
        except TrainerError as error:
            note(f"the sound of a take that was cut off is kept in {folder}: {error}")


def _adopt(journal: Journal, folder: Path, sound_mb: float | None) -> None:
    """Store the sound of one take, and note where it is.

    Raises:
        OSError, ValueError, KeyError, TypeError: the folder is incomplete.
        TrainerError: the sound cannot be stored.
    """
    content = json.loads((folder / _NOTE).read_text("utf-8"))
    takes = list(_stored(journal, content["takes"]))
    if not takes:
        return
    last = takes[-1]
    steps = f"{len(last.steps)} step{'' if len(last.steps) == 1 else 's'}"
    when = f"{last.began.astimezone():%d %B, %H:%M}"
    where = _store_sound(journal, takes, folder, content, sound_mb)
    note(
        f"the take of {last.title} on {when} was cut off: its last pass is in the journal, with "
        f"{steps}{where}"
    )


def _store_sound(
    journal: Journal,
    takes: Sequence[TakeRecord],
    folder: Path,
    content: Mapping[str, Any],
    sound_mb: float | None,
) -> str:
    """Store the sound where the player wants it; return where that is, as a clause."""
    if content["save"] is not None:
        wanted = Path(content["save"])
        part = wanted.with_suffix(".part.flac")
        if not part.exists() or os.path.lexists(wanted):
            return ""
        finish_cut_off(part, wanted, content["tags"])
        return f"; its sound is {wanted}"
    for part in (folder / TAKE_FILE, (folder / TAKE_FILE).with_suffix(".part.flac")):
        if not part.exists():
            continue
        if sound_mb is None:
            part.unlink()
            return ""
        whole = folder / TAKE_FILE
        if part != whole:
            finish_cut_off(part, whole, content["tags"])
        best = max(takes, key=lambda take: (take.whole, take.score))
        store_audio(journal, best.id, whole, sound_mb)
        return "; its sound is kept, too"
    return ""


def _stored(journal: Journal, ids: Sequence[str]) -> Iterator[TakeRecord]:
    for each in ids:
        with contextlib.suppress(JournalError):
            yield journal.take(each)
