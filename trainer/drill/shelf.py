"""The shelf: the drills available to a player.

The project's drills, and the player's in :func:`user_drill_folder`; a drill there replaces the
project's drill of the same name.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from importlib import resources
from pathlib import Path
from statistics import mean
from typing import Protocol, TypeVar

import platformdirs

from trainer.core.text_files import normalize_text
from trainer.drill.errors import DrillError
from trainer.drill.model import Drill
from trainer.drill.parser import read_drill, read_drill_text

DRILL_SUFFIX = ".toml"
"""Suffix of drill files."""
LOWEST_LEVEL = 1
"""Level of a drill that states none."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The available drills.

    Attributes:
        drills: drills in the order of the shelf: grouped by main skill, easier groups first.
        errors: one error for each file that is not a valid drill.
    """

    drills: tuple[Drill, ...]
    errors: tuple[DrillError, ...]

    @property
    def groups(self) -> dict[str, tuple[Drill, ...]]:
        """Drills by their main skill; drills without skills are in ``other``."""
        groups: dict[str, tuple[Drill, ...]] = {}
        for drill in self.drills:
            groups[_group(drill)] = (*groups.get(_group(drill), ()), drill)
        return groups


def bundled_drill_folder() -> Path:
    """Return the folder of the project's drills: in an installed package, or beside the source."""
    package = Path(str(resources.files("trainer")))
    inside = package / "drills"
    return inside if inside.is_dir() else package.parent / "drills"


def user_drill_folder() -> Path:
    """Return the folder of the player's drills."""
    return Path(platformdirs.user_data_dir("trainer", appauthor=False)) / "drills"


def drill_files() -> dict[str, Path]:
    """Return all drill files by drill name."""
    files = [*_files_in(bundled_drill_folder()), *_files_in(user_drill_folder())]
    return {path.stem: path for path in files}


def expand_drill_paths(paths: Iterable[Path]) -> tuple[Path, ...]:
    """Return the drill files of paths, with folders replaced by the drill files in them.

    Raises:
        DrillError: a folder contains no drill file.
    """
    files: list[Path] = []
    for path in paths:
        inside = _files_in(path) if path.is_dir() else [path]
        if not inside:
            raise DrillError(
                f"the folder {path} has no drill file; their names end in {DRILL_SUFFIX}"
            )
        files += inside
    return tuple(dict.fromkeys(files))


def read_shelf() -> Shelf:
    """Read all drills."""
    drills, errors = [], []
    for path in drill_files().values():
        try:
            drills.append(read_drill(path))
        except DrillError as error:
            errors.append(error)
    return Shelf(_in_shelf_order(drills), tuple(errors))


def read_drills_for(skills: Collection[str], level: int) -> tuple[Drill, ...]:
    """Read the drills that train one of some skills, in the order of the shelf.

    Folders and errors are those of :func:`read_shelf`.

    Of the other drills only the heads are read, which takes a fifth of the time.

    Args:
        skills: names of skills.
        level: highest level.
    """
    heads = [head for path in drill_files().values() if (head := _read_head(path)) is not None]
    drills = []
    for head in _in_shelf_order(heads):
        if head.level <= level and not set(skills).isdisjoint(head.skills):
            try:
                drills.append(read_drill(head.path))
            except DrillError:  # read_shelf reports it
                continue
    return tuple(drills)


@dataclass(frozen=True, slots=True)
class _Head:
    """What the order of the shelf follows from.

    Attributes:
        name, skills, level: as in :class:`Drill`.
        path: of its file.
    """

    name: str
    skills: tuple[str, ...]
    level: int
    path: Path


def _read_head(path: Path) -> _Head | None:
    """Return the head of a drill file; None where it is not one."""
    try:
        data = tomllib.loads(normalize_text(read_drill_text(path)))
        skills = tuple(str(skill) for skill in data.get("skills", ()))
        return _Head(path.stem, skills, int(data.get("level", LOWEST_LEVEL)), path)
    except (DrillError, ValueError, TypeError, RecursionError):
        return None


def find_drill(name_or_path: str) -> Drill:
    """Return a drill of the shelf by name, or a drill file by path.

    Raises:
        DrillError: there is none, or it is not valid.
    """
    files = {name.lower(): path for name, path in drill_files().items()}
    name = name_or_path.lower()
    if name in files:
        return read_drill(files[name])
    path = Path(name_or_path)
    if path.suffix == DRILL_SUFFIX or len(path.parts) > 1:
        return read_drill(path)
    near = get_close_matches(name, files, n=3)
    hint = f"perhaps {' or '.join(near)}" if near else "'trainer drill list' shows all"
    raise DrillError(f"no drill is called '{name_or_path}'; {hint}")


def _files_in(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob(f"*{DRILL_SUFFIX}") if path.is_file())


class _OnShelf(Protocol):
    """What has a place on the shelf."""

    @property
    def name(self) -> str: ...
    @property
    def skills(self) -> tuple[str, ...]: ...
    @property
    def level(self) -> int: ...


_T = TypeVar("_T", bound=_OnShelf)


def _group(drill: _OnShelf) -> str:
    return drill.skills[0] if drill.skills else "other"


def _in_shelf_order(drills: list[_T]) -> tuple[_T, ...]:
    levels: dict[str, list[int]] = {}
    for drill in drills:
        levels.setdefault(_group(drill), []).append(drill.level)

    def place(drill: _OnShelf) -> tuple[float, str, int, str]:
        group = _group(drill)
        return mean(levels[group]), group, drill.level, drill.name

    return tuple(sorted(drills, key=place))
