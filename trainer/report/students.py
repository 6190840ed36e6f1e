"""Who played each recording of a class: from folders, file names, and a list of the class."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from trainer.core import TrainerError
from trainer.core.printable import printable
from trainer.core.text_files import normalize_text, read_text_file

MAX_LIST_BYTES = 1_000_000
"""Largest list of a class that is read."""


@dataclass(frozen=True, slots=True)
class FoundRecording:
    """A recording, and the folder that it was found in.

    Attributes:
        path: the recording.
        root: the folder that was searched; None for a file that was named itself.
    """

    path: Path
    root: Path | None = None

    @property
    def folders(self) -> tuple[str, ...]:
        """Names of the folders below the one that was searched, the outermost first."""
        return () if self.root is None else self.path.relative_to(self.root).parts[:-1]


@dataclass(frozen=True, slots=True)
class ListedStudent:
    """A line of a class's list.

    Attributes:
        name: the student's name.
        recording: file or folder of the student's recordings.
    """

    name: str
    recording: str

    def has(self, recording: FoundRecording) -> bool:
        """Whether a recording is the student's: by the name of its file or of a folder."""
        wanted = self.recording.replace("\\", "/").strip("/").casefold()
        path = recording.path
        parts = [*recording.folders, path.name] if recording.root else [path.parent.name, path.name]
        names = {path.stem, *parts, *("/".join(parts[i:]) for i in range(len(parts)))}
        return wanted in {name.casefold() for name in names}


def read_class_list(path: Path) -> tuple[ListedStudent, ...]:
    """Read the list of a class: a name on each line, and after a comma whose recording it is.

    Without a comma, the recording is the file or folder of that name. Lines that are empty or
    begin with ``#`` are skipped.

    Raises:
        TrainerError: the list cannot be read, is empty, or has a name twice.
    """
    text = normalize_text(read_text_file(path, max_bytes=MAX_LIST_BYTES))
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    listed = []
    for row in csv.reader(lines, skipinitialspace=True):
        name, recording = row[0].strip(), ",".join(row[1:]).strip()
        if name:
            listed.append(ListedStudent(name, recording or name))
    if not listed:
        raise TrainerError(f"{path} names no student; write a name on each line")
    (name, count), *_ = Counter(student.name.casefold() for student in listed).most_common(1)
    if count > 1:
        raise TrainerError(f"{path} has '{name}' {count} times; add what sets them apart")
    return tuple(listed)


def name_students(
    recordings: Sequence[FoundRecording], listed: Sequence[ListedStudent] = ()
) -> dict[Path, str]:
    """Return a name for each recording; no two are the same.

    It is that of the list; else of the folder, for a recording in a folder of the one that was
    searched; else of the file. Where two would be the same, folder and file are added.

    Raises:
        TrainerError: a recording fits two students of the list.
    """
    names = {recording.path: printable(_first_name(recording, listed)) for recording in recordings}
    by_path = {recording.path: recording for recording in recordings}
    for longer in (_with_file, _by_place, _by_path):
        counts = Counter(name.casefold() for name in names.values())
        for path, name in names.items():
            if counts[name.casefold()] > 1:
                names[path] = printable(longer(by_path[path], name))
    seen: Counter[str] = Counter()
    for path, name in names.items():
        seen[name.casefold()] += 1
        if seen[name.casefold()] > 1:
            names[path] = f"{name} ({seen[name.casefold()]})"
    return names


def missing_students(
    recordings: Sequence[FoundRecording], listed: Sequence[ListedStudent]
) -> list[str]:
    """Return the names on the list of whom there is no recording."""
    return [
        student.name
        for student in listed
        if not any(student.has(recording) for recording in recordings)
    ]


def _first_name(recording: FoundRecording, listed: Sequence[ListedStudent]) -> str:
    fitting = [student.name for student in listed if student.has(recording)]
    if len(fitting) > 1:
        raise TrainerError(f"{recording.path} fits both {fitting[0]} and {fitting[1]} of the list")
    return fitting[0] if fitting else (*recording.folders, recording.path.stem)[0]


def _with_file(recording: FoundRecording, name: str) -> str:
    """Anna's second recording is ``Anna, second``; a take of anna and one of bert are theirs."""
    stem = recording.path.stem
    return recording.path.absolute().parent.name if name == stem else f"{name}, {stem}"


def _by_place(recording: FoundRecording, name: str) -> str:
    whole = recording.path.absolute()
    return f"{whole.parent.name}/{whole.name}"


def _by_path(recording: FoundRecording, name: str) -> str:
    return str(recording.path)
