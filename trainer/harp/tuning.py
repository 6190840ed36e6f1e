"""Tunings: which interval above hole 1 blow each reed sounds.

A tuning is a small TOML file with the half steps of its ten blow and ten draw reeds. The
project's own lie beside this module in ``tunings/``; a player adds more in the folder that
:func:`user_tuning_folder` names, and one of the same name there takes the place of the project's.

Naming. A harp is named after the note of its hole 1 blow, the key of its first position, in
every tuning. Makers label most harps so, but many minor ones after the key of their second
position: a natural minor harp sold as G minor, whose hole 1 blow is C, is a C harp here.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import platformdirs

from trainer.harp.errors import HarpError
from trainer.harp.tab import HOLES, Breath

_LOWEST, _HIGHEST = -12, 60


@dataclass(frozen=True, slots=True)
class Tuning:
    """A tuning.

    Attributes:
        name: how commands and drills refer to it; the file's name without its ending.
        title: one line for people.
        blow, draw: half steps of each hole's reed above hole 1 blow of the key, ten each.
        about: what a player should know of it, such as how its harps are labelled.
    """

    name: str
    title: str
    blow: tuple[int, ...]
    draw: tuple[int, ...]
    about: str = ""

    def half_steps(self, hole: int, breath: Breath) -> int:
        """Half steps of a reed above hole 1 blow of the key."""
        return (self.blow if breath is Breath.BLOW else self.draw)[hole - 1]


def user_tuning_folder() -> Path:
    """Where a player's own tunings lie."""
    return Path(platformdirs.user_config_dir("trainer", appauthor=False)) / "tunings"


def tuning_names() -> tuple[str, ...]:
    """Names of all tunings at hand; a file is listed before anybody knows whether it is right."""
    return tuple(sorted(_files(), key=lambda name: (name != "richter", name)))


def load_tuning(name: str) -> Tuning:
    """The tuning of that name; capitals do not matter, and a space may stand for a hyphen.

    Raises:
        HarpError: there is none, or its file is wrong.
    """
    path = _files().get(_as_name(name))
    if path is None:
        raise HarpError(
            f"no tuning is called '{name}'; there are {', '.join(tuning_names())}, and your own "
            f"go in {user_tuning_folder()}"
        )
    return read_tuning(path)


def read_tuning(path: Path) -> Tuning:
    """The tuning in a file.

    Raises:
        HarpError: the file cannot be read, is not TOML, or lacks ten whole numbers a breath.
    """
    try:
        return _read(path, path.stat().st_mtime_ns)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise HarpError(f"the tuning file {path} cannot be read: {error}") from error


@lru_cache(maxsize=64)
def _read(path: Path, changed: int) -> Tuning:
    """The tuning in a file, which each of many drills asks for, read once as long as it was not
    changed since (`changed`)."""
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    texts = {"title": path.stem, "about": ""}
    for field in texts:
        texts[field] = data.get(field, texts[field])
        if not isinstance(texts[field], str):
            raise HarpError(f"the tuning file {path} has a {field} that is no text; quote it")
    return Tuning(
        name=_as_name(path.stem),
        title=texts["title"],
        blow=_reeds(data, Breath.BLOW, path),
        draw=_reeds(data, Breath.DRAW, path),
        about=texts["about"],
    )


def _reeds(data: dict[str, object], breath: Breath, path: Path) -> tuple[int, ...]:
    row = data.get(breath.value)
    if (
        not isinstance(row, list)
        or len(row) != len(HOLES)
        or not all(type(step) is int and _LOWEST <= step <= _HIGHEST for step in row)
    ):
        raise HarpError(
            f"the tuning file {path} needs '{breath} = [...]' with ten whole numbers from "
            f"{_LOWEST} to {_HIGHEST}, the half steps of each hole's reed above hole 1 blow"
        )
    return tuple(row)


def _files() -> dict[str, Path]:
    own = Path(__file__).with_name("tunings")
    files = (
        path for folder in (own, user_tuning_folder()) for path in sorted(folder.glob("*.toml"))
    )
    return {_as_name(path.stem): path for path in files}


def _as_name(text: str) -> str:
    return re.sub(r"[\s_]+", "-", text.strip().lower())
