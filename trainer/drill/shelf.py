"""The shelf: the drills available to a player.

The project's drills, and the player's in :func:`user_drill_folder`; a drill there replaces the
project's drill of the same name.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from importlib import resources
from pathlib import Path
from statistics import mean

import platformdirs

from trainer.drill.errors import DrillError
from trainer.drill.model import Drill
from trainer.drill.parser import read_drill

DRILL_SUFFIX = ".toml"
"""Suffix of drill files."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The available drills.

    Attributes:
        drills: drills in course order: grouped by main skill, easier groups first.
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
    return Shelf(_as_course(drills), tuple(errors))


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


def _group(drill: Drill) -> str:
    return drill.skills[0] if drill.skills else "other"


def _as_course(drills: list[Drill]) -> tuple[Drill, ...]:
    levels: dict[str, list[int]] = {}
    for drill in drills:
        levels.setdefault(_group(drill), []).append(drill.level)

    def place(drill: Drill) -> tuple[float, str, int, str]:
        group = _group(drill)
        return mean(levels[group]), group, drill.level, drill.name

    return tuple(sorted(drills, key=place))
