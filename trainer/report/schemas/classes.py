"""Shapes of a class's report."""

from __future__ import annotations

from typing_extensions import TypedDict


class LossData(TypedDict):
    """Points that a student lost on one criterion of one note."""

    part: str
    """Name of the criterion."""
    tab: str
    """Tab of the note."""
    points: float
    """Points of the total score."""


class StudentData(TypedDict):
    """A student's best pass."""

    who: str
    """Name of the student."""
    score: float | None
    """Score of the best pass, 0 to 100; null if the recording could not be marked."""
    passed: bool
    """Whether the best pass reached the pass mark."""
    passes: int
    """Number of passes."""
    trouble: str | None
    """Why the recording could not be marked; null if it was."""
    needs: list[LossData]
    """Points lost, the largest first."""


class ClassNeedData(TypedDict):
    """A loss that students share."""

    what: str
    """The note and the criterion, in words."""
    who: list[str]
    """Names of the students, the one who lost most first."""


class StepMedianData(TypedDict):
    """The median score of a step."""

    step: int
    """Number of the step, from 1."""
    median: float
    """Median score of the class, 0 to 100."""


class ClassHabitData(TypedDict):
    """A fault that many notes of some students share."""

    name: str
    """What it is, such as ``bends shallow``."""
    what: str
    """The same in words for a player."""
    who: list[str]
    """Names of the students, the one who shows it most first."""


class ExerciseData(TypedDict):
    """An exercise for the next week."""

    title: str
    """Title of a drill, or a bar of the present one."""
    why: str
    """What it is good for."""
    who: list[str]
    """Names of the students who need it most; empty for all."""


class ClassReportData(TypedDict):
    """A class's report on one drill."""

    drill: str
    """Name of the drill."""
    students: list[StudentData]
    """The students, in order of their names."""
    needs: list[ClassNeedData]
    """What cost the class most, the largest first."""
    steps: list[StepMedianData]
    """Median score of each step."""
    habits: list[ClassHabitData]
    """Habits, the one that most students have first."""
    exercises: list[ExerciseData]
    """Exercises for the next week, at most three."""


class ClassRow(TypedDict):
    """A student as a row of CSV; the column `needs` occurs three times."""

    who: str
    """Name of the student."""
    mark: float | str
    """Score of the best pass, 0 to 100; empty if the recording could not be marked."""
    passed: bool
    """``True`` or ``False``."""
    passes: int
    """Number of passes."""
    needs: str
    """A loss in words, the largest first; empty if there are fewer than three."""
    trouble: str
    """Why the recording could not be marked; empty if it was."""
