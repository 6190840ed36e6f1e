"""A player who keeps their own time, on the screen: the playhead is where they are."""

from __future__ import annotations

from trainer.app.take_state import Phase, TakeState
from trainer.app.widgets.pitch_trace import TracePicture
from trainer.drill import find_drill
from trainer.harp import Harp
from trainer.practice import (
    PassEnded,
    PassStarted,
    Plan,
    PositionChanged,
    ReadingHeard,
    run_take,
)
from trainer.report.take_lines import plan_phrases
from trainer.sound import PlayerSpec

WIDTH, HEIGHT = 80, 20


def test_the_playhead_waits_for_the_player_and_the_marks_become_final() -> None:
    drill = find_drill("harbour-bell")
    source = PlayerSpec(hesitate={3: 900.0})
    take = TakeState(Plan(Harp.of("C"), source, drill=drill, bars=(1, 2), follow=True))
    assert "in your own time" in plan_phrases(take.plan, drill.tempo)
    picture = TracePicture(take)
    step = None
    for number, event in enumerate(run_take(take.plan)):
        take.apply(event)
        if isinstance(event, PassStarted):
            assert take.phase is Phase.PLAYING
            assert take.count_in_beats == 0
        elif isinstance(event, PositionChanged) and event.position:
            step = drill.steps[event.position.step]
        elif isinstance(event, ReadingHeard) and step is not None:
            position = take.playhead.position
            assert position is not None
            assert float(step.start) - 0.2 <= position <= float(step.end)
            if number % 60 == 0:
                list(picture.follow(take, WIDTH, HEIGHT))
        elif isinstance(event, PassEnded):
            assert list(take.sheet.by_step.values()) == list(event.result.marks)
    assert take.outcome.passes == 1
    assert len(take.sheet.by_step) == 5
