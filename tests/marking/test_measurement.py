"""The figures of single steps, from readings whose pitch is given point by point."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.support.step_histories import (
    curve,
    history_of,
    measured,
    note,
    target_of,
    with_leak,
)
from tests.support.synthetic_takes import RATE
from trainer.drill import Goal
from trainer.ear import Reading
from trainer.harp import Breath, Tab
from trainer.marking import Measured
from trainer.marking.criteria import criterion_scores
from trainer.marking.follower import Segment
from trainer.marking.measurement import measure_step
from trainer.marking.sounding_holes import (
    ever_sounded,
    heard_tab,
    holes_sounding,
    is_drowned_out,
    loudest_leak,
    masked_holes,
    named_more_often,
    sounding_reeds,
)
from trainer.marking.step_readings import (
    HeldSpan,
    StepReadings,
    cents_from_nearest,
    without_outliers,
    wobble_and_drift,
)


def tabs(*entries: str) -> tuple[Tab, ...]:
    return tuple(Tab.parse(entry) for entry in entries)


def ramp(start: float, end: float, from_ms: float, to_ms: float, t: float) -> float:
    """Linear from start to end between two times, level outside."""
    return start + (end - start) * min(max((t - from_ms) / (to_ms - from_ms), 0.0), 1.0)


def test_a_wobble_never_brings_a_note_nearer_to_its_pitch() -> None:
    """Any rate from two periods a note, any phase, any size, on either side of the target."""
    rng, step, goal = np.random.default_rng(19), target_of("-4:1").step, Goal(tolerance=20.0)

    def figures_and_points(cents: list[float]) -> tuple[Measured, float]:
        figures = measured("-4:1", note("-4", cents), tolerance=20.0)
        return figures, criterion_scores(step, figures, goal, 1000.0)["pitch"]

    for _ in range(60):
        off, sd, phase = rng.uniform((-60.0, 1.0, 0.0), (60.0, 40.0, 2.0 * math.pi))
        length_s = rng.uniform(0.6, 1.5)
        hz = rng.uniform(2.0 / (0.75 * length_s), 8.0)
        time_s = np.arange(0.0, length_s, 0.005)
        wobble = math.sqrt(2.0) * sd * np.cos(phase + 2.0 * math.pi * hz * time_s)
        _, steady = figures_and_points([off] * len(time_s))
        figures, wobbling = figures_and_points((off + wobble).tolist())
        assert figures.cents == pytest.approx(off, abs=0.25 * sd + 0.5)
        assert wobbling <= steady + 0.5


def test_a_slip_hardly_moves_the_pitch_of_a_note() -> None:
    """A tenth of it 80 cents off, in its middle; the mean would move by 8 cents."""
    cents = curve(1000.0, lambda t: 20.0 - (80.0 if 500.0 <= t < 600.0 else 0.0) + math.sin(t))
    assert measured("-4:1", note("-4", cents)).cents == pytest.approx(20.0, abs=1.0)


# --- held notes -------------------------------------------------------------------------------


@pytest.mark.parametrize("slope", [-60.0, 60.0])
def test_a_note_settles_on_the_line_of_its_drift(slope: float) -> None:
    """80 cents off the line for 50 ms, then on it."""
    cents = curve(1000.0, lambda t: slope * t / 1000.0 + (80.0 if t < 50.0 else 0.0))
    figures = measured("-4:1", note("-4", cents))
    assert figures.settle_ms == 50.0
    assert figures.wobble_cents == pytest.approx(0.0, abs=1e-9)
    # The held span starts 40 ms after settling and ends 40 ms before the end.
    assert figures.drift_cents == pytest.approx(slope * (0.96 - 0.09), abs=1e-6)


def test_the_line_is_extended_back_with_its_slope() -> None:
    """A fast drift: only along the line is the first reading after the scoop within tolerance."""
    cents = curve(1000.0, lambda t: 0.3 * t + (60.0 if t < 100.0 else 0.0))
    assert measured("-4:1", note("-4", cents)).settle_ms == 100.0


def test_only_the_held_part_is_judged() -> None:
    """A third of the note is 80 cents sharp; the held part is steady and in tune."""
    cents = curve(1000.0, lambda t: 80.0 if t < 350.0 else 0.0)
    figures = measured("-4:1", note("-4", cents))
    assert figures.settle_ms == 350.0
    assert (figures.cents, figures.wobble_cents) == (0.0, pytest.approx(0.0, abs=1e-9))
    assert figures.drift_cents == pytest.approx(0.0, abs=1e-9)


def test_the_end_of_a_scoop_within_tolerance_is_not_held() -> None:
    cents = curve(1000.0, lambda t: ramp(49.0, 0.0, 0.0, 200.0, t))
    figures = measured("-4:1", note("-4", cents))
    assert figures.settle_ms == 160.0  # 9.8 cents; the tolerance is 10
    assert figures.drift_cents == pytest.approx(0.0, abs=1e-9)


def test_a_slip_through_the_line_is_not_yet_settled() -> None:
    cents = curve(1000.0, lambda t: 0.0 if 50.0 <= t < 80.0 or t >= 300.0 else 70.0)
    assert measured("-4:1", note("-4", cents)).settle_ms == 300.0


def square(cents: float, t: float) -> float:
    return cents if t % 100.0 < 50.0 else -cents


def test_a_wobbling_note_has_a_wider_band_up_to_five_tolerances() -> None:
    some = curve(1000.0, lambda t: 20.0 * math.sin(2.0 * math.pi * 4.0 * t / 1000.0))
    assert measured("-4:1", note("-4", some)).settle_ms == 0.0
    much = curve(1000.0, lambda t: square(90.0, t))
    assert measured("-4:1", note("-4", much)).settle_ms is None


def test_a_note_that_reaches_its_line_as_it_is_let_go_has_not_settled() -> None:
    swing = 2.0 * math.pi / 100.0
    cents = curve(1000.0, lambda t: 150.0 * math.sin(swing * t) if t < 925.0 else 0.0)
    assert measured("-4:1", note("-4", cents)).settle_ms is None


def test_a_note_that_never_settles_is_judged_without_its_first_third() -> None:
    def cents(t: float) -> float:
        return 400.0 if t < 290.0 else 20.0 + 150.0 * math.sin(2.0 * math.pi * t / 100.0)

    figures = measured("-4:0.9", note("-4", curve(900.0, cents)))
    assert figures.settle_ms is None
    assert figures.cents == pytest.approx(20.0, abs=10.0)
    assert figures.wobble_cents == pytest.approx(150.0 / math.sqrt(2.0), rel=0.05)


def test_where_the_held_part_has_no_pitch_the_whole_note_is_judged() -> None:
    cents = [5.0] * 20 + [None] * 180
    figures = measured("-4:1", note("-4", cents))
    assert figures.cents == pytest.approx(5.0)
    assert figures.settle_ms is None


def test_the_release_is_at_most_a_fifth_of_the_note() -> None:
    frames = np.arange(10)
    readings = StepReadings(frames, 5.0 * frames, np.zeros(10), 100.0)
    assert readings.release_ms == 80.0
    assert replace(readings, length_ms=1000.0).release_ms == 960.0


# --- spans ------------------------------------------------------------------------------------


def step_readings(pitch: list[float]) -> StepReadings:
    frames = np.arange(len(pitch))
    return StepReadings(frames, 5.0 * frames, np.array(pitch), 5.0 * len(pitch))


def test_a_pitch_is_compared_with_the_nearest_reed() -> None:
    assert cents_from_nearest(np.array([10.0, 290.0]), (0.0, 300.0)).tolist() == [10.0, -10.0]


@pytest.mark.parametrize(("count", "has_pitch"), [(3, False), (4, True)])
def test_a_span_needs_four_readings_with_a_pitch(count: int, has_pitch: bool) -> None:
    span = HeldSpan.of(step_readings([7.0] * count), tabs("4"), (0.0,), 0.0, 1000.0)
    assert (span.cents == 7.0) is has_pitch


@pytest.mark.parametrize(("off", "has_pitch"), [(57.0, True), (63.0, False)])
def test_a_chord_has_no_pitch_far_from_its_reeds(off: float, has_pitch: bool) -> None:
    readings = step_readings([off] * 10)
    assert (HeldSpan.of(readings, tabs("4", "5"), (0.0,), 0.0, 99.0).cents == off) is has_pitch
    assert HeldSpan.of(readings, tabs("4"), (0.0,), 0.0, 99.0).cents == off


def test_a_span_has_both_its_ends() -> None:
    span = HeldSpan.of(step_readings([1.0] * 10), tabs("4"), (0.0,), 5.0, 25.0)
    assert span.frames.tolist() == [1, 2, 3, 4, 5]


@pytest.mark.parametrize("at", [0, 1, 5, 9])
@pytest.mark.parametrize(("off", "is_outlier"), [(46.0, False), (54.0, True), (-1200.0, True)])
def test_a_single_reading_far_off_is_an_outlier(at: int, off: float, is_outlier: bool) -> None:
    pitch = np.zeros(10)
    pitch[at] = off
    assert np.isnan(without_outliers(pitch)).tolist() == [i == at and is_outlier for i in range(10)]


def test_wobble_has_the_freedom_of_a_fitted_line() -> None:
    frames = np.arange(8)
    deviation = np.array([1.0, -1.0, -1.0, 1.0, 1.0, -1.0, -1.0, 1.0])  # of no slope
    held = HeldSpan(tabs("4"), frames, 5.0 * frames, deviation)
    wobble, drift = wobble_and_drift(held)
    assert wobble == pytest.approx(math.sqrt(8.0 / 6.0))
    assert drift == pytest.approx(0.0, abs=1e-9)
    sloped = replace(held, deviation=deviation + 2.0 * frames)
    assert wobble_and_drift(sloped) == pytest.approx((math.sqrt(8.0 / 6.0), 14.0))
    short = HeldSpan(tabs("4"), frames[:7], 5.0 * frames[:7], deviation[:7])
    assert wobble_and_drift(short) == (None, None)
    at_once = replace(held, time_ms=np.zeros_like(held.time_ms))
    assert wobble_and_drift(at_once) == (None, None)


# --- glides -----------------------------------------------------------------------------------

# Draw 4 bent a half step to draw 4, a second long: it rests for a quarter at each end.


def glide(t: float, start: float = 0.0, end: float = 0.0) -> float:
    return ramp(-100.0 + start, end, 250.0, 750.0, t)


@pytest.mark.parametrize(("start", "end"), [(-20.0, 0.0), (0.0, 20.0), (20.0, -15.0)])
def test_ends_that_are_off_are_neither_a_detour_nor_straying(start: float, end: float) -> None:
    cents = curve(1000.0, lambda t: glide(t, start, end))
    figures = measured("-4'>-4:1", note("-4", cents))
    assert figures.scoop_cents == pytest.approx(start, abs=1e-6)
    assert figures.cents == pytest.approx(end, abs=1e-6)
    assert figures.stray_cents == pytest.approx(0.0, abs=0.5)
    assert figures.back_cents == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("detour", "back"), [(12.0, 12.0), (3.0, 0.0)])
def test_a_detour_counts_once_from_five_cents_on(detour: float, back: float) -> None:
    """A dip between the two rests, where the pitch would be level."""
    cents = curve(
        1000.0,
        lambda t: (
            ramp(-100.0, -50.0, 250.0, 400.0, t)
            - (detour if 450.0 <= t < 550.0 else 0.0)
            + ramp(0.0, 50.0, 600.0, 750.0, t)
        ),
    )
    figures = measured("-4'>-4:1", note("-4", cents))
    assert figures.back_cents == pytest.approx(back, abs=1e-6)


def test_the_release_of_a_glide_is_not_on_its_path() -> None:
    cents = curve(1000.0, lambda t: glide(t) - (60.0 if t > 900.0 else 0.0))
    assert measured("-4'>-4:1", note("-4", cents)).stray_cents == pytest.approx(0.0, abs=0.5)


def test_a_reed_may_take_time_to_speak_before_a_short_glide() -> None:
    """300 ms: the first rest is 75 ms, and the first half of it does not count."""
    cents = curve(300.0, lambda t: -180.0 if t < 37.0 else ramp(-100.0, 0.0, 75.0, 225.0, t))
    assert measured("-4'>-4:0.3", note("-4", cents)).scoop_cents == pytest.approx(0.0, abs=1.0)


def test_the_end_of_a_glide_that_is_let_go_too_soon_is_taken_for_its_last_rest() -> None:
    """Of a second, 700 ms are played; the last rest would begin after 750."""
    cents = curve(700.0, lambda t: ramp(-100.0, -8.0, 250.0, 650.0, t))
    assert measured("-4'>-4:1", note("-4", cents)).cents == pytest.approx(-8.0, abs=1e-6)


def slide(*lengths: float) -> list[Reading]:
    readings: list[Reading] = []
    start = 0.0
    for tab, length in zip(("4", "5", "6"), lengths, strict=True):
        readings += note(tab, [0.0] * round(length / 5.0), start_ms=start, attack=not start)
        start += length
    return readings


def test_a_slide_lists_the_sounds_that_it_missed() -> None:
    assert measured("4>5>6:1", slide(400.0, 200.0, 400.0)).unheard == ()
    assert measured("4>5>6:1", slide(400.0, 0.0, 600.0)).unheard == ("5",)


def test_a_hole_heard_as_a_slide_begins_is_not_on_its_way() -> None:
    early = note("5", [0.0] * 10) + [
        replace(reading, onset=None)
        for reading in note("4", [0.0] * 100, start_ms=50.0) + note("6", [0.0] * 90, start_ms=550.0)
    ]
    assert measured("4>5>6:1", early).unheard == ("5",)


@pytest.mark.parametrize("jump", [1200.0, 1902.0])
def test_a_fundamental_that_a_room_cancels_for_a_moment_is_no_wobble(jump: float) -> None:
    heard = curve(1000.0, lambda t: 4.0 + (jump if 700.0 <= t < 850.0 else 0.0))
    figures = measured("-5:1", note("-5", heard))
    assert figures.cents == pytest.approx(4.0)
    assert figures.wobble_cents == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("jump", [1100.0, -1200.0])
def test_another_jump_is_a_wobble(jump: float) -> None:
    heard = curve(1000.0, lambda t: jump if 700.0 <= t < 850.0 else 0.0)
    wobble = measured("-5:1", note("-5", heard)).wobble_cents
    assert wobble is not None
    assert wobble > 100.0


def test_a_long_octave_is_a_wobble() -> None:
    heard = curve(1000.0, lambda t: 1200.0 if t > 650.0 else 0.0)
    wobble = measured("-5:1", note("-5", heard)).wobble_cents
    assert wobble is not None
    assert wobble > 100.0


# --- ladders ----------------------------------------------------------------------------------


def rungs(*cents: float, tab: str = "-3", length_ms: float = 1000.0) -> list[float]:
    """Rungs of half steps down from draw 3, each with its own deviation."""
    return curve(
        length_ms * len(cents),
        lambda t: cents[int(t / length_ms)] - 100.0 * int(t / length_ms),
    )


def test_the_worst_rung_stands_for_the_ladder() -> None:
    figures = measured("-3=-3'=-3'':3", note("-3", rungs(3.0, -25.0, 12.0)))
    assert figures.rungs == pytest.approx((3.0, -25.0, 12.0))
    assert (figures.cents, figures.scoop_cents) == pytest.approx((-25.0, 3.0))
    assert figures.stray_cents is None


@pytest.mark.parametrize("rung_ms", [1000.0, 800.0, 650.0, 400.0])
def test_a_shortened_ladder_is_measured_by_its_own_rungs(rung_ms: float) -> None:
    figures = measured("-3=-3'=-3'':3", note("-3", rungs(3.0, -25.0, 12.0, length_ms=rung_ms)))
    assert figures.rungs == pytest.approx((3.0, -25.0, 12.0))


def test_a_ladder_on_the_beat_is_measured_by_the_beat_however_early_it_ends() -> None:
    cents = rungs(3.0, -25.0, 12.0)
    for length_ms in (2900.0, 2300.0):
        figures = measured("-3=-3'=-3'':3", note("-3", cents[: round(length_ms / 5.0)]))
        assert figures.rungs == pytest.approx((3.0, -25.0, 12.0)), length_ms
    figures = measured("-3=-3'=-3'':3", note("-3", cents[:340]))
    assert figures.rungs == (pytest.approx(3.0), pytest.approx(-25.0), None)


def test_the_widest_wobble_and_the_greatest_drift_stand_for_the_ladder() -> None:
    def cents(t: float) -> float:
        if t < 1000.0:
            return -30.0 * t / 1000.0
        if t < 2000.0:
            return -100.0 + (6.0 if t % 10.0 < 5.0 else -6.0)
        return -200.0 + 10.0 * (t - 2000.0) / 1000.0

    figures = measured("-3=-3'=-3'':3", note("-3", curve(3000.0, cents)))
    assert figures.drift_cents is not None
    assert -30.0 < figures.drift_cents < -15.0
    assert figures.wobble_cents == pytest.approx(6.0, rel=0.1)


def test_the_last_rung_is_judged_before_its_release() -> None:
    """150 ms a rung: the breath lets go in the last 40."""
    cents = rungs(0.0, 0.0, length_ms=150.0)
    late = [value - (300.0 if i >= 53 else 0.0) for i, value in enumerate(cents)]
    assert measured("-3=-3':0.3", note("-3", late)).wobble_cents == pytest.approx(0.0, abs=1e-9)


def test_the_first_rung_is_judged_after_the_reed_speaks() -> None:
    cents = [value - (80.0 if i < 7 else 0.0) for i, value in enumerate(rungs(0.0, 0.0))]
    figures = measured("-3=-3':2", note("-3", cents))
    assert figures.wobble_cents == pytest.approx(0.0, abs=1e-9)


# --- vibrato ----------------------------------------------------------------------------------


def vibrato(centre: float, depth: float, drift: float = 0.0, hz: float = 5.0) -> list[float]:
    """Two seconds: 9.6 cycles from settling to release do not end where they began."""
    return curve(
        2000.0,
        lambda t: (
            centre + depth * math.sin(2.0 * math.pi * hz * t / 1000.0) + drift * (t / 2000.0 - 0.5)
        ),
    )


def test_a_bend_with_vibrato_has_the_figures_of_its_centre() -> None:
    figures = measured("-4':2{vibrato 5 30}", note("-4'", vibrato(15.0, 30.0)))
    assert figures.vibrato_hz == pytest.approx(5.0, rel=0.02)
    assert figures.vibrato_cents == pytest.approx(30.0, abs=1.0)
    assert figures.cents == pytest.approx(15.0, abs=0.5)
    assert figures.wobble_cents is not None
    assert figures.wobble_cents < 2.0
    assert figures.settle_ms is not None
    assert figures.settle_ms < 50.0
    # No scoop: its pitch at the onset, vibrato taken out, is that of its centre.
    assert figures.scoop_cents == pytest.approx(15.0, abs=5.0)


def test_the_centre_of_a_vibrato_is_the_mean_of_whole_cycles() -> None:
    figures = measured("-4':2{vibrato 3.7 45}", note("-4'", vibrato(0.0, 45.0, hz=3.7)))
    assert figures.cents == pytest.approx(0.0, abs=0.6)


@pytest.mark.parametrize("hz", [3.7, 5.0, 7.5])
def test_a_natural_note_with_vibrato_has_the_figures_of_its_tops(hz: float) -> None:
    """Throat vibrato only dips: its centre lies below the note by half of its extent."""
    figures = measured("-4:2{vibrato 5 30}", note("-4", vibrato(-25.0, 30.0, hz=hz)))
    assert figures.vibrato_cents == pytest.approx(30.0, abs=1.0)
    assert figures.cents == pytest.approx(5.0, abs=1.0)
    assert (figures.wobble_cents or 0.0) < 1.5


@pytest.mark.parametrize("drift", [-40.0, 40.0])
def test_a_vibrato_may_drift(drift: float) -> None:
    figures = measured("-4:2{vibrato 5 30}", note("-4", vibrato(0.0, 30.0, drift)))
    assert figures.drift_cents == pytest.approx(0.93 * drift, rel=0.12)


# --- which holes sounded ----------------------------------------------------------------------


def frames_of(readings: list[Reading]) -> np.ndarray:
    return np.arange(len(readings))


def mixed(*counts: tuple[str, int]) -> list[Reading]:
    return [reading for tab, count in counts for reading in note(tab, [0.0] * count)]


def test_a_hole_sounded_if_it_did_in_more_than_half_of_the_readings() -> None:
    readings = note("4", [0.0] * 10)
    half = [with_leak(r, 5, -12.0) if i < 5 else r for i, r in enumerate(readings)]
    most = [with_leak(r, 5, -12.0) if i < 6 else r for i, r in enumerate(readings)]
    frames = frames_of(readings)
    assert holes_sounding(history_of(half), frames, tabs("4")) == (4,)
    assert holes_sounding(history_of(most), frames, tabs("4")) == (4, 5)


def test_reeds_of_the_other_breath_are_named_where_none_of_the_wanted_one_sounds() -> None:
    readings = note("-4", [0.0] * 10)
    reeds = sounding_reeds(history_of(readings), frames_of(readings), Breath.BLOW)
    assert reeds == tabs("-4")


def test_a_leak_has_the_median_level_and_allowed_holes_are_none() -> None:
    readings = note("4", [0.0] * 11)
    levels = [-30.0] * 6 + [-12.0] * 5
    leaking = [with_leak(r, 5, db) for r, db in zip(readings, levels, strict=True)]
    history, frames = history_of(leaking), frames_of(leaking)
    leak = loudest_leak(history, frames, tabs("4"))
    assert leak is not None
    assert (leak.hole, leak.db) == (5, pytest.approx(-30.0, abs=0.1))
    assert loudest_leak(history, frames, tabs("4"), {5}) is None


@pytest.mark.parametrize("hole", [4, 6])
def test_a_blurred_note_may_leak_on_either_side(hole: int) -> None:
    readings = [with_leak(r, hole, -10.0) for r in note("5", [0.0] * 200)]
    assert measured("{blur} 5:1", readings).leak_db is None
    assert measured("5:1", readings).leak_hole == hole


def test_the_octave_of_a_split_is_masked_by_the_lower_hole() -> None:
    split = tabs("-1", "-4")
    octave = (0.0, 1200.0)
    assert masked_holes(split, octave, (1,)) == (4,)
    assert masked_holes(split, octave, (1, 4)) == ()  # heard after all
    assert masked_holes(split, (0.0, 1167.0), (1,)) == (4,)  # within 34 cents
    assert masked_holes(split, (0.0, 1164.0), (1,)) == ()
    assert masked_holes(split, (0.0, 1110.0), (1,)) == ()
    assert masked_holes(split, (0.0, 700.0), (1,)) == ()  # a fifth is no partial
    assert masked_holes(split, (0.0, 10.0), (1,)) == ()  # nor is the same note


@pytest.mark.parametrize(("level", "drowned"), [(-2.0, True), (-4.0, False)])
def test_a_note_is_drowned_out_by_another_only_if_it_is_about_as_loud(
    level: float, drowned: bool
) -> None:
    readings = [with_leak(r, 4, level) for r in note("5", [0.0] * 10)]
    history, frames = history_of(readings), frames_of(readings)
    assert is_drowned_out(history, frames, tabs("4")).all() == drowned
    assert not is_drowned_out(history, frames, tabs("5")).any()


def test_the_entry_named_in_most_readings_was_heard() -> None:
    readings = mixed(("4", 4), ("-5", 6))
    history, frames = history_of(readings), frames_of(readings)
    assert heard_tab(history, frames, tabs("4"), -300.0) == "-5"
    assert heard_tab(history, frames, tabs("4"), 300.0) == "-5"
    assert heard_tab(history, frames, tabs("4"), -50.0) == "4"  # half a half step is still that
    assert heard_tab(history, frames, tabs("4"), -51.0) == "-5"


def test_of_two_entries_the_one_named_more_often_was_heard() -> None:
    readings = mixed(("4", 5), ("-5", 5), ("6", 4))
    history, frames = history_of(readings), frames_of(readings)
    assert not named_more_often(history, frames, tabs("4"), tabs("-5"))  # as often
    assert named_more_often(history, frames, tabs("4"), tabs("6"))
    assert not named_more_often(history, frames, tabs("6"), tabs("4"))
    assert ever_sounded(history, frames, tabs("6")[0])
    assert not ever_sounded(history, frames, tabs("-6")[0])


# --- when a step starts -----------------------------------------------------------------------


def slurred(at_ms: float) -> list[Reading]:
    """Draw 4 to draw 5, a slur of 20 ms that is halfway at a time; the next reading is 100."""
    distance = 1200.0 * math.log2(
        note("-5", [0.0])[0].hz / note("-4", [0.0])[0].hz  # type: ignore[operator]
    )
    cents = curve(1000.0, lambda t: distance * ramp(0.0, 1.0, at_ms - 10.0, at_ms + 10.0, t))
    return note("-4", cents)


@pytest.mark.parametrize("at_ms", [488.0, 500.0, 513.0])
def test_a_slur_starts_where_the_pitch_is_halfway(at_ms: float) -> None:
    readings = slurred(at_ms)
    target = replace(target_of("-5:0.5"), at=RATE // 2, end=RATE)
    segment = Segment(0, 100, len(readings), 0.0, None)
    figures = measure_step(target, history_of(readings), segment, RATE, 10.0)
    assert figures.late_ms == pytest.approx(at_ms - 500.0, abs=0.1)


def in_room(readings: list[Reading]) -> list[Reading]:
    """The same where the first note rings on below the second one, which starts at 500 ms."""
    at_ms = (440.0, 490.0, 500.0, 540.0)
    levels = np.interp([r.heard * 1000.0 / RATE for r in readings], at_ms, (-20, -27, -28, -20))
    return [replace(r, level_db=db) for r, db in zip(readings, levels.tolist(), strict=True)]


@pytest.mark.parametrize(("motion", "late_ms"), [("", 0.0), ("{wah 3}", 60.0)])
def test_a_note_that_rings_on_below_the_next_one_does_not_make_it_late(
    motion: str, late_ms: float
) -> None:
    """The pitch shows 60 ms later than the level, which says more unless something moves it."""
    readings = in_room(slurred(560.0))
    target = replace(target_of("-5:0.5"), at=RATE // 2, end=RATE)
    previous = target_of(f"-4:1{motion}").step
    segment = Segment(1, 112, len(readings), 0.0, None)
    history = history_of(readings)
    figures = measure_step(target, history, segment, RATE, 10.0, previous=previous)
    assert figures.late_ms == pytest.approx(late_ms, abs=6.0)


def test_what_a_room_rings_on_with_is_not_the_pitch_of_a_note() -> None:
    """Its pitch jumps by an octave and back, 25 dB and more below the note."""
    cents = curve(1300.0, lambda t: 1200.0 if 1150.0 < t < 1200.0 else 2.0)
    levels = np.interp(np.arange(len(cents)) * 5.0, (1000.0, 1300.0), (-20.0, -70.0))
    readings = [
        replace(reading, level_db=db)
        for reading, db in zip(note("-4", cents), levels.tolist(), strict=True)
    ]
    figures = measured("-4:1", readings)
    assert figures.cents == pytest.approx(2.0, abs=0.1)
    assert figures.wobble_cents == pytest.approx(0.0, abs=0.1)


def test_a_step_starts_with_its_attack_even_if_the_attack_is_detected_later() -> None:
    readings = note("-4", [0.0] * 200, attack=False)
    readings[2] = replace(readings[2], onset=24)
    assert measured("-4:1", readings).start == 24
    readings[2], readings[3] = replace(readings[2], onset=None), replace(readings[3], onset=24)
    assert measured("-4:1", readings).start == 0  # too late to be its own
