"""A class's recordings of one drill: who should work on what, as Markdown, CSV and JSON.

The input is the JSON of each recording, as :func:`trainer.report.batch_report.recording_data`
returns it and ``trainer mark --out`` stores it, so that recordings marked on earlier days count,
too. :mod:`trainer.report.class_page` is the same as HTML.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from statistics import median
from typing import Any

from trainer.core.printable import printable
from trainer.core.quantities import quantity_text
from trainer.core.tables import safe_cell
from trainer.drill import Drill
from trainer.report.drill_choice import best_drill
from trainer.report.formatting import markdown_text, score_text, sentence_text
from trainer.report.grades import FAULT_BELOW
from trainer.report.losses import Loss, losses
from trainer.report.remedies import REMEDIES, a4_text, remark_habit, skipped_steps
from trainer.report.schemas.classes import ClassReportData

MIN_STUDENT_LOSS_POINTS = 0.5
"""Smallest loss that counts for a student, in points of the total score. Chosen by judgment."""
MAX_LOSSES = 3
"""Maximum number of losses shown for each student."""
MAX_EXERCISES = 3
"""Maximum number of exercises proposed for the next week."""
NO_RECORDING = "no recording"
"""What is said of a student of the list who has sent none."""
MAX_HABITS = 2
"""Maximum number of habits shown for each student."""
MAX_FACTS = 2
"""Maximum number of facts of a performance shown for each student."""
IMPLIED_REMARKS = ("tuning",)
"""Kinds of remarks that a habit says as well."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What is shown of a student beside the marks.

    Attributes:
        page: link to the student's page; empty without one.
        remark: the teacher's latest words; empty without any.
        passed_drills: names of the drills that the student is known to have passed.
    """

    page: str = ""
    remark: str = ""
    passed_drills: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class StudentHabit:
    """A fault that many of a student's notes share.

    Attributes:
        name: as in :class:`trainer.marking.Habit`.
        steps: indices of the steps that show it.
        size: median size in the unit of its figure; 0 if it has none.
        of_performance: whether it stands for a remark, so that a fact says it, too.
    """

    name: str
    steps: tuple[int, ...]
    size: float = 0.0
    of_performance: bool = False


@dataclass(frozen=True, slots=True)
class ClassHabit:
    """A habit and its students.

    Attributes:
        phrase: the habit in words.
        remedy: what to do about it.
        students: names, those who show it on the most notes first.
        name: as in :class:`trainer.marking.Habit`.
        steps: indices of the steps on which any of them shows it.
    """

    phrase: str
    remedy: str
    students: tuple[str, ...]
    name: str
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Exercise:
    """An exercise for the next week.

    Attributes:
        title: of the drill, or what to play of the present one.
        reason: what it is good for.
        students: names of those who need it most.
    """

    title: str
    reason: str
    students: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Student:
    """One recording of the class.

    Attributes:
        name: the student's name.
        score: score of the best pass; None if it could not be marked.
        passed: whether that passed.
        passes: number of passes.
        losses: points lost, the largest first.
        steps: score of each step of the best pass, by its index.
        trouble: why it could not be marked; empty if it was.
        habits: the student's habits, the one to work on first before the others.
        facts: what else is to be known of the performance, a sentence each, such as a stop.
        missed: indices of the steps that were not played.
        last: score of the last time; None if it is not known.
        beside: link and remark.
        notes: what else is to be known of the recording.
    """

    name: str
    score: float | None = None
    passed: bool = False
    passes: int = 0
    losses: tuple[Loss, ...] = ()
    steps: Mapping[int, float] | None = None
    trouble: str = ""
    habits: tuple[StudentHabit, ...] = ()
    facts: tuple[str, ...] = ()
    missed: frozenset[int] = frozenset()
    last: float | None = None
    beside: Beside = Beside()
    notes: tuple[str, ...] = ()

    @classmethod
    def of(
        cls, data: Mapping[str, Any], name: str | None = None, beside: Beside | None = None
    ) -> Student:
        """Return the student of a recording's JSON.

        Args:
            data: the JSON.
            name: the student's name; None takes that of the file.
            beside: link and remark; None without.
        """
        name = printable(PurePath(data["recording"]).stem if name is None else name)
        if data.get("score") is None:
            trouble = data.get("trouble") or "it was not marked"
            place = data["recording"]
            return cls(name, trouble=printable(trouble.replace(place, PurePath(place).name)))
        marks = data["steps"]
        steps = [
            (mark["target"]["tab"], mark["target"]["length_beats"], mark["parts"]) for mark in marks
        ]
        remarks = data.get("remarks", ())
        return cls(
            name,
            data["score"],
            data["passed"],
            len(data["passes"]),
            tuple(losses(steps, data["weights"], MIN_STUDENT_LOSS_POINTS)),
            {mark["index"]: mark["score"] for mark in marks},
            habits=(*_habits(data.get("habits", ()), remarks), *_remark_habits(remarks)),
            facts=tuple(_facts(remarks)),
            missed=frozenset(
                mark["index"]
                for mark in marks
                if mark["score"] <= 0.0 and mark.get("measured", {}).get("start") is None
            ),
            last=(data.get("last_time") or {}).get("score"),
            beside=beside or Beside(),
            notes=tuple(map(printable, data.get("notes", ()))),
        )


def _habits(
    habits: Sequence[Mapping[str, Any]], remarks: Sequence[Mapping[str, Any]]
) -> Iterator[StudentHabit]:
    """Yield the habits of a result's JSON; notes that a remark says were skipped are none."""
    skipped = skipped_steps((each["kind"], each["step"], each["size"]) for each in remarks)
    for habit in habits:
        if habit["name"] != "notes missing" or not set(habit["steps"]) <= skipped:
            yield StudentHabit(habit["name"], tuple(habit["steps"]), habit["size"])


def _facts(remarks: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Yield remarks as sentences, first those that call for a remedy."""
    shown = [remark for remark in remarks if remark["kind"] not in IMPLIED_REMARKS]
    shown.sort(key=lambda remark: not remark_habit(remark["kind"], remark["size"]))
    for remark in shown:
        yield sentence_text(printable(remark["sentence"]))


def _remark_habits(remarks: Sequence[Mapping[str, Any]]) -> list[StudentHabit]:
    """Return the habits that remarks stand for, each once."""
    steps: dict[str, list[int]] = {}
    for remark in remarks:
        if name := remark_habit(remark["kind"], remark["size"]):
            steps.setdefault(name, []).extend([] if remark["step"] is None else [remark["step"]])
    return [StudentHabit(name, tuple(where), of_performance=True) for name, where in steps.items()]


def read_students(
    recordings: Sequence[Mapping[str, Any]],
    names: Mapping[str, str] | None = None,
    beside: Mapping[str, Beside] | None = None,
) -> tuple[Student, ...]:
    """Return the students of a class, in order of their names.

    Args:
        recordings: the JSON of each.
        names: names by the paths of the recordings; others are named by their files.
        beside: links and remarks by the paths of the recordings.
    """
    known, more = names or {}, beside or {}
    students = [
        Student.of(data, known.get(data["recording"]), more.get(data["recording"]))
        for data in recordings
    ]
    return tuple(sorted(students, key=lambda student: student.name))


def students_by_loss(students: Sequence[Student]) -> list[tuple[str, list[tuple[str, float]]]]:
    """Return each loss in words with the names and points of its students.

    The loss that costs the class most comes first, and so does the student who lost most.
    """
    points: dict[str, list[tuple[str, float]]] = {}
    for student in students:
        for loss in student.losses[:MAX_LOSSES]:
            points.setdefault(loss.phrase, []).append((student.name, loss.points))
    for entries in points.values():
        entries.sort(key=lambda entry: -entry[1])
    return sorted(points.items(), key=lambda item: -sum(lost for _, lost in item[1]))


def class_habits(students: Sequence[Student]) -> list[ClassHabit]:
    """Return the habits of a class, the one that most students have first."""
    shown: dict[str, list[tuple[Student, StudentHabit]]] = {}
    for student in students:
        for habit in student.habits:
            if habit.name in REMEDIES:
                shown.setdefault(habit.name, []).append((student, habit))
    habits = []
    for name, entries in shown.items():
        entries.sort(key=lambda entry: -len(entry[1].steps))
        size = median(habit.size for _, habit in entries)
        steps = sorted({index for _, habit in entries for index in habit.steps})
        remedy = REMEDIES[name]
        habits.append(
            ClassHabit(
                remedy.focus.format(size=f"{size:.0f}"),
                remedy.remedy.format(a4=a4_text(name, size)),
                tuple(student.name for student, _ in entries),
                name,
                tuple(steps),
            )
        )
    return sorted(habits, key=lambda habit: (-len(habit.students), -len(habit.steps)))


def exercises(
    drill: Drill, students: Sequence[Student], shelf: Sequence[Drill] = ()
) -> list[Exercise]:
    """Return the exercises for the next week, the one that most students need first.

    What trains the habits of the class comes first, each for as many students as possible who have
    not passed and have no exercise yet; then the bars that were hardest.

    Args:
        drill: the drill that was played.
        students: the class.
        shelf: the available drills.
    """
    proposed: dict[str, Exercise] = {}
    habits, covered = class_habits(students), set[str]()
    passed = {student.name for student in students if student.passed}

    def need(habit: ClassHabit) -> tuple[int, int]:
        waiting = set(habit.students) - covered
        return len(waiting - passed), len(waiting)

    while habits and len(proposed) < MAX_EXERCISES:
        habit = max(habits, key=need)
        habits.remove(habit)
        title = _exercise_title(habit, drill, _open(shelf, habit, students))
        if title and title not in proposed:
            covered |= set(habit.students)
            reason = f"{habit.phrase} {habit.remedy}"
            proposed[title] = Exercise(title, reason, habit.students)
    for bar, score in _hardest_bars(drill, students):
        title = "The pick-up" if bar == 0 else f"Bar {bar}"
        text = f"{title} of {drill.title}, alone and slower"
        proposed.setdefault(text, Exercise(text, f"{score_text(score)} at the median."))
    return list(proposed.values())[:MAX_EXERCISES]


def _exercise_title(habit: ClassHabit, drill: Drill, shelf: Sequence[Drill]) -> str:
    """Return the title of what trains a habit; empty if there is nothing."""
    remedy = REMEDIES[habit.name]
    if remedy.again:
        return f"{drill.title}, {remedy.again}"
    steps = [drill.steps[i] for i in habit.steps if i < len(drill.steps)]
    best = best_drill(remedy, steps, drill, shelf)
    return best.title if best else ""


def _open(shelf: Sequence[Drill], habit: ClassHabit, students: Sequence[Student]) -> list[Drill]:
    """Return the drills that most of a habit's students have not passed."""
    passed = Counter(
        name
        for student in students
        if student.name in habit.students
        for name in student.beside.passed_drills
    )
    return [drill for drill in shelf if 2 * passed[drill.name] <= len(habit.students)]


def _hardest_bars(drill: Drill, students: Sequence[Student]) -> list[tuple[int, float]]:
    """Return the bars in which the class was not good, with their median scores."""
    by_bar: dict[int, list[float]] = {}
    for index, score in median_scores(students).items():
        if index < len(drill.steps):
            by_bar.setdefault(drill.steps[index].bar, []).append(score)
    bars = [(bar, min(scores)) for bar, scores in by_bar.items()]
    return sorted((bar for bar in bars if bar[1] < FAULT_BELOW), key=lambda bar: bar[1])


def needs_text(student: Student) -> str:
    """Return what a student needs: why there is no mark, else habits and facts, else losses."""
    if student.trouble:
        return sentence_text(student.trouble)
    habits = [
        REMEDIES[habit.name].focus.format(size=f"{habit.size:.0f}")
        for habit in student.habits
        if habit.name in REMEDIES and not habit.of_performance
    ]
    sentences = [*habits[:MAX_HABITS], *student.facts[:MAX_FACTS]]
    return " ".join(sentences) or ", ".join(loss.phrase for loss in student.losses[:MAX_LOSSES])


def median_scores(students: Sequence[Student]) -> dict[int, float]:
    """Return the median score of each step, by its index."""
    scores: dict[int, list[float]] = {}
    for student in students:
        for index, score in (student.steps or {}).items():
            scores.setdefault(index, []).append(score)
    return {index: median(values) for index, values in sorted(scores.items())}


def class_markdown(drill: Drill, students: Sequence[Student], shelf: Sequence[Drill] = ()) -> str:
    """Return the report as Markdown (CommonMark with GitHub's tables), as :func:`class_data`."""
    blocks = [f"# {markdown_text(drill.title)}", class_summary(students)]
    if proposed := exercises(drill, students, shelf):
        blocks.append("## For next week")
        blocks.append(
            "\n".join(
                f"{number}. **{markdown_text(exercise.title)}** {markdown_text(exercise.reason)}"
                for number, exercise in enumerate(proposed, 1)
            )
        )
    if habits := class_habits(students):
        blocks.append("## Habits")
        blocks.append(
            "\n".join(
                f"- {markdown_text(habit.phrase)} {markdown_text(', '.join(habit.students))}"
                for habit in habits
            )
        )
    blocks.append("## Who needs what")
    blocks.append(
        "\n".join(
            f"- `{phrase}`: {markdown_text(names_text(entries))}"
            for phrase, entries in students_by_loss(students)
        )
    )
    rows = ["| who | mark | | passes | needs |", "| --- | --- | --- | --- | --- |"]
    for student in students:
        needs = markdown_text(student.trouble) or ", ".join(
            f"`{loss.phrase}`" for loss in student.losses[:MAX_LOSSES]
        )
        rows.append(
            f"| {markdown_text(student.name)} | {mark_text(student)} | {outcome_text(student)} | "
            f"{student.passes} | {needs} |"
        )
    blocks += ["## Everybody", "\n".join(rows), "## Step by step"]
    blocks.append(
        "\n".join(
            f"- step {index + 1} (`{drill.steps[index].tab}`): {score_text(score)} at the median"
            for index, score in median_scores(students).items()
            if index < len(drill.steps)
        )
    )
    return "\n\n".join(block for block in blocks if block) + "\n"


def class_csv(students: Sequence[Student]) -> str:
    """Return the report as CSV (RFC 4180), a row per student."""
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(["who", "mark", "passed", "passes", *("needs",) * MAX_LOSSES, "trouble"])
    for student in students:
        needs = [loss.phrase for loss in student.losses[:MAX_LOSSES]]
        needs += [""] * (MAX_LOSSES - len(needs))
        score = "" if student.score is None else round(student.score, 2)
        name, trouble = printable(student.name), printable(student.trouble or "")
        row = [name, score, student.passed, student.passes, *needs, trouble]
        writer.writerow(map(safe_cell, row))
    return file.getvalue()


def class_data(
    drill: Drill, students: Sequence[Student], shelf: Sequence[Drill] = ()
) -> ClassReportData:
    """Return the report as JSON data; arguments as for :func:`exercises`."""
    return {
        "drill": drill.name,
        "students": [
            {
                "who": student.name,
                "score": student.score,
                "passed": student.passed,
                "passes": student.passes,
                "trouble": student.trouble or None,
                "needs": [
                    {"part": loss.criterion, "tab": loss.tab, "points": round(loss.points, 2)}
                    for loss in student.losses
                ],
            }
            for student in students
        ],
        "needs": [
            {"what": phrase, "who": [name for name, _ in entries]}
            for phrase, entries in students_by_loss(students)
        ],
        "steps": [
            {"step": index + 1, "median": score} for index, score in median_scores(students).items()
        ],
        "habits": [
            {"name": habit.name, "what": habit.phrase, "who": list(habit.students)}
            for habit in class_habits(students)
        ],
        "exercises": [
            {"title": exercise.title, "why": exercise.reason, "who": list(exercise.students)}
            for exercise in exercises(drill, students, shelf)
        ],
    }


def class_summary(students: Sequence[Student]) -> str:
    """Return a line on the whole class: how many were marked and passed, and the median."""
    scores = [student.score for student in students if student.score is not None]
    missing = [student.name for student in students if student.trouble == NO_RECORDING]
    count = len(students) - len(missing)
    parts = [f"{len(scores)} of {quantity_text(count, 'recording')} marked"]
    if scores:
        passed = sum(student.passed for student in students)
        parts.append(f"{passed} passed; the median is {score_text(median(scores))}")
    unmarked = [s.name for s in students if s.score is None and s.name not in missing]
    if unmarked:
        parts.append(f"not marked: {', '.join(unmarked)}")
    if missing:
        parts.append(f"nothing from {', '.join(missing)}")
    return f"{'; '.join(parts)}."


def names_text(entries: Sequence[tuple[str, float]]) -> str:
    """Return names with the points that each lost: ``Anna (7), Bert (3)``."""
    return ", ".join(f"{name} ({points:.0f})" for name, points in entries)


def mark_text(student: Student) -> str:
    """Return a student's score as text; ``×`` if the recording could not be marked."""
    return "×" if student.score is None else score_text(student.score)


def part_text(student: Student, drill: Drill) -> str:
    """Return how much of the drill was marked, such as ``, 18 of 29 steps``; empty for all."""
    if student.steps is None or len(student.steps) >= len(drill.steps):
        return ""
    return f", {len(student.steps)} of {len(drill.steps)} steps"


def outcome_text(student: Student) -> str:
    """Return whether a student passed, in words."""
    if student.score is None:
        return "not marked"
    return "passed" if student.passed else "not yet"
