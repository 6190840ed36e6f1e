"""The course: the order in which the drills of the shelf are best learnt.

``course.toml`` beside this module lists its stages. Drills in no stage, such as the player's
own, are in the daily set by their level, as all others are.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class Stage:
    """A stage of the course.

    Attributes:
        name: name of the stage, unique.
        goal: what a player can do after it, a sentence.
        after: names of the stages that open it; a stage without any is always open.
        drills: names of its drills, in their order.
    """

    name: str
    goal: str
    after: tuple[str, ...]
    drills: tuple[str, ...]


def course_place(drill: str) -> int:
    """Place of a drill in the course, from 0; -1 if it is in no stage.

    So a player's own drill comes before the others of its level: it was added on purpose.
    """
    return _places().get(drill, -1)


@lru_cache(maxsize=1)
def _places() -> dict[str, int]:
    names = [name for stage in read_course() for name in stage.drills]
    return {name: place for place, name in enumerate(names)}


@lru_cache(maxsize=1)
def read_course() -> tuple[Stage, ...]:
    """Return the stages in their order."""
    text = resources.files("trainer.drill").joinpath("course.toml").read_text(encoding="utf-8")
    return tuple(
        Stage(row["name"], row["goal"], tuple(row.get("after", ())), tuple(row["drills"]))
        for row in tomllib.loads(text)["stages"]
    )
