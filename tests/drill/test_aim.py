"""The aims of drills: groups of steps, the table in the file, and what lint says of them."""

from __future__ import annotations

import pytest

from tests.support import shelf
from tests.support.each import each_drill
from trainer.drill import (
    AIM_CRITERIA,
    SOLO_CRITERIA,
    Aim,
    Drill,
    DrillError,
    lint_drill,
    parse_drill,
)
from trainer.drill.aim import GROUPS, can_measure, is_group
from trainer.drill.transpose import move_to_harp
from trainer.drill.writer import write_drill
from trainer.harp import Harp

HEAD = 'title = "T"\nabout = "Trains."\nskills = ["moves"]\nharp = "C"\ntempo = 80\n'
TAB = """tab = \"\"\"
-4:1 -4':1 4+5:1 1+4:1 | r:1 -4'>-4:1 4>5:1 -4=-4':1 | 6:0.5 -6:0.5 9:3 |
-3@-40:2 -4:2{vibrato 5 20} | 6o:1 {chord} 4:1 {blur} 5:1 {} 4:1 |
\"\"\"
"""
EXPECTED = {
    "all": range(18),
    "naturals": [0, 2, 3, 5, 7, 8, 9, 10, 11, 13, 14, 15],
    "bends": [1, 4, 6],
    "overblows": [12],
    "single notes": [0, 1, 4, 6, 7, 8, 9, 10, 11, 12, 15],
    "chords": [2, 3, 13],
    "splits": [3],
    "glides": [4],
    "slides": [5],
    "ladders": [6],
    "vibrato": [11],
    "blue notes": [10],
    "on-beats": [0, 1, 2, 3, 4, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15],
    "off-beats": [8],
    "short notes": [7, 8],
    "long notes": [9, 10, 11],
    "after rests": [0, 4],
    "leaps": [9, 10, 12, 13],
    "bars 2-3": [4, 5, 6, 7, 8, 9],
    "bar 4": [10, 11],
    "solos": [],
}

TECHNIQUES = """tab = \"\"\"
-4<>5:0.5 -4:0.5{scoop} -4:0.5{fall} ^-5 -4:0.5 -4:0.5{slap} -4:0.5{around} -4:0.5{accent}
-4:0.5{swell} | -4:0.5{tongued} -4:0.5{legato} -5:0.5{staccato} -4:0.5{wah} -3/-3':0.5 -4:0.25
-4:0.25 4:1 |
\"\"\"
"""
EXPECTED_TECHNIQUES = {
    "shakes": [0],
    "scoops": [1],
    "falls": [2],
    "grace notes": [3],
    "slaps": [4],
    "chord gestures": [5],
    "accents": [6],
    "swells": [7],
    "tongued": [8],
    "legato": [9],
    "staccato": [10],
    "wah": [11],
    "sixteenths": [13, 14],
    "bends": [],
    "naturals": [i for i in range(16) if i != 12],
    "single notes": [i for i in range(1, 16) if i != 5],
}


def drill(aim: str = "", tab: str = TAB) -> Drill:
    table = f"\n[aim]\n{aim}\n" if aim else ""
    return parse_drill(f"{HEAD}{tab}{table}", "t")


@pytest.mark.parametrize(
    "group", sorted(set(EXPECTED) - {"all", "naturals", "single notes", "leaps"})
)
def test_groups(group: str) -> None:
    steps = Aim("pitch", (group,)).steps(drill().steps)
    assert [step.index for step in steps] == list(EXPECTED[group])


@pytest.mark.parametrize("group", EXPECTED_TECHNIQUES)
def test_groups_of_techniques(group: str) -> None:
    steps = Aim("pitch", (group,)).steps(drill(tab=TECHNIQUES).steps)
    assert [step.index for step in steps] == list(EXPECTED_TECHNIQUES[group])


@pytest.mark.parametrize(
    ("criterion", "measured"),
    [
        ("motion", [0, 1, 2, 3, 11]),
        ("dynamics", [6, 7]),
        ("holes", [5]),
        ("articulation", list(range(16))),
        ("attack", [2, *range(6, 16)]),
        ("pitch", [i for i in range(16) if i != 5]),
    ],
)
def test_what_can_be_measured_of_techniques(criterion: str, measured: list[int]) -> None:
    steps = drill(tab=TECHNIQUES).steps
    assert [step.index for step in steps if can_measure(criterion, step, free=False)] == measured
    assert not can_measure("articulation", steps[0], free=True)


def test_every_group_is_tried() -> None:
    assert set(GROUPS) <= {*EXPECTED, *EXPECTED_TECHNIQUES}


def test_calls_are_nobodys_aim() -> None:
    music = 'tab = """\n{call} 4:1 5:1 6:2 | {answer} 4:1 5:1 6:2 |\n"""\n'
    steps = Aim("pitch", ("all",)).steps(drill(tab=music).steps)
    assert [step.index for step in steps] == [3, 4, 5]


@pytest.mark.parametrize("name", ["bars 0-1", "bars 4-2", "bar", "bends ", "everything", ""])
def test_what_is_no_group(name: str) -> None:
    assert not is_group(name)


@pytest.mark.parametrize(
    ("aim", "message"),
    [
        ('pitch = ["bend"]', "no steps are called 'bend'; did you mean 'bends'?"),
        ('pitch = "bends"', "'pitch' must be a list of the steps whose pitch the drill is for"),
        ('tuning = ["bends"]', "[aim] has no field 'tuning'"),
        ('pitch = ["bars 9-12"]', "no step of the drill is one of the bars 9-12"),
    ],
)
def test_wrong_aims_get_a_sentence(aim: str, message: str) -> None:
    with pytest.raises(DrillError) as error:
        drill(aim)
    assert message in str(error.value)


def test_aims_are_written_as_they_are_read() -> None:
    aimed = drill('pitch = ["bends", "bars 2-3"]\nholes = ["splits"]')
    assert aimed.aims == (Aim("pitch", ("bends", "bars 2-3")), Aim("holes", ("splits",)))
    plain = parse_drill(write_drill(aimed), "t")
    assert plain.aims == aimed.aims


def test_aims_move_with_the_drill() -> None:
    aimed = drill('pitch = ["bends"]')
    assert move_to_harp(aimed, Harp.of("A")).aims == aimed.aims


@pytest.mark.parametrize(
    ("aim", "message"),
    [
        ("", "add [aim]"),
        ('motion = ["naturals"]', ""),
        ('motion = ["bar 1"]', "nothing measures motion on these steps"),
        ('attack = ["ladders"]', "nothing measures attack on these steps"),
        ('holes = ["single notes"]', "nothing measures holes on these steps"),
    ],
)
def test_lint_finds_aims_that_nothing_measures(aim: str, message: str) -> None:
    text = f"{HEAD}{TAB}\n[aim]\n{aim}\n" if aim else f"{HEAD}{TAB}"
    messages = [problem.message for problem in lint_drill(text, parse_drill(text, "t"))]
    assert any(message in each for each in messages) if message else "motion" not in str(messages)


@each_drill(shelf.SHELF.drills)
def test_every_shipped_drill_has_an_aim_that_is_measured(shipped: Drill) -> None:
    assert shipped.aims
    for aim in shipped.aims:
        assert aim.criterion in AIM_CRITERIA
        if aim.is_on_solos and shipped.solos:
            assert aim.criterion in SOLO_CRITERIA
            continue
        steps = aim.steps(shipped.steps)
        assert any(can_measure(aim.criterion, step, free=shipped.free) for step in steps)


def test_a_free_clock_stops_before_a_fall() -> None:
    (step,) = parse_drill(f'{HEAD}tab = """\n-4:4{{fall}} |\n"""\n', "t").steps
    assert can_measure("motion", step, free=False)
    assert not can_measure("motion", step, free=True)
