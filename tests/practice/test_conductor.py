"""Where an interrupted pass resumes: the bar that was reached, or an earlier one."""

from __future__ import annotations

import pytest

from trainer.drill import BeatClock, parse_drill
from trainer.harp import Harp
from trainer.practice import Plan
from trainer.practice.conductor import Conductor
from trainer.practice.passes import Pass
from trainer.sound import PlayerSpec

RATE = 48_000
TAB = "4:2 5:2 | 6:4 | r:4 | 4:1 5:1 6:1 -6:1 |"
DRILL = parse_drill(f'title = "T"\nharp = "C"\ntempo = 60\ntab = """\n{TAB}\n"""\n', "t")
CLOCK = BeatClock(0, 60.0, RATE)
"""A beat is a second."""


def conductor(first: int = 0, last: int = 7, bars: tuple[int, int] | None = None) -> Conductor:
    made = Conductor(Plan(Harp.of("C"), PlayerSpec(), drill=DRILL, bars=bars), RATE)
    made.begin(Pass.of(DRILL, CLOCK, range(first, last), 0))
    return made


@pytest.mark.parametrize(
    ("second", "bars_back", "step"),
    [
        (0.5, 0, 0),
        (3.9, 0, 0),  # the second half of the first bar
        (4.1, 0, 2),
        (9.0, 0, 3),  # a bar of rests: the next step is in the fourth
        (14.5, 0, 3),
        (14.5, 1, 2),  # no step begins in the third bar
        (14.5, 2, 0),
        (14.5, 9, 0),
        (99.0, 0, 3),
    ],
)
def test_a_pass_resumes_at_the_first_step_of_a_bar(
    second: float, bars_back: int, step: int
) -> None:
    assert conductor().resume_step(round(second * RATE), bars_back) == step


def test_going_back_leads_beyond_where_the_pass_resumed_before() -> None:
    resumed = conductor(first=3)
    assert resumed.resume_step(round(12.5 * RATE)) == 3
    assert resumed.resume_step(round(12.5 * RATE), 1) == 2
    assert resumed.resume_step(round(12.5 * RATE), 2) == 0


def test_going_back_does_not_lead_before_the_bars_that_are_played() -> None:
    part = conductor(first=2, bars=(2, 4))
    assert part.resume_step(round(12.5 * RATE), 1) == 2
    assert part.resume_step(round(12.5 * RATE), 5) == 2


def test_an_interrupted_pass_is_broken_and_shares_its_result() -> None:
    made = conductor()
    assert made.interrupt(round(4.5 * RATE)) == 2
    assert made.passes[-1].broken
    assert made.passes[-1].upto == 2
    assert not made.running
    assert made.passed == []
