"""The tolerance that a player has reached, take by take."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from trainer.coach import present_tolerance
from trainer.drill import parse_drill
from trainer.store import HarpTag, TakeRecord

HEAD = 'title = "T"\nharp = "C"\ntempo = 60\ntab = "4 -4 5 -5"\n'
GOAL = "[goal]\ntolerance = 12\n"
BEGAN = datetime(2026, 5, 14, 18, tzinfo=UTC)
PASSED = TakeRecord(
    id="t",
    player="Marit",
    began=BEGAN,
    day=BEGAN.date(),
    drill="t",
    title="T",
    skills=(),
    harp=HarpTag("C"),
    tempo=60.0,
    source="microphone",
    score=90.0,
    passed=True,
    whole=True,
    seconds=10.0,
)
TAKES = {
    "+": PASSED,
    "-": replace(PASSED, passed=False),
    "r": replace(PASSED, source="recording"),
    "b": replace(PASSED, source="player"),
    "p": replace(PASSED, whole=False),
    "o": replace(PASSED, drill="other"),
}
"""A pass, a miss, a pass in a recording; the built-in player's, a part of the drill, another drill.
"""


@pytest.mark.parametrize(
    ("after", "takes", "expected"),
    [
        (1, "", 25.0),
        (1, "-", 25.0),
        (1, "+", 20.0),
        (1, "r", 20.0),
        (1, "bpo", 25.0),
        (1, "+-+", 15.0),
        (1, "+++", 12.0),  # not 10
        (1, "+++---", 12.0),  # it never widens
        (1, "++++++", 12.0),
        (2, "+", 25.0),
        (2, "+-+", 20.0),
        (2, "+++", 20.0),
        (2, "++++++", 12.0),
    ],
)
def test_the_tolerance_narrows_with_the_passes(after: int, takes: str, expected: float) -> None:
    drill = parse_drill(f"{HEAD}[tighten]\nfrom = 25\nby = 5\nafter = {after}\n{GOAL}", "t")
    played = [TAKES[sign] for sign in takes]
    assert present_tolerance(drill, played) == expected
    assert present_tolerance(drill.at_tolerance(expected), played) == expected


def test_a_drill_that_does_not_tighten_keeps_its_tolerance() -> None:
    assert present_tolerance(parse_drill(HEAD + GOAL, "t"), [PASSED] * 3) == 12.0
