"""A free drill on the screen: a step that was won may sound on, and no beats are drawn."""

from __future__ import annotations

import re

from trainer.app.take_state import TakeState
from trainer.app.widgets.pitch_trace import TracePicture
from trainer.app.widgets.readout import ReadoutState
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import Plan, ReadingHeard, StepMarked, run_take
from trainer.sound import PlayerSpec

WIDTH, HEIGHT = 80, 20


def test_a_won_step_sounds_on_unpunished_and_its_hold_is_shown() -> None:
    drill = find_drill("harbour-master-waits")
    assert drill.free
    take = TakeState(Plan(Harp.of("C"), PlayerSpec(), drill=drill))
    picture = TracePicture(take)
    rows = [""] * HEIGHT
    states: set[str] = set()
    held: set[float] = set()
    marks = 0
    for number, event in enumerate(run_take(take.plan)):
        take.apply(event)
        marks += isinstance(event, StepMarked)
        if isinstance(event, ReadingHeard) and number % 4 == 0:
            states.add(take.displayed.state)
            words = ReadoutState.of(take).words
            if match := re.search(rf"held (\d\.\d) of {drill.goal.hold:g} s", words):
                held.add(float(match[1]))
            for y, row in picture.follow(take, WIDTH, HEIGHT):
                rows[y] = "".join(text for text, _ in row)
    assert marks == len(drill.steps)
    assert "good" in states
    assert "wrong" not in states
    assert max(held) > 0.8 * drill.goal.hold
    assert len(held) >= 5
    assert not re.search(r"\d", rows[-1])
