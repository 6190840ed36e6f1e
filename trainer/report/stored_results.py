"""Results of recordings in a folder, each bound to what it was made from.

A result is used again only for the same sound, drill, options and version; a file that is empty,
torn or of another kind counts as none.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from dataclasses import asdict
from pathlib import Path
from typing import Any

from trainer.core import TrainerError
from trainer.core.files import replace_file, usual_mode
from trainer.drill import Drill
from trainer.practice import Fingerprint
from trainer.report.last_time import Summary
from trainer.report.schemas.results import RecordingData

MADE_FROM = "made_from"
"""Key of the fingerprint in a stored result."""
LAST_TIME = "last_time"
"""Key of what was reached before, as :class:`~trainer.report.last_time.Summary` holds it."""
NAME_CHARACTERS = 60
"""Maximum length of the readable part of a result's file name."""
HASH_CHARACTERS = 10
"""Digits of the hash of the path in a result's file name."""


def make_folder(folder: Path) -> None:
    """Make a folder for results or pages, if it is missing.

    Raises:
        TrainerError: it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise TrainerError(
            f"the folder {folder} cannot be created ({error.strerror}); choose another"
        ) from None


class StoredResults:
    """The results in a folder.

    Args:
        folder: created if it is missing.

    Raises:
        TrainerError: the folder cannot be created.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        make_folder(folder)

    def path(self, recording: Path, drill: Drill) -> Path:
        """Return where the result of a recording is stored: one place for each path of a file.

        The name starts with the end of the recording's path, to be found by people, and goes on
        with a hash of all of it, because two paths can look alike.
        """
        whole = recording.absolute()
        readable = "-".join([whole.parent.name, whole.stem])
        slug = re.sub(r"[^A-Za-z0-9]+", "-", readable).strip("-")[-NAME_CHARACTERS:]
        digest = hashlib.sha256(os.fsencode(whole)).hexdigest()[:HASH_CHARACTERS]
        return self._folder / f"{slug or 'recording'}-{digest}.{drill.name}.json"

    def read(self, recording: Path, drill: Drill, made_from: Fingerprint) -> dict[str, Any] | None:
        """Return the result of a recording, if there is one that was made from the same."""
        try:
            data = json.loads(self.path(recording, drill).read_bytes())
        except (OSError, ValueError):
            return None
        if not isinstance(data, dict) or data.get(MADE_FROM) != asdict(made_from):
            return None
        return data | {"recording": str(recording)}

    def passed_drills(self, recording: Path, drill: Drill) -> frozenset[str]:
        """Return the names of the other drills that were passed under the path of a recording."""
        own = self.path(recording, drill)
        stem = own.name.removesuffix(f".{drill.name}.json")
        names = set()
        for path in self._folder.glob(f"{stem}.*.json"):
            try:
                data = json.loads(path.read_bytes())
                if path != own and data["passed"] is True:
                    names.add(str(data["drill"]))
            except (OSError, ValueError, KeyError, TypeError):
                continue
        return frozenset(names)

    def last(self, recording: Path, drill: Drill, made_from: Fingerprint) -> Summary | None:
        """Return what was reached under the path of a recording before its present sound."""
        try:
            data = json.loads(self.path(recording, drill).read_bytes())
            if data[MADE_FROM]["recording"] == made_from.recording:
                data = data[LAST_TIME]
            return Summary.read(data)
        except (OSError, ValueError, KeyError, TypeError, TrainerError):
            return None

    def write(
        self, recording: Path, drill: Drill, data: RecordingData, made_from: Fingerprint
    ) -> None:
        """Store the result of a recording in place of an older one, whole or not at all.

        What the older one reached is kept in it as the last time.

        Raises:
            TrainerError: it cannot be stored.
        """
        path, last = self.path(recording, drill), self.last(recording, drill, made_from)
        more = {MADE_FROM: asdict(made_from), LAST_TIME: last.data if last else None}
        text = json.dumps({**data, **more}, indent=2) + "\n"
        try:
            replace_file(path, text.encode(), mode=usual_mode())
        except OSError as error:
            raise TrainerError(
                f"{path} cannot be written ({error.strerror}); make room there, or choose another "
                "folder with --out"
            ) from None
