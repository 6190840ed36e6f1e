"""What a mark follows from: the sound, what was asked, the options, and the trainer itself."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import trainer
from trainer.core import TrainerError
from trainer.harp import Harp
from trainer.practice.plan import Plan
from trainer.sound import RecordingSpec

MARKING_ROOMS = ("music", "harp", "drill", "sound", "echo", "ear", "marking", "practice")
"""Rooms whose code decides marks."""
CODE_SUFFIXES = (".py", ".toml", ".j2", ".css", ".js")
"""Files of a room that decide what it does."""


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """All that decides the marks of a recording; two that are equal get the same marks.

    Attributes:
        recording: SHA-256 of the file.
        drill: SHA-256 of the drill as marked, its tolerance and the player's part included.
        harp: SHA-256 of the harp's targets.
        options: SHA-256 of the other options.
        version: version of the trainer and SHA-256 of the code that decides marks.
    """

    recording: str
    drill: str
    harp: str
    options: str
    version: str

    @classmethod
    def of(cls, plan: Plan) -> Fingerprint:
        """Return the fingerprint of a plan for a recording.

        Raises:
            TrainerError: the recording cannot be read.
        """
        assert isinstance(plan.source, RecordingSpec)
        options = replace(
            plan,
            harp=Harp.of(),
            source=replace(plan.source, path=Path()),
            drill=None,
            journal=None,
            player="",
            harp_name=None,
        )
        return cls(
            _file_digest(plan.source.path),
            _digest(repr(plan.drill)),
            _digest(repr(_targets(plan.harp))),
            _digest(repr(options)),
            f"{trainer.__version__} {code_digest(MARKING_ROOMS)}",
        )


def _targets(harp: Harp) -> list[tuple[str, float]]:
    return [(harp.name, 0.0), *((str(tab), harp.hz(tab)) for tab in harp.entries)]


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def _file_digest(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise TrainerError(f"{path} cannot be read: {error.strerror}") from None


@cache
def code_digest(rooms: tuple[str, ...]) -> str:
    """Return the SHA-256 of the files of some rooms, in order of their names."""
    root = Path(trainer.__file__).parent
    digest = hashlib.sha256()
    for room in rooms:
        for module in sorted((root / room).rglob("*")):
            if module.suffix in CODE_SUFFIXES and module.is_file():
                digest.update(module.relative_to(root).as_posix().encode())
                digest.update(module.read_bytes())
    return digest.hexdigest()
