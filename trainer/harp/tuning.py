"""Tunings: which interval above hole 1 blow of the key each reed sounds.

A tuning is a small TOML file with the half steps of its ten blow and ten draw reeds. The
project's own lie beside this module in ``tunings/``; a player adds more in the folder that
:func:`user_folder` names, and one of the same name there takes the place of the project's.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

import platformdirs

from trainer.harp.errors import HarpError
from trainer.harp.tab import Breath


@dataclass(frozen=True, slots=True)
class Tuning:
    """A tuning.

    Attributes:
        name: how commands and drills refer to it; the file's name without its ending.
        title: one line for people.
        blow, draw: half steps of each hole's reed above hole 1 blow, ten each.
    """

    name: str
    title: str
    blow: tuple[int, ...]
    draw: tuple[int, ...]

    def half_steps(self, hole: int, breath: Breath) -> int:
        """Half steps of a reed above hole 1 blow of the key."""
        return (self.blow if breath is Breath.BLOW else self.draw)[hole - 1]


def user_folder() -> Path:
    """Where a player's own tunings lie."""
    return Path(platformdirs.user_config_dir("trainer", appauthor=False)) / "tunings"


def _files() -> dict[str, Path]:
    own = Path(str(resources.files("trainer.harp"))) / "tunings"
    files = sorted(own.glob("*.toml")) + sorted(user_folder().glob("*.toml"))
    return {path.stem: path for path in files}


def tuning_names() -> tuple[str, ...]:
    """Names of all tunings at hand."""
    return tuple(sorted(_files(), key=lambda name: (name != "richter", name)))


@cache
def load_tuning(name: str) -> Tuning:
    """The tuning of that name.

    Raises:
        HarpError: there is none, or its file is wrong.
    """
    path = _files().get(name.lower())
    if path is None:
        raise HarpError(
            f"no tuning is called '{name}'; there are {', '.join(tuning_names())}, and your own "
            f"go in {user_folder()}"
        )
    return read_tuning(path)


def read_tuning(path: Path) -> Tuning:
    """The tuning in a file.

    Raises:
        HarpError: the file cannot be read, is not TOML, or lacks ten whole numbers a breath.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise HarpError(f"the tuning file {path} cannot be read: {error}") from error
    rows = []
    for breath in Breath:
        row = data.get(breath.value)
        if (
            not isinstance(row, list)
            or len(row) != 10
            or not all(type(step) is int and -36 <= step <= 60 for step in row)
        ):
            raise HarpError(
                f"the tuning file {path} needs '{breath.value} = [...]' with ten whole numbers, "
                "the half steps of each hole's reed above hole 1 blow of the key"
            )
        rows.append(tuple(row))
    return Tuning(path.stem.lower(), str(data.get("title", path.stem)), rows[0], rows[1])
