"""A teacher's words on a bar or note are shown while it is played or next."""

from __future__ import annotations

from dataclasses import replace

from trainer.app.take_state import TakeState
from trainer.app.widgets.status_line import StatusState
from trainer.drill import Remark, find_drill
from trainer.harp import Harp
from trainer.practice import Plan, ReadingHeard, run_take
from trainer.sound import PlayerSpec

BELL = find_drill("harbour-bell")
DRILL = replace(
    BELL, remarks=(Remark(2, 0, "Breathe out before it."), Remark(1, 2, "Straight to its pitch."))
)


def test_each_remark_is_in_the_status_line_where_it_belongs() -> None:
    take = TakeState(Plan(Harp.of("C"), PlayerSpec(), drill=DRILL, bars=(1, 3)))
    shown: dict[str, set[int]] = {}
    for event in run_take(take.plan):
        take.apply(event)
        if isinstance(event, ReadingHeard) and take.step is not None:
            shown.setdefault(StatusState.of(take).sentence, set()).add(take.step.index)
    assert shown.pop("Straight to its pitch.") == {1}
    in_bar_2 = {step.index for step in DRILL.steps if step.bar == 2}
    assert shown.pop("Breathe out before it.") == in_bar_2
    (rest,) = shown.values()
    assert {0, 2} <= rest
