"""The position of a drill, estimated from its notes.

The right answers are those that the drills' own titles and skills state.
"""

from __future__ import annotations

import re

import pytest

from tests.support import shelf
from trainer.drill import Drill, drill_position, find_drill, parse_drill
from trainer.harp import Harp


def stated_position(drill: Drill) -> int | None:
    match = re.search(r"(\d+)(?:st|nd|rd|th) position", " ".join([drill.title, *drill.skills]))
    return int(match[1]) if match else None


STATED = [drill for drill in shelf.SHELF.drills if stated_position(drill)]


@pytest.mark.parametrize("drill", STATED, ids=lambda drill: drill.name)
def test_the_position_is_the_one_that_the_drill_states(drill: Drill) -> None:
    assert drill_position(drill, Harp.of(drill.key, drill.tuning)) == stated_position(drill)


def test_enough_drills_state_a_position() -> None:
    assert len(STATED) >= 17


def test_the_position_does_not_depend_on_the_harps_key() -> None:
    text = 'title = "T"\nharp = "{}"\ntempo = 90\ntab = "4 5 6 -6 | 6 5 -4 4 |"\n'
    for key in ("G", "C", "Eb", "low F"):
        drill = parse_drill(text.format(key), "t")
        assert drill_position(drill, Harp.of(key)) == 1


@pytest.mark.parametrize(
    ("name", "position"), [("goods-train", 1), ("shunting-yard", 2), ("last-train-inland", 1)]
)
def test_chords_that_are_written_by_one_hole_count_whole(name: str, position: int) -> None:
    drill = find_drill(name)
    assert drill_position(drill, Harp.of(drill.key, drill.tuning)) == position
