"""The follower's costs, and the paths that they lead to."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, nan

import pytest

from tests.support.step_histories import HOP, TEMPO, note, target_of
from tests.support.synthetic_takes import HARP, RATE, drill_of
from trainer.drill import BeatClock
from trainer.ear import Reading
from trainer.harp import Breath, Tab
from trainer.marking.follower import (
    Follower,
    Segment,
    _Observation,
    _slur_cost,
    _StepStates,
)
from trainer.marking.parameters import FOLLOWER
from trainer.marking.target import StepTarget, reed_mask

BEAT = RATE
"""Samples in a beat."""
NOTHING = _StepStates.after_the_last(-1, FOLLOWER)
"""States of a step that no path has reached."""


def states(tab: str) -> _StepStates:
    return _StepStates.of(0, target_of(tab), None, RATE, FOLLOWER)


def cents(tab: str) -> float:
    return target_of(f"{tab}:1").lowest


def mask(*holes: int, breath: Breath = Breath.DRAW) -> int:
    return reed_mask(holes, breath)


# --- emission costs ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("off", "cost"), [(0.0, 0.0), (40.0, 0.2), (-40.0, 0.2), (100.0, 0.5), (-700.0, 0.5)]
)
def test_a_reading_costs_its_distance_from_the_pitch(off: float, cost: float) -> None:
    step = states("-4:1")
    assert step._emission(cents("-4") + off, 0) == pytest.approx(cost)
    assert step._emission(cents("-4") + off, mask(4)) == pytest.approx(cost)


def test_a_glide_may_have_any_pitch_between_its_ends() -> None:
    step = states("-4'>-4:1")
    assert step._emission(cents("-4") - 50.0, mask(4)) == 0.0
    assert step._emission(cents("-4") - 120.0, mask(4)) == pytest.approx(0.1)
    assert step._emission(cents("-4") + 20.0, mask(4)) == pytest.approx(0.1)


def test_a_neighbours_pitch_costs_less_where_the_wanted_hole_sounds_too() -> None:
    step = states("-4:1")
    assert step._emission(cents("-5"), mask(5)) == 0.5
    assert step._emission(cents("-5"), mask(4, 5)) == 0.1
    assert step._emission(cents("-4") + 10.0, mask(4, 5)) == pytest.approx(0.05)


def test_a_chord_costs_the_fraction_of_holes_that_differ() -> None:
    step = states("-4+5:1")
    assert step._emission(nan, mask(4, 5)) == 0.0
    assert step._emission(nan, mask(4)) == pytest.approx(0.5 * 0.15)
    assert step._emission(nan, mask(4, 5, 6)) == pytest.approx(0.15 / 3.0)
    assert step._emission(nan, mask(7)) == 0.5


# --- transition costs -------------------------------------------------------------------------


def test_a_slur_costs_more_the_more_reeds_the_two_sounds_share() -> None:
    def cost(before: str, after: str) -> float:
        return _slur_cost(target_of(before), target_of(after), FOLLOWER)

    assert cost("4:1", "5:1") == 1.0
    assert cost("4+5:1", "4:1") == cost("4:1", "4+5:1") == 6.0
    assert cost("4+5:1", "4+5:1") == cost("4:1", "4:1") == cost("-2:1", "3:1") == 10.0
    assert cost("-4'>-4:2", "-4:1") == 10.0
    # Chords that are written by one hole have different neighbours.
    assert cost("-2:1{chord}", "3:1{chord}") == cost("-2:1", "3:1{chord}") == 6.0
    assert cost("-2:1{chord}", "-2:1{chord}") == 10.0


@pytest.mark.parametrize(("lasted", "cost"), [(0.0, 16.0), (0.15, 8.0), (0.3, 0.0), (0.8, 0.0)])
@pytest.mark.parametrize("lateness", [0.0, 0.5, -0.2])
def test_a_step_can_be_left_for_nothing_after_a_third_of_its_length(
    lasted: float, cost: float, lateness: float
) -> None:
    step = states("-4:1")
    step.right = 0.0
    step.right_entrance = step.right_entrance._replace(lateness=lateness * BEAT)
    left, entrance = step.leave((lateness + lasted) * BEAT)
    assert left == pytest.approx(cost, abs=1e-6)
    assert entrance is step.right_entrance


@pytest.mark.parametrize(
    ("ahead", "lateness", "cost"),
    [
        (0.0, 0.0, 0.0),
        (0.5, 0.0, 6.0),
        (2.0, 0.0, 12.0),  # late: no more than this
        (-0.5, 0.0, 6.0),
        (-2.0, 0.0, 24.0),
        (-9.0, 0.0, 48.0),  # early: no more than this
        (2.0, 2.0, 0.5),  # as late as the step before: the player's own beat
        (2.0, 1.75, 3.5),
        (-2.0, 2.0, 24.0),
    ],
)
def test_a_step_costs_its_distance_from_the_beat_or_from_the_step_before(
    ahead: float, lateness: float, cost: float
) -> None:
    step = states("-4:1")
    assert step._off_time_cost(ahead * BEAT, lateness * BEAT) == pytest.approx(cost)


def test_the_distance_is_scaled_by_the_steps_length_within_limits() -> None:
    assert states("-4:0.1")._off_time_cost(0.125 * BEAT, 0.0) == pytest.approx(6.0)
    assert states("-4:0.5")._off_time_cost(0.25 * BEAT, 0.0) == pytest.approx(6.0)
    assert states("-4:4")._off_time_cost(0.5 * BEAT, 0.0) == pytest.approx(6.0)


def heard(step: _StepStates, off: float, *, is_attack: bool = False) -> tuple[float, float]:
    """Costs of right and wrong after a reading of draw 4, some cents off, within a step."""
    now = _Observation(9, BEAT // 2, True, is_attack, inf, 0.2, False, cents("-4") + off, mask(4))
    step.hear(now, NOTHING)
    return step.right, step.wrong


def test_right_turns_wrong_at_a_cost_and_wrong_turns_right_for_nothing() -> None:
    step = states("-4:1")
    step.right, step.wrong = 0.0, 50.0
    assert heard(step, -200.0) == pytest.approx((0.5, 4.1))
    step = states("-4:1")
    step.wrong = 0.0
    assert heard(step, 0.0) == pytest.approx((0.0, 0.1))


def test_an_attack_within_a_step_costs_and_turns_nothing() -> None:
    step = states("-4:1")
    step.right, step.wrong = 0.0, 1.0
    assert heard(step, 0.0, is_attack=True) == pytest.approx((10.0, 11.1))


def test_silence_within_a_step_costs() -> None:
    step = states("-4:1")
    step.right, step.wrong = 0.0, 1.0
    step.hear(_Observation(9, BEAT // 2, False, False, inf, 0.0, True, nan, 0), NOTHING)
    assert (step.right, step.wrong) == (0.5, 1.5)


# --- paths ------------------------------------------------------------------------------------


def targets_of(tab: str) -> list[StepTarget]:
    clock = BeatClock(0, TEMPO, RATE)
    return [StepTarget.of(step, HARP, clock) for step in drill_of(tab, tempo=TEMPO).steps]


def silence(start_ms: float, count: int) -> list[Reading]:
    first = round(start_ms * RATE / 1000.0)
    return [Reading(first + i * HOP, first + i * HOP, RATE) for i in range(count)]


def followed(tab: str, *pieces: Sequence[Reading]) -> tuple[Follower, list[Segment]]:
    follower = Follower(targets_of(tab), RATE)
    for piece in pieces:
        for reading in piece:
            follower.decode(reading)
    return follower, follower.final_path()


def bounds(path: Sequence[Segment]) -> list[tuple[int, int, int]]:
    return [(segment.step, segment.start, segment.end) for segment in path]


def test_the_trainers_call_in_a_recording_is_not_the_answer() -> None:
    targets = targets_of("r:4 -4:2 4:1 |")
    calls = [(0, 2 * BEAT), (2 * BEAT, 3 * BEAT)]
    follower = Follower(targets, RATE, calls=calls)
    for start_ms in (0.0, 4000.0):
        for reading in (
            *note("-4", [0.0] * 390, start_ms=start_ms),
            *note("4", [0.0] * 190, start_ms=start_ms + 2000.0),
            *silence(start_ms + 2950.0, 210),
        ):
            follower.decode(reading)
    assert [segment.lateness for segment in follower.final_path()] == [0.0, 0.0]


def test_a_path_has_the_readings_of_each_step() -> None:
    _, path = followed(
        "4:1 -4:1",
        note("4", [0.0] * 180),
        silence(900.0, 20),
        note("-4", [0.0] * 180, start_ms=1000.0),
        silence(1900.0, 20),
    )
    assert bounds(path) == [(0, 0, 180), (1, 200, 380)]
    assert path[1].previous is path[0]
    assert path[1].lateness == 0.0


def test_the_current_path_ends_with_the_step_that_is_played() -> None:
    follower, _ = followed("4:1 -4:1", note("4", [0.0] * 100))
    (segment,) = follower.current_path()
    assert (segment.step, segment.start, segment.end) == (0, 0, 100)
    follower, _ = followed("4:1 -4:1", note("4", [0.0] * 180), silence(900.0, 30))
    assert bounds(list(follower.current_path())) == [(0, 0, 180)]


def test_lateness_is_counted_from_the_due_time() -> None:
    _, path = followed("4:1 -4:1", silence(0.0, 60), note("4", [0.0] * 140, start_ms=300.0))
    assert path[0].lateness == pytest.approx(0.3 * RATE, abs=HOP)


def test_a_step_played_wrong_keeps_its_place() -> None:
    _, path = followed(
        "4:1 -4:1 5:1",
        note("4", [0.0] * 200),
        note("-8", [0.0] * 200, start_ms=1000.0),
        note("5", [0.0] * 200, start_ms=2000.0),
    )
    assert bounds(path) == [(0, 0, 200), (1, 200, 400), (2, 400, 600)]


def test_a_note_may_slip_from_right_to_wrong_and_back() -> None:
    """Draw 4, and for half of it a bend of a whole step, without a new attack."""
    slip = [0.0] * 50 + [-200.0] * 100 + [0.0] * 50
    _, path = followed("-4:1 4:1", note("-4", slip), note("4", [0.0] * 200, start_ms=1000.0))
    assert bounds(path) == [(0, 0, 200), (1, 200, 400)]


def test_a_chord_whose_hole_fails_for_a_moment_is_no_slur_into_the_next_step() -> None:
    chord = [
        reading if 80 <= i < 100 else _chord(reading)
        for i, reading in enumerate(note("-5", [0.0] * 200))
    ]
    _, path = followed("-4+5:1 -5:1", chord, note("-5", [0.0] * 200, start_ms=1000.0))
    assert bounds(path) == [(0, 0, 200), (1, 200, 400)]


def _chord(reading: Reading) -> Reading:
    return Reading(
        reading.sample,
        reading.heard,
        RATE,
        reading.hz,
        -20.0,
        True,
        reading.onset,
        tab=Tab.parse("-5"),
        cents=0.0,
        breath=Breath.DRAW,
        holes=(4, 5),
    )


def test_the_beam_holds_a_player_who_stops_and_goes_on() -> None:
    _, path = followed(
        "4:1 -4:1 5:1",
        note("4", [0.0] * 180),
        silence(900.0, 1000),
        note("-4", [0.0] * 180, start_ms=5900.0),
        note("5", [0.0] * 180, start_ms=6900.0),
    )
    assert [segment.step for segment in path] == [0, 1, 2]
