"""Shapes of the shelf and of transpositions."""

from __future__ import annotations

from typing_extensions import TypedDict


class TempoClimbData(TypedDict):
    """A tempo that rises while a drill is looped."""

    by: float
    """Change in beats per minute."""
    to: float
    """Highest tempo in beats per minute."""
    after: int
    """Number of good passes in a row before the tempo rises."""


class TighteningData(TypedDict):
    """A tolerance that narrows as a player passes a drill."""

    start: float
    """Tolerance of a new player in cents."""
    by: float
    """Cents by which it narrows."""
    after: int
    """Number of passes at a tolerance before it narrows."""


class ShelfDrillData(TypedDict):
    """A drill of the shelf."""

    name: str
    """Name of the drill."""
    title: str
    """Its title."""
    about: str
    """Its description."""
    skills: tuple[str, ...]
    """Its skills, the main one first."""
    level: int
    """Its place in the course, 1 to 9."""
    harp: str
    """Key of the harp that it is written for."""
    tuning: str
    """Name of the tuning that it is written for."""
    tempo: float
    """Tempo in beats per minute."""
    tempo_to: float | None
    """Tempo at the end, if it changes evenly over the drill."""
    meter: str
    """Meter, such as ``4/4``."""
    clock: str
    """``click``, or ``free`` if each step waits."""
    swing: float
    """Ratio of the first to the second half of a beat; 1 is straight."""
    pickup: float
    """Length of the pick-up in beats."""
    loop: tuple[int, int] | None
    """First and last bar of the loop; null if it has none."""
    climb: TempoClimbData | None
    """How the tempo rises; null if it does not."""
    tighten: TighteningData | None
    """How the tolerance narrows; null if it does not."""
    parts: int
    """Number of players, 1 or 2."""
    calls: bool
    """Whether the trainer plays some steps."""
    bars: int
    """Number of full bars."""
    steps: int
    """Number of steps."""
    seconds: float | None
    """Duration at its own tempo in seconds; null with a free clock."""
    tolerance: float
    """Tolerance of the pitch to each side in cents; the narrowest of a drill that tightens."""
    pass_mark: float
    """Score from which it is passed."""
    hold: float
    """With a free clock, time to hold each step in seconds."""
    weights: dict[str, float]
    """Weight of each criterion."""


class ProblemData(TypedDict):
    """A step that a harp cannot play."""

    line: int
    """Line in the drill's file, from 1."""
    column: int
    """Column, from 1."""
    message: str
    """What is wrong, in words."""


class ArrangementData(TypedDict):
    """A way to play a drill on another harp."""

    harp: str
    """Key of the harp."""
    tuning: str
    """Name of its tuning."""
    position: int
    """Position, 1 to 12."""
    half_steps: int
    """Transposition in half steps; positive is up."""
    hard: float
    """Difficulty of the first part."""
    reason: str
    """What makes it difficult, in words."""
    missing: int
    """Number of steps that the harp cannot play."""
    problems: list[ProblemData]
    """Those steps."""
    steps: list[str]
    """Tab of each step of the first part."""
    second: list[str]
    """Tab of each step of the second part."""


class TranspositionData(TypedDict):
    """The ways to play a drill on other harps."""

    drill: str
    """Name of the drill."""
    harp: str
    """Key of the harp that it is written for."""
    tuning: str
    """Name of the tuning that it is written for."""
    position: int
    """Position that it is written in, 1 to 12."""
    ways: list[ArrangementData]
    """The ways, the easiest first."""


class CourseDrillData(TypedDict):
    """A drill of the course."""

    name: str
    """Name of the drill."""
    title: str
    """Its title."""
    level: int
    """Its level, 1 to 9."""
    passed: bool
    """Whether the player has ever passed it."""


class CourseStageData(TypedDict):
    """A stage of the course, and the player's place in it."""

    name: str
    """Name of the stage."""
    goal: str
    """What a player can do after it."""
    after: tuple[str, ...]
    """Names of the stages that open it."""
    open: bool
    """Whether it is open."""
    done: bool
    """Whether enough of its drills have been passed to open what follows."""
    next: str | None
    """Name of the next drill to learn; null if the stage is not open or complete."""
    drills: list[CourseDrillData]
    """Its drills, in their order."""
