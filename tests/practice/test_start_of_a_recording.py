"""The second on which the first beat of a drill falls in a recording."""

from __future__ import annotations

import pytest

from tests.reeds.excerpts import EXCERPTS, path_of
from trainer.drill import find_drill
from trainer.practice import PassStarted, Plan, TakeFailed, run_take
from trainer.sound import Recording, RecordingSpec

EXCERPT = "faulty-phrase"


def plan(start: float) -> Plan:
    spec = RecordingSpec(path_of(EXCERPT))
    return Plan(EXCERPTS[EXCERPT].harp, spec, drill=find_drill("harbour-bell"), start=start)


@pytest.mark.parametrize("start", [0.0, 1.25, -0.5])
def test_a_given_start_is_where_the_first_beat_falls(start: float) -> None:
    events = run_take(plan(start))
    started = next(event for event in events if isinstance(event, PassStarted))
    assert started.clock is not None
    assert started.clock.zero == round(start * started.clock.rate)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_start_at_which_nothing_of_the_drill_can_be_heard_is_reported(sign: float) -> None:
    recording = Recording(path_of(EXCERPT))
    assert recording.frames is not None
    seconds = recording.frames / recording.rate
    recording.close()
    events = list(run_take(plan(sign * (seconds + 0.01))))
    (failed,) = [event for event in events if isinstance(event, TakeFailed)]
    assert "first beat cannot fall on second" in failed.sentence
    assert f"which is {seconds:.1f} s long" in failed.sentence
    first = next(iter(run_take(plan(sign * (seconds - 0.01)))))
    assert isinstance(first, PassStarted)
