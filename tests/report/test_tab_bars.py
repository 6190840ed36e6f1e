"""Bars of tab as the templates draw them, and the class report, on values made by hand."""

from __future__ import annotations

import csv
import io

import pytest

from tests.support import shelf
from trainer.drill import Drill, parse_drill
from trainer.report.class_page import class_html, map_parts, mark_map
from trainer.report.class_report import (
    NO_RECORDING,
    Beside,
    Student,
    StudentHabit,
    class_csv,
    class_data,
    class_habits,
    class_markdown,
    class_summary,
    exercises,
    median_scores,
    needs_text,
    read_students,
    students_by_loss,
)
from trainer.report.drill_report import sheet_summary
from trainer.report.drill_sheet import drill_sheet_html
from trainer.report.losses import Loss
from trainer.report.tab_bars import TabBar, TabBars, TabRow
from trainer.report.tab_layout import tab_table

STUDENTS = (
    Student(
        "Anna",
        71.25,
        False,
        2,
        (Loss("pitch", "-4'", 9.0), Loss("time", "4", 6.0), Loss("attack", "5", 3.0)),
        {0: 80.0, 1: 55.0},
    ),
    Student("Bert", 93.0, True, 1, (Loss("time", "4", 8.0),), {0: 99.0, 1: 90.0, 2: 40.0}),
    Student("Clara", trouble="it is no recording"),
)


def drill_of(tab: str, *lines: str) -> Drill:
    head = "\n".join(['title = "x"\nharp = "C"\ntempo = 60', *lines])
    return parse_drill(f'{head}\ntab = """\n{tab}\n"""\n', "x")


def test_directions_cover_the_empty_columns_to_their_right() -> None:
    bars = TabBars.of(tab_table(drill_of("{blur} 4:1 -4:1 {} 5:1 r:1")))
    (bar,) = bars.bars
    rows = {row.kind: row for row in bar.rows}
    assert list(rows) == ["words", "tab", "count"]
    assert [(cell.text, cell.span) for cell in rows["words"].cells] == [("(blur", 1), (")", 3)]
    assert [(cell.text, cell.span) for cell in rows["tab"].cells] == [
        ("4", None),
        ("-4", None),
        ("5", None),
        ("r", None),
    ]
    assert [cell.text for cell in rows["count"].cells] == ["1", "2", "3", "4"]


def test_marks_are_below_the_first_part_at_the_columns_where_steps_begin() -> None:
    drill = parse_drill(
        'title = "x"\nharp = "C"\ntempo = 60\npickup = 1\n'
        'tab = """\n5:1 | 4:2 r:1 -4:1\n"""\nsecond = """\n2:1 | 1:4\n"""\n',
        "x",
    )
    pickup, bar = TabBars.of(tab_table(drill)).bars
    assert (pickup.is_pickup, pickup.label, pickup.steps) == (True, "pick-up", (0,))
    assert (bar.is_pickup, bar.label, bar.steps) == (False, "bar 1", (1, None, None, 2))
    assert [row.has_marks_below for row in bar.rows if row.kind == "tab"] == [True, False]


def lines_of(tab: str) -> list[list[int]]:
    bars = TabBars.of(tab_table(drill_of(tab)))
    assert [bar for line in bars.lines for bar in line] == list(bars.bars)
    return [[bar.number for bar in line] for line in bars.lines]


@pytest.mark.parametrize(
    ("notes", "lines"), [(4, [[1, 2, 3, 4]]), (8, [[1, 2], [3, 4]]), (16, [[1], [2], [3], [4]])]
)
def test_as_many_bars_share_a_line_as_fit(notes: int, lines: list[list[int]]) -> None:
    bar = " ".join([f"4:{4 / notes:g}"] * notes)
    assert lines_of(" | ".join([bar] * 4)) == lines


def test_a_wide_bar_widens_only_its_own_phrase() -> None:
    wide, narrow = " ".join(["4:0.25"] * 16), "4:4"
    assert lines_of(" | ".join([narrow] * 4 + [wide] + [narrow] * 5)) == [
        [1, 2, 3, 4],
        [5, 6],
        [7, 8],
        [9, 10],
    ]


def test_a_line_may_be_filled_to_the_last_character() -> None:
    """Four bars of 22 characters fill a line of 88; of 23 characters only two fit."""
    full, over = "-4:1 -4:1 4+5:1 -4':1", "-4:1 -4':1 4+5:1 -4':1"
    assert lines_of(" | ".join([full] * 4)) == [[1, 2, 3, 4]]
    assert lines_of(" | ".join([over] * 4)) == [[1, 2], [3, 4]]


def test_columns_are_as_wide_as_their_time() -> None:
    (bar,) = TabBars.of(tab_table(drill_of("4:1. 5:0.5 6:1 r:1"))).bars
    assert [cell.text for cell in rows_of(bar)["tab"].cells] == ["4", ".", "5", "6", "r"]
    assert bar.shares == (25.0, 12.5, 12.5, 25.0, 25.0)
    (free,) = TabBars.of(tab_table(drill_of("4:1 5:3", 'clock = "free"'))).bars
    assert free.shares == (25.0, 75.0)


def rows_of(bar: TabBar) -> dict[str, TabRow]:
    return {row.kind: row for row in bar.rows}


@pytest.mark.parametrize(
    ("tab", "brackets"),
    [
        ("[4 -4 5]:1 4:1 [4 -4 5]:1 r:1", [("3", 3), ("", None), ("3", 3), ("", None)]),
        ("[4 -4 5]:1 [4 -4 5]:1 4:2", [("3", 3), ("3", 3), ("", None), ("", None)]),
        # Over two beats: the beat between is a column in which nothing starts.
        ("[4 -4 5]:2 4:2", [("3", 4), ("", None), ("", None)]),
        ("4:1 [4 r -4]:1 4:2", [("", None), ("3", 3), ("", None), ("", None)]),
    ],
)
def test_a_bracket_is_over_each_triplet(tab: str, brackets: list[tuple[str, int | None]]) -> None:
    (bar,) = TabBars.of(tab_table(drill_of(tab))).bars
    cells = rows_of(bar)["bracket"].cells
    assert [(cell.text, cell.span) for cell in cells] == brackets
    assert sum(cell.span or 1 for cell in cells) == len(bar.steps)
    (plain,) = TabBars.of(tab_table(drill_of("4:0.25 4:0.75 4:1 4:2"))).bars
    assert "bracket" not in rows_of(plain)


def test_arrows_show_the_breath_where_they_are_wanted() -> None:
    table = tab_table(drill_of("4:1 -4'>-4:1 -2+3:0.5 r:0.5 6o:1"))
    (bar,) = TabBars.of(table, breath=True).bars
    assert [cell.text for cell in rows_of(bar)["breath"].cells] == ["↑", "↓", "↓", "", "↑"]
    assert "breath" not in rows_of(TabBars.of(table).bars[0])


def test_a_sheet_says_position_and_key_of_the_song() -> None:
    drill = drill_of("-2:1 -3:1 -4:1 -2:1 | -2:4")
    assert sheet_summary(drill) == "C harp, 2nd position, in G; 4/4, 60 beats a minute; 2 bars."
    page = drill_sheet_html(drill)
    assert sheet_summary(drill) in page
    assert "Level" not in page
    assert "Goal" not in page


def test_what_costs_the_class_most_comes_first_and_so_does_who_lost_most() -> None:
    assert students_by_loss(STUDENTS) == [
        ("4: time", [("Bert", 8.0), ("Anna", 6.0)]),
        ("-4': pitch", [("Anna", 9.0)]),
        ("5: attack", [("Anna", 3.0)]),
    ]
    assert median_scores(STUDENTS) == {0: 89.5, 1: 72.5, 2: 40.0}
    assert class_summary(STUDENTS) == (
        "2 of 3 recordings marked; 1 passed; the median is 82; not marked: Clara."
    )
    assert class_summary(STUDENTS[2:]) == "0 of 1 recording marked; not marked: Clara."
    missing = (Student("Dag", trouble=NO_RECORDING), Student("Eva", trouble=NO_RECORDING))
    assert class_summary((*STUDENTS[2:], *missing)) == (
        "0 of 1 recording marked; not marked: Clara; nothing from Dag, Eva."
    )


def test_a_class_in_every_form() -> None:
    drill = drill_of("4:1 -4':1 r:2")
    text = class_markdown(drill, STUDENTS)
    assert "- `4: time`: Bert (8), Anna (6)" in text
    assert "| Anna | 71 | not yet | 2 | `-4': pitch`, `4: time`, `5: attack` |" in text
    assert "| Clara | × | not marked | 0 | it is no recording |" in text
    assert "- step 2 (`-4'`): 72 at the median" in text
    assert "step 3" not in text  # the drill has two steps
    rows = list(csv.reader(io.StringIO(class_csv(STUDENTS))))
    assert rows[1][:6] == ["Anna", "71.25", "False", "2", "'-4': pitch", "4: time"]
    assert rows[2][4:] == ["4: time", "", "", ""]
    assert rows[3] == ["Clara", "", "False", "0", "", "", "", "it is no recording"]
    data = class_data(drill, STUDENTS)
    assert data["needs"][0] == {"what": "4: time", "who": ["Bert", "Anna"]}
    assert data["steps"][2] == {"step": 3, "median": 40.0}
    assert data["students"][1]["trouble"] is None


def test_the_map_has_a_cell_for_each_mark_and_the_median_below() -> None:
    drill = drill_of("4:1 -4':1 4:1 r:1 | 5:4")
    anna, bert, class_ = mark_map(drill, STUDENTS)
    assert (anna.name, bert.name, class_.name) == ("Anna", "Bert", "the class")
    grades = [[cell.grade.name if cell.grade else "" for cell in row.cells] for row in (anna, bert)]
    assert grades == [["good", "low", "", ""], ["top", "good", "low", ""]]
    assert [cell.starts_bar for cell in anna.cells] == [True, False, False, True]
    assert class_.cells[0].label == "the class, step 1, 4: 89"
    assert anna.cells[2].label == "Anna, step 3, 4: not marked"


HABITS = (
    Student("Anna", 60.0, steps={0: 60.0}, habits=(StudentHabit("leaks below", (0, 1), 8.0),)),
    Student(
        "Bert",
        50.0,
        steps={0: 50.0},
        habits=(StudentHabit("not bent", (1,)), StudentHabit("leaks below", (0, 1, 2), 6.0)),
    ),
    Student("Clara", 90.0, True, steps={0: 90.0}),
)


def test_the_habit_of_most_comes_first_and_a_drill_of_the_shelf_trains_it() -> None:
    drill = drill_of("-4:1 -4':1 4:1 r:1 | 5:4", "level = 5")
    leaks, bends = class_habits(HABITS)
    assert leaks.students == ("Bert", "Anna")  # on three notes, on two
    assert leaks.phrase == "The hole below leaks, 7 dB below the note."
    assert (leaks.steps, bends.students) == ((0, 1, 2), ("Bert",))
    assert needs_text(HABITS[1]).startswith("The bends do not bend. The hole below leaks, 6 dB")
    titles = {drill.title for drill in shelf.SHELF.drills}
    proposed = exercises(drill, HABITS, shelf.SHELF.drills)
    assert len(proposed) == 3
    assert {proposed[0].title, proposed[1].title} <= titles
    assert proposed[2].title == "Bar 1 of x, alone and slower"
    assert proposed[2].reason == "60 at the median."
    assert [exercise.title for exercise in exercises(drill, HABITS)] == [proposed[2].title]
    assert exercises(drill, HABITS[2:]) == []
    data = class_data(drill, HABITS, shelf.SHELF.drills)
    assert [entry["who"] for entry in data["habits"]] == [["Bert", "Anna"], ["Bert"]]
    assert [entry["title"] for entry in data["exercises"]] == [entry.title for entry in proposed]
    assert "## For next week" in class_markdown(drill, HABITS)


def test_exercises_are_for_as_many_students_as_possible() -> None:
    """Two habits of the same students come after one of another student."""
    drill = drill_of("-4:1 -4':1 4:1 r:1 | 5:4", "level = 5")
    both = (StudentHabit("leaks below", (0, 1), 8.0), StudentHabit("not bent", (1,)))
    late = (StudentHabit("beats late", (0, 2), 90.0),)
    class_ = [Student(name, 90.0, steps={}, habits=both) for name in ("Anna", "Bert")]
    class_.append(Student("Clara", 90.0, steps={}, habits=late))
    proposed = exercises(drill, class_, shelf.SHELF.drills)
    who = [exercise.students for exercise in proposed]
    assert who == [("Anna", "Bert"), ("Clara",), ("Anna", "Bert")]


def test_a_class_page_links_pages_and_has_last_time_and_remarks() -> None:
    drill = drill_of("4:1 -4':1 r:2")
    student = Student(
        "Anna", 71.0, steps={0: 71.0}, last=64.5, beside=Beside("pages/anna.html", "Soft starts!")
    )
    page = class_html(drill, [student, Student("Bert", trouble="no recording")])
    assert page.count('<a href="pages/anna.html">Anna</a>') == 2  # the table and the map
    assert ">last time </span>64</td>" in page
    assert ">Soft starts!</td>" in page
    assert "not yet, 1 of 2 steps" in page
    assert ">passes<" not in page


def test_the_map_of_a_long_drill_is_in_parts_of_whole_bars() -> None:
    """24 steps fit side by side on paper and on a phone."""
    drill = drill_of("4:0.5 4:0.5 4:0.5 4:0.5 5:0.5 5:0.5 5:1 | " * 5)
    student = Student("Anna", 71.0, steps={step.index: 71.0 for step in drill.steps})
    parts = list(map_parts(drill, [student]))
    assert [len(part.tabs) for part in parts] == [21, 14]
    assert [bar for part in parts for bar, _ in part.bars] == [1, 2, 3, 4, 5]
    cells = [cell for part in parts for cell in part.rows[0].cells]
    assert [cell.label for cell in cells] == [
        f"Anna, step {i + 1}, {drill.steps[i].tab}: 71" for i in range(35)
    ]
    assert list(map_parts(drill, [Student("Bert", trouble="silent")])) == []


def test_students_come_from_recordings_in_order_of_their_names() -> None:
    step = {"index": 0, "score": 60.0, "parts": {"pitch": 60.0}}
    step["target"] = {"tab": "4", "length_beats": 1.0}  # type: ignore[assignment]
    marked = {"score": 60.0, "passed": False, "passes": [60.0, 40.0], "weights": {"pitch": 1.0}}
    recordings = [
        {"recording": "x/b.wav", **marked, "steps": [step]},
        {"recording": "x/a.b.flac", "trouble": None},
        {"recording": "x/a.wav", "trouble": "silent"},
    ]
    first, second, third = read_students(recordings)
    assert (first.name, first.trouble) == ("a", "silent")
    assert (second.name, second.trouble) == ("a.b", "it was not marked")
    assert (third.name, third.score, third.passes, third.steps) == ("b", 60.0, 2, {0: 60.0})
    assert third.losses == (Loss("pitch", "4", 40.0),)
