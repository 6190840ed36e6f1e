"""Tunings: the interval of each reed above hole 1 blow.

A tuning is a small TOML file with the half steps of its ten blow and ten draw reeds. The built-in
tunings are in ``tunings/`` beside this module. Players add files in :func:`user_tuning_folder`; one
with the name of a built-in tuning replaces it.

Naming. In every tuning a harp is named after the note of its hole 1 blow, the key of its first
position. Makers label most harps so, but many minor harps after the key of their second position:
a natural minor harp sold as G minor, whose hole 1 blow is C, is a C harp here.

Valves. A reed may have a valve on its slot, a strip that shuts it while the other reed of the hole
is played. That reed then sounds alone: it bends alone, and is not overblown or overdrawn. Each
tuning exists half-valved (common practice), with valves on the higher reed of each hole: draw 1 to
6 and blow 7 to 10 on a standard harp, so that blow 1 to 6 and draw 7 to 10 bend alone. Its name is
the tuning's with :data:`HALF_VALVED` after it. A file can place its own valves.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import platformdirs

from trainer.core.text_files import TextFileError, normalize_text, read_text_file
from trainer.harp.errors import HarpError
from trainer.harp.tab import HOLES, Breath, Tab

_MIN_HALF_STEPS, _MAX_HALF_STEPS = -12, 60
"""Range of a reed in half steps above hole 1 blow."""
MAX_BYTES = 100_000
"""Size of the largest tuning file that is read, in bytes."""
STANDARD = "richter"
"""Name of the standard tuning."""
HALF_VALVED = "half-valved"
"""Name of the standard tuning half-valved, and the end of the names of others half-valved."""


@dataclass(frozen=True, slots=True)
class Tuning:
    """A tuning.

    Attributes:
        name: identifier in commands and drills; the file's name without its suffix.
        title: one line for lists.
        blow, draw: half steps of each hole's reed above hole 1 blow, ten each.
        about: notes for the player, such as how makers label these harps.
        valves: reeds with a valve on their slot, by their natural entries.
    """

    name: str
    title: str
    blow: tuple[int, ...]
    draw: tuple[int, ...]
    about: str = ""
    valves: frozenset[Tab] = frozenset()

    def half_steps(self, hole: int, breath: Breath) -> int:
        """Half steps of a reed above hole 1 blow."""
        return (self.blow if breath is Breath.BLOW else self.draw)[hole - 1]

    def higher_reed(self, hole: int) -> Breath:
        """Breath direction of a hole's higher reed; draw if both have one pitch."""
        return Breath.BLOW if self.blow[hole - 1] > self.draw[hole - 1] else Breath.DRAW

    def bends_alone(self, hole: int, breath: Breath) -> bool:
        """Whether a reed bends alone: the slot of the other reed of its hole has a valve."""
        return Tab(hole, breath.other) in self.valves

    def half_valved(self) -> Tuning:
        """Return the tuning with a valve on the higher reed of each hole, and on no other."""
        return replace(
            self,
            name=HALF_VALVED if self.name == STANDARD else f"{self.name}-{HALF_VALVED}",
            title=f"{self.title}; half-valved",
            valves=frozenset(Tab(hole, self.higher_reed(hole)) for hole in HOLES),
        )


FORMER_NAMES = {"paddy": "raised-third-blow"}
"""Present names of tunings by the names that they had in earlier versions; files keep working."""


def user_tuning_folder() -> Path:
    """Return the folder of the player's tunings."""
    return Path(platformdirs.user_config_dir("trainer", appauthor=False)) / "tunings"


def tuning_names() -> tuple[str, ...]:
    """Names of all tunings, the standard one first; the files are not validated.

    Of the half-valved ones only the standard one is listed.
    """
    names = {*_files(), HALF_VALVED}
    return tuple(sorted(names, key=lambda name: (name != STANDARD, name)))


def load_tuning(name: str) -> Tuning:
    """Return a tuning by name; case is ignored, and a space is the same as a hyphen.

    Raises:
        HarpError: there is none, or its file is invalid.
    """
    files, wanted = _files(), _normalize_name(name)
    if path := files.get(wanted) or files.get(FORMER_NAMES.get(wanted, wanted)):
        return read_tuning(path)
    plain = STANDARD if wanted == HALF_VALVED else wanted.removesuffix(f"-{HALF_VALVED}")
    if plain != wanted and (path := files.get(plain)):
        return read_tuning(path).half_valved()
    raise HarpError(
        f"no tuning is called '{name}'; there are {', '.join(tuning_names())}, each half-valved, "
        f"too, as in solo-{HALF_VALVED}; your own go in {user_tuning_folder()}"
    )


def read_tuning(path: Path) -> Tuning:
    """Read a tuning from a file.

    Raises:
        HarpError: the file cannot be read, is not TOML, or lacks ten whole numbers per breath.
    """
    try:
        return _read(path, path.stat().st_mtime_ns)
    except TextFileError as error:
        raise HarpError(f"the tuning file {path} cannot be read: {error.reason}") from error
    except (OSError, ValueError, RecursionError) as error:
        raise HarpError(f"the tuning file {path} cannot be read: {error}") from error


@lru_cache(maxsize=64)
def _read(path: Path, modified_ns: int) -> Tuning:
    """Read a file, cached by its time of modification: every drill looks its tuning up."""
    data = tomllib.loads(normalize_text(read_text_file(path, max_bytes=MAX_BYTES)))
    texts = {"title": path.stem, "about": ""}
    for field in texts:
        texts[field] = data.get(field, texts[field])
        if not isinstance(texts[field], str):
            raise HarpError(f"'{field}' in the tuning file {path} must be text; quote it")
    return Tuning(
        name=_normalize_name(path.stem),
        title=texts["title"],
        blow=_reeds(data, Breath.BLOW, path),
        draw=_reeds(data, Breath.DRAW, path),
        about=texts["about"],
        valves=_valves(data, path),
    )


def _reeds(data: dict[str, object], breath: Breath, path: Path) -> tuple[int, ...]:
    row = data.get(breath.value)
    if (
        not isinstance(row, list)
        or len(row) != len(HOLES)
        or not all(type(step) is int and _MIN_HALF_STEPS <= step <= _MAX_HALF_STEPS for step in row)
    ):
        raise HarpError(
            f"the tuning file {path} needs '{breath} = [...]' with ten whole numbers from "
            f"{_MIN_HALF_STEPS} to {_MAX_HALF_STEPS}, the half steps of each hole's reed above "
            "hole 1 blow"
        )
    return tuple(row)


def _valves(data: dict[str, object], path: Path) -> frozenset[Tab]:
    naturals = {str(tab): tab for hole in HOLES for tab in (Tab(hole, b) for b in Breath)}
    words = data.get("valves", [])
    if not isinstance(words, list) or not all(word in naturals for word in words):
        raise HarpError(
            f"'valves' in the tuning file {path} must list reeds as tab, as in "
            'valves = ["-1", "-2", "7"]: the reeds that have a valve on their slot'
        )
    return frozenset(naturals[word] for word in words)


def _files() -> dict[str, Path]:
    built_in = Path(__file__).with_name("tunings")
    files = (
        path
        for folder in (built_in, user_tuning_folder())
        for path in sorted(folder.glob("*.toml"))
    )
    return {_normalize_name(path.stem): path for path in files}


def _normalize_name(text: str) -> str:
    return re.sub(r"[\s_]+", "-", text.strip().lower())
