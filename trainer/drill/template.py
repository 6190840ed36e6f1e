"""Template of a new drill, with comments on its fields."""

from __future__ import annotations

import re
from pathlib import Path

from trainer.drill.errors import DrillError
from trainer.drill.formatter import format_drill
from trainer.drill.shelf import DRILL_SUFFIX, user_drill_folder
from trainer.drill.writer import toml_number, toml_string

_NAME = re.compile(r"\w[\w .-]*")


def drill_template(
    name: str, title: str | None = None, harp: str = "C", tempo: float = 72, meter: str = "4/4"
) -> str:
    """Return the text of a small drill with given fields.

    Args:
        name: name of the drill; the default title is made from it.
        title: as in a drill file.
        harp: as in a drill file.
        tempo: as in a drill file.
        meter: as in a drill file.

    Raises:
        DrillError: the value of a field is not valid.
    """
    title = title or name.replace("-", " ").replace("_", " ").capitalize()
    beats = meter.partition("/")[0]
    text = f"""\
# A drill is one text file; what follows a # is a comment.
title = {toml_string(title)}
about = "What it trains, how it feels when right, and what usually goes wrong."
harp = {toml_string(harp)} # the key of its harp, such as "Bb" or "low F"
tempo = {toml_number(tempo)} # beats per minute
meter = {toml_string(meter)}
skills = ["single notes"] # the main one first: the list is grouped by it
level = 1 # level in the course, 1 to 9

# 4 is blow, -4 draw, -4' a half-step bend, 4+5 a chord, r a rest; beats come after the colon.
# Every bar must be full.
tab = \"\"\"
{_bars(int(beats) if beats.isdecimal() else 4)}
\"\"\"

[aim]
cleanness = ["all"] # what the drill is for: this decides the mark

[goal]
tolerance = 15 # distance in cents that counts as in tune
"""
    try:
        return format_drill(text, name)
    except DrillError as error:  # without position: there is no file yet
        raise DrillError(error.problems[0].message) from None


def _bars(beats: int) -> str:
    """Return four bars with rests to breathe."""
    held = min(2, beats - 1)
    rest = f" r:{beats - held}"
    if beats == 1:
        return "4:1 | r:1 | -4:1 | r:1 |"
    return f"4:{held}{rest} | -4:{held}{rest} |\n5:{held}{rest} | -4:{held}{rest} |"


def new_drill_path(name: str) -> Path:
    """Return the path of a new drill: a plain name is in the player's folder.

    Raises:
        DrillError: it is not a valid name.
    """
    path = Path(name)
    if path.suffix == DRILL_SUFFIX or len(path.parts) > 1:
        return path if path.suffix == DRILL_SUFFIX else path.with_name(path.name + DRILL_SUFFIX)
    if not _NAME.fullmatch(name):
        raise DrillError(
            f"'{name}' is not a name for a drill; use letters, digits and hyphens, as in "
            "'my-first-bend', or the path of a file"
        )
    return user_drill_folder() / (name + DRILL_SUFFIX)


def write_new_drill(path: Path, text: str) -> None:
    """Write a new drill file; the player's folder is created if necessary.

    Raises:
        DrillError: the file exists or cannot be written.
    """
    try:
        if path.parent == user_drill_folder():
            path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise DrillError(f"{path} exists already; choose another name, or edit it") from None
    except FileNotFoundError:
        raise DrillError(
            f"there is no folder {path.parent}; create it, or choose another"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise DrillError(f"{path} cannot be written: {reason}") from None
